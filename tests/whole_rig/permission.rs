//! When sound may be played, on hardware that is not simulated.

use std::{
    sync::atomic::Ordering,
    time::{Duration, Instant},
};

use goodwire_proto::v1::{HoldRequest, MeasureRequest, StopRequest, measurement::State};
use goodwire_tests::{
    client::{reason, request},
    eventually::eventually,
};
use tonic::Code;

use crate::{
    dut::Dut,
    server::{Server, Turn, daemon},
};

/// Long and quiet.
fn long() -> MeasureRequest {
    request(
        "lectern",
        "response",
        &[("level_dbfs", "-40"), ("duration_s", "20")],
    )
}

async fn sounds(dut: &Dut) {
    eventually("it plays", Duration::from_secs(15), || async {
        (dut.knobs.non_zero_count.load(Ordering::Acquire) > 0).then_some(())
    })
    .await;
}

#[tokio::test]
async fn nothing_plays_while_nobody_is_present_or_above_the_ceiling() {
    let Some(_turn) = Turn::take() else { return };
    let _server = Server::start();
    let dut = Dut::start();
    let daemon = daemon("");
    let client = daemon.connect().await;
    let absent = MeasureRequest {
        present: false,
        ..request("lectern", "latency", &[])
    };
    let status = client.ask(absent).await.unwrap_err();
    assert_eq!(status.code(), Code::FailedPrecondition);
    assert!(
        status.message().contains("--present"),
        "{}",
        status.message()
    );
    // Nobody said how loud: -40 dBFS is the ceiling of real hardware.
    let loud = request("lectern", "latency", &[("level_dbfs", "-30")]);
    let status = client.ask(loud).await.unwrap_err();
    let text = status.message();
    assert!(text.contains("-30") && text.contains("-40"), "{text}");
    assert_eq!(dut.knobs.non_zero_count.load(Ordering::Acquire), 0);
    let present = client.measure("lectern", "latency", &[]).await;
    assert_eq!(present.state(), State::Succeeded, "{:?}", present.reason);
    assert!(
        dut.knobs.peak_dbfs() <= -39.999,
        "{} dBFS",
        dut.knobs.peak_dbfs()
    );
}

#[tokio::test]
async fn a_room_in_use_is_left_alone() {
    let Some(_turn) = Turn::take() else { return };
    let _server = Server::start();
    let dut = Dut::start();
    let daemon = daemon("unattended = true");
    let client = daemon.connect().await;
    dut.knobs.programme.store(true, Ordering::Release);
    let found = client.measure("lectern", "latency", &[]).await;
    assert_eq!(
        (found.state(), reason(&found)),
        (State::Failed, "room-in-use")
    );
    assert_eq!(
        dut.knobs.non_zero_count.load(Ordering::Acquire),
        0,
        "nothing was played"
    );
    dut.knobs.programme.store(false, Ordering::Release);
    let found = client.measure("lectern", "latency", &[]).await;
    assert_eq!(found.state(), State::Succeeded, "{:?}", found.reason);
}

#[tokio::test]
async fn a_room_that_answers_louder_than_predicted_ends_it_at_once() {
    let Some(_turn) = Turn::take() else { return };
    let _server = Server::start();
    let dut = Dut::start();
    let daemon = daemon("unattended = true");
    let client = daemon.connect().await;
    // The gain is not known yet: 20 dB are predicted, 10 more are borne; this is 44 - 6 = 38 dB.
    dut.knobs.turn_up(44.0);
    let begun = Instant::now();
    let asked = client.ask(long()).await.unwrap();
    let found = client.end_of(&asked[0].name).await;
    assert_eq!(
        (found.state(), reason(&found)),
        (State::Failed, "louder-than-predicted")
    );
    assert!(
        begun.elapsed() < Duration::from_secs(8),
        "after {:?}",
        begun.elapsed()
    );
    assert!(found.figures.is_empty());
}

#[tokio::test]
async fn stop_is_silent_at_the_port_within_50_ms() {
    let Some(_turn) = Turn::take() else { return };
    let _server = Server::start();
    let dut = Dut::start();
    let daemon = daemon("unattended = true");
    let mut client = daemon.connect().await;
    let asked = client.ask(long()).await.unwrap();
    sounds(&dut).await;
    tokio::time::sleep(Duration::from_millis(300)).await;
    let begun = Instant::now();
    let stopped = client.rig.stop(StopRequest {}).await.unwrap().into_inner();
    assert_eq!(
        client.end_of(&asked[0].name).await.state(),
        State::Cancelled
    );
    tokio::time::sleep(Duration::from_millis(300)).await;
    let sounded_on = dut.knobs.sounded_on_after(begun);
    println!(
        "sound for {sounded_on:?} more, told {:.1} ms",
        stopped.silent_after_ms
    );
    // One period of 10.7 ms may have been on its way through the server already.
    assert!(
        sounded_on < Duration::from_millis(50 + 11),
        "{sounded_on:?}"
    );
    assert!(
        stopped.silent_after_ms <= 50.0,
        "{}",
        stopped.silent_after_ms
    );
}

#[tokio::test]
async fn a_hold_ends_what_plays_within_a_tenth_of_a_second() {
    let Some(_turn) = Turn::take() else { return };
    let _server = Server::start();
    let dut = Dut::start();
    let daemon = daemon("unattended = true");
    let mut client = daemon.connect().await;
    let asked = client.ask(long()).await.unwrap();
    sounds(&dut).await;
    let begun = Instant::now();
    client
        .rig
        .hold(HoldRequest {
            text: "soundcheck".into(),
        })
        .await
        .unwrap();
    let found = client.end_of(&asked[0].name).await;
    assert_eq!((found.state(), reason(&found)), (State::Failed, "hold"));
    tokio::time::sleep(Duration::from_millis(300)).await;
    let sounded_on = dut.knobs.sounded_on_after(begun);
    assert!(sounded_on < Duration::from_millis(100), "{sounded_on:?}");
    assert!(client.ask(long()).await.is_err());
}

#[tokio::test]
async fn sends_are_silent_after_the_daemon_is_killed() {
    let Some(_turn) = Turn::take() else { return };
    let _server = Server::start();
    let dut = Dut::start();
    let daemon = daemon("unattended = true");
    let client = daemon.connect().await;
    client.ask(long()).await.unwrap();
    sounds(&dut).await;
    let begun = Instant::now();
    drop((client, daemon));
    tokio::time::sleep(Duration::from_millis(500)).await;
    let sounded_on = dut.knobs.sounded_on_after(begun);
    println!("sound for {sounded_on:?} after the kill began");
    assert!(sounded_on < Duration::from_millis(150), "{sounded_on:?}");
}
