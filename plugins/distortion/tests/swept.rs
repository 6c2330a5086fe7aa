//! The method `swept` on Hammerstein links: a bent line followed by a filter, both known.

mod common;

use std::f64::consts::{PI, TAU};

use common::{analyse, curve, has_note, request, stimulus, with_method};
use goodwire_plugin_sdk::api::Curve;
use goodwire_plugin_sdk::payload::OpenRequest;
use goodwire_plugin_sdk::payload::open_request::Mode;
use proptest::prelude::*;

fn swept(set: &[(&str, f64)]) -> OpenRequest {
    with_method(request(Mode::Recorded, set, &[]), "swept")
}

/// A Butterworth section of second order by the bilinear transform, and its magnitude.
#[derive(Clone, Copy)]
struct Section {
    b: [f64; 3],
    a: [f64; 2],
}

impl Section {
    fn new(corner_hz: f64, high_pass: bool, q: f64) -> Self {
        let k = (PI * corner_hz / 48_000.0).tan();
        let norm = 1.0 / (1.0 + k / q + k * k);
        let a = [2.0 * (k * k - 1.0) * norm, (1.0 - k / q + k * k) * norm];
        let b = if high_pass {
            [norm, -2.0 * norm, norm]
        } else {
            [k * k * norm, 2.0 * k * k * norm, k * k * norm]
        };
        Self { b, a }
    }

    fn filter(&self, samples: &[f64]) -> Vec<f64> {
        let (mut s1, mut s2) = (0.0, 0.0);
        (samples.iter())
            .map(|&x| {
                let y = self.b[0] * x + s1;
                s1 = self.b[1] * x - self.a[0] * y + s2;
                s2 = self.b[2] * x - self.a[1] * y;
                y
            })
            .collect()
    }

    fn magnitude(&self, hz: f64) -> f64 {
        let w = TAU * hz / 48_000.0;
        let at = |c: [f64; 3]| {
            let re = c[0] + c[1] * w.cos() + c[2] * (2.0 * w).cos();
            let im = -c[1] * w.sin() - c[2] * (2.0 * w).sin();
            re.hypot(im)
        };
        at(self.b) / at([1.0, self.a[0], self.a[1]])
    }
}

/// Butterworth filters of `order` (even) at both ends.
fn band(low_hz: f64, high_hz: f64, order: usize) -> Vec<Section> {
    (0..order / 2)
        .map(|index| 1.0 / (2.0 * (PI * (2 * index + 1) as f64 / (2 * order) as f64).sin()))
        .flat_map(|q| {
            [
                Section::new(low_hz, true, q),
                Section::new(high_hz, false, q),
            ]
        })
        .collect()
}

fn filtered(samples: &[f64], sections: &[Section]) -> Vec<f64> {
    (sections.iter()).fold(samples.to_vec(), |sound, section| section.filter(&sound))
}

fn magnitude(sections: &[Section], hz: f64) -> f64 {
    sections
        .iter()
        .map(|section| section.magnitude(hz))
        .product()
}

/// Powers of the harmonics 1 to 5 of `A sin` through `x + a2 x² + … + a5 x⁵` (power reduction).
fn harmonics(peak: f64, [a2, a3, a4, a5]: [f64; 4]) -> [f64; 5] {
    let power = |n: i32| peak.powi(n);
    [
        peak + 0.75 * a3 * power(3) + 0.625 * a5 * power(5),
        0.5 * a2 * power(2) + 0.5 * a4 * power(4),
        0.25 * a3 * power(3) + 0.3125 * a5 * power(5),
        0.125 * a4 * power(4),
        0.0625 * a5 * power(5),
    ]
}

