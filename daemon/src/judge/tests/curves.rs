//! Masks and drift of whole curves.

use goodwire_proto::v1::{Curve, Judgement};

use super::*;
use crate::config::{CurveLimit, GroupConfig};

/// Third octaves from 20 Hz to 20 kHz, 31 of them.
fn thirds() -> Vec<f64> {
    (0..31)
        .map(|step| 20.0 * 10f64.powf(f64::from(step) / 10.0))
        .collect()
}

/// A magnitude that is `db` of the frequency, with one uncertainty at every point.
fn magnitude(uncertainty_db: f64, db: impl Fn(f64) -> f64) -> Curve {
    let x = thirds();
    Curve {
        id: "magnitude".to_owned(),
        x_unit: "Hz".to_owned(),
        y_unit: "dB".to_owned(),
        y: x.iter().map(|hz| db(*hz)).collect(),
        y_uncertainty: vec![uncertainty_db; x.len()],
        x,
        ..Default::default()
    }
}

fn with_curve(curve: Curve) -> Measurement {
    Measurement {
        curves: vec![curve],
        ..measured(vec![figure("gain", -10.0, 0.5)])
    }
}

fn before(curve: Curve) -> Measurement {
    Measurement {
        name: "measurements/1".to_owned(),
        ..with_curve(curve)
    }
}

/// The mask of a commissioned link: 3 dB up, 3 dB down from 63 Hz to 16 kHz, 6 dB down at 20 Hz.
fn mask() -> LimitConfig {
    LimitConfig {
        analysis: "response".to_owned(),
        curve: Some(CurveLimit {
            id: "magnitude".to_owned(),
            upper: vec![[20.0, 3.0], [20_000.0, 3.0]],
            lower: vec![[20.0, -6.0], [63.0, -3.0], [16_000.0, -3.0]],
            re: Some("gain".to_owned()),
            drift_range: None,
        }),
        ..LimitConfig::default()
    }
}

fn moved_by_at_most(drift: f64) -> LimitConfig {
    let mut limit = mask();
    let curve = limit.curve.as_mut().unwrap();
    (curve.upper, curve.lower) = (Vec::new(), Vec::new());
    limit.drift = Some(drift);
    limit
}

fn only(limit: &LimitConfig, now: &Measurement, before: Option<&Measurement>) -> Judgement {
    let mut verdict = judge(std::slice::from_ref(limit), now, before).unwrap();
    assert_eq!(verdict.judgements.len(), 1, "{verdict:?}");
    verdict.judgements.remove(0)
}

fn frequency_hz(judgement: &Judgement) -> f64 {
    match judgement.at.as_ref().unwrap().fields["frequency_hz"].kind {
        Some(Kind::NumberValue(hz)) => hz,
        ref other => panic!("{other:?}"),
    }
}

/// 5 dB low at one of the thirds, flat at -10 dB otherwise.
fn dip(at_hz: f64) -> impl Fn(f64) -> f64 {
    move |hz: f64| {
        if (hz / at_hz - 1.0).abs() < 0.1 {
            -15.0
        } else {
            -10.0
        }
    }
}

#[test]
fn a_flat_curve_keeps_its_mask_re_gain_whatever_the_gain_is() {
    let said = only(&mask(), &with_curve(magnitude(0.1, |_| -10.0)), None);
    assert_eq!(said.outcome(), Pass);
    assert!(
        said.text
            .starts_with("Magnitude re gain keeps its mask at 31 of 31 points"),
        "{}",
        said.text
    );
    assert_eq!(
        (said.curve.as_str(), said.re.as_str(), said.figure.as_str()),
        ("magnitude", "gain", "")
    );
    assert_eq!(said.value, Some(0.0));
}

#[test]
fn a_dip_of_5_db_at_1_khz_fails_in_one_judgement_that_names_the_place_and_2_db() {
    let said = only(&mask(), &with_curve(magnitude(0.1, dip(1002.0))), None);
    assert_eq!(said.outcome(), Fail);
    assert!((frequency_hz(&said) - 1002.4).abs() < 0.1, "{said:?}");
    assert_eq!(
        said.text,
        "Magnitude re gain breaks its mask at 1 of 31 points, worst at 1002 Hz: -5.00 ± 0.20 dB is \
         2 dB below the limit of -3 dB."
    );
    assert_eq!(
        (said.min, said.max, said.value),
        (Some(-3.0), Some(3.0), Some(-5.0))
    );
    assert!((said.uncertainty.unwrap() - 0.1).abs() < 1e-12);
}

