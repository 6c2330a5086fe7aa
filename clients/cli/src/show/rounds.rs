//! Rounds and their runs.

use goodwire_proto::v1::{Round, Run, RunCheck, run::State};

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
    if !run.checks.is_empty() {
        text.push_str(&grid(look, run));
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
    for link in links_of(run) {
        let why = why_not_well(look, run, link);
        if !why.is_empty() {
            text.push_str(&look.heading(&format!("{link} is not well:")));
            text.push_str(&why);
        }
    }
    text
}

/// A row a link, a column an analysis.
fn grid(look: &Look, run: &Run) -> String {
    let mut analyses: Vec<&str> = Vec::new();
    for check in &run.checks {
        if !analyses.contains(&check.analysis.as_str()) {
            analyses.push(&check.analysis);
        }
    }
    let heads = analyses.iter().map(|analysis| (*analysis, Side::Left));
    let mut table = Table::new([("link", Side::Short)].into_iter().chain(heads));
    for link in links_of(run) {
        let cells = analyses.iter().map(|analysis| {
            // The same analysis may be asked for twice, with other parameters: the worse one counts.
            let asked = checks_of(run, link).filter(|check| check.analysis == *analysis);
            let marks = asked.map(|check| Mark::of_state(check.state, check.outcome));
            let worst = marks.max_by_key(|mark| mark.severity());
            worst.map_or_else(Cell::default, |mark| Cell::mark(look, mark))
        });
        table.row([Cell::from(link)].into_iter().chain(cells));
    }
    table.render(look)
}

/// What is wrong with a link, then the likely causes; empty where all is well.
fn why_not_well(look: &Look, run: &Run, link: &str) -> String {
    let told = checks_of(run, link).map(|check| (check, why(check)));
    let mut text: String = told
        .filter(|(_, why)| !why.is_empty())
        .map(|(check, why)| {
            let shape = Mark::of_state(check.state, check.outcome).shape(look);
            look.wrap(
                &format!("  {shape} "),
                &format!("{}: {why}", check.analysis),
            )
        })
        .collect();
    for found in run.findings.iter().filter(|one| bare(&one.link) == link) {
        let finding = found.finding.as_ref();
        let sentence = finding.map_or("", |finding| finding.text.as_str());
        text.push_str(&look.wrap(look.either("  → ", "  > "), sentence));
    }
    text
}

/// The links that were checked, each once, in the run's order; then those that are only found ill.
fn links_of(run: &Run) -> Vec<&str> {
    let checked = run.checks.iter().map(|check| bare(&check.link));
    let found = run.findings.iter().map(|found| bare(&found.link));
    let mut links = Vec::new();
    for link in checked.chain(found) {
        if !links.contains(&link) {
            links.push(link);
        }
    }
    links
}

fn checks_of<'a>(run: &'a Run, link: &'a str) -> impl Iterator<Item = &'a RunCheck> {
    let checks = run.checks.iter();
    checks.filter(move |check| bare(&check.link) == link)
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
    use goodwire_proto::v1::{Check, Finding, Reason, RunFinding, measurement, verdict::Outcome};

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
               link     latency\n  \
               lectern  ! failed\n\
             \nlectern is not well:\n  ! latency: no-signal: silent\n  → Look whether it is on.\n"
        );
    }
}
