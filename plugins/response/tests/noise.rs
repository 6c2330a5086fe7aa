//! Noisy recordings against the bounds of accuracy.

#[path = "../../dsp/tests/support/link.rs"]
mod link;

use goodwire_plugin_response::Response;
use link::*;

/// Bound of a gated sweep in dB: `8.686 sqrt(f T_g / (L fs SNR))`, the single-tone bound for the
/// time that the sweep dwells in each band of 1 / T_g.
fn bound_db(frequency_hz: f64, duration_s: f64, snr_db: f64) -> f64 {
    let constant_s = duration_s / 1_000f64.ln();
    let snr = 10f64.powf(snr_db / 10.0);
    8.686 * (frequency_hz * 0.1 / (constant_s * 48_000.0 * snr)).sqrt()
}

/// RMS of a sine of peak 0.1 over that of the noise, in dB, to the noise's RMS.
fn noise_rms(snr_db: f64) -> f64 {
    0.1 / 2f64.sqrt() * 10f64.powf(-snr_db / 20.0)
}

#[test]
fn errors_in_noise_are_within_1_25_of_the_bound_of_0_1_s_and_within_1_3_of_what_is_told() {
    for (snr_db, duration_s, with_reference) in [
        (40.0, 1.0, false),
        (20.0, 1.0, true),
        (60.0, 5.0, false),
        (40.0, 5.0, true),
    ] {
        let bench = Bench::of::<Response>("response", 48_000).set("duration_s", duration_s);
        let sent = bench.sent::<Response>();
        let clean = through(&sent, 48_000.0, 24_000, delayed(100.3, 48_000.0));
        let mut cable = sent.clone();
        cable.resize(clean.len(), 0.0);
        let seeds = if duration_s > 2.0 { 12 } else { 24 };
        let mut errors: Vec<Vec<f64>> = Vec::new();
        let mut told: Vec<Vec<f64>> = Vec::new();
        let mut x = Vec::new();
        for seed in 0..seeds {
            let returned = with_noise(&clean, noise_rms(snr_db), 2 * seed);
            let reference = with_noise(&cable, noise_rms(snr_db), 2 * seed + 1);
            let reference = with_reference.then_some(&reference[..]);
            let result = bench
                .analyse::<Response>(&sent, &returned, reference)
                .unwrap();
            check_finite(&result);
            let curve = curve(&result, "magnitude");
            errors.push(curve.y.clone());
            told.push(curve.y_uncertainty.clone());
            x.clone_from(&curve.x);
        }
        let channels: f64 = if with_reference { 2.0 } else { 1.0 };
        for octave_hz in [500.0, 1_000.0, 2_000.0, 4_000.0, 8_000.0, 14_000.0f64] {
            let near = |f: &f64| (f / octave_hz).log2().abs() < 0.3;
            let points: Vec<usize> = (0..x.len()).filter(|&i| near(&x[i])).collect();
            let (mut square, mut of_bound, mut of_told, mut bias) = (0.0, 0.0, 0.0, 0.0);
            let count = (points.len() * errors.len()) as f64;
            for &point in &points {
                for (run, told) in errors.iter().zip(&told) {
                    let bound = bound_db(x[point], duration_s, snr_db) * channels.sqrt();
                    square += run[point].powi(2) / count;
                    of_bound += (run[point] / bound).powi(2) / count;
                    of_told += (run[point] / told[point]).powi(2) / count;
                    bias += run[point] / count;
                }
            }
            println!(
                "{snr_db} dB, {duration_s} s, reference {with_reference}, {octave_hz} Hz: RMS {:.5} dB, {:.3} of the bound, {:.3} of what is told, bias {bias:.5} dB",
                square.sqrt(),
                of_bound.sqrt(),
                of_told.sqrt()
            );
            assert!(of_bound.sqrt() < 1.25);
            assert!((0.7..1.3).contains(&of_told.sqrt()));
            // 0.01 dB and what chance leaves of the mean: so many values are independent.
            let cells = errors.len() as f64 * octave_hz * 0.41 * 0.1;
            assert!(bias.abs() < 0.01 + 4.0 * (square / cells).sqrt());
        }
    }
}