#[test]
fn between_20_and_63_hz_the_limit_runs_straight_over_the_logarithm() {
    // Halfway on a logarithmic axis from 20 to 63 Hz lies 35.50 Hz: halfway from -6 to -3 dB.
    let at = |hz: f64| line::along(line::Axis::Logarithmic, &[[20.0, -6.0], [63.0, -3.0]], hz);
    let half_hz = (20.0f64 * 63.0).sqrt();
    assert!((at(half_hz).unwrap() + 4.5).abs() < 1e-12);
    assert_eq!((at(20.0), at(63.0)), (Some(-6.0), Some(-3.0)));
    assert_eq!((at(19.9), at(63.1)), (None, None));
    let linear = line::along(line::Axis::Linear, &[[0.0, 1.0], [10.0, 3.0]], 2.5);
    assert_eq!(linear, Some(1.5));
}

#[test]
fn beyond_the_last_corner_of_a_side_everything_is_allowed() {
    // The lower side ends at 16 kHz, so a link that ends at 17 kHz keeps its mask.
    let ends = |hz: f64| if hz > 17_000.0 { -60.0 } else { -10.0 };
    let said = only(&mask(), &with_curve(magnitude(0.1, ends)), None);
    assert_eq!(said.outcome(), Pass, "{}", said.text);
}

#[test]
fn a_limit_within_2_uncertainties_of_one_point_is_unmeasured_and_one_broken_elsewhere_fails() {
    let near = |hz: f64| {
        if hz > 900.0 && hz < 1100.0 {
            -12.9
        } else {
            -10.0
        }
    };
    let said = only(&mask(), &with_curve(magnitude(0.1, near)), None);
    assert_eq!(said.outcome(), Unmeasured);
    assert!(
        said.text
            .contains("too uncertain to tell at 1 of 31 points, worst at 1002 Hz"),
        "{}",
        said.text
    );
    let both = |hz: f64| {
        if hz < 150.0 && hz > 120.0 {
            -14.0
        } else {
            near(hz)
        }
    };
    let said = only(&mask(), &with_curve(magnitude(0.1, both)), None);
    assert_eq!(said.outcome(), Fail);
    assert!((frequency_hz(&said) - 126.2).abs() < 0.1, "{said:?}");
}

#[test]
fn a_curve_without_points_above_8_khz_is_unmeasured_up_to_20_khz_and_never_a_pass() {
    let mut curve = magnitude(0.1, |_| -10.0);
    let kept = curve.x.iter().filter(|hz| **hz < 8_000.0).count();
    curve.x.truncate(kept);
    curve.y.truncate(kept);
    curve.y_uncertainty.truncate(kept);
    let said = only(&mask(), &with_curve(curve), None);
    assert_eq!(said.outcome(), Unmeasured);
    assert!(
        said.text
            .ends_with("has no points from 7962 Hz to 20000 Hz."),
        "{}",
        said.text
    );
}

#[test]
fn what_is_not_there_is_unmeasured_with_its_name() {
    let said = only(&mask(), &measured(vec![figure("gain", 0.0, 0.1)]), None);
    assert_eq!(
        (said.outcome(), said.text.as_str()),
        (Unmeasured, "Magnitude could not be had.")
    );
    let mut measurement = with_curve(magnitude(0.1, |_| 0.0));
    measurement.figures.clear();
    let said = only(&mask(), &measurement, None);
    assert_eq!(said.outcome(), Unmeasured);
    assert_eq!(
        said.text,
        "Gain, which the curve is judged relative to, could not be had."
    );
}

