//! Knees of many kinds at many places between the steps, against bisection on the closed form.

use std::f64::consts::TAU;
use std::sync::LazyLock;

use super::{Crossing, Mark, Point, crossing};
use crate::clipper::{overdrive_of_gain_drop_db, overdrive_of_thd_db};
use goodwire_dsp::tone::Estimate;

/// Distortion (orders 2 to 10, as a ratio) and fall of the gain in dB of a sine of `level_dbfs`
/// through `link`, by its Fourier integral over 1024 phases: what folds lies 120 dB below.
fn thd_and_drop(level_dbfs: f64, link: &dyn Fn(f64) -> f64) -> (f64, f64) {
    const COUNT: usize = 1024;
    static CIRCLE: LazyLock<Vec<(f64, f64)>> = LazyLock::new(|| {
        let angle = |n: usize| TAU * n as f64 / COUNT as f64;
        (0..COUNT).map(|n| angle(n).sin_cos()).collect()
    });
    let peak = 10f64.powf(level_dbfs / 20.0);
    let wave: Vec<f64> = CIRCLE.iter().map(|(sine, _)| link(peak * sine)).collect();
    let amplitude = |order: usize| {
        let (mut cosines, mut sines) = (0.0, 0.0);
        for (n, y) in wave.iter().enumerate() {
            let (sine, cosine) = CIRCLE[n * order % COUNT];
            cosines += y * cosine;
            sines += y * sine;
        }
        cosines.hypot(sines) * 2.0 / COUNT as f64
    };
    let power: f64 = (2..=10).map(|order| amplitude(order).powi(2)).sum();
    let first = amplitude(1);
    (power.sqrt() / first, -20.0 * (first / peak).log10())
}

/// Which reading of the two is looked at.
type Reading = fn((f64, f64)) -> f64;

/// Largest error in dB of a crossing of `link` with its knee at -12 to -10 dBFS in steps of
/// 0.05 dB, levels from -40 dBFS up in steps of `step_db`.
fn worst_error_db(
    step_db: f64,
    link: impl Fn(f64, f64) -> f64,
    reading: Reading,
    mark: &Mark<'_>,
) -> f64 {
    let mut worst_db = 0f64;
    for knee in 0..40 {
        let knee_dbfs = -12.0 + 0.05 * f64::from(knee);
        let knee = 10f64.powf(knee_dbfs / 20.0);
        let at = |level_dbfs: f64| reading(thd_and_drop(level_dbfs, &|x| link(x, knee)));
        // What lies 24 dB below the knee is alike for all marks: it need not be computed.
        let points: Vec<Point> = (0..)
            .map(|step| -36.0 + f64::from(step) * step_db)
            .take_while(|&level_dbfs| level_dbfs <= 0.0)
            .filter(|level_dbfs| (knee_dbfs - 12.0..knee_dbfs + 8.0).contains(level_dbfs))
            .map(|level_dbfs| Point {
                level_dbfs,
                reading: Estimate {
                    value: at(level_dbfs),
                    uncertainty: 1e-9,
                },
            })
            .collect();
        let (mut low, mut high) = (knee_dbfs - 12.0, knee_dbfs + 6.0);
        for _ in 0..24 {
            let middle = (low + high) / 2.0;
            if at(middle) < mark.target {
                low = middle;
            } else {
                high = middle;
            }
        }
        let Crossing::At(found) = crossing(&points, mark) else {
            panic!("no crossing with the knee at {knee_dbfs} dBFS");
        };
        worst_db = worst_db.max((found.value - low).abs());
    }
    worst_db
}

const CLIP: Mark<'_> = Mark {
    target: 0.03,
    least: 0.002,
    common: 0.0,
    overdrive_db: &|ratio| overdrive_of_thd_db(ratio, 10),
};

const COMPRESSION: Mark<'_> = Mark {
    target: 1.0,
    least: 0.05,
    common: 0.0,
    overdrive_db: &overdrive_of_gain_drop_db,
};

