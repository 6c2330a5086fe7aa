//! The front page: how the links stand, what is due, what runs, and whether sound may be played.

mod progress;
mod view;

use goodwire_proto::v1::{Excuse, Measurement, Round, Run, Status, run::State};
use prost_types::Timestamp;

pub(super) use self::progress::Progress;
use super::answer::Trouble;
use crate::{
    audio::engine::EngineStatus,
    measure::complete::Desk,
    report::{Zone, card, mark::Mark},
    rounds::round_of,
    status,
    store::{RunQuery, StoreError},
};

/// So many runs are listed; there is a page with all of them.
const RUNS_LISTED: usize = 7;

/// All that the front page says.
#[derive(Debug, Default)]
pub(super) struct Front {
    /// The machine's zone, for what is of no round.
    pub(super) zone: Zone,
    pub(super) status: Status,
    pub(super) links: Vec<LinkState>,
    /// The rounds, each with the zone of its times.
    pub(super) rounds: Vec<(Round, Zone)>,
    /// The run that measures now.
    pub(super) progress: Option<Progress>,
    /// The last runs, newest first, each with the zone of its times.
    pub(super) runs: Vec<(Run, Zone)>,
}

/// How a link stands.
#[derive(Debug, Default)]
pub(super) struct LinkState {
    /// Without `links/`.
    pub(super) name: String,
    /// The worst of what its analyses said last; `None` where it was never measured.
    pub(super) mark: Option<Mark>,
    /// When that was said.
    pub(super) when: Option<Timestamp>,
    /// The likely cause, or the reason; empty where all is well.
    pub(super) why: String,
    /// Until when it is away; `None` where it is not.
    pub(super) excuse: Option<Excuse>,
}

impl Front {
    /// Reads how everything stands. Blocks.
    pub(super) fn gather(desk: &Desk, engine: &EngineStatus) -> Result<Self, Trouble> {
        let excuses = desk.store.excuses(&desk.clock.timestamp())?;
        let links = desk.config.links.iter();
        let links = links.map(|link| link_state(desk, &link.name, &excuses));
        let rounds = desk.config.rounds.iter().map(|round| {
            let zone = Zone::of_round(&desk.config, &round.name);
            Ok((round_of(desk, round)?, zone))
        });
        let (runs, _) = desk.store.runs(&RunQuery::default())?;
        // The one that began first: others wait until it has ended.
        let running = runs.iter().rev().find(|run| run.state() == State::Running);
        let progress = running.and_then(|run| Progress::of(desk, run, &excuses));
        let runs = runs.into_iter().take(RUNS_LISTED);
        Ok(Self {
            zone: Zone::of_machine(),
            status: status::of(desk, engine)?,
            links: links.collect::<Result<_, StoreError>>()?,
            rounds: rounds.collect::<Result<_, StoreError>>()?,
            progress,
            runs: runs
                .map(|run| {
                    let zone = Zone::of_round(&desk.config, &run.round);
                    (run, zone)
                })
                .collect(),
        })
    }
}

/// How a link of the configuration stands. Blocks.
pub(super) fn link_state(
    desk: &Desk,
    name: &str,
    excuses: &[Excuse],
) -> Result<LinkState, StoreError> {
    let checks = desk.store.last_checks(name)?;
    let worst = checks.iter().max_by_key(|check| Mark::of_last(check));
    let mark = worst.map(Mark::of_last);
    let is_bad = mark.is_some_and(|mark| mark > Mark::Pass);
    let why = match worst.filter(|_| is_bad) {
        Some(check) => why(&desk.store.get(&check.measurement)?),
        None => String::new(),
    };
    // Where all is well, the newest of all says since when.
    let shown = worst.filter(|_| is_bad).or(checks.first());
    Ok(LinkState {
        name: name.to_owned(),
        mark,
        when: shown.and_then(|check| check.end_time),
        why,
        excuse: excuses
            .iter()
            .find(|excuse| crate::measure::job::bare(&excuse.link) == name)
            .cloned(),
    })
}

/// What is likely wrong, and what to do; else what its limits say, or why it has no result.
fn why(measurement: &Measurement) -> String {
    let finding = measurement.findings.first();
    let finding = finding.map(|finding| finding.text.clone());
    let said = || card::sayings(measurement).into_iter().next();
    finding.or_else(said).unwrap_or_default()
}
