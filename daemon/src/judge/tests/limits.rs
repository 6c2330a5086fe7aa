//! `min` and `max`, and which figures a limit is meant for.

use goodwire_proto::v1::{Note, Reason};

use super::*;

#[test]
fn minus_0_42_with_uncertainty_0_01_is_within_3_db() {
    let verdict = verdict(within("gain", -3.0, 3.0), figure("gain", -0.42, 0.01));
    assert_eq!(verdict.outcome(), Pass);
    assert_eq!(
        sentence(&verdict),
        "Gain is -0.420 ± 0.020 dB; allowed is -3 to 3 dB."
    );
}

#[test]
fn values_beyond_a_limit_by_more_than_2_uncertainties_fail() {
    let low = verdict(within("gain", -3.0, 3.0), figure("gain", -3.5, 0.2));
    assert_eq!(low.outcome(), Fail);
    assert_eq!(
        sentence(&low),
        "Gain is -3.50 ± 0.40 dB, below the limit of -3 dB."
    );
    let high = verdict(within("gain", -3.0, 3.0), figure("gain", 12.0, 2.0));
    assert_eq!(high.outcome(), Fail);
    assert_eq!(
        sentence(&high),
        "Gain is 12.0 ± 4.0 dB, above the limit of 3 dB."
    );
}

#[test]
fn a_limit_inside_value_plus_minus_2_uncertainties_cannot_be_told() {
    for value in [2.7, 3.0, 3.3] {
        let verdict = verdict(within("gain", -3.0, 3.0), figure("gain", value, 0.2));
        assert_eq!(verdict.outcome(), Unmeasured, "{value} dB");
        assert!(
            sentence(&verdict).contains("too uncertain to tell"),
            "{verdict:?}"
        );
    }
    // The interval ends exactly at the limit: all of it is allowed.
    assert_eq!(
        verdict(within("gain", -3.0, 3.0), figure("gain", 2.5, 0.25)).outcome(),
        Pass
    );
}

#[test]
fn an_interval_wider_than_what_is_allowed_cannot_be_told_even_about_its_middle() {
    assert_eq!(
        verdict(within("gain", -1.0, 1.0), figure("gain", 0.0, 0.6)).outcome(),
        Unmeasured
    );
}

#[test]
fn low_and_high_count_before_the_uncertainty() {
    let asymmetric = |low, high| Figure {
        low: Some(low),
        high: Some(high),
        unit: String::new(),
        ..figure("dropouts", 3.0, 100.0)
    };
    let limit = LimitConfig {
        max: Some(7.0),
        ..limit("dropouts")
    };
    let pass = verdict(limit.clone(), asymmetric(0.6, 6.8));
    assert_eq!(pass.outcome(), Pass);
    assert_eq!(
        sentence(&pass),
        "Dropouts is 3.0 (0.6 to 6.8); allowed is at most 7."
    );
    assert_eq!(verdict(limit, asymmetric(0.6, 7.2)).outcome(), Unmeasured);
}

#[test]
fn a_figure_that_is_at_least_so_much_passes_a_minimum_below_it_and_no_more_can_be_told() {
    let still_running = Figure {
        uncertainty: None,
        low: Some(7_200.0),
        unit: "s".to_owned(),
        ..figure("run_time", 7_200.0, 0.0)
    };
    let judged = |min, max| {
        let limit = LimitConfig {
            min,
            max,
            ..limit("run_time")
        };
        verdict(limit, still_running.clone())
    };
    assert_eq!(judged(Some(7_000.0), None).outcome(), Pass);
    assert_eq!(judged(None, Some(9_000.0)).outcome(), Unmeasured);
    assert_eq!(judged(None, Some(7_000.0)).outcome(), Fail);
    let unknown = judged(Some(14_400.0), None);
    assert_eq!(unknown.outcome(), Unmeasured);
    assert_eq!(
        sentence(&unknown),
        "Run time is at least 7200 s: too uncertain to tell; allowed is at least 14400 s."
    );
}

#[test]
fn a_figure_without_uncertainty_is_exact_and_may_equal_its_limit() {
    let count = |value| Figure {
        uncertainty: None,
        ..figure("polarity", value, 0.0)
    };
    let limit = LimitConfig {
        min: Some(1.0),
        ..limit("polarity")
    };
    assert_eq!(verdict(limit.clone(), count(1.0)).outcome(), Pass);
    assert_eq!(verdict(limit, count(-1.0)).outcome(), Fail);
}

