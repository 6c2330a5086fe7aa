//! Findings: each rule with what it sees, and with what it must not take for it.

use goodwire_proto::v1::Reason;

use super::*;

/// The ids of what is found, with limits judged first.
fn found(limits: &[LimitConfig], now: &Measurement, before: Option<&Measurement>) -> Vec<String> {
    let verdict = judge(limits, now, before);
    let judged = Measurement {
        verdict,
        ..now.clone()
    };
    findings(&judged, before)
        .into_iter()
        .map(|finding| finding.id)
        .collect()
}

fn level(gain_db: f64, clip_dbfs: f64) -> Vec<Figure> {
    vec![
        figure("gain", gain_db, 0.05),
        figure("clip_point", clip_dbfs, 0.05),
    ]
}

#[test]
fn a_healthy_link_that_is_as_it_was_has_no_finding() {
    let mut figures = level(0.0, -12.0);
    figures.extend([
        figure("polarity", 1.0, 0.0),
        figure("corner_high", 20_000.0, 50.0),
        figure("corner_low", 12.0, 0.5),
        figure("latency", 4.0, 0.001),
        figure("jitter", 0.01, 0.005),
    ]);
    let limits = [within("gain", -3.0, 3.0)];
    assert_eq!(found(&limits, &measured(figures.clone()), None), [""; 0]);
    assert_eq!(
        found(
            &limits,
            &measured(figures.clone()),
            Some(&baseline(figures))
        ),
        [""; 0]
    );
}

#[test]
fn silence_at_the_return_is_found_by_its_reason_alone() {
    let mut measurement = measured(Vec::new());
    measurement.set_state(State::Failed);
    measurement.reason = Some(Reason {
        id: "no-signal".to_owned(),
        text: String::new(),
    });
    assert_eq!(found(&[], &measurement, None), ["nothing-at-the-return"]);
    measurement.reason = Some(Reason {
        id: "hold".to_owned(),
        text: String::new(),
    });
    assert_eq!(found(&[], &measurement, None), [""; 0]);
}

#[test]
fn a_polarity_of_minus_1_is_found_unless_the_baseline_had_it_too() {
    let swapped = vec![figure("polarity", -1.0, 0.0)];
    let right = vec![figure("polarity", 1.0, 0.0)];
    assert_eq!(
        found(&[], &measured(swapped.clone()), None),
        ["polarity-swapped"]
    );
    let before = baseline(right);
    assert_eq!(
        found(&[], &measured(swapped.clone()), Some(&before)),
        ["polarity-swapped"]
    );
    assert_eq!(
        found(&[], &measured(swapped.clone()), Some(&baseline(swapped))),
        [""; 0]
    );
}

#[test]
fn six_db_more_gain_with_the_clip_point_where_it_was_is_the_return_knob() {
    let before = baseline(level(0.0, -12.0));
    assert_eq!(
        found(&[], &measured(level(6.0, -12.1)), Some(&before)),
        ["return-knob"]
    );
    assert_eq!(
        found(&[], &measured(level(0.5, -12.0)), Some(&before)),
        [""; 0]
    );
}

#[test]
fn ten_db_more_gain_and_a_clip_point_10_db_lower_is_the_transmitters_gain() {
    let before = baseline(level(0.0, -12.0));
    assert_eq!(
        found(&[], &measured(level(10.0, -22.0)), Some(&before)),
        ["transmitter-gain"]
    );
    assert_eq!(
        found(&[], &measured(level(-10.0, -2.0)), Some(&before)),
        ["transmitter-gain"]
    );
}

#[test]
fn too_much_gain_and_a_clip_point_too_low_are_the_transmitters_gain_without_a_baseline_too() {
    let limits = [
        within("gain", -2.0, 2.0),
        LimitConfig {
            min: Some(-12.0),
            ..limit("clip_point")
        },
    ];
    assert_eq!(
        found(&limits, &measured(level(14.0, -24.0)), None),
        ["transmitter-gain"]
    );
    assert_eq!(
        found(&limits, &measured(level(14.0, -6.0)), None),
        ["return-knob"]
    );
    assert_eq!(
        found(&limits, &measured(level(-14.0, -6.0)), None),
        ["return-knob"]
    );
    assert_eq!(
        found(&limits, &measured(level(0.0, -24.0)), None),
        ["clips-early"]
    );
}

#[test]
fn a_gain_that_moved_within_its_uncertainty_is_no_finding() {
    let before = baseline(vec![figure("gain", 0.0, 0.1)]);
    let unsure = measured(vec![figure("gain", 1.5, 0.5)]);
    assert_eq!(found(&[], &unsure, Some(&before)), [""; 0]);
}