#[test]
fn a_curve_that_moved_by_2_db_at_63_hz_drifts_beyond_1_db_and_not_beyond_3() {
    let then = before(magnitude(0.1, |_| -10.0));
    let bent = |hz: f64| if hz > 60.0 && hz < 70.0 { -12.0 } else { -10.0 };
    let now = with_curve(magnitude(0.1, bent));
    let said = only(&moved_by_at_most(1.0), &now, Some(&then));
    assert_eq!(said.outcome(), Drift);
    assert_eq!(
        said.text,
        "Magnitude re gain has moved further than 1 dB from the baseline at 1 of 31 points, most \
         at 63.25 Hz: by -2 dB."
    );
    assert_eq!((said.value, said.baseline_value), (Some(-2.0), Some(0.0)));
    assert_eq!(
        only(&moved_by_at_most(3.0), &now, Some(&then)).outcome(),
        Pass
    );
    // 2 dB, with root 2 times 0.1 dB twice to either side, is not told from 1.9 dB.
    assert_eq!(
        only(&moved_by_at_most(1.9), &now, Some(&then)).outcome(),
        Unmeasured
    );
    assert!(judge(&[moved_by_at_most(1.0)], &now, None).is_none());
}

#[test]
fn drift_re_gain_is_of_the_shape_alone_and_counts_within_its_range() {
    let then = before(magnitude(0.01, |_| -10.0));
    let mut now = with_curve(magnitude(0.01, |_| -16.0));
    now.figures = vec![figure("gain", -16.0, 0.5)];
    assert_eq!(
        only(&moved_by_at_most(1.0), &now, Some(&then)).outcome(),
        Pass
    );
    let mut whole = moved_by_at_most(1.0);
    whole.curve.as_mut().unwrap().re = None;
    assert_eq!(only(&whole, &now, Some(&then)).outcome(), Drift);
    let bent = |hz: f64| if hz < 50.0 { -14.0 } else { -10.0 };
    let now = with_curve(magnitude(0.01, bent));
    let mut ranged = moved_by_at_most(1.0);
    assert_eq!(only(&ranged, &now, Some(&then)).outcome(), Drift);
    ranged.curve.as_mut().unwrap().drift_range = Some([63.0, 16_000.0]);
    assert_eq!(only(&ranged, &now, Some(&then)).outcome(), Pass);
}

#[test]
fn a_baseline_on_another_grid_is_interpolated() {
    // 6 dB a decade is straight over the logarithm, so half as many points tell the same.
    let slope = |hz: f64| 6.0 * (hz / 1000.0).log10();
    let mut coarse = magnitude(0.01, slope);
    let second = |values: &[f64]| values.iter().copied().step_by(2).collect::<Vec<_>>();
    (coarse.x, coarse.y) = (second(&coarse.x), second(&coarse.y));
    coarse.y_uncertainty.truncate(coarse.x.len());
    let now = with_curve(magnitude(0.01, slope));
    let said = only(&moved_by_at_most(0.1), &now, Some(&before(coarse)));
    assert_eq!(said.outcome(), Pass, "{}", said.text);
}

#[test]
fn a_baseline_of_another_setup_is_not_compared_with() {
    let mut then = before(magnitude(0.1, |_| -10.0));
    then.setup.insert("input".to_owned(), "line".to_owned());
    let now = with_curve(magnitude(0.1, |_| -10.0));
    let said = only(&moved_by_at_most(1.0), &now, Some(&then));
    assert_eq!(said.outcome(), Unmeasured);
    assert!(said.text.contains("another setup (input)"), "{}", said.text);
}

#[test]
fn mask_and_drift_of_one_limit_are_one_judgement_of_which_the_worse_counts() {
    let then = before(magnitude(0.1, |_| -10.0));
    let bent = |hz: f64| if hz > 60.0 && hz < 70.0 { -12.0 } else { -10.0 };
    let both = LimitConfig {
        drift: Some(1.0),
        ..mask()
    };
    let said = only(&both, &with_curve(magnitude(0.1, bent)), Some(&then));
    assert_eq!(said.outcome(), Drift);
    assert!(
        said.text.contains("keeps its mask") && said.text.contains("further than 1 dB"),
        "{}",
        said.text
    );
    assert!((frequency_hz(&said) - 63.25).abs() < 0.1, "{said:?}");
}

#[test]
fn a_limit_of_a_group_is_meant_for_its_links_alone() {
    let of = |name: &str, link: &str| LimitConfig {
        group: Some(GroupConfig {
            name: name.to_owned(),
            links: vec![link.to_owned()],
        }),
        ..within("gain", -1.0, 1.0)
    };
    let measurement = measured(vec![figure("gain", 0.0, 0.1)]);
    assert!(judge(&[of("foyer", "lectern")], &measurement, None).is_some());
    assert!(judge(&[of("stage", "drum-riser")], &measurement, None).is_none());
}
