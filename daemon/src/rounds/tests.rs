//! Due dates through the year, through clock changes, and through ten years of nights.
//! Zone rules: IANA time zone database (Europe/Vienna changes on the last Sundays of March and
//! October, at 01:00 UTC).

use std::{sync::Arc, time::Duration};

use goodwire_proto::v1::run::State;
use jiff::{SignedDuration, Timestamp, tz::TimeZone};

use super::{Keeper, Look, Schedule, decide};
use crate::{
    clock::{Clock, SharedClock, TestClock},
    config::RoundConfig,
    store::{RunQuery, Store, new_run_name},
};

fn vienna() -> TimeZone {
    TimeZone::get("Europe/Vienna").expect("bundled")
}

fn at(text: &str) -> Timestamp {
    text.parse().expect("a time")
}

/// The next `count` due dates after `from`, in UTC.
fn dates(schedule: &Schedule, from: &str, count: usize) -> Vec<String> {
    let first = schedule.next_after(at(from));
    std::iter::successors(first, |due| schedule.next_after(due.at))
        .take(count)
        .map(|due| due.at.to_string())
        .collect()
}

#[test]
fn sixteen_o_clock_in_vienna_is_15_utc_in_winter_and_14_utc_in_summer() {
    let schedule = Schedule::cron("0 16 * * *", vienna()).expect("right");
    let want = [
        "2027-03-27T15:00:00Z",
        "2027-03-28T14:00:00Z",
        "2027-03-29T14:00:00Z",
    ];
    assert_eq!(dates(&schedule, "2027-03-27T00:00:00Z", 3), want);
}

#[test]
fn a_time_that_the_clock_skips_is_due_right_after_the_gap() {
    // On 2027-03-28 there is no 02:30 in Vienna: 02:00 becomes 03:00, which is 01:00 UTC.
    let schedule = Schedule::cron("30 2 * * *", vienna()).expect("right");
    let want = [
        "2027-03-27T01:30:00Z",
        "2027-03-28T01:00:00Z",
        "2027-03-29T00:30:00Z",
    ];
    assert_eq!(dates(&schedule, "2027-03-27T00:00:00Z", 3), want);
}

#[test]
fn a_time_that_comes_twice_is_due_once_the_first_time() {
    // On 2027-10-31 there are two 02:30 in Vienna, at 00:30 and 01:30 UTC.
    let schedule = Schedule::cron("30 2 * * *", vienna()).expect("right");
    let want = [
        "2027-10-30T00:30:00Z",
        "2027-10-31T00:30:00Z",
        "2027-11-01T01:30:00Z",
    ];
    assert_eq!(dates(&schedule, "2027-10-30T00:00:00Z", 3), want);
}

#[test]
fn every_4_weeks_keeps_its_time_of_day_over_the_clock_change() {
    let schedule = Schedule::every("4 weeks", "2027-03-01 16:00", vienna()).expect("right");
    let want = [
        "2027-03-01T15:00:00Z",
        "2027-03-29T14:00:00Z",
        "2027-04-26T14:00:00Z",
    ];
    assert_eq!(dates(&schedule, "2026-01-01T00:00:00Z", 3), want);
    let between = dates(&schedule, "2027-03-29T14:00:00Z", 1);
    assert_eq!(between, ["2027-04-26T14:00:00Z"]);
}

#[test]
fn every_36_hours_is_36_hours_over_the_clock_change() {
    let schedule = Schedule::every("36 hours", "2027-03-27 12:00", vienna()).expect("right");
    let want = ["2027-03-27T11:00:00Z", "2027-03-28T23:00:00Z"];
    assert_eq!(dates(&schedule, "2027-01-01T00:00:00Z", 2), want);
}

#[test]
fn a_window_over_midnight_closes_on_the_day_after() {
    let schedule = Schedule::window("23:00-01:00", vienna()).expect("right");
    let due = schedule
        .next_after(at("2027-06-01T00:00:00Z"))
        .expect("one");
    assert_eq!(due.at, at("2027-06-01T21:00:00Z"));
    assert_eq!(due.until, Some(at("2027-06-01T23:00:00Z")));
}