/// A bent line whose products above half the rate are filtered off: at eight times the rate, by a
/// Fourier transform of the whole, as a converter's filter does.
fn bent_without_folding(samples: &[f32], factors: [f64; 4]) -> Vec<f64> {
    use goodwire_dsp::fft::{Transform, smooth_size};
    let size = smooth_size(samples.len() + 4_096);
    let sound: Vec<f64> = samples.iter().map(|&x| f64::from(x)).collect();
    let [spectrum, _] = Transform::new(size).forward_pair(&sound, &[]);
    let mut wide = spectrum.clone();
    wide.resize(4 * size + 1, Default::default());
    let silent = vec![Default::default(); 4 * size + 1];
    let mut fine = Transform::new(8 * size);
    let [fine_sound, _] = fine.inverse_pair(&wide, &silent);
    let bent: Vec<f64> = (fine_sound.iter())
        .map(|x| 8.0 * x)
        .map(|x| {
            let [a2, a3, a4, a5] = factors;
            x * (1.0 + x * (a2 + x * (a3 + x * (a4 + x * a5))))
        })
        .collect();
    let [mut spectrum, _] = fine.forward_pair(&bent, &[]);
    spectrum.truncate(size / 2 + 1);
    let silent = vec![Default::default(); size / 2 + 1];
    let [sound, _] = Transform::new(size).inverse_pair(&spectrum, &silent);
    sound[..samples.len()].iter().map(|x| x / 8.0).collect()
}

fn late(samples: &[f64], frames: usize) -> Vec<f32> {
    let mut late = vec![0.0; frames];
    late.extend(samples.iter().map(|&x| x as f32));
    late.truncate(samples.len());
    late
}

/// Worst difference in dB of a curve from `want(fundamental's frequency)`, within a band.
fn worst_db(curve: &Curve, band_hz: [f64; 2], want: impl Fn(f64) -> f64) -> (f64, f64, usize) {
    let mut worst = (0f64, 0.0, 0);
    for (&hz, &y) in curve.x.iter().zip(&curve.y) {
        if (band_hz[0]..=band_hz[1]).contains(&hz) {
            let got_db = if curve.y_unit == "%" {
                20.0 * (y / 100.0).log10()
            } else {
                y
            };
            let off = (got_db - want(hz)).abs();
            worst.2 += 1;
            if off > worst.0 {
                (worst.0, worst.1) = (off, hz);
            }
        }
    }
    worst
}

