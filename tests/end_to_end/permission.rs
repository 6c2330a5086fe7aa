//! Hold, release, stop, and the room in use, on the simulated rig.

use std::time::{Duration, Instant};

use goodwire_proto::v1::{
    GetStatusRequest, HoldRequest, ReleaseRequest, StopRequest, measurement::State,
};
use goodwire_tests::{
    client::{Client, reason, request},
    daemon::Daemon,
    eventually::eventually,
    rig::{CELLAR, cellar_in_real_time},
};
use tonic::Code;

async fn hold(client: &Client, text: &str) -> i32 {
    let request = HoldRequest { text: text.into() };
    client
        .rig
        .clone()
        .hold(request)
        .await
        .unwrap()
        .into_inner()
        .ended_count
}

/// Asks for a measurement that lasts, and waits until it plays.
async fn playing(client: &Client) -> String {
    let settings = [("duration_s", "20")];
    let asked = client
        .ask(request("lectern", "response", &settings))
        .await
        .unwrap();
    eventually("it plays", Duration::from_secs(15), || async {
        let status = client
            .rig
            .clone()
            .get_status(GetStatusRequest {})
            .await
            .unwrap();
        let running = status.into_inner().running;
        // Listening for programme comes first; then there is progress.
        running.iter().any(|m| m.progress > 0.0).then_some(())
    })
    .await;
    asked[0].name.clone()
}

#[tokio::test]
async fn a_hold_ends_what_plays_refuses_new_work_and_survives_a_restart() {
    let daemon = Daemon::start(&cellar_in_real_time());
    let client = daemon.connect().await;
    let name = playing(&client).await;
    assert_eq!(hold(&client, "rehearsal").await, 1);
    let ended = client.end_of(&name).await;
    assert_eq!((ended.state(), reason(&ended)), (State::Failed, "hold"));
    let status = client
        .ask(request("lectern", "latency", &[]))
        .await
        .unwrap_err();
    assert_eq!(status.code(), Code::FailedPrecondition);
    assert!(
        status.message().contains("rehearsal"),
        "{}",
        status.message()
    );
    drop(client);
    let daemon = daemon.kill_and_start_again();
    let mut client = daemon.connect().await;
    let status = client
        .rig
        .get_status(GetStatusRequest {})
        .await
        .unwrap()
        .into_inner();
    assert_eq!(status.hold.expect("it is still held").text, "rehearsal");
    assert!(
        client
            .ask(request("lectern", "latency", &[]))
            .await
            .is_err()
    );
    assert!(
        client
            .rig
            .release(ReleaseRequest {})
            .await
            .unwrap()
            .into_inner()
            .was_held
    );
    assert!(
        !client
            .rig
            .release(ReleaseRequest {})
            .await
            .unwrap()
            .into_inner()
            .was_held
    );
    let free = client
        .measure("lectern", "latency", &[("repeats", "1")])
        .await;
    assert_eq!(free.state(), State::Succeeded, "{:?}", free.reason);
}

#[tokio::test]
async fn stop_is_silent_within_50_ms_cancels_all_and_latches_nothing() {
    let daemon = Daemon::start(&cellar_in_real_time());
    let mut client = daemon.connect().await;
    let name = playing(&client).await;
    let queued = client
        .ask(request("drum-riser", "level", &[]))
        .await
        .unwrap();
    let begun = Instant::now();
    let stopped = client.rig.stop(StopRequest {}).await.unwrap().into_inner();
    println!(
        "silent after {:.1} ms, told after {:?}",
        stopped.silent_after_ms,
        begun.elapsed()
    );
    assert!(
        stopped.silent_after_ms <= 50.0,
        "{} ms",
        stopped.silent_after_ms
    );
    assert_eq!(stopped.cancelled_count, 2);
    for name in [name, queued[0].name.clone()] {
        assert_eq!(client.end_of(&name).await.state(), State::Cancelled);
    }
    let next = client
        .measure("lectern", "latency", &[("repeats", "1")])
        .await;
    assert_eq!(next.state(), State::Succeeded, "{:?}", next.reason);
}

#[tokio::test]
async fn stop_with_nothing_to_stop_is_well() {
    let daemon = Daemon::start(CELLAR);
    let mut client = daemon.connect().await;
    let stopped = client.rig.stop(StopRequest {}).await.unwrap().into_inner();
    assert_eq!(stopped.cancelled_count, 0);
}

#[tokio::test]
async fn analysing_recordings_plays_nothing_and_is_allowed_during_a_hold() {
    let daemon = Daemon::start(CELLAR);
    let client = daemon.connect().await;
    hold(&client, "show").await;
    let sent = crate::streams::stimulus(&client, "latency").await;
    let asked = crate::streams::upload(&client, "latency", &sent, &sent)
        .await
        .unwrap();
    let ended = client.end_of(&asked.name).await;
    assert_eq!(ended.state(), State::Succeeded, "{:?}", ended.reason);
}