#[test]
fn what_is_no_schedule_is_refused() {
    assert!(Schedule::cron("every night", vienna()).is_err());
    assert!(
        Schedule::cron("0 0 16 * * *", vienna()).is_err(),
        "six fields"
    );
    assert!(Schedule::every("4 moons", "2027-03-01 16:00", vienna()).is_err());
    assert!(Schedule::every("0 days", "2027-03-01 16:00", vienna()).is_err());
    assert!(Schedule::every("1 day", "soon", vienna()).is_err());
    assert!(Schedule::window("15:00-15:00", vienna()).is_err());
    assert!(Schedule::window("late", vienna()).is_err());
}

#[test]
fn a_window_is_run_until_it_closes_and_is_missed_after() {
    let schedule = Schedule::window("15:00-17:00", TimeZone::UTC).expect("right");
    let since = at("2027-06-01T00:00:00Z");
    let look = |now: &str| decide(&schedule, SignedDuration::ZERO, since, at(now), |_| false);
    assert!(look("2027-06-01T16:59:00Z").run.is_some());
    let late = look("2027-06-01T17:01:00Z");
    assert_eq!(
        (late.run, late.missed),
        (None, vec![at("2027-06-01T15:00:00Z")])
    );
}

/// A nightly round in Vienna on a store and a clock of its own.
struct Nights {
    keeper: Keeper,
    store: Store,
    clock: Arc<TestClock>,
    _folder: tempfile::TempDir,
}

impl Nights {
    fn from(text: &str) -> Self {
        let clock = Arc::new(TestClock::at(at(text).as_second().unsigned_abs()));
        Self::within(tempfile::tempdir().expect("a folder"), clock)
    }

    /// As a daemon that was killed and starts again.
    fn restarted(self) -> Self {
        let Self {
            keeper,
            store,
            clock,
            _folder: folder,
        } = self;
        drop((keeper, store));
        Self::within(folder, clock)
    }

    fn within(folder: tempfile::TempDir, clock: Arc<TestClock>) -> Self {
        let shared: SharedClock = clock.clone();
        let store = Store::open(folder.path(), Arc::clone(&shared)).expect("a store");
        let round = RoundConfig {
            name: "nightly".into(),
            schedule: Schedule::cron("0 16 * * *", vienna()).expect("right"),
            catch_up: SignedDuration::from_hours(3),
            links: None,
            checks: Vec::new(),
        };
        let keeper = Keeper::new(&round, &store, &shared, false).expect("kept");
        Self {
            keeper,
            store,
            clock,
            _folder: folder,
        }
    }

    /// Looks at the clock and runs what is due, as the daemon does; gives what was due.
    fn look(&self) -> Option<Timestamp> {
        self.begin(State::Ended)
    }

    /// The same, up to a state of the run.
    fn begin(&self, state: State) -> Option<Timestamp> {
        let Look { run, next: _ } = self.keeper.look().expect("looked");
        let due = run?;
        let stamp = prost_types::Timestamp {
            seconds: due.at.as_second(),
            nanos: 0,
        };
        let run = goodwire_proto::v1::Run {
            name: new_run_name(&*self.clock),
            round: "rounds/nightly".into(),
            state: state.into(),
            due_time: Some(stamp),
            start_time: Some(self.clock.timestamp()),
            ..Default::default()
        };
        let begun = self.store.begin_run(&run, "").expect("begun");
        assert_eq!(begun.name, run.name, "{} was run before", due.at);
        Some(due.at)
    }

    fn advance_hours(&self, hours: u64) {
        self.clock.advance(Duration::from_secs(3600 * hours));
    }

    fn now(&self) -> Timestamp {
        super::keeper::instant(&self.clock.timestamp())
    }

    /// As the daemon does: until a little after the next due date.
    fn sleep_until_due(&self) {
        let next = self
            .keeper
            .look()
            .expect("looked")
            .next
            .expect("every night");
        let left = Duration::try_from(next.duration_since(self.now())).expect("later");
        self.clock.advance(left + Duration::from_millis(300));
    }

