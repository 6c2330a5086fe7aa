//! Rounds and their runs.

use goodwire_proto::v1::{Round, Run, RunCheck, RunFinding, run::State};

use super::{
    Look, Mark,
    table::{Cell, Side, Table},
    time,
};

/// A table of rounds: when each is due, and what its last run said.
pub fn render(look: &Look, rounds: &[Round]) -> String {
    if rounds.is_empty() {
        return "There are no rounds: a [[round]] in the configuration makes one.\n".into();
    }
    let mut table = Table::new([
        ("round", Side::Short),
        ("links", Side::Right),
        ("checks", Side::Left),
        ("next", Side::Left),
        ("last", Side::Left),
        ("verdict", Side::Left),
    ]);
    for round in rounds {
        let checks: Vec<&str> = round
            .checks
            .iter()
            .map(|check| check.analysis.as_str())
            .collect();
        let last = round.last_run.as_ref();
        table.row([
            Cell::from(bare(&round.name)),
            round.links.len().to_string().into(),
            checks.join(", ").into(),
            match &round.next_time {
                Some(next) => time::full(Some(next)).into(),
                None => "on demand".into(),
            },
            time::full(last.and_then(began)).into(),
            last.map_or_else(|| "".into(), |run| Cell::mark(look, mark(run))),
        ]);
    }
    let schedules = rounds.iter().filter(|round| !round.schedule.is_empty());
    let schedules: String = schedules
        .map(|round| look.wrap("  ", &format!("{}: {}", bare(&round.name), round.schedule)))
        .collect();
    format!("{}\n{schedules}", table.render(look))
}

/// One run: what it says as a whole, each check, and the likely causes.
pub fn render_run(look: &Look, run: &Run) -> String {
    let simulated = if run.simulated { ", simulated" } else { "" };
    let begun = time::full(began(run));
    let mut text = format!(
        "{} {}: {}{simulated}\n",
        bare(&run.round),
        begun,
        mark(run).text(look)
    );
    text.push_str(&format!("  {}\n", run.name));
    if let Some(reason) = &run.reason {
        text.push_str(&look.wrap(&format!("  {}: ", reason.id), &reason.text));
    }
    let mut table = Table::new([
        ("link", Side::Short),
        ("check", Side::Left),
        ("verdict", Side::Left),
        ("", Side::Left),
    ]);
    for check in &run.checks {
        table.row([
            Cell::from(bare(&check.link)),
            check.analysis.clone().into(),
            Cell::mark(look, Mark::of_state(check.state, check.outcome)),
            why(check).into(),
        ]);
    }
    if !run.checks.is_empty() {
        text.push_str(&table.render(look));
    }
    for excuse in &run.excuses {
        let until = time::full(excuse.until_time.as_ref());
        let excused = format!(
            "{} is away until {until}: {}",
            bare(&excuse.link),
            excuse.text
        );
        text.push_str(&look.wrap("  ", excused.trim_end_matches([':', ' '])));
    }
    if !run.findings.is_empty() {
        text.push_str(&look.heading("likely causes"));
        text.extend(
            run.findings
                .iter()
                .map(|finding| finding_text(look, finding)),
        );
    }
    text
}

/// One check in a line, for progress.
pub fn line(look: &Look, check: &RunCheck) -> String {
    let mark = Mark::of_state(check.state, check.outcome).text(look);
    let said = format!(
        "{} {}: {mark} {}",
        bare(&check.link),
        check.analysis,
        why(check)
    );
    said.trim_end().to_owned()
}

fn finding_text(look: &Look, found: &RunFinding) -> String {
    let Some(finding) = &found.finding else {
        return String::new();
    };
    look.wrap(&format!("  {}: ", bare(&found.link)), &finding.text)
}

/// Why there is no result, else the worst that the limits say.
fn why(check: &RunCheck) -> String {
    match &check.reason {
        Some(reason) => format!("{}: {}", reason.id, reason.text),
        None => check.text.clone(),
    }
}

fn mark(run: &Run) -> Mark {
    match run.state() {
        State::Running => Mark::RUNNING,
        _ => Mark::of_outcome(run.outcome),
    }
}

fn began(run: &Run) -> Option<&prost_types::Timestamp> {
    run.start_time.as_ref().or(run.due_time.as_ref())
}

fn bare(name: &str) -> &str {
    name.rsplit_once('/').map_or(name, |(_, bare)| bare)
}

#[cfg(test)]
mod tests {
    use super::*;
    use goodwire_proto::v1::{Check, Finding, Reason, measurement, verdict::Outcome};

    const LOOK: Look = Look {
        width: 80,
        unicode: true,
        colour: false,
    };

    #[test]
    fn a_round_shows_when_it_is_due_and_what_its_last_run_said() {
        let nightly = Round {
            name: "rounds/nightly".into(),
            schedule: "at 0 16 * * * (Europe/Vienna)".into(),
            next_time: Some("2026-11-26T15:00:00Z".parse().unwrap()),
            links: vec!["links/lectern".into(), "links/foyer".into()],
            checks: vec![Check {
                analysis: "latency".into(),
                ..Check::default()
            }],
            last_run: Some(Run {
                state: State::Ended.into(),
                outcome: Outcome::Fail.into(),
                start_time: Some("2026-11-25T15:00:01Z".parse().unwrap()),
                ..Run::default()
            }),
        };
        assert_eq!(
            render(&LOOK, &[nightly]),
            "  round    links  checks   next                     last                     verdict\n  \
               nightly      2  latency  2026-11-26 15:00:00 UTC  2026-11-25 15:00:01 UTC  ✗ fail\n\
             \n  nightly: at 0 16 * * * (Europe/Vienna)\n"
        );
        assert!(render(&LOOK, &[]).contains("[[round]]"));
    }

    #[test]
    fn a_run_names_each_check_its_reason_and_the_likely_cause() {
        let run = Run {
            name: "runs/1".into(),
            round: "rounds/nightly".into(),
            state: State::Ended.into(),
            outcome: Outcome::Unmeasured.into(),
            start_time: Some("2026-11-25T15:00:01Z".parse().unwrap()),
            checks: vec![RunCheck {
                link: "links/lectern".into(),
                analysis: "latency".into(),
                state: measurement::State::Failed.into(),
                outcome: Outcome::Unmeasured.into(),
                reason: Some(Reason {
                    id: "no-signal".into(),
                    text: "silent".into(),
                    ..Reason::default()
                }),
                ..RunCheck::default()
            }],
            findings: vec![RunFinding {
                link: "links/lectern".into(),
                finding: Some(Finding {
                    id: "nothing-at-the-return".into(),
                    text: "Look whether it is on.".into(),
                }),
            }],
            simulated: true,
            ..Run::default()
        };
        assert_eq!(
            render_run(&LOOK, &run),
            "nightly 2026-11-25 15:00:01 UTC: ? unmeasured, simulated\n  runs/1\n  \
               link     check    verdict\n  \
               lectern  latency  ! failed  no-signal: silent\n\
             \nlikely causes\n  lectern: Look whether it is on.\n"
        );
    }
}
