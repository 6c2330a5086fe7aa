//! What the measurements of a run come to.

use goodwire_proto::v1::{
    Check, Measurement, Reason, Run, RunCheck, RunFinding, measurement, run::State,
    verdict::Outcome,
};

use crate::{config::CheckConfig, judge, measure::job::bare};

/// Adds an ended measurement to a run.
pub(super) fn add(run: &mut Run, measurement: &Measurement) {
    let has_succeeded = measurement.state() == measurement::State::Succeeded;
    let verdict = measurement.verdict.as_ref();
    let outcome = match verdict.map(|verdict| verdict.outcome()) {
        Some(outcome) => outcome,
        None if has_succeeded => Outcome::Unspecified,
        None => Outcome::Unmeasured,
    };
    run.checks.push(RunCheck {
        link: measurement.link.clone(),
        analysis: measurement.analysis.clone(),
        measurement: measurement.name.clone(),
        state: measurement.state,
        outcome: outcome.into(),
        reason: measurement.reason.clone(),
        text: worst_of(measurement, outcome),
    });
    for finding in &measurement.findings {
        let found = RunFinding {
            link: measurement.link.clone(),
            finding: Some(finding.clone()),
        };
        let is_known = |known: &RunFinding| {
            let id = |one: &RunFinding| one.finding.as_ref().map(|finding| finding.id.clone());
            known.link == found.link && id(known) == id(&found)
        };
        if !run.findings.iter().any(is_known) {
            run.findings.push(found);
        }
    }
}

/// The first of the judgements that are worst; empty where all is well.
fn worst_of(measurement: &Measurement, outcome: Outcome) -> String {
    let verdict = measurement.verdict.iter();
    let worst = verdict
        .flat_map(|verdict| &verdict.judgements)
        .filter(|_| outcome != Outcome::Pass)
        .find(|judgement| judgement.outcome() == outcome);
    worst
        .map(|judgement| judgement.text.clone())
        .unwrap_or_default()
}

/// What is said of a check that was refused.
pub(super) fn refused(link: &str, check: &CheckConfig, text: &str) -> RunCheck {
    RunCheck {
        link: format!("links/{link}"),
        analysis: check.analysis.clone(),
        state: measurement::State::Failed.into(),
        outcome: Outcome::Unmeasured.into(),
        reason: Some(Reason {
            id: "refused".into(),
            text: text.to_owned(),
            ..Reason::default()
        }),
        ..RunCheck::default()
    }
}

/// Why nothing may be played, as the reason of a run.
pub(super) fn forbidden(reason: &str, text: String) -> Reason {
    let id = match reason {
        "HOLD" => "hold",
        "PERMIT_REQUIRED" => "no-permit",
        "PRESENCE_REQUIRED" => "nobody-present",
        _ => "not-permitted",
    };
    Reason {
        id: id.into(),
        text,
        ..Reason::default()
    }
}

/// Puts the checks in order and says how it all went.
pub(super) fn conclude(run: &mut Run, links: &[String], checks: &[CheckConfig]) {
    let place = |check: &RunCheck| {
        let link = links.iter().position(|link| link == bare(&check.link));
        let analysis = checks.iter().position(|one| one.analysis == check.analysis);
        (link, analysis)
    };
    run.checks.sort_by_key(place);
    let worst = run
        .checks
        .iter()
        .map(RunCheck::outcome)
        .reduce(judge::worse);
    let mut outcome = worst.unwrap_or_default();
    if run.reason.is_some() {
        outcome = judge::worse(outcome, Outcome::Unmeasured);
    }
    run.set_outcome(outcome);
    run.set_state(State::Ended);
}

/// A check as the API has it.
pub(super) fn check_of(check: &CheckConfig) -> Check {
    Check {
        analysis: check.analysis.clone(),
        parameters: Some(check.parameters.clone()),
    }
}