/// Checks both marks on one kind of knee.
fn check(step_db: f64, within_db: f64, kind: &str, link: impl Fn(f64, f64) -> f64) {
    let clip_db = worst_error_db(step_db, &link, |both| both.0, &CLIP);
    let compression_db = worst_error_db(step_db, &link, |both| both.1, &COMPRESSION);
    println!("{kind}, {step_db} dB: clip {clip_db:.4} dB, compression {compression_db:.4} dB");
    assert!(
        clip_db < within_db,
        "{kind}: clip point off by {clip_db} dB"
    );
    assert!(
        compression_db < within_db,
        "{kind}: compression point off by {compression_db} dB"
    );
}

fn hard(x: f64, knee: f64) -> f64 {
    x.clamp(-knee, knee)
}

fn tanh(x: f64, knee: f64) -> f64 {
    knee * (x / knee).tanh()
}

/// Rises up to 1.15 times the knee, which the levels of the marks do not pass.
fn cubic(x: f64, knee: f64) -> f64 {
    x - 0.25 * x.powi(3) / (knee * knee)
}

/// The softer the knee the smaller the order: 2 is gentle, 20 almost hard.
fn rounded(x: f64, knee: f64, order: i32) -> f64 {
    x / (1.0 + (x / knee).abs().powi(order)).powf(1.0 / f64::from(order))
}

#[test]
fn hard_knees_are_found_within_0_002_db_with_steps_of_half_a_db_to_2_db() {
    for step_db in [0.5, 1.0, 2.0] {
        check(step_db, 0.002, "hard", hard);
    }
}

#[test]
fn tanh_knees_are_found_within_0_005_db_at_1_db_and_0_03_db_at_2_db() {
    check(0.5, 0.001, "tanh", tanh);
    check(1.0, 0.005, "tanh", tanh);
    check(2.0, 0.03, "tanh", tanh);
}

#[test]
fn cubic_knees_are_found_within_0_01_db_at_1_db_and_0_05_db_at_2_db() {
    check(0.5, 0.001, "cubic", cubic);
    check(1.0, 0.01, "cubic", cubic);
    check(2.0, 0.05, "cubic", cubic);
}

#[test]
fn rounded_knees_from_gentle_to_almost_hard_are_found_within_0_05_db_at_1_db() {
    for order in [2, 4, 8, 20] {
        check(1.0, 0.05, &format!("rounded {order}"), |x, knee| {
            rounded(x, knee, order)
        });
    }
}

#[test]
fn one_sided_knees_and_those_over_a_little_distortion_are_found_within_0_05_db_at_1_db() {
    check(1.0, 0.05, "one-sided", |x, knee| x.clamp(-knee, 1.3 * knee));
    check(1.0, 0.05, "0.3 % below", |x, knee| {
        hard(x + 0.006 * x * x / knee, knee)
    });
}

#[test]
fn mark_that_is_never_reached_or_always_passed_is_told() {
    let point = |level_dbfs, value| Point {
        level_dbfs,
        reading: Estimate {
            value,
            uncertainty: 1e-6,
        },
    };
    let low = [point(-2.0, 0.001), point(-1.0, 0.002)];
    assert_eq!(crossing(&low, &CLIP), Crossing::Never);
    assert_eq!(crossing(&[], &CLIP), Crossing::Never);
    let high = [point(-2.0, 0.1), point(-1.0, 0.2)];
    assert_eq!(crossing(&high, &CLIP), Crossing::BelowLowest);
}

#[test]
fn knee_with_one_step_above_it_is_an_ideal_clippers() {
    // Overdriven by 2 dB at the last step, by nothing at the one before.
    let thd = crate::clipper::thd_ratio(2.0, 10);
    let point = |level_dbfs, value| Point {
        level_dbfs,
        reading: Estimate {
            value,
            uncertainty: 1e-9,
        },
    };
    let points = [point(-4.0, 0.0), point(-2.0, 0.0), point(0.0, thd)];
    let Crossing::At(found) = crossing(&points, &CLIP) else {
        panic!("no crossing");
    };
    let want = -2.0 + overdrive_of_thd_db(0.03, 10);
    assert!((found.value - want).abs() < 1e-6, "{found:?}, want {want}");
    // A knee of another kind could lie anywhere in between: the uncertainty says so.
    assert!(found.uncertainty > 0.1, "{found:?}");
}
