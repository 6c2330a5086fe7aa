//! A soak: the real daemon watches four simulated links for hours on end, with faults drawn from a
//! seed, and every gap is held against the list that the links were given.
//!
//! The goal, and what is asserted: all gaps of 2 ms and more, starts and lengths within 1.5 ms, none
//! invented, none on the healthy link.
//!
//! Some simulated minutes by default; `make soak` watches for 24 simulated hours. What can be set:
//! `GOODWIRE_SOAK_HOURS`, `GOODWIRE_SOAK_SEED`.

mod plan;
mod process;
mod tally;

use std::{
    env,
    time::{Duration, Instant},
};

use goodwire_proto::v1::{
    GetMeasurementRequest, GetStatusRequest, Measurement, measurement::State,
};
use goodwire_tests::{
    client::{Client, has_ended, request, value},
    daemon::Daemon,
};

use crate::{
    plan::{LINKS, Plan},
    tally::Tally,
};

/// Simulated hours where nobody says otherwise.
const HOURS: f64 = 0.3;
/// Longest single watch, in seconds; however short the soak is, there are some.
const WATCH_S: f64 = 1_800.0;
const WATCHES_LEAST: f64 = 6.0;
/// Stream time that a watch takes beside its own: listening to the room, and blocks after its end.
const BESIDE_S: f64 = 30.0;
/// A watch of half an hour may take so long, on a machine that is busy with other things.
const PATIENCE: Duration = Duration::from_secs(1_200);
/// Watches after which the daemon's memory is looked at for the first time: its caches are warm.
const WARM: usize = 2;
/// By so much the daemon may have grown since: four page caches of SQLite (2 MB each, its default)
/// that fill, and as much again that the allocator keeps. A single f32 a frame that was kept of one
/// of ten channels would be 330 MiB in half an hour.
const GROWTH_MIB: f64 = 16.0;

fn number(name: &str, default: f64) -> f64 {
    env::var(name).map_or(default, |text| text.parse().expect("a number"))
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_gap_of_2_ms_and_more_is_found_within_1_5_ms_and_none_is_invented_however_long() {
    let watched_s = 3_600.0 * number("GOODWIRE_SOAK_HOURS", HOURS);
    let seed = number("GOODWIRE_SOAK_SEED", 20_261_126.0) as u64;
    let watch_s = WATCH_S.min((watched_s / WATCHES_LEAST).ceil());
    let plan = Plan::draw(seed, watched_s + (watched_s / watch_s).ceil() * BESIDE_S);
    let daemon = Daemon::start(&plan.configuration());
    let client = daemon.connect().await;
    let (mut tally, mut held_mib) = (Tally::default(), Vec::new());
    let (mut stream_s, mut left_s) = (0.0, watched_s);
    let begun = Instant::now();
    while left_s >= 1.0 {
        let length_s = left_s.min(watch_s);
        let seen = watch(&client, length_s).await;
        stream_s = tally.judge(&plan, &seen, stream_s, length_s);
        left_s -= length_s;
        let mib = process::resident_mib(daemon.pid());
        held_mib.push(mib);
        println!(
            "{:.2} h watched in {:.0} s, the daemon holds {mib:.1} MiB; {tally}",
            (watched_s - left_s) / 3_600.0,
            begun.elapsed().as_secs_f64(),
        );
    }
    tally.check();
    let grown_mib = held_mib[held_mib.len() - 1] - held_mib[WARM - 1];
    println!("the daemon grew by {grown_mib:.1} MiB after the first {WARM} watches");
    assert!(grown_mib < GROWTH_MIB, "it grew by {grown_mib} MiB");
    nothing_is_left_playing(&client, &daemon).await;
}

/// Watches all links at once, and waits for the results.
async fn watch(client: &Client, length_s: f64) -> Vec<Measurement> {
    let length = length_s.to_string();
    let asked = client
        .ask(request("all", "dropout", &[("duration_s", &length)]))
        .await
        .expect("it is not refused");
    assert_eq!(asked.len(), LINKS.len());
    let mut seen = Vec::new();
    for measurement in asked {
        let ended = end_of(client, &measurement.name).await;
        assert_eq!(ended.state(), State::Succeeded, "{:?}", ended.reason);
        seen.push(ended);
    }
    seen
}

async fn end_of(client: &Client, name: &str) -> Measurement {
    let begun = Instant::now();
    loop {
        let request = GetMeasurementRequest { name: name.into() };
        let got = client.measurements.clone().get_measurement(request).await;
        let got = got.expect("it is there").into_inner();
        if has_ended(got.state()) {
            return got;
        }
        assert!(
            begun.elapsed() < PATIENCE,
            "{name} goes on after {PATIENCE:?}"
        );
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
}

/// Nothing runs or waits, no plugin is left, and the healthy link is as quiet as it is made: with
/// any pilot still in the air its noise would be that of the pilot, 30 dB louder.
async fn nothing_is_left_playing(client: &Client, daemon: &Daemon) {
    let status = client.rig.clone().get_status(GetStatusRequest {}).await;
    let status = status.expect("it answers").into_inner();
    assert_eq!((status.queued_count, status.running.len()), (0, 0));
    let quiet = client.measure("healthy", "noise", &[]).await;
    let noise_dbfs = value(&quiet, "noise");
    // White over 24 kHz, of which 20 Hz to 20 kHz count: 0.8 dB less.
    let want_dbfs = plan::NOISE_DBFS - 0.8;
    println!("noise of the healthy link afterwards: {noise_dbfs:.1} dBFS, set {want_dbfs:.1}");
    assert!((noise_dbfs - want_dbfs).abs() < 1.0);
    let left = process::children(daemon.pid());
    assert!(left.is_empty(), "plugin processes {left:?} are left");
}
