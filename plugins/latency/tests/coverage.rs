//! One sigma holds the truth in 65 to 72 %, two sigma in 94 to 97 % of seeded repetitions.

#[path = "../../dsp/tests/support/coverage.rs"]
mod counting;
#[path = "../../dsp/tests/support/link.rs"]
mod link;

use counting::{Coverage, repetitions};
use goodwire_plugin_latency::Latency;
use link::*;

const RATE_HZ: f64 = 48_000.0;

#[test]
fn what_is_told_holds_the_truth_as_often_as_it_says() {
    let bench = Bench::of::<Latency>("latency", 48_000).set("sweep_s", 0.5);
    let sent = bench.sent::<Latency>();
    let frames = 77.3;
    let clean = through(&sent, RATE_HZ, 24_000, delayed(frames, RATE_HZ));
    let mut cable = sent.clone();
    cable.resize(clean.len(), 0.0);
    let clocks = [0.0, 40.0].map(|ppm| [&clean, &cable].map(|samples| on_clock(samples, ppm)));
    let mut coverage = Coverage::default();
    for seed in 0..repetitions() {
        let rms = 0.0707 * 10f64.powf(-[10.0, 20.0, 40.0][seed as usize % 3] / 20.0);
        let clock = seed as usize / 3 % 2;
        let ppm = [0.0, 40.0][clock];
        let [link, cable] = &clocks[clock];
        let returned = with_noise(link, rms, 2 * seed + 5_000);
        let reference = with_noise(cable, rms, 2 * seed + 5_001);
        let result = bench
            .analyse::<Latency>(&sent, &returned, Some(&reference))
            .unwrap();
        let truth_ms = frames * (1.0 + ppm * 1e-6) / 48.0;
        coverage.add("latency", value(&result, "latency"), truth_ms);
        coverage.add("jitter", value(&result, "jitter"), 0.0);
        coverage.add("skew", value(&result, "skew"), ppm);
    }
    coverage.print();
    coverage.check(&["latency", "skew", "jitter"]);
}