#[test]
fn an_absent_figure_is_unmeasured_with_the_note_that_says_why() {
    let mut measurement = measured(vec![figure("gain", 0.0, 0.1)]);
    let limits = [LimitConfig {
        min: Some(-20.0),
        ..limit("clip_point")
    }];
    let verdict = judge(&limits, &measurement, None).unwrap();
    assert_eq!(verdict.outcome(), Unmeasured);
    assert_eq!(sentence(&verdict), "Clip point could not be had.");
    measurement.notes.push(Note {
        id: "no-clip-point".to_owned(),
        text: "The link did not clip up to -10 dBFS.".to_owned(),
        ..Default::default()
    });
    let verdict = judge(&limits, &measurement, None).unwrap();
    assert!(
        sentence(&verdict).ends_with("did not clip up to -10 dBFS."),
        "{verdict:?}"
    );
}

#[test]
fn a_value_that_is_not_a_number_counts_as_absent() {
    for value in [f64::NAN, f64::INFINITY] {
        let verdict = verdict(within("gain", -3.0, 3.0), figure("gain", value, 0.1));
        assert_eq!(verdict.outcome(), Unmeasured);
    }
    let unsure = verdict(
        within("gain", -3.0, 3.0),
        figure("gain", 0.0, f64::INFINITY),
    );
    assert_eq!(unsure.outcome(), Unmeasured);
}

#[test]
fn what_failed_or_was_cancelled_is_unmeasured_with_its_reason() {
    let mut measurement = measured(vec![figure("gain", 0.0, 0.1)]);
    measurement.set_state(State::Failed);
    let text = "Somebody plays in the room.".to_owned();
    measurement.reason = Some(Reason {
        id: "room-in-use".to_owned(),
        text,
        ..Default::default()
    });
    let limits = [within("gain", -3.0, 3.0)];
    let verdict = judge(&limits, &measurement, None).unwrap();
    assert_eq!(verdict.outcome(), Unmeasured);
    assert_eq!(
        sentence(&verdict),
        "The measurement failed: Somebody plays in the room."
    );
    measurement.set_state(State::Cancelled);
    assert_eq!(
        judge(&limits, &measurement, None).unwrap().outcome(),
        Unmeasured
    );
}

#[test]
fn at_chooses_the_figures_that_agree_on_every_given_key() {
    let band = |from_hz, to_hz, value| Figure {
        at: at(&[
            ("from_hz", from_hz),
            ("to_hz", to_hz),
            ("frequency_hz", 200.0),
        ]),
        ..figure("deviation", value, 0.1)
    };
    let measurement = measured(vec![band(125.0, 250.0, 9.0), band(250.0, 500.0, 0.0)]);
    let mut limit = within("deviation", -3.0, 3.0);
    let outcomes = |limit: &LimitConfig| -> Vec<Outcome> {
        let verdict = judge(std::slice::from_ref(limit), &measurement, None).unwrap();
        verdict
            .judgements
            .iter()
            .map(goodwire_proto::v1::Judgement::outcome)
            .collect()
    };
    assert_eq!(
        outcomes(&limit),
        [Fail, Pass],
        "without `at`, all figures of the id"
    );
    limit
        .at
        .insert("from_hz".to_owned(), AtValue::Number(250.0 * (1.0 + 1e-12)));
    assert_eq!(outcomes(&limit), [Pass]);
    limit.at.insert("to_hz".to_owned(), AtValue::Number(250.0));
    assert_eq!(
        outcomes(&limit),
        [Unmeasured],
        "no figure from 250 to 250 Hz"
    );
    let verdict = judge(&[limit], &measurement, None).unwrap();
    assert_eq!(
        sentence(&verdict),
        "Deviation from 250 Hz to 250 Hz could not be had."
    );
}

#[test]
fn at_may_name_a_link_and_a_number_is_no_name() {
    let text = Value {
        kind: Some(Kind::StringValue("drum-riser".to_owned())),
    };
    let heard = Figure {
        at: Some(Struct {
            fields: [("link".to_owned(), text)].into(),
        }),
        ..figure("crosstalk", -90.0, 0.1)
    };
    let mut limit = LimitConfig {
        max: Some(-60.0),
        ..limit("crosstalk")
    };
    limit
        .at
        .insert("link".to_owned(), AtValue::Text("drum-riser".to_owned()));
    assert_eq!(verdict(limit.clone(), heard.clone()).outcome(), Pass);
    limit.at.insert("link".to_owned(), AtValue::Number(1.0));
    assert_eq!(verdict(limit, heard).outcome(), Unmeasured);
}

