//! Drift from the baseline.

use super::*;

fn moved(before: f64, now: f64, uncertainty: f64) -> Verdict {
    let measurement = measured(vec![figure("gain", now, uncertainty)]);
    let baseline = baseline(vec![figure("gain", before, uncertainty)]);
    judge(&[at_most_moved("gain", 1.0)], &measurement, Some(&baseline)).unwrap()
}

#[test]
fn a_change_of_1_31_db_with_uncertainties_of_0_03_db_is_drift() {
    let verdict = moved(0.5, -0.81, 0.03);
    assert_eq!(verdict.outcome(), Drift);
    // 2 · √(0.03² + 0.03²) = 0.0849.
    let text = "Gain has moved by -1.310 ± 0.085 dB from the baseline's 0.500 dB, \
                further than 1 dB.";
    assert_eq!(sentence(&verdict), text);
    assert_eq!(verdict.judgements[0].baseline_value, Some(0.5));
}

#[test]
fn uncertainties_of_both_add_as_the_root_of_the_sum_of_squares() {
    // 2 · √(0.3² + 0.4²) = 1: a change of 2.01 lies wholly beyond 1, one of 1.99 does not.
    let verdict = |now| {
        let measurement = measured(vec![figure("gain", now, 0.3)]);
        let before = baseline(vec![figure("gain", 0.0, 0.4)]);
        judge(&[at_most_moved("gain", 1.0)], &measurement, Some(&before))
            .unwrap()
            .outcome()
    };
    assert_eq!((verdict(2.01), verdict(1.99)), (Drift, Unmeasured));
    assert_eq!((verdict(-2.01), verdict(-1.99)), (Drift, Unmeasured));
}

#[test]
fn a_change_that_stays_within_what_is_allowed_passes() {
    assert_eq!(moved(0.5, 0.1, 0.03).outcome(), Pass);
    assert_eq!(moved(0.5, 0.5, 0.03).outcome(), Pass);
}

#[test]
fn unequal_sides_count_on_the_side_that_they_move_the_change_to() {
    let lopsided = |value, low, high| Figure {
        low: Some(low),
        high: Some(high),
        ..figure("gain", value, 0.0)
    };
    let outcome = |now: Figure, before: Figure| {
        let (measurement, before) = (measured(vec![now]), baseline(vec![before]));
        judge(&[at_most_moved("gain", 1.0)], &measurement, Some(&before))
            .unwrap()
            .outcome()
    };
    let exact = || lopsided(0.0, 0.0, 0.0);
    assert_eq!(outcome(lopsided(2.0, 1.5, 9.0), exact()), Drift);
    assert_eq!(outcome(lopsided(2.0, 0.5, 2.1), exact()), Unmeasured);
    // The baseline's upper side brings the change down.
    assert_eq!(
        outcome(lopsided(2.0, 2.0, 2.0), lopsided(0.0, -9.0, 0.5)),
        Drift
    );
    assert_eq!(
        outcome(lopsided(2.0, 2.0, 2.0), lopsided(0.0, -0.1, 1.5)),
        Unmeasured
    );
}

#[test]
fn drift_within_limits_is_drift_and_beyond_them_it_is_fail() {
    let limit = LimitConfig {
        drift: Some(1.0),
        ..within("gain", -3.0, 3.0)
    };
    let before = baseline(vec![figure("gain", 0.0, 0.1)]);
    let judged = |now| {
        let measurement = measured(vec![figure("gain", now, 0.1)]);
        judge(std::slice::from_ref(&limit), &measurement, Some(&before)).unwrap()
    };
    let drift = judged(2.0);
    assert_eq!(drift.outcome(), Drift);
    let text = sentence(&drift);
    assert!(text.starts_with("Gain is 2.00 ± 0.20 dB; allowed is -3 to 3 dB. Gain has moved"));
    assert_eq!(judged(4.0).outcome(), Fail);
    // Too near to the limit to tell is worse than drift.
    assert_eq!(judged(2.9).outcome(), Unmeasured);
}

