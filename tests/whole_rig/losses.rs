//! The device goes away and comes back.

use std::{
    sync::atomic::Ordering,
    time::{Duration, Instant},
};

use goodwire_proto::v1::{GetStatusRequest, interface, measurement::State};
use goodwire_tests::{
    client::{Client, reason, request},
    eventually::eventually,
};

use crate::{
    dut::Dut,
    server::{Server, Turn, daemon},
};

async fn interface_is(client: &Client, want: interface::State) {
    eventually(
        &format!("the interface is {want:?}"),
        Duration::from_secs(15),
        || async {
            let status = client
                .rig
                .clone()
                .get_status(GetStatusRequest {})
                .await
                .unwrap();
            (status.into_inner().interface?.state() == want).then_some(())
        },
    )
    .await;
}

#[tokio::test]
async fn a_server_that_dies_costs_its_measurement_and_the_daemon_plays_again_when_it_is_back() {
    let Some(_turn) = Turn::take() else { return };
    let server = Server::start();
    let dut = Dut::start();
    let daemon = daemon("unattended = true");
    let client = daemon.connect().await;
    interface_is(&client, interface::State::Ready).await;
    let settings = [("level_dbfs", "-40"), ("duration_s", "20")];
    let asked = client
        .ask(request("lectern", "response", &settings))
        .await
        .unwrap();
    eventually("it plays", Duration::from_secs(15), || async {
        (dut.knobs.non_zero_count.load(Ordering::Acquire) > 0).then_some(())
    })
    .await;
    let begun = Instant::now();
    server.kill();
    dut.abandon();
    let found = client.end_of(&asked[0].name).await;
    println!("failed {:?} after the server died", begun.elapsed());
    assert!(
        begun.elapsed() < Duration::from_secs(10),
        "{:?}",
        begun.elapsed()
    );
    assert_eq!(
        (found.state(), reason(&found)),
        (State::Failed, "device-lost")
    );
    let text = found.reason.unwrap().text;
    assert!(
        text.to_lowercase().contains("jack"),
        "it names the device: {text}"
    );

    let _server = Server::start();
    let _dut = Dut::start();
    interface_is(&client, interface::State::Ready).await;
    let found = client.measure("lectern", "latency", &[]).await;
    assert_eq!(found.state(), State::Succeeded, "{:?}", found.reason);
}

#[tokio::test]
async fn ports_that_do_not_exist_yet_are_waited_for_and_named() {
    let Some(_turn) = Turn::take() else { return };
    let _server = Server::start();
    let daemon = daemon("unattended = true");
    let client = daemon.connect().await;
    interface_is(&client, interface::State::Waiting).await;
    let status = client
        .rig
        .clone()
        .get_status(GetStatusRequest {})
        .await
        .unwrap()
        .into_inner();
    let text = status.interface.unwrap().text;
    assert!(text.contains("dut:"), "{text}");
    let _dut = Dut::start();
    interface_is(&client, interface::State::Ready).await;
}