#[test]
fn a_limit_of_the_link_and_one_of_every_link_both_apply() {
    let measurement = measured(vec![figure("gain", 2.0, 0.1)]);
    let own = LimitConfig {
        link: Some("lectern".to_owned()),
        ..within("gain", -1.0, 1.0)
    };
    let verdict = judge(
        &[within("gain", -3.0, 3.0), own.clone()],
        &measurement,
        None,
    )
    .unwrap();
    let outcomes: Vec<_> = verdict.judgements.iter().map(Judgement::outcome).collect();
    assert_eq!((outcomes, verdict.outcome()), (vec![Pass, Fail], Fail));
    let other = LimitConfig {
        link: Some("drum-riser".to_owned()),
        ..own
    };
    assert_eq!(judge(&[other], &measurement, None), None);
}

#[test]
fn no_verdict_where_no_limit_is_meant() {
    let limits = [within("gain", -3.0, 3.0)];
    let measurement = measured(vec![figure("gain", 0.0, 0.1)]);
    assert!(judge(&limits, &measurement, None).is_some());
    assert_eq!(judge(&[], &measurement, None), None);
    for other in [
        Measurement {
            analysis: "level".to_owned(),
            ..measurement.clone()
        },
        Measurement {
            link: String::new(),
            ..measurement.clone()
        },
        Measurement {
            is_match: true,
            ..measurement.clone()
        },
        Measurement {
            state: State::Running.into(),
            ..measurement.clone()
        },
    ] {
        assert_eq!(judge(&limits, &other, None), None, "{other:?}");
    }
}

#[test]
fn every_outcome_is_worse_than_those_after_it() {
    let order = [Fail, Unmeasured, Drift, Pass, Unspecified];
    for (index, a) in order.into_iter().enumerate() {
        for b in order.into_iter().skip(index) {
            assert_eq!((worse(a, b), worse(b, a)), (a, a));
        }
    }
}

#[test]
fn a_judgement_carries_the_numbers_it_was_made_of() {
    let verdict = verdict(within("gain", -3.0, 3.0), figure("gain", -0.42, 0.01));
    let judgement = &verdict.judgements[0];
    assert_eq!(
        (judgement.value, judgement.uncertainty),
        (Some(-0.42), Some(0.01))
    );
    assert_eq!((judgement.min, judgement.max), (Some(-3.0), Some(3.0)));
    assert_eq!((judgement.drift, judgement.baseline_value), (None, None));
    assert_eq!(
        (judgement.figure.as_str(), judgement.unit.as_str()),
        ("gain", "dB")
    );
}

#[test]
fn a_limit_reads_the_same_in_the_api() {
    let mut config = LimitConfig {
        link: Some("lectern".to_owned()),
        ..within("gain", -3.0, 3.0)
    };
    config
        .at
        .insert("from_hz".to_owned(), AtValue::Number(125.0));
    let limit = goodwire_proto::v1::Limit::from(&config);
    assert_eq!(
        (limit.link.as_str(), limit.min, limit.drift),
        ("links/lectern", Some(-3.0), None)
    );
    assert_eq!(limit.at, at(&[("from_hz", 125.0)]));
    let general = goodwire_proto::v1::Limit::from(&within("gain", -3.0, 3.0));
    assert_eq!((general.link.as_str(), general.at), ("", None));
}

#[test]
fn a_link_that_did_not_clip_up_to_0_dbfs_keeps_a_least_clip_point_of_minus_12_but_not_of_plus_6() {
    let at_least = |min| LimitConfig {
        min: Some(min),
        ..limit("clip_point")
    };
    let told = |min| verdict(at_least(min), figure("unclipped_to", 0.0, 0.0)).outcome();
    assert_eq!(told(-12.0), Pass);
    assert_eq!(told(6.0), Unmeasured);
    let bounded = verdict(
        within("clip_point", -12.0, 3.0),
        figure("unclipped_to", 0.0, 0.0),
    );
    assert_eq!(bounded.outcome(), Unmeasured);
}
