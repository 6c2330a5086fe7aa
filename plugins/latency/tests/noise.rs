//! Noisy recordings against the Cramér–Rao bound.

#[path = "../../dsp/tests/support/link.rs"]
mod link;

use goodwire_dsp::fft::{Transform, smooth_size};
use goodwire_plugin_latency::Latency;
use link::*;

/// Standard deviation in frames that no estimator of a delay beats which uses 1 to 10 kHz of
/// `sent`, in white noise of `rms`: `var >= 1 / sum_f (2 pi f)^2 |S(f)|^2 / N(f)` (Kay 1993, range
/// estimation). All that is sent counts, wake-up and bursts too.
fn bound_frames(sent: &[f32], rms: f64) -> f64 {
    let size = smooth_size(sent.len());
    let samples: Vec<f64> = sent.iter().map(|&x| f64::from(x)).collect();
    let [spectrum, _] = Transform::new(size).forward_pair(&samples, &[]);
    let per_bin = 1.0 / size as f64;
    let band = (1_000.0 / 48_000.0 / per_bin) as usize..(10_000.0 / 48_000.0 / per_bin) as usize;
    // Per bin the noise has the power N rms^2; positive and negative frequencies tell the same.
    let information: f64 = band
        .map(|bin| {
            let omega = std::f64::consts::TAU * bin as f64 * per_bin;
            2.0 * omega * omega * spectrum[bin].norm_sqr() / (size as f64 * rms * rms)
        })
        .sum();
    information.sqrt().recip()
}

#[test]
fn errors_in_noise_are_within_1_25_of_the_bound_from_0_to_40_db_without_outlier() {
    let bench = Bench::of::<Latency>("latency", 48_000);
    let sent = bench.sent::<Latency>();
    let late_frames = 234.43;
    let clean = through(&sent, 48_000.0, 24_000, delayed(late_frames, 48_000.0));
    let mut cable = sent.clone();
    cable.resize(clean.len(), 0.0);
    for snr_db in [0.0, 10.0, 20.0, 40.0] {
        let rms = 0.1 / 2f64.sqrt() * 10f64.powf(-snr_db / 20.0);
        let bound = bound_frames(&sent, rms) * 2f64.sqrt();
        let (mut square, mut of_told, mut worst, seeds) = (0.0, 0.0, 0f64, 24);
        for seed in 0..seeds {
            let returned = with_noise(&clean, rms, 2 * seed);
            let reference = with_noise(&cable, rms, 2 * seed + 1);
            let result = bench
                .analyse::<Latency>(&sent, &returned, Some(&reference))
                .unwrap();
            check_finite(&result);
            let [ms, sigma_ms] = value(&result, "latency");
            let off = ms * 48.0 - late_frames;
            square += off * off / seeds as f64;
            of_told += (off / (sigma_ms * 48.0)).powi(2) / seeds as f64;
            worst = worst.max(off.abs());
        }
        let ratio = square.sqrt() / bound;
        println!(
            "{snr_db} dB: RMS {:.6} frames, bound {bound:.6}, ratio {ratio:.3}, worst {:.2} bounds, {:.3} of what is told",
            square.sqrt(),
            worst / bound,
            of_told.sqrt()
        );
        assert!(ratio < 1.25 && worst < 4.0 * bound);
    }
}
