//! How long a round takes beyond its sound.

use std::{collections::BTreeMap, time::Duration};

use goodwire_proto::v1::{GetMeasurementRequest, RunRoundRequest, WatchRunRequest};
use goodwire_tests::daemon::Start;

use crate::{
    dut::Dut,
    server::{NAME, Server, Turn},
};

/// Two links and no reference: the client has two ways.
const CELLAR: &str = r#"
site = "dummy"
[interface]
backend = "jack"
rate = 48000
[interface.jack]
sends = ["dut:in_1", "dut:in_2"]
returns = ["dut:out_1", "dut:out_2"]
[safety]
unattended = true
[[link]]
name = "lectern"
send = 1
return = 1
[[link]]
name = "riser"
send = 2
return = 2
[[round]]
name = "nightly"
checks = [
  "latency",
  { analysis = "response", set = { duration_s = 5 } },
  { analysis = "distortion", set = { freqs_hz = "1000", level_dbfs = -41 } },
]
"#;

/// The two quiet seconds before each batch belong to it, as does what is heard after its sound.
const LISTENING_S: f64 = 2.0;

/// The goal is 5 % on an idle machine; a test machine may be busy, so that half as much again as
/// the sound would still be no fault of the rounds, while a wait in them shows in what is printed.
const OVERHEAD_MAX: f64 = 0.5;

#[tokio::test]
async fn a_round_of_two_links_and_three_checks_takes_little_longer_than_its_sound() {
    let Some(_turn) = Turn::take() else { return };
    let _server = Server::start();
    let _dut = Dut::start();
    let start = Start::new().variable("JACK_DEFAULT_SERVER", NAME);
    let daemon = start.run(CELLAR);
    let client = daemon.connect().await;
    // The ports are connected before the round begins, as they are at a venue.
    tokio::time::timeout(Duration::from_secs(60), async {
        client.measure("lectern", "latency", &[]).await
    })
    .await
    .expect("the interface is there");
    let request = RunRoundRequest {
        name: "nightly".into(),
        ..RunRoundRequest::default()
    };
    let begun = client.rounds.clone().run_round(request).await.unwrap();
    let name = begun.into_inner().name;
    let mut service = client.rounds.clone();
    let news = service.watch_run(WatchRunRequest { name }).await;
    let (mut news, mut last) = (news.unwrap().into_inner(), None);
    while let Some(message) = news.message().await.unwrap() {
        last = message.run;
    }
    let run = last.expect("the present state comes at once");
    assert_eq!(run.checks.len(), 6, "{:?}", run.reason);
    // Both links of one check are played together.
    let mut batches = BTreeMap::new();
    for check in &run.checks {
        let name = check.measurement.clone();
        let got = client.measurements.clone();
        let got = { got }
            .get_measurement(GetMeasurementRequest { name })
            .await;
        let measurement = got.unwrap().into_inner();
        let made = measurement.provenance.expect("it was played");
        assert!(made.batch_frame_count > 0.0, "{:?}", measurement.reason);
        let frames = made.batch_frame_count as u64;
        batches.insert(measurement.analysis, frames);
    }
    let sound_s: f64 = batches.values().map(|&frames| frames as f64 / 48e3).sum();
    let listened_s = sound_s + LISTENING_S * batches.len() as f64;
    let second = |time: Option<prost_types::Timestamp>| {
        let time = time.expect("it has ended");
        time.seconds as f64 + f64::from(time.nanos) * 1e-9
    };
    let took_s = second(run.end_time) - second(run.start_time);
    let overhead = took_s / listened_s - 1.0;
    println!(
        "{} batches, {listened_s:.2} s of sound and listening in {took_s:.2} s: {:.1} % more",
        batches.len(),
        100.0 * overhead
    );
    assert!(overhead <= OVERHEAD_MAX, "{took_s} s for {listened_s} s");
}
