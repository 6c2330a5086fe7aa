//! The likely causes of what is wrong, each in a sentence with what to do about it.
//!
//! A rule looks at a measurement with its verdict, and at the baseline where there is one, and
//! says what it sees or nothing. The causes are common practice of the trade, no source; what
//! each rule relies on stands beside it.

mod rules;

use goodwire_proto::v1::{
    Figure, Finding, Judgement, Measurement, measurement::State, verdict::Outcome,
};

use super::{
    drift::setup_differences,
    interval::{Interval, Standing},
    place,
};

/// What the rules look at.
struct Evidence<'a> {
    measurement: &'a Measurement,
    /// The baseline, where it was made with the same setup.
    baseline: Option<&'a Measurement>,
    /// Setup keys that differ from the baseline's.
    setup_differences: Vec<String>,
}

/// Says what it sees, or nothing.
type Rule = fn(&Evidence<'_>) -> Option<Finding>;

const RULES: [Rule; 12] = [
    rules::no_signal,
    rules::other_setup,
    rules::polarity_swapped,
    rules::return_knob,
    rules::transmitter_gain,
    rules::clips_early,
    rules::reference_distorts,
    rules::link_distorts,
    rules::high_end_lost,
    rules::low_end_lost,
    rules::latency_moved,
    rules::resynchronises,
];

/// Says what is likely wrong, and what to do about it. `measurement` has ended and been judged;
/// `baseline` is the one of its link and analysis, where one is set.
#[must_use]
pub fn findings(measurement: &Measurement, baseline: Option<&Measurement>) -> Vec<Finding> {
    if measurement.is_match {
        return Vec::new();
    }
    let baseline = baseline.filter(|baseline| baseline.name != measurement.name);
    let setup_differences = baseline
        .map(|baseline| setup_differences([measurement, baseline]))
        .unwrap_or_default();
    let baseline = baseline.filter(|_| setup_differences.is_empty());
    let evidence = Evidence {
        measurement,
        baseline,
        setup_differences,
    };
    RULES.iter().filter_map(|rule| rule(&evidence)).collect()
}

impl<'a> Evidence<'a> {
    fn figure(&self, id: &str) -> Option<&'a Figure> {
        let succeeded = self.measurement.state() == State::Succeeded;
        self.measurement
            .figures
            .iter()
            .find(|figure| succeeded && figure.id == id)
    }

    fn value(&self, id: &str) -> Option<f64> {
        self.figure(id).and_then(|figure| figure.value)
    }

    /// The change of a figure from the baseline's.
    fn change(&self, id: &str) -> Option<Interval> {
        let figure = self.figure(id)?;
        let before = place::counterpart(figure, &self.baseline?.figures)?;
        Some(Interval::of(figure)?.change_from(&Interval::of(before)?))
    }

    /// The change of a figure, where it is beyond ± `step` with all its uncertainty.
    fn moved(&self, id: &str, step: f64) -> Option<f64> {
        let change = self.change(id)?;
        let beyond = change.against(Some(-step), Some(step)) == Standing::Outside;
        beyond.then_some(change.value)
    }

    /// True where the figure is within ± `step` of the baseline's, its uncertainty left aside.
    fn stayed(&self, id: &str, step: f64) -> bool {
        self.change(id)
            .is_some_and(|change| change.value.abs() <= step)
    }

    /// The first judgement of that figure that says FAIL, on the side that `is_side` tells from
    /// value, min and max.
    fn fails(
        &self,
        id: &str,
        is_side: fn(f64, Option<f64>, Option<f64>) -> bool,
    ) -> Option<&'a Judgement> {
        self.measurement
            .verdict
            .as_ref()?
            .judgements
            .iter()
            .find(|judgement| {
                judgement.figure == id
                    && judgement.outcome() == Outcome::Fail
                    && judgement
                        .value
                        .is_some_and(|value| is_side(value, judgement.min, judgement.max))
            })
    }

    fn too_low(&self, id: &str) -> Option<&'a Judgement> {
        self.fails(id, |value, min, _| min.is_some_and(|min| value < min))
    }

    fn too_high(&self, id: &str) -> Option<&'a Judgement> {
        self.fails(id, |value, _, max| max.is_some_and(|max| value > max))
    }
}
