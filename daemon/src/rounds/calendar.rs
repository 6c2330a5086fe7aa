//! What is to be done about due dates at a moment.
//!
//! Every due date is run once or entered as missed, however the clock steps: it is the date that
//! is remembered, not the time that has passed. After a step forward and back, dates that were
//! entered as missed while the clock was wrong are run when they really come.

use jiff::{SignedDuration, Timestamp};

use super::schedule::{Due, Schedule};

/// Due dates that are entered as missed at once, at most: ten years of hours are 87,660. What lies
/// further back is not of interest to anybody.
const MISSED_MAX: usize = 4000;

/// What is to be done now.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Decision {
    /// The due date to run now.
    pub run: Option<Due>,
    /// Due dates to enter as missed, in order.
    pub missed: Vec<Timestamp>,
    /// The next due date, to sleep until.
    pub next: Option<Timestamp>,
}

/// Decides at `now`: `handled` is the latest due date, not after `now`, that has an entry, or the
/// time since when the schedule is known; `ran` says whether a date was run.
#[must_use]
pub fn decide(
    schedule: &Schedule,
    catch_up: SignedDuration,
    handled: Timestamp,
    now: Timestamp,
    ran: impl Fn(Timestamp) -> bool,
) -> Decision {
    let latest = latest_due(schedule, catch_up, now);
    let run = latest.filter(|due| !ran(due.at));
    let is_latest = |at: &Timestamp| latest.is_some_and(|due| due.at == *at);
    let mut missed: Vec<Timestamp> = dates(schedule, handled.min(now), now)
        .map(|due| due.at)
        .filter(|at| !is_latest(at) && !ran(*at))
        .collect();
    let too_many = missed.len().saturating_sub(MISSED_MAX);
    missed.drain(..too_many);
    Decision {
        run,
        missed,
        next: schedule.next_after(now).map(|due| due.at),
    }
}

/// The latest due date that may still be run at `now`: until its window closes, else until
/// `catch_up` has passed.
fn latest_due(schedule: &Schedule, catch_up: SignedDuration, now: Timestamp) -> Option<Due> {
    // A window is open for a day at most.
    let reach = catch_up.max(SignedDuration::from_hours(25));
    let from = now.checked_sub(reach).unwrap_or(Timestamp::MIN);
    let due = dates(schedule, from, now).last()?;
    let until = due.until.unwrap_or(due.at.checked_add(catch_up).ok()?);
    (now <= until).then_some(due)
}

/// The due dates after `from`, up to `to`.
fn dates(schedule: &Schedule, from: Timestamp, to: Timestamp) -> impl Iterator<Item = Due> {
    std::iter::successors(schedule.next_after(from), |due| schedule.next_after(due.at))
        .take_while(move |due| due.at <= to)
}