    /// How many due dates were run, and how many missed.
    fn counts(&self) -> [usize; 2] {
        let mut counts = [0, 0];
        let mut query = RunQuery {
            page_size: 500,
            ..RunQuery::default()
        };
        loop {
            let (runs, token) = self.store.runs(&query).expect("listed");
            for run in &runs {
                counts[usize::from(run.reason.is_some())] += 1;
            }
            if token.is_empty() {
                return counts;
            }
            query.page_token = token;
        }
    }
}

#[test]
fn ten_years_give_3652_nights_none_twice() {
    let nights = Nights::from("2027-01-01T00:00:00Z");
    let end = at("2037-01-01T00:00:00Z");
    let mut run_count = 0;
    while nights.now() < end {
        let ran = nights.look().is_some();
        run_count += usize::from(ran);
        // Every tenth night the clock is put back by an hour once the round has run.
        if ran && run_count % 10 == 0 {
            nights.clock.step_back(Duration::from_secs(3600));
            assert_eq!(nights.look(), None, "a step back brings no due date again");
        }
        nights.sleep_until_due();
    }
    // 2027 to 2036 have 3,653 days: 2028, 2032 and 2036 are leap years.
    assert!((3652..=3653).contains(&run_count), "{run_count} nights");
    assert_eq!(nights.counts(), [run_count, 0]);
}

#[test]
fn what_a_machine_that_was_off_for_5_days_missed_is_listed_and_the_last_caught_up() {
    let nights = Nights::from("2027-06-01T10:00:00Z");
    nights.advance_hours(4);
    assert_eq!(nights.look(), Some(at("2027-06-01T14:00:00Z")));
    // On again two hours after the due date of June 6.
    nights.advance_hours(5 * 24 + 2);
    assert_eq!(nights.look(), Some(at("2027-06-06T14:00:00Z")));
    assert_eq!(nights.look(), None);
    assert_eq!(nights.counts(), [2, 4]);
}

#[test]
fn a_due_date_4_hours_ago_is_missed_where_3_may_be_caught_up() {
    let nights = Nights::from("2027-06-01T10:00:00Z");
    nights.advance_hours(8);
    assert_eq!(nights.look(), None);
    assert_eq!(nights.counts(), [0, 1]);
}

#[test]
fn after_a_step_forward_by_a_year_and_back_every_night_runs_as_ever() {
    let nights = Nights::from("2027-06-01T10:00:00Z");
    let year = Duration::from_secs(365 * 24 * 3600);
    nights.clock.advance(year);
    let _ = nights.look();
    nights.clock.step_back(year);
    for day in 1..=3 {
        nights.advance_hours(24);
        let due = nights.look().map(|due| due.to_string());
        assert_eq!(
            due, None,
            "it is 10:00 UTC, 20 h after the due date of the day before"
        );
        let _ = day;
    }
    nights.advance_hours(4);
    assert_eq!(nights.look(), Some(at("2027-06-04T14:00:00Z")));
}

#[test]
fn a_new_schedule_has_no_past() {
    let nights = Nights::from("2027-06-01T20:00:00Z");
    assert_eq!(nights.look(), None);
    assert_eq!(nights.counts(), [0, 0]);
}

#[test]
fn a_night_that_a_kill_interrupted_runs_once_more_within_3_hours_and_not_a_third_time() {
    let nights = Nights::from("2027-06-01T12:00:00Z");
    nights.sleep_until_due();
    let due = nights.begin(State::Running).expect("it is due");
    nights.advance_hours(1);
    let nights = nights.restarted();
    assert_eq!(nights.begin(State::Running), Some(due));
    nights.advance_hours(1);
    let nights = nights.restarted();
    assert_eq!(nights.look(), None);
    nights.sleep_until_due();
    assert!(nights.look() > Some(due));
    // Two that were interrupted, and none that was missed beside them.
    assert_eq!(nights.counts(), [1, 2]);
}

#[test]
fn a_night_that_a_kill_interrupted_4_hours_ago_is_not_run_again() {
    let nights = Nights::from("2027-06-01T12:00:00Z");
    nights.sleep_until_due();
    assert!(nights.begin(State::Running).is_some());
    nights.advance_hours(4);
    let nights = nights.restarted();
    assert_eq!(nights.look(), None);
    assert_eq!(nights.counts(), [0, 1]);
}
