//! What a run says, as a message that a person reads on a telephone.

use std::fmt::Write;

use goodwire_proto::v1::{Run, RunCheck, run::State, verdict::Outcome};

use crate::{judge, measure::job::bare};

/// The message of a run: its first line says all that must be known. `recovered` are the links
/// that need no attention any more.
#[must_use]
pub fn message(site: &str, run: &Run, recovered: &[String]) -> String {
    let mut text = format!("{site}: {}\n", headline(run, recovered));
    if let Some(reason) = &run.reason {
        line(&mut text, &format!("{}: {}", reason.id, reason.text));
    }
    let links = links_of(run);
    for link in &links {
        if needs_attention(outcome_of(run, link)) {
            text.push('\n');
            tell_link(&mut text, run, link);
        }
    }
    text.push('\n');
    if !recovered.is_empty() {
        line(&mut text, &format!("Recovered: {}.", recovered.join(", ")));
    }
    let is_well = |link: &&&str| !needs_attention(outcome_of(run, link));
    let well: Vec<&str> = links.iter().filter(is_well).copied().collect();
    if !well.is_empty() {
        line(
            &mut text,
            &format!("Nothing to be done: {}.", well.join(", ")),
        );
    }
    for excuse in &run.excuses {
        line(&mut text, &format!("Away: {}.", bare(&excuse.link)));
    }
    line(
        &mut text,
        &format!("More: goodwire rounds show {}", bare(&run.name)),
    );
    text
}

/// All that must be known, in a line: `nightly FAIL, 1 of 3 links needs attention, 1 recovered`.
#[must_use]
pub fn headline(run: &Run, recovered: &[String]) -> String {
    let round = bare(&run.round);
    if run.state() == State::Missed {
        let due = run.due_time.as_ref().map(ToString::to_string);
        return format!("{round} MISSED, it was due {}", due.unwrap_or_default());
    }
    if is_interrupted(run) {
        let word = word(run.outcome());
        return format!("{round} {word}, it was interrupted before its end");
    }
    let links = links_of(run);
    let bad = links
        .iter()
        .filter(|link| needs_attention(outcome_of(run, link)));
    let simulated = if run.simulated { " (simulated)" } else { "" };
    let count = match (bad.count(), links.len()) {
        (_, 0) => "nothing was measured".to_owned(),
        (0, 1) => "1 link checked, it needs no attention".to_owned(),
        (0, all) => format!("{all} links checked, none needs attention"),
        (1, all) => format!("1 of {all} links needs attention"),
        (bad, all) => format!("{bad} of {all} links need attention"),
    };
    let recovered = match recovered.len() {
        0 => String::new(),
        count => format!(", {count} recovered"),
    };
    let word = word(run.outcome());
    format!("{round} {word}, {count}{recovered}{simulated}")
}

/// Whether the daemon ended before the run did.
pub(super) fn is_interrupted(run: &Run) -> bool {
    let mut reason = run.reason.iter();
    reason.any(|reason| reason.id == "interrupted")
}

/// What is wrong with a link, and what to do about it.
fn tell_link(text: &mut String, run: &Run, link: &str) {
    line(text, &format!("{link}: {}", word(outcome_of(run, link))));
    for check in checks_of(run, link).filter(|check| needs_attention(check.outcome())) {
        line(text, &format!("  {}: {}", check.analysis, why(check)));
    }
    for found in run.findings.iter().filter(|one| bare(&one.link) == link) {
        let finding = found.finding.as_ref();
        let likely = finding.map_or("", |finding| finding.text.as_str());
        line(text, &format!("  Likely: {likely}"));
    }
}

/// Names of the links that were checked, each once, in the run's order.
pub(super) fn links_of(run: &Run) -> Vec<&str> {
    let mut links: Vec<&str> = run.checks.iter().map(|check| bare(&check.link)).collect();
    links.dedup();
    links
}

pub(super) fn checks_of<'a>(run: &'a Run, link: &'a str) -> impl Iterator<Item = &'a RunCheck> {
    let checks = run.checks.iter();
    checks.filter(move |check| bare(&check.link) == link)
}

pub(super) fn outcome_of(run: &Run, link: &str) -> Outcome {
    let outcomes = checks_of(run, link).map(RunCheck::outcome);
    outcomes.reduce(judge::worse).unwrap_or_default()
}

pub(super) fn needs_attention(outcome: Outcome) -> bool {
    !matches!(outcome, Outcome::Pass | Outcome::Unspecified)
}

fn why(check: &RunCheck) -> &str {
    let reason = check.reason.as_ref();
    reason.map_or(check.text.as_str(), |reason| reason.text.as_str())
}

/// An outcome in a word, as it is everywhere.
fn word(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Unspecified => "ENDED",
        Outcome::Pass => "PASS",
        Outcome::Drift => "DRIFT",
        Outcome::Fail => "FAIL",
        Outcome::Unmeasured => "UNMEASURED",
    }
}

fn line(text: &mut String, line: &str) {
    writeln!(text, "{}", line.trim_end()).expect("writing to a string does not fail");
}

#[cfg(test)]
mod tests {
    use super::*;
    use goodwire_proto::v1::{Finding, RunFinding};

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
    fn a_message_says_first_what_must_be_known_then_why_and_what_to_do() {
        let late = "Latency is 9 ms, above the limit of 5 ms.";
        let run = Run {
            name: "runs/7".into(),
            round: "rounds/nightly".into(),
            state: State::Ended.into(),
            outcome: Outcome::Fail.into(),
            checks: vec![
                check("lectern", Outcome::Fail, late),
                check("foyer", Outcome::Pass, ""),
            ],
            findings: vec![RunFinding {
                link: "links/lectern".into(),
                finding: Some(Finding {
                    id: "latency-moved".into(),
                    text: "Look at its mode.".into(),
                }),
            }],
            ..Run::default()
        };
        assert_eq!(
            message("lantern-cellar", &run, &["foyer".to_owned()]),
            "lantern-cellar: nightly FAIL, 1 of 2 links needs attention, 1 recovered\n\n\
             lectern: FAIL\n  latency: Latency is 9 ms, above the limit of 5 ms.\n  \
             Likely: Look at its mode.\n\nRecovered: foyer.\nNothing to be done: foyer.\n\
             More: goodwire rounds show 7\n"
        );
    }

    #[test]
    fn a_missed_due_date_is_told_with_its_time() {
        let run = Run {
            round: "rounds/nightly".into(),
            state: State::Missed.into(),
            due_time: Some("2027-06-01T14:00:00Z".parse().unwrap()),
            ..Run::default()
        };
        let told = headline(&run, &[]);
        assert_eq!(told, "nightly MISSED, it was due 2027-06-01T14:00:00Z");
    }
}
