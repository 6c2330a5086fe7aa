//! A run as JUnit XML, which build servers and dashboards read: a suite a link, a case a check.
//!
//! There is no formal standard of it; what is written is what the crate `quick-junit` writes.

use anyhow::Context;
use goodwire_proto::v1::{Run, RunCheck, verdict::Outcome};
use quick_junit::{NonSuccessKind, Property, Report, TestCase, TestCaseStatus, TestSuite};

/// The document. A check whose limits are broken, or that has moved from its baseline, is a
/// failure; one that could not be measured is an error; an excused link is skipped.
///
/// # Errors
/// Where it cannot be written as XML.
pub fn document(run: &Run) -> anyhow::Result<String> {
    let round = bare(&run.round);
    let mut report = Report::new(round);
    for checks in run.checks.chunk_by(|a, b| a.link == b.link) {
        let link = bare(&checks[0].link);
        let mut suite = TestSuite::new(link);
        suite.add_property(Property::new("run", run.name.as_str()));
        suite.add_property(Property::new("simulated", run.simulated.to_string()));
        for found in run.findings.iter().filter(|one| bare(&one.link) == link) {
            let finding = found.finding.clone().unwrap_or_default();
            suite.add_property(Property::new(
                format!("finding:{}", finding.id),
                finding.text,
            ));
        }
        suite.add_test_cases(checks.iter().map(|check| case(round, link, check)));
        report.add_test_suite(suite);
    }
    for excuse in &run.excuses {
        let mut status = TestCaseStatus::skipped();
        status.set_message(format!("away: {}", excuse.text));
        let mut suite = TestSuite::new(bare(&excuse.link));
        suite.add_test_case(TestCase::new("all checks", status));
        report.add_test_suite(suite);
    }
    // A run that measured nothing is no success: an empty document would read as one.
    if let Some(reason) = run.reason.as_ref().filter(|_| run.checks.is_empty()) {
        let mut status = TestCaseStatus::non_success(NonSuccessKind::Error);
        status
            .set_type(reason.id.as_str())
            .set_message(reason.text.as_str());
        let mut suite = TestSuite::new(round);
        suite.add_test_case(TestCase::new("the run", status));
        report.add_test_suite(suite);
    }
    report
        .to_string()
        .context("the run cannot be written as XML")
}

fn case(round: &str, link: &str, check: &RunCheck) -> TestCase {
    let status = match check.outcome() {
        Outcome::Pass | Outcome::Unspecified if check.reason.is_none() => TestCaseStatus::success(),
        Outcome::Fail => ill(NonSuccessKind::Failure, "fail", &check.text),
        Outcome::Drift => ill(NonSuccessKind::Failure, "drift", &check.text),
        _ => match &check.reason {
            Some(reason) => ill(NonSuccessKind::Error, &reason.id, &reason.text),
            None => ill(NonSuccessKind::Error, "unmeasured", &check.text),
        },
    };
    let mut case = TestCase::new(check.analysis.as_str(), status);
    case.set_classname(format!("{round}.{link}"));
    case
}

fn ill(kind: NonSuccessKind, id: &str, text: &str) -> TestCaseStatus {
    let mut status = TestCaseStatus::non_success(kind);
    status.set_type(id).set_message(text);
    status
}

fn bare(name: &str) -> &str {
    name.rsplit_once('/').map_or(name, |(_, bare)| bare)
}

#[cfg(test)]
mod tests {
    use super::*;
    use goodwire_proto::v1::{Excuse, Reason};

    fn check(link: &str, outcome: Outcome, text: &str) -> RunCheck {
        RunCheck {
            link: format!("links/{link}"),
            analysis: "latency".into(),
            outcome: outcome.into(),
            text: text.into(),
            ..RunCheck::default()
        }
    }

    #[test]
    fn a_broken_limit_is_a_failure_what_was_not_measured_an_error_what_is_away_skipped() {
        let mut silent = check("riser", Outcome::Unmeasured, "");
        silent.reason = Some(Reason {
            id: "no-signal".into(),
            text: "silent".into(),
            ..Default::default()
        });
        let run = Run {
            name: "runs/7".into(),
            round: "rounds/nightly".into(),
            checks: vec![
                check("lectern", Outcome::Fail, "9 ms <above> 5 ms & \"late\""),
                check("foyer", Outcome::Pass, ""),
                silent,
            ],
            excuses: vec![Excuse {
                link: "links/choir".into(),
                text: "workshop".into(),
                ..Excuse::default()
            }],
            ..Run::default()
        };
        let xml = document(&run).unwrap();
        assert!(
            xml.contains(r#"tests="4" skipped="1" failures="1" errors="1""#),
            "{xml}"
        );
        assert!(
            xml.contains(r#"<failure message="9 ms &lt;above&gt; 5 ms &amp; "#),
            "{xml}"
        );
        assert!(
            xml.contains(r#"<error message="silent" type="no-signal"/>"#),
            "{xml}"
        );
        assert!(xml.contains("<skipped"), "{xml}");
    }

    #[test]
    fn a_run_that_measured_nothing_is_an_error_and_no_empty_success() {
        let run = Run {
            round: "rounds/nightly".into(),
            reason: Some(Reason {
                id: "no-permit".into(),
                text: "nobody said that the room is empty".into(),
                ..Default::default()
            }),
            ..Run::default()
        };
        let xml = document(&run).unwrap();
        assert!(xml.contains(r#"type="no-permit""#), "{xml}");
        assert!(xml.contains(r#"errors="1""#), "{xml}");
    }
}
