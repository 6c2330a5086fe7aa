//! Analyses without audio that sleep, crash or want to play after all.

use std::time::{Duration, Instant};

use goodwire_proto::v1::{CancelMeasurementRequest, Measurement, StopRequest, measurement::State};
use goodwire_tests::{
    binary,
    client::{Client, reason, request},
    daemon::{Daemon, Start},
};
use tempfile::TempDir;

use super::venue;

/// A daemon with the plugin `planner`; the folder of the plugin lives as long.
fn planning() -> (Daemon, TempDir) {
    let plugins = TempDir::new().unwrap();
    let library = "libgoodwire_plugin_planner.so";
    let built = binary("examples").join(library);
    std::fs::copy(built, plugins.path().join(library)).unwrap();
    let folder = plugins.path().to_str().unwrap();
    let start = Start::new().argument("--plugins").argument(folder);
    (start.run(&venue::simulated()), plugins)
}

async fn begun(client: &Client, does: &str) -> Measurement {
    let asked = client
        .ask(request("lectern", "planner", &[("does", does)]))
        .await;
    asked.unwrap().remove(0)
}

#[tokio::test]
async fn one_that_rests_succeeds_one_that_crashes_or_wants_to_play_fails_with_its_cause() {
    let (daemon, _plugins) = planning();
    let client = daemon.connect().await;
    for (does, state, cause) in [
        ("rest", State::Succeeded, ""),
        ("crash", State::Failed, "plugin-crashed"),
        ("play", State::Failed, "plugin-garbage"),
    ] {
        let ended = client.end_of(&begun(&client, does).await.name).await;
        assert_eq!((ended.state(), reason(&ended)), (state, cause), "{does}");
    }
}

#[tokio::test]
async fn four_that_sleep_for_50_s_are_cancelled_stopped_and_leave_the_daemon_at_once() {
    let (mut daemon, _plugins) = planning();
    let mut client = daemon.connect().await;
    let mut names = Vec::new();
    for _ in 0..4 {
        names.push(begun(&client, "sleep").await.name);
    }
    let begin = Instant::now();
    // Two run, two wait behind them: either is ended at once.
    for name in [&names[0], &names[3]] {
        let request = CancelMeasurementRequest { name: name.clone() };
        client
            .measurements
            .cancel_measurement(request)
            .await
            .unwrap();
        assert_eq!(client.end_of(name).await.state(), State::Cancelled);
    }
    client.rig.stop(StopRequest {}).await.unwrap();
    for name in &names[1..3] {
        assert_eq!(client.end_of(name).await.state(), State::Cancelled);
    }
    begun(&client, "sleep").await;
    daemon.ask_to_end();
    let (status, _) = daemon.wait(Duration::from_secs(10));
    assert!(status.success(), "{status}");
    assert!(
        begin.elapsed() < Duration::from_secs(20),
        "{:?}",
        begin.elapsed()
    );
}
