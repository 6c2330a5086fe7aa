//! Rounds within a window: each link is checked once, as soon as its signal appears.
//!
//! What is still to be done follows from the run itself: a check that has no result yet, that was
//! kept from playing (a hold, no permit, a room in use), or that found no signal where it is the first. All of it
//! is tried again until the window closes, once more just then; what came of the last try stays.

use std::time::Duration;

use goodwire_proto::v1::{Run, RunCheck};
use jiff::Timestamp;

use super::runner::Performance;
use crate::{
    config::{CheckConfig, RoundConfig},
    measure::job::bare,
};

/// How often what is still to be done is tried again while the window is open.
pub(super) const RETRY: Duration = Duration::from_secs(300);

/// Reasons of a measurement that mean: the link is not there. A receiver may hiss meanwhile.
const SILENT: [&str; 2] = ["no-signal", "unrelated"];

/// Reasons, of a run or a check, that may pass while the window is open.
const KEPT: [&str; 3] = ["hold", "no-permit", "room-in-use"];

/// A check, and the links that it is to be done on.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Ask {
    /// What is checked.
    pub check: CheckConfig,
    /// Bare names, in the rig's order.
    pub links: Vec<String>,
}

/// What a window needs of the rounds.
pub(super) trait Checks {
    /// The wall clock.
    fn now(&self) -> Timestamp;

    /// Lets so much time pass.
    async fn pause(&self, time: Duration);

    /// True where a check of the round is meant for that link.
    fn takes(&self, _round: &RoundConfig, _check: &CheckConfig, _link: &str) -> bool {
        true
    }

    /// Does checks and adds what came of them to the run. A reason that the run has afterwards says
    /// why no more was asked for.
    async fn check(&self, one: &mut Performance, asks: Vec<Ask>);
}

/// Does the checks of a round on some links until all is done, nothing may be done any more, or the
/// window closes.
pub(super) async fn perform<C: Checks>(
    checks: &C,
    one: &mut Performance,
    links: &[String],
    until: Timestamp,
) {
    loop {
        one.run
            .checks
            .retain(|check| !comes_again(one.round.checks.first(), check));
        let first = still_to_do(checks, one, links, true);
        checks.check(one, first).await;
        if one.run.reason.is_none() {
            let others = still_to_do(checks, one, links, false);
            checks.check(one, others).await;
        }
        let now = checks.now();
        if is_over(checks, one, links) || now >= until {
            return;
        }
        one.run.reason = None;
        let left = Duration::try_from(until.duration_since(now)).unwrap_or_default();
        tokio::select! {
            () = checks.pause(left.min(RETRY)) => {}
            () = one.cancel.cancelled() => return,
        }
    }
}

/// The first check on the links that lack it, or the others on those that have had the first.
fn still_to_do<C: Checks>(
    checks: &C,
    one: &Performance,
    links: &[String],
    first: bool,
) -> Vec<Ask> {
    let (head, rest) = one.round.checks.split_at(1.min(one.round.checks.len()));
    let lacks = |link: &&String, check: &CheckConfig| {
        let found = result(&one.run, link, check);
        let is_meant = checks.takes(&one.round, check, link);
        is_meant && found.is_none_or(|found| comes_again(head.first(), found))
    };
    let is_there = |link: &&String| first || !head.iter().any(|check| lacks(link, check));
    let asks = if first { head } else { rest }.iter().map(|check| {
        let links = links.iter().filter(is_there);
        Ask {
            check: check.clone(),
            links: links.filter(|link| lacks(link, check)).cloned().collect(),
        }
    });
    asks.filter(|ask| !ask.links.is_empty()).collect()
}

/// True where waiting changes nothing: all is done, or the run ends for a reason that stays.
fn is_over<C: Checks>(checks: &C, one: &Performance, links: &[String]) -> bool {
    if one.cancel.is_cancelled() {
        return true;
    }
    match &one.run.reason {
        Some(reason) => !KEPT.contains(&reason.id.as_str()),
        None => {
            let first = still_to_do(checks, one, links, true);
            first.is_empty() && still_to_do(checks, one, links, false).is_empty()
        }
    }
}

fn result<'a>(run: &'a Run, link: &str, check: &CheckConfig) -> Option<&'a RunCheck> {
    let mut checks = run.checks.iter();
    checks.find(|one| bare(&one.link) == link && one.analysis == check.analysis)
}

/// True for a result that is to be had again, `first` being the round's first check.
fn comes_again(first: Option<&CheckConfig>, found: &RunCheck) -> bool {
    let reason = found
        .reason
        .as_ref()
        .map_or("", |reason| reason.id.as_str());
    let is_first = first.is_some_and(|first| first.analysis == found.analysis);
    KEPT.contains(&reason) || (is_first && SILENT.contains(&reason))
}

#[cfg(test)]
#[path = "window/tests.rs"]
mod tests;
