//! The clock against the bound of what was played, on steady links and such that resynchronise.

#[path = "../../dsp/tests/support/link.rs"]
mod link;

use goodwire_dsp::Complex64;
use goodwire_dsp::fft::{Transform, smooth_size};
use goodwire_dsp::noise;
use goodwire_plugin_latency::Latency;
use link::*;

const RATE_HZ: f64 = 48_000.0;
/// RMS of white noise 40 dB below the sweeps.
const RMS: f64 = 0.000_707;

/// Standard deviation in ppm that no estimator of the skew beats in white noise of `rms`, the
/// delay unknown: `var >= rms^2 / sum x'(n)^2 (n - n0)^2`, n0 the mean of n under the weight
/// `x'(n)^2` (Kay 1993, chapter 3, for a wave `x(n - a - s n)`). All that is sent counts.
fn bound_ppm(sent: &[f32], rms: f64) -> f64 {
    let size = smooth_size(sent.len());
    let samples: Vec<f64> = sent.iter().map(|&x| f64::from(x)).collect();
    let mut transform = Transform::new(size);
    let [mut spectrum, silent] = transform.forward_pair(&samples, &[]);
    for (bin, value) in spectrum.iter_mut().enumerate() {
        *value *= Complex64::new(0.0, std::f64::consts::TAU * bin as f64 / size as f64);
    }
    let [slopes, _] = transform.inverse_pair(&spectrum, &silent);
    let sum = |f: &dyn Fn(f64) -> f64| -> f64 {
        let weighted = slopes.iter().enumerate();
        weighted.map(|(n, x)| x * x * f(n as f64)).sum()
    };
    let middle = sum(&|n| n) / sum(&|_| 1.0);
    1e6 * rms / sum(&|n| (n - middle).powi(2)).sqrt()
}

/// Skews of `ppm` in noise, without a reference: RMS error in ppm, and over what is told.
fn errors(bench: &Bench, sent: &[f32], clean: &[f32], ppm: f64, seeds: u64) -> [f64; 2] {
    let (mut square, mut of_told) = (0.0, 0.0);
    let on_clock = on_clock(clean, ppm);
    for seed in 0..seeds {
        let returned = with_noise(&on_clock, RMS, seed);
        let result = bench.analyse::<Latency>(sent, &returned, None).unwrap();
        let [skew, told] = value(&result, "skew");
        square += (skew - ppm).powi(2) / seeds as f64;
        of_told += ((skew - ppm) / told).powi(2) / seeds as f64;
    }
    [square.sqrt(), of_told.sqrt()]
}

#[test]
fn the_skew_of_a_steady_link_is_within_4_times_the_bound_at_40_db() {
    let bench = Bench::of::<Latency>("latency", 48_000);
    let sent = bench.sent::<Latency>();
    let clean = through(&sent, RATE_HZ, 24_000, delayed(77.3, RATE_HZ));
    let bound = bound_ppm(&sent, RMS);
    for ppm in [0.0, 120.0, -120.0] {
        let [rms, of_told] = errors(&bench, &sent, &clean, ppm, 24);
        println!(
            "{ppm} ppm: RMS {rms:.6} ppm, {:.2} bounds, {of_told:.2} of told",
            rms / bound
        );
        assert!(rms < 4.0 * bound && rms < 0.05);
        assert!(of_told < 1.6);
    }
}

#[test]
fn a_link_that_resynchronises_before_every_chirp_tells_its_clock_from_the_phase_within_them() {
    let bench = Bench::of::<Latency>("latency", 48_000);
    let sent = bench.sent::<Latency>();
    // In the middle of each silence the delay becomes another one of 200 to 220 frames.
    let sweep_s = 1.0 + (2f64.ln() + 1.122_5f64.ln()) / (16_000.0 / 300.0f64).ln();
    let silences_s = (0..5).map(|n| 1.7 + 0.075 + f64::from(n) * (sweep_s + 0.3));
    let cuts: Vec<usize> = silences_s.map(|s| (s * RATE_HZ) as usize + 200).collect();
    let delays = |n: u64| 200.0 + 10.0 * (noise::white(77, n) + 1.0);
    let parts: Vec<Vec<f32>> = (0..6)
        .map(|n| through(&sent, RATE_HZ, 24_000, delayed(delays(n), RATE_HZ)))
        .collect();
    let clean: Vec<f32> = (0..parts[0].len())
        .map(|n| parts[cuts.iter().filter(|&&cut| n >= cut).count()][n])
        .collect();
    for ppm in [0.0, 120.0, -120.0] {
        let [rms, of_told] = errors(&bench, &sent, &clean, ppm, 24);
        println!("{ppm} ppm: RMS {rms:.6} ppm, {of_told:.2} of told");
        assert!(rms < 0.05 && of_told < 1.6);
    }
}