/// Checks all curves of a Hammerstein link against its closed form.
fn check(
    result: &goodwire_plugin_sdk::payload::SessionResult,
    peak: f64,
    factors: [f64; 4],
    sections: &[Section],
    band_hz: [f64; 2],
    within_db: f64,
) {
    let h = harmonics(peak, factors);
    let share = |hz: f64, order: usize| {
        let gain = magnitude(sections, order as f64 * hz) / magnitude(sections, hz);
        (h[order - 1] * gain / h[0]).abs()
    };
    let mut wrong = Vec::new();
    for order in 2..=5 {
        let Some(found) = curve(result, &format!("h{order}")) else {
            assert_eq!(h[order - 1], 0.0, "no h{order}");
            continue;
        };
        // Beyond, the filter leaves too little to be told within so much.
        let top_hz = band_hz[1].min(1.5 * band_hz[1].min(13_000.0) / order as f64);
        let (off_db, hz, count) = worst_db(found, [band_hz[0], top_hz], |hz| {
            20.0 * share(hz, order).log10()
        });
        println!("h{order}: off by {off_db:.4} dB at {hz:.0} Hz, {count} points");
        let octaves = (top_hz / band_hz[0]).log2();
        assert!(count as f64 > 23.0 * octaves, "h{order}: {count} points");
        if off_db > within_db {
            wrong.push(format!("h{order} off by {off_db} dB at {hz} Hz"));
        }
    }
    let total = |hz: f64| {
        let orders = (2..=5).filter(|&order| order as f64 * hz <= 20_000.0);
        20.0 * orders
            .map(|order| share(hz, order).powi(2))
            .sum::<f64>()
            .sqrt()
            .log10()
    };
    let found = curve(result, "thd").unwrap();
    let (off_db, hz, _) = worst_db(found, [band_hz[0], band_hz[1].min(9_900.0)], total);
    println!("thd: off by {off_db:.4} dB at {hz:.0} Hz");
    if off_db > within_db {
        wrong.push(format!("thd off by {off_db} dB at {hz} Hz"));
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

const FACTORS: [f64; 4] = [0.1, 0.2, 1.0, 3.0];

#[test]
fn hammerstein_links_are_read_within_0_1_db_of_their_closed_form() {
    let request = swept(&[("level_dbfs", -6.0)]);
    let sent = stimulus(&request);
    let peak = 10f64.powf(-6.0 / 20.0);
    let bent = bent_without_folding(&sent, FACTORS);
    for (low_hz, high_hz, order) in [(8.0, 19_000.0, 2), (40.0, 12_000.0, 4), (100.0, 8_000.0, 8)] {
        let sections = band(low_hz, high_hz, order);
        let returned = late(&filtered(&bent, &sections), 300);
        let result = analyse(&request, &sent, &returned, Some(&sent)).unwrap();
        println!("{low_hz} to {high_hz} Hz, order {order}");
        let band_hz = [f64::max(low_hz, 20.0), high_hz];
        check(&result, peak, FACTORS, &sections, band_hz, 0.1);
    }
}

#[test]
fn straight_links_with_steep_band_limits_have_no_harmonics_above_minus_110_db() {
    let request = swept(&[]);
    let sent = stimulus(&request);
    let sound: Vec<f64> = sent.iter().map(|&x| f64::from(x)).collect();
    for (low_hz, high_hz, order) in [
        (8.0, 19_000.0, 2),
        (20.0, 20_000.0, 8),
        (100.0, 8_000.0, 12),
        (300.0, 3_400.0, 16),
    ] {
        let returned = late(&filtered(&sound, &band(low_hz, high_hz, order)), 77);
        let result = analyse(&request, &sent, &returned, Some(&sent)).unwrap();
        for curve in &result.curves {
            let highest = curve
                .y
                .iter()
                .zip(&curve.x)
                .fold(
                    (f64::MIN, 0.0),
                    |most, (&y, &x)| {
                        if y > most.0 { (y, x) } else { most }
                    },
                );
            println!(
                "{low_hz} to {high_hz} Hz: {} up to {highest:?}, {} points",
                curve.id,
                curve.x.len()
            );
            let most = if curve.y_unit == "%" { 3.2e-4 } else { -110.0 };
            assert!(
                highest.0 < most,
                "{low_hz} to {high_hz} Hz: {} {highest:?}",
                curve.id
            );
        }
        assert!(has_note(&result, "h-below-noise"));
    }
}

#[test]
fn reference_is_taken_off_by_complex_amplitudes_whatever_the_polarity() {
    // The send bends by a2 = 0.05, a3 = 0.1, the link by half as much more behind it: to first order
    // they add up.
    let request = swept(&[]);
    let sent = stimulus(&request);
    let reference = bent_without_folding(&sent, [0.05, 0.1, 0.0, 0.0]);
    let link = bent_without_folding(&sent, [0.075, 0.15, 0.0, 0.0]);
    let own = harmonics(0.1, [0.025, 0.05, 0.0, 0.0]);
    for polarity in [1.0, -1.0] {
        let returned: Vec<f64> = link.iter().map(|x| 0.5 * polarity * x).collect();
        let returned = late(&returned, 123);
        let result = analyse(&request, &sent, &returned, Some(&late(&reference, 4))).unwrap();
        for order in [2, 3] {
            let want_db = 20.0 * (own[order - 1] / 0.1f64).log10();
            let found = curve(&result, &format!("h{order}")).unwrap();
            let (off_db, hz, count) = worst_db(found, [20.0, 6_000.0], |_| want_db);
            assert!(off_db < 0.1, "h{order}: {off_db} dB at {hz} Hz, {polarity}");
            assert!(count > 150, "{count}");
            let beside = curve(&result, &format!("reference_h{order}")).unwrap();
            let (off_db, ..) = worst_db(beside, [20.0, 6_000.0], |_| want_db + 6.0206);
            assert!(off_db < 0.1, "reference_h{order}: {off_db} dB");
        }
        assert!(has_note(&result, "reference-distorts"));
        assert!(result.figures.is_empty(), "figures are of test tones");
    }
}

#[test]
fn hard_clip_that_folds_is_read_within_0_1_db_at_9_of_10_frequencies_and_told_uncertain_at_the_others()
 {
    // bn of a sine cut at r (Fourier integral); the link clips in its converter, so that what is
    // above half the rate folds.
    let harmonic = |r: f64, n: f64| {
        let a = r.asin();
        let sines = ((n - 1.0) * a).sin() / (n - 1.0) - ((n + 1.0) * a).sin() / (n + 1.0);
        4.0 / PI * (0.5 * sines + r * (n * a).cos() / n)
    };
    let request = swept(&[]);
    let sent = stimulus(&request);
    for r in [0.9f64, 0.5] {
        let returned: Vec<f32> = (sent.iter())
            .map(|x| x.clamp(-0.1 * r as f32, 0.1 * r as f32))
            .collect();
        let result = analyse(&request, &sent, &returned, Some(&sent)).unwrap();
        let first = 2.0 / PI * (r.asin() + r * (1.0 - r * r).sqrt());
        for order in [3, 5] {
            let want_db = 20.0 * (harmonic(r, order as f64) / first).abs().log10();
            let found = curve(&result, &format!("h{order}")).unwrap();
            let points = (found.x.iter().zip(&found.y).zip(&found.y_uncertainty))
                .filter(|((hz, _), _)| **hz < 3_000.0)
                .map(|((_, y), told)| ((y - want_db).abs(), *told));
            let points: Vec<(f64, f64)> = points.collect();
            let far = |most_db: f64, deviations: f64| {
                let is_far =
                    |&&(off_db, told_db): &&(f64, f64)| off_db > most_db + deviations * told_db;
                points.iter().filter(is_far).count()
            };
            let worst_db = points.iter().fold(0f64, |worst, point| worst.max(point.0));
            println!(
                "{r}: h{order} off by {worst_db:.3} dB, {} of {} by 0.1 dB, {} beyond two \
                 deviations more",
                far(0.1, 0.0),
                points.len(),
                far(0.1, 2.0),
            );
            let count = points.len();
            assert!(count > 170 && 10 * far(0.1, 0.0) < count, "h{order}");
            assert!(far(0.1, 2.0) == 0, "h{order}");
            assert!(worst_db < 1.5, "h{order}: {worst_db} dB");
        }
    }
}

#[test]
fn sweep_that_the_recorder_cuts_or_that_is_not_there_is_refused() {
    let request = swept(&[("level_dbfs", -1.0), ("wake_s", 0.0)]);
    let sent = stimulus(&request);
    let cut: Vec<f32> = sent.iter().map(|x| (2.0 * x).clamp(-1.0, 1.0)).collect();
    assert_eq!(
        analyse(&request, &sent, &cut, None).unwrap_err().id,
        "clipped"
    );
    let mut hollow = sent.clone();
    let body = (0.05 + 0.15 + 0.1) * 48_000.0;
    let end = sent.len() - (1.1 + 0.15 + 0.2) as usize * 48_000 - 24_000;
    hollow[body as usize..end].fill(0.0);
    assert_eq!(
        analyse(&request, &sent, &hollow, None).unwrap_err().id,
        "unrelated"
    );
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 4,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn gain_delay_and_polarity_move_no_curve_by_0_05_db(
        gain_db in -40.0..10.0f64,
        delay in 0usize..40_000,
        inverted: bool,
        sweep_s in 2.0..6.0f64,
    ) {
        let request = swept(&[("wake_s", 0.0), ("sweep_s", sweep_s)]);
        let sent = stimulus(&request);
        let factor = 10f64.powf(gain_db / 20.0) * if inverted { -1.0 } else { 1.0 };
        let bent = bent_without_folding(&sent, [0.1, 0.5, 0.0, 0.0]);
        let link: Vec<f64> = bent.iter().map(|x| factor * x).collect();
        let result = analyse(&request, &sent, &late(&link, delay), Some(&sent)).unwrap();
        let h = harmonics(0.1, [0.1, 0.5, 0.0, 0.0]);
        for order in [2, 3] {
            let found = curve(&result, &format!("h{order}")).unwrap();
            let want_db = 20.0 * (h[order - 1] / h[0]).log10();
            let (off_db, hz, count) = worst_db(found, [20.0, 6_000.0], |_| want_db);
            prop_assert!(off_db < 0.05 && count > 150, "h{order}: {off_db} dB at {hz} Hz, {count}");
        }
    }
}
