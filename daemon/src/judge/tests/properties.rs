//! What holds for all numbers.

use proptest::prelude::*;

use super::*;

fn outcome(limit: &LimitConfig, value: f64, uncertainty: f64) -> Outcome {
    let measurement = measured(vec![figure("gain", value, uncertainty)]);
    judge(std::slice::from_ref(limit), &measurement, None)
        .unwrap()
        .outcome()
}

prop_compose! {
    fn limits()(ends in proptest::array::uniform2(-50.0..50.0f64)) -> LimitConfig {
        within("gain", ends[0].min(ends[1]), ends[0].max(ends[1]))
    }
}

proptest! {
    #[test]
    fn pass_means_that_all_of_the_interval_is_allowed_and_fail_that_nothing_is(
        limit in limits(), value in -60.0..60.0f64, u in 0.0..20.0f64
    ) {
        let (min, max) = (limit.min.unwrap(), limit.max.unwrap());
        let ends = [value - 2.0 * u, value + 2.0 * u];
        let allowed = ends.map(|end| min <= end && end <= max);
        match outcome(&limit, value, u) {
            Pass => prop_assert_eq!(allowed, [true, true]),
            Fail => prop_assert!(ends[1] < min || max < ends[0]),
            Unmeasured => prop_assert!(allowed != [true, true]),
            other => prop_assert!(false, "{:?}", other),
        }
    }

    #[test]
    fn more_uncertainty_never_turns_pass_into_fail_nor_fail_into_pass(
        limit in limits(), value in -60.0..60.0f64, u in 0.0..20.0f64, more in 0.0..20.0f64
    ) {
        let (before, after) = (outcome(&limit, value, u), outcome(&limit, value, u + more));
        prop_assert!(after == before || after == Unmeasured, "{:?} became {:?}", before, after);
    }

    #[test]
    fn a_wider_limit_never_makes_a_pass_anything_else(
        limit in limits(), value in -60.0..60.0f64, u in 0.0..20.0f64, wider in 0.0..20.0f64
    ) {
        let min = limit.min.map(|min| min - wider);
        let max = limit.max.map(|max| max + wider);
        let (before, after) = (outcome(&limit, value, u),
            outcome(&LimitConfig { min, max, ..limit.clone() }, value, u));
        prop_assert!(before != Pass || after == Pass);
        prop_assert!(after != Fail || before == Fail);
    }

    #[test]
    fn a_larger_drift_allowance_never_makes_a_pass_anything_else(
        before in -60.0..60.0f64, now in -60.0..60.0f64, u in 0.0..5.0f64,
        drift in 0.0..20.0f64, more in 0.0..20.0f64
    ) {
        let measurement = measured(vec![figure("gain", now, u)]);
        let before = baseline(vec![figure("gain", before, u)]);
        let at = |drift| {
            let limits = [at_most_moved("gain", drift)];
            judge(&limits, &measurement, Some(&before)).unwrap().outcome()
        };
        let (tight, loose) = (at(drift), at(drift + more));
        prop_assert!(tight != Pass || loose == Pass);
        prop_assert!(loose != Drift || tight == Drift);
        prop_assert!(tight != Fail && loose != Fail, "drift alone never fails");
    }

    #[test]
    fn the_verdict_is_the_worst_of_its_judgements_in_whatever_order(
        values in proptest::collection::vec((-5.0..5.0f64, 0.0..1.0f64), 1..6), seed in 0..5usize
    ) {
        let figures: Vec<_> = values.iter().map(|&(v, u)| figure("gain", v, u)).collect();
        let before = baseline(vec![figure("gain", 0.0, 0.01)]);
        let limits = [
            LimitConfig { drift: Some(1.0), ..within("gain", -3.0, 3.0) },
            within("absent", -3.0, 3.0),
        ];
        let count = 1 + usize::from(seed == 0);
        let judged = judge(&limits[..count], &measured(figures.clone()), Some(&before)).unwrap();
        let found: Vec<_> = judged.judgements.iter().map(Judgement::outcome).collect();
        let worst = [Fail, Unmeasured, Drift, Pass].into_iter().find(|o| found.contains(o));
        prop_assert_eq!(Some(judged.outcome()), worst);
        let mut turned = figures;
        let by = seed % turned.len();
        turned.rotate_left(by);
        let again = judge(&limits[..count], &measured(turned), Some(&before)).unwrap();
        prop_assert_eq!(again.outcome(), judged.outcome());
    }

    #[test]
    fn sentences_come_without_panic_for_all_numbers(
        value in proptest::num::f64::ANY, u in proptest::num::f64::ANY,
        low in proptest::option::of(proptest::num::f64::ANY), min in -1e300..1e300f64
    ) {
        let wild = Figure { low, high: low, ..figure("gain", value, u) };
        let limits = [LimitConfig { min: Some(min), drift: Some(1.0), ..limit("gain") }];
        let before = baseline(vec![figure("gain", 0.0, 0.1)]);
        let judged = judge(&limits, &measured(vec![wild]), Some(&before)).unwrap();
        prop_assert!(!judged.judgements[0].text.is_empty());
    }
}
