//! The judge: holds a measurement against limits and its baseline, looks for the likely causes of
//! what is wrong, and puts measurements side by side. It reads nothing but its arguments.
//!
//! Uncertainty is counted with coverage 2: a figure lies somewhere in value ± 2 uncertainties, or
//! from `low` to `high` where the figure has those. A limit that lies inside that interval cannot
//! be told to be kept or broken: the outcome is UNMEASURED.

mod compare;
pub(crate) mod curve;
pub(crate) mod drift;
mod findings;
mod heading;
pub(crate) mod interval;
mod limit;
mod line;
pub(crate) mod place;
mod trend;
pub(crate) mod words;

#[cfg(test)]
mod tests;

use goodwire_proto::v1::{
    Curve, Judgement, Measurement, Verdict,
    measurement::State,
    verdict::Outcome::{self, Drift, Fail, Pass, Unmeasured, Unspecified},
};

use crate::config::{CurveLimit, GroupConfig, LimitConfig};

pub use compare::compare;
pub use findings::{Seen, findings, run_findings};
pub use heading::{limited, trend_finding, trend_in_words};
pub use place::asked as asked_place;
pub use trend::{Crossing, Night, Trend};

/// Says what the limits and the baseline say of a measurement that has ended.
///
/// `limits` are those of the whole configuration: the judge takes what is meant for the
/// measurement's link and analysis, a limit of the link and one of every link alike. `baseline` is
/// the one of the same link and analysis, where one is set.
///
/// `None` where no limit says anything: the measurement has not ended, is itself a match, belongs
/// to no link, no limit is meant for it, or the only ones are drift limits and no baseline is set.
#[must_use]
pub fn judge(
    limits: &[LimitConfig],
    measurement: &Measurement,
    baseline: Option<&Measurement>,
) -> Option<Verdict> {
    let has_ended = matches!(
        measurement.state(),
        State::Succeeded | State::Failed | State::Cancelled
    );
    let baseline = baseline.filter(|baseline| baseline.name != measurement.name);
    let judgements: Vec<Judgement> = limits
        .iter()
        .filter(|limit| has_ended && !measurement.is_match && applies(limit, measurement))
        .filter(|limit| limit::says_something(limit, baseline))
        .flat_map(|limit| limit::judgements(limit, measurement, baseline))
        .collect();
    let outcome = judgements.iter().map(Judgement::outcome).reduce(worse)?;
    Some(Verdict {
        outcome: outcome.into(),
        judgements,
    })
}

/// The limits of curves that are meant for a measurement, each with the curve.
pub(crate) fn masked<'a>(
    limits: &'a [LimitConfig],
    measurement: &'a Measurement,
) -> Vec<(&'a CurveLimit, &'a Curve)> {
    let meant = limits.iter().filter(|limit| applies(limit, measurement));
    let meant = meant.filter_map(|limit| Some((limit, limit.curve.as_ref()?)));
    let pairs = meant.flat_map(|(limit, wanted)| {
        let curves = measurement.curves.iter();
        let found = curves.filter(move |curve| {
            curve.id == wanted.id && place::agrees(curve.at.as_ref(), &limit.at)
        });
        found.map(move |curve| (wanted, curve))
    });
    pairs.collect()
}

fn applies(limit: &LimitConfig, measurement: &Measurement) -> bool {
    let link = measurement
        .link
        .strip_prefix("links/")
        .unwrap_or(&measurement.link);
    let group_has = |group: &GroupConfig| group.links.iter().any(|name| name == link);
    limit.analysis == measurement.analysis
        && !link.is_empty()
        && limit.link.as_ref().is_none_or(|name| name == link)
        && limit.group.as_ref().is_none_or(group_has)
}

/// The worse of two outcomes: FAIL over UNMEASURED over DRIFT over PASS.
#[must_use]
pub fn worse(a: Outcome, b: Outcome) -> Outcome {
    let rank = |outcome| match outcome {
        Unspecified => 0,
        Pass => 1,
        Drift => 2,
        Unmeasured => 3,
        Fail => 4,
    };
    if rank(a) >= rank(b) { a } else { b }
}