#[test]
fn without_a_baseline_a_drift_limit_says_nothing() {
    let measurement = measured(vec![figure("gain", 0.0, 0.1)]);
    assert_eq!(
        judge(&[at_most_moved("gain", 1.0)], &measurement, None),
        None
    );
    let both = LimitConfig {
        drift: Some(1.0),
        ..within("gain", -3.0, 3.0)
    };
    assert_eq!(judge(&[both], &measurement, None).unwrap().outcome(), Pass);
}

#[test]
fn the_baseline_is_not_compared_with_itself() {
    let it = baseline(vec![figure("gain", 0.0, 0.1)]);
    assert_eq!(judge(&[at_most_moved("gain", 1.0)], &it, Some(&it)), None);
}

#[test]
fn a_baseline_of_another_setup_is_named_with_the_keys_that_changed() {
    let setup = |gain: &str| {
        let pairs = [("gain", gain), ("channel", "2")];
        pairs
            .map(|(key, value)| (key.to_owned(), value.to_owned()))
            .into_iter()
            .collect()
    };
    let mut measurement = measured(vec![figure("gain", 0.0, 0.1)]);
    let mut before = baseline(vec![figure("gain", 0.0, 0.1)]);
    measurement.setup = setup("-10");
    before.setup = setup("0");
    before.setup.insert("firmware".to_owned(), "1.2".to_owned());
    let limits = [at_most_moved("gain", 1.0)];
    let verdict = judge(&limits, &measurement, Some(&before)).unwrap();
    assert_eq!(verdict.outcome(), Unmeasured);
    let text = "Gain is not compared with the baseline, which was made with another setup \
                (firmware, gain).";
    assert_eq!(sentence(&verdict), text);
    before.setup = measurement.setup.clone();
    assert_eq!(
        judge(&limits, &measurement, Some(&before))
            .unwrap()
            .outcome(),
        Pass
    );
    before.simulated = true;
    let verdict = judge(&limits, &measurement, Some(&before)).unwrap();
    assert!(sentence(&verdict).contains("(simulated)"), "{verdict:?}");
}

#[test]
fn a_figure_that_the_baseline_lacks_is_unmeasured() {
    let measurement = measured(vec![figure("gain", 0.0, 0.1)]);
    let limits = [at_most_moved("gain", 1.0)];
    let verdict = judge(&limits, &measurement, Some(&baseline(Vec::new()))).unwrap();
    assert_eq!(sentence(&verdict), "Gain is not in the baseline.");
    assert_eq!(verdict.outcome(), Unmeasured);
}

#[test]
fn a_band_is_compared_with_the_same_band_wherever_its_extreme_lay() {
    let band = |from_hz, to_hz, frequency_hz, value| Figure {
        at: at(&[
            ("from_hz", from_hz),
            ("to_hz", to_hz),
            ("frequency_hz", frequency_hz),
        ]),
        ..figure("deviation", value, 0.1)
    };
    let tone = |frequency_hz, value| Figure {
        at: at(&[("frequency_hz", frequency_hz)]),
        ..figure("thd", value, 0.001)
    };
    let measurement = measured(vec![band(20.0, 63.0, 24.1, 0.5), tone(1000.0, 0.1)]);
    let before = baseline(vec![
        band(63.0, 125.0, 24.1, 9.0),
        band(20.0, 63.0, 60.0, 0.4),
        tone(100.0, 9.0),
        tone(1000.0, 0.1),
    ]);
    let limits = [at_most_moved("deviation", 1.0), at_most_moved("thd", 0.1)];
    let verdict = judge(&limits, &measurement, Some(&before)).unwrap();
    let before: Vec<_> = verdict
        .judgements
        .iter()
        .map(|j| j.baseline_value)
        .collect();
    assert_eq!(
        (verdict.outcome(), before),
        (Pass, vec![Some(0.4), Some(0.1)])
    );
    let text = &verdict.judgements[0].text;
    assert!(
        text.starts_with("Deviation from 20 Hz to 63 Hz at 24.1 Hz has moved"),
        "{text}"
    );
}
