//! Recordings without noise against closed forms.

#[path = "../../dsp/tests/support/link.rs"]
mod link;

use goodwire_plugin_latency::Latency;
use link::*;

#[test]
fn clean_delays_are_found_within_0_002_samples() {
    let bench = Bench::of::<Latency>("latency", 48_000);
    let sent = bench.sent::<Latency>();
    println!("{} s", sent.len() as f64 / 48e3);
    for frames in [0.0, 0.5, 17.3, 192.0, 1_234.567, 40_000.25] {
        let returned = through(&sent, 48_000.0, 60_000, delayed(frames, 48_000.0));
        let mut reference = sent.clone();
        reference.resize(returned.len(), 0.0);
        let result = bench
            .analyse::<Latency>(&sent, &returned, Some(&reference))
            .unwrap();
        check_finite(&result);
        let [ms, sigma_ms] = value(&result, "latency");
        println!(
            "{frames}: off {:e} ± {:e} frames, jitter {:?} skew {:?}",
            ms * 48.0 - frames,
            sigma_ms * 48.0,
            value(&result, "jitter"),
            value(&result, "skew")
        );
        assert!((ms * 48.0 - frames).abs() < 0.002);
    }
}

#[test]
fn the_sent_file_as_all_three_recordings_gives_every_figure_with_an_uncertainty() {
    let bench = Bench::of::<Latency>("latency", 48_000);
    let sent = bench.sent::<Latency>();
    let result = bench.analyse::<Latency>(&sent, &sent, Some(&sent)).unwrap();
    check_finite(&result);
    for id in ["latency", "jitter", "skew", "air_path"] {
        let [number, uncertainty] = value(&result, id);
        assert!(
            number.abs() < 1e-6 && uncertainty > 0.0,
            "{id}: {number} ± {uncertainty}"
        );
    }
    assert_eq!(curve(&result, "latency_over_time").x.len(), 4);
}
