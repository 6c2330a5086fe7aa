//! A run as one line of the monitoring-plugin convention: `STATUS: text | 'label'=value[unit]…`
//! (monitoring-plugins.org, "Development Guidelines"; from memory of that page).

use goodwire_proto::v1::{Run, run::State, verdict::Outcome};
use prost_types::Timestamp;

use crate::exit::Exit;

/// Length of a line that every such system shows, in characters.
const TEXT_LENGTH_MAX: usize = 200;

/// The line, and how to exit. A run that was over before `since` says nothing any more.
pub fn line(run: &Run, exit: Exit, since: Option<Timestamp>, now: Timestamp) -> (Exit, String) {
    let over = run.end_time.as_ref().or(run.due_time.as_ref());
    let age_s = over.map_or(0, |over| (now.seconds - over.seconds).max(0));
    let is_old = since.is_some_and(|since| over.is_none_or(|over| over.seconds < since.seconds));
    let exit = if is_old { Exit::Unmeasured } else { exit };
    let counts = Outcomes::of(run);
    let text = if is_old {
        let round = bare(&run.round);
        format!(
            "{round} was last checked {:.1} h ago",
            age_s as f64 / 3600.0
        )
    } else {
        sentence(run)
    };
    let text: String = text
        .replace(['|', '\n', '\r'], " ")
        .chars()
        .take(TEXT_LENGTH_MAX)
        .collect();
    let line = format!(
        "{}: {text} | 'passed'={} 'drifted'={} 'failed'={} 'unmeasured'={} 'age'={age_s}s\n",
        word(exit),
        counts.passed,
        counts.drifted,
        counts.failed,
        counts.unmeasured
    );
    (exit, line)
}

/// How many checks ended how.
#[derive(Debug, Default, PartialEq, Eq)]
struct Outcomes {
    passed: usize,
    drifted: usize,
    failed: usize,
    unmeasured: usize,
}

impl Outcomes {
    fn of(run: &Run) -> Self {
        let mut counts = Self::default();
        for check in &run.checks {
            match Outcome::try_from(check.outcome) {
                Ok(Outcome::Pass | Outcome::Unspecified) => counts.passed += 1,
                Ok(Outcome::Drift) => counts.drifted += 1,
                Ok(Outcome::Fail) => counts.failed += 1,
                Ok(Outcome::Unmeasured) | Err(_) => counts.unmeasured += 1,
            }
        }
        counts
    }
}

/// What is wrong and with which link, the likely cause first where one is known.
fn sentence(run: &Run) -> String {
    let round = bare(&run.round);
    if run.state() == State::Missed {
        return format!("{round} was missed");
    }
    if let Some(reason) = &run.reason {
        return format!("{round}: {} ({})", reason.text, reason.id);
    }
    let is_bad = |outcome| !matches!(outcome, Outcome::Pass | Outcome::Unspecified);
    let mut bad: Vec<&str> = run
        .checks
        .iter()
        .filter(|check| is_bad(check.outcome()))
        .map(|check| bare(&check.link))
        .collect();
    bad.dedup();
    if bad.is_empty() {
        return format!("{round}: {} checks, all is well", run.checks.len());
    }
    let told: Vec<String> = bad.iter().map(|link| with_cause(run, link)).collect();
    format!("{round}: {}", told.join(", "))
}

/// `lectern (battery-sagging)`.
fn with_cause(run: &Run, link: &str) -> String {
    let found = run.findings.iter().find(|one| bare(&one.link) == link);
    match found.and_then(|one| one.finding.as_ref()) {
        Some(finding) => format!("{link} ({})", finding.id),
        None => link.to_owned(),
    }
}

fn word(exit: Exit) -> &'static str {
    match exit {
        Exit::Pass => "OK",
        Exit::Drift => "WARNING",
        Exit::Fail => "CRITICAL",
        Exit::Unmeasured | Exit::Signal(_) => "UNKNOWN",
    }
}

fn bare(name: &str) -> &str {
    name.rsplit_once('/').map_or(name, |(_, bare)| bare)
}

#[cfg(test)]
mod tests {
    use super::*;
    use goodwire_proto::v1::{Finding, RunCheck, RunFinding};

    fn check(link: &str, outcome: Outcome) -> RunCheck {
        RunCheck {
            link: format!("links/{link}"),
            outcome: outcome.into(),
            ..RunCheck::default()
        }
    }

    fn run() -> Run {
        Run {
            round: "rounds/nightly".into(),
            state: State::Ended.into(),
            end_time: Some("2026-11-25T15:00:00Z".parse().unwrap()),
            checks: vec![
                check("lectern", Outcome::Fail),
                check("lectern", Outcome::Drift),
                check("foyer", Outcome::Pass),
            ],
            findings: vec![RunFinding {
                link: "links/lectern".into(),
                finding: Some(Finding {
                    id: "battery-sagging".into(),
                    text: "Charge it.".into(),
                }),
            }],
            ..Run::default()
        }
    }

    #[test]
    fn the_line_says_status_link_cause_and_counts() {
        let now = "2026-11-25T16:00:00Z".parse().unwrap();
        let (exit, line) = line(&run(), Exit::Fail, None, now);
        assert_eq!(exit, Exit::Fail);
        assert_eq!(
            line,
            "CRITICAL: nightly: lectern (battery-sagging) | 'passed'=1 'drifted'=1 'failed'=1 \
             'unmeasured'=0 'age'=3600s\n"
        );
    }

    #[test]
    fn a_run_that_is_too_old_is_unknown_whatever_it_said() {
        let now: Timestamp = "2026-11-27T15:00:00Z".parse().unwrap();
        let since = "2026-11-26T13:00:00Z".parse().ok();
        let (exit, line) = line(&run(), Exit::Pass, since, now);
        assert_eq!(exit, Exit::Unmeasured);
        assert!(
            line.starts_with("UNKNOWN: nightly was last checked 48.0 h ago |"),
            "{line}"
        );
    }

    #[test]
    fn a_reason_with_a_bar_or_a_line_end_stays_one_line_without_bar() {
        let mut run = run();
        run.reason = Some(goodwire_proto::v1::Reason {
            id: "hold".into(),
            text: "a|b\nc".into(),
            ..Default::default()
        });
        let now = "2026-11-25T16:00:00Z".parse().unwrap();
        let (_, line) = line(&run, Exit::Unmeasured, None, now);
        assert!(line.starts_with("UNKNOWN: nightly: a b c (hold) | 'passed'"));
        assert_eq!(line.lines().count(), 1);
    }
}