#[test]
fn a_clip_point_below_its_limit_or_lower_than_it_was_clips_early() {
    let limits = [LimitConfig {
        min: Some(-15.0),
        ..limit("clip_point")
    }];
    assert_eq!(
        found(&limits, &measured(level(0.0, -20.0)), None),
        ["clips-early"]
    );
    let before = baseline(level(0.0, -12.0));
    assert_eq!(
        found(&[], &measured(level(0.0, -20.0)), Some(&before)),
        ["clips-early"]
    );
    assert_eq!(
        found(&[], &measured(level(0.0, -4.0)), Some(&before)),
        [""; 0],
        "8 dB better"
    );
}

#[test]
fn distortion_that_the_cable_shows_too_is_the_interfaces() {
    let tone = |id, value| Figure {
        at: at(&[("frequency_hz", 1000.0)]),
        ..figure(id, value, 0.001)
    };
    let limits = [LimitConfig {
        max: Some(0.5),
        ..limit("thd")
    }];
    let pair =
        |link, reference| measured(vec![tone("thd", link), tone("reference_thd", reference)]);
    assert_eq!(
        found(&limits, &pair(1.0, 1.1), None),
        ["reference-distorts"]
    );
    assert_eq!(found(&limits, &pair(1.0, 0.1), None), ["link-distorts"]);
    assert_eq!(
        found(&limits, &pair(0.1, 0.2), None),
        [""; 0],
        "the limit is kept"
    );
}

#[test]
fn a_high_corner_that_came_down_or_breaks_its_limit_is_a_lost_high_end() {
    let corner = |hz| vec![figure("corner_high", hz, 20.0)];
    let limits = [LimitConfig {
        min: Some(15_000.0),
        ..limit("corner_high")
    }];
    assert_eq!(
        found(&limits, &measured(corner(7_000.0)), None),
        ["high-end-lost"]
    );
    let before = baseline(corner(20_000.0));
    assert_eq!(
        found(&[], &measured(corner(16_000.0)), Some(&before)),
        ["high-end-lost"]
    );
    assert_eq!(
        found(&[], &measured(corner(19_000.0)), Some(&before)),
        [""; 0],
        "5 %"
    );
    assert_eq!(
        found(&[], &measured(corner(24_000.0)), Some(&before)),
        [""; 0],
        "better"
    );
}

#[test]
fn a_low_corner_that_went_up_or_breaks_its_limit_is_a_lost_low_end() {
    let corner = |hz| vec![figure("corner_low", hz, 0.5)];
    let limits = [LimitConfig {
        max: Some(60.0),
        ..limit("corner_low")
    }];
    assert_eq!(
        found(&limits, &measured(corner(120.0)), None),
        ["low-end-lost"]
    );
    let before = baseline(corner(20.0));
    assert_eq!(
        found(&[], &measured(corner(80.0)), Some(&before)),
        ["low-end-lost"]
    );
    assert_eq!(
        found(&[], &measured(corner(10.0)), Some(&before)),
        [""; 0],
        "better"
    );
}

#[test]
fn a_latency_that_moved_by_16_ms_is_another_mode() {
    let latency = |ms| vec![figure("latency", ms, 0.001)];
    let before = baseline(latency(4.0));
    assert_eq!(
        found(&[], &measured(latency(20.0)), Some(&before)),
        ["latency-moved"]
    );
    assert_eq!(found(&[], &measured(latency(4.3)), Some(&before)), [""; 0]);
}

#[test]
fn a_latency_that_differs_by_2_ms_between_repeats_resynchronises() {
    assert_eq!(
        found(&[], &measured(vec![figure("jitter", 2.0, 0.01)]), None),
        ["resynchronises"]
    );
    assert_eq!(
        found(&[], &measured(vec![figure("jitter", 0.6, 0.1)]), None),
        [""; 0]
    );
}

#[test]
fn a_baseline_of_another_setup_is_the_only_thing_found_against_it() {
    let mut before = baseline(level(0.0, -12.0));
    before.setup.insert("gain".to_owned(), "0".to_owned());
    let ids = found(&[], &measured(level(10.0, -22.0)), Some(&before));
    assert_eq!(ids, ["setup-changed"]);
}

#[test]
fn nothing_is_found_about_a_match() {
    let cable = Measurement {
        is_match: true,
        ..measured(vec![figure("polarity", -1.0, 0.0)])
    };
    assert_eq!(findings(&cable, None), []);
}
