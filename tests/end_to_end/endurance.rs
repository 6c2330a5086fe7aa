//! Run time of a charge: simulated batteries of known length, many links at once.

use std::fmt::Write;

use goodwire_proto::v1::{Measurement, measurement::State};
use goodwire_tests::{
    client::{Client, figure, has_note, reason, request, value},
    daemon::Daemon,
    rig::with_links,
};

/// Seconds of the stream for which the charges last: frames of it pass before the pilot begins.
const RUNS_FOR_S: [f64; 6] = [60.0, 75.5, 90.0, 91.25, 120.0, 135.0];

/// Links whose charges last for so long.
fn charged(runs_for_s: &[f64]) -> String {
    let mut text = with_links(0).replace("send = 1\nreturn = 1", "send = 20\nreturn = 20");
    for (number, seconds) in (1..).zip(runs_for_s) {
        write!(
            text,
            "[[link]]\nname = \"link-{number}\"\nsend = {number}\nreturn = {number}\n\
             [link.simulated]\nruns_for_s = {seconds}\n"
        )
        .expect("writing to a string does not fail");
    }
    text
}

async fn run(client: &Client, links: &str, settings: &[(&str, &str)]) -> Vec<Measurement> {
    let asked = client.ask(request(links, "endurance", settings)).await;
    let mut ended = Vec::new();
    for measurement in asked.expect("it is not refused") {
        ended.push(client.end_of(&measurement.name).await);
    }
    ended.sort_by(|a, b| a.link.cmp(&b.link));
    ended
}

#[tokio::test]
async fn six_links_at_once_run_as_long_as_their_charges_within_10_ms() {
    let daemon = Daemon::start(&charged(&RUNS_FOR_S));
    let client = daemon.connect().await;
    let ended = run(&client, "all", &[("lost_after_s", "20")]).await;
    assert_eq!(ended.len(), RUNS_FOR_S.len());
    let first_s = value(&ended[0], "run_time");
    for (measurement, runs_for_s) in ended.iter().zip(RUNS_FOR_S) {
        assert_eq!(measurement.state(), State::Succeeded, "{measurement:?}");
        let run_time = figure(measurement, "run_time");
        let longer_s = run_time.value.unwrap() - first_s;
        let off_s = longer_s - (runs_for_s - RUNS_FOR_S[0]);
        assert!(off_s.abs() < 0.01, "{} is {off_s} s off", measurement.link);
        assert_eq!((run_time.low, run_time.high), (None, None));
        assert_eq!(value(measurement, "dropouts"), 0.0);
        let lost = &measurement.events[0];
        assert_eq!((lost.id.as_str(), lost.start_s), ("lost", run_time.value));
        assert!(has_note(measurement, "either-battery"));
    }
    // The stream runs on between measurements, by fewer frames than the wake-up has.
    assert!((50.0..=60.01).contains(&first_s), "{first_s} s");
}

#[tokio::test]
async fn a_link_whose_charge_outlasts_the_watch_and_one_that_was_empty_before() {
    let daemon = Daemon::start(&charged(&[0.0, 0.5]));
    let client = daemon.connect().await;
    let settings = [("lost_after_s", "5"), ("longest_h", "0.01")];
    let ended = run(&client, "all", &settings).await;
    let run_time = figure(&ended[0], "run_time");
    assert_eq!((run_time.low, run_time.high), (run_time.value, None));
    assert!(has_note(&ended[0], "still-running"));
    assert_eq!(ended[1].state(), State::Failed);
    assert_eq!(reason(&ended[1]), "no-signal");
}
