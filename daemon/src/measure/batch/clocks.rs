//! What happened to the machine's clocks while a watch went on.

use std::time::{Duration, SystemTime};

use goodwire_proto::v1::{Note, note::Level};

use crate::{
    clock::{self, Clock},
    measure::complete::note,
};

/// A wall clock that is off by more than this against the one that nobody sets was stepped; below
/// it, it was slewed or read late.
const STEP_S: f64 = 2.0;
/// A machine that slept for less than this did not: the two clocks are read one after the other.
const SLEEP_S: f64 = 0.5;

/// The three clocks at one moment.
#[derive(Debug, Clone, Copy)]
pub(super) struct Clocks {
    wall: SystemTime,
    since_boot: Duration,
    awake: Duration,
}

impl Clocks {
    /// Reads them.
    pub(super) fn read(wall: &dyn Clock) -> Self {
        Self {
            wall: wall.now(),
            since_boot: clock::since_boot(),
            awake: clock::awake_since_boot(),
        }
    }

    /// What is to be said of the time between this moment and a later one.
    pub(super) fn notes_until(&self, later: &Self) -> Vec<Note> {
        let passed_s = (later.since_boot.saturating_sub(self.since_boot)).as_secs_f64();
        let awake_s = (later.awake.saturating_sub(self.awake)).as_secs_f64();
        let wall_s = match later.wall.duration_since(self.wall) {
            Ok(forward) => forward.as_secs_f64(),
            Err(back) => -back.duration().as_secs_f64(),
        };
        let mut notes = Vec::new();
        let slept_s = passed_s - awake_s;
        if slept_s > SLEEP_S {
            let text = format!(
                "the machine slept for {slept_s:.0} s while this went on: nothing was heard then, \
                 and nothing of that time is counted; keep it from sleeping during a watch"
            );
            notes.push(note(Level::Warning, "suspended", text));
        }
        let stepped_s = wall_s - passed_s;
        if stepped_s.abs() > STEP_S {
            let way = if stepped_s > 0.0 { "forward" } else { "back" };
            let text = format!(
                "the machine's clock was set {way} by {:.0} s while this went on: start and end are \
                 times of day by different clocks; seconds of events count frames and stand",
                stepped_s.abs()
            );
            notes.push(note(Level::Info, "clock-stepped", text));
        }
        notes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(wall_s: u64, since_boot_s: f64, awake_s: f64) -> Clocks {
        Clocks {
            wall: SystemTime::UNIX_EPOCH + Duration::from_secs(wall_s),
            since_boot: Duration::from_secs_f64(since_boot_s),
            awake: Duration::from_secs_f64(awake_s),
        }
    }

    fn told(later: &Clocks) -> Vec<(String, String)> {
        let notes = at(1_000_000, 5_000.0, 4_000.0).notes_until(later);
        notes.into_iter().map(|one| (one.id, one.text)).collect()
    }

    #[test]
    fn an_hour_by_all_three_clocks_tells_nothing_even_where_the_wall_was_slewed_by_1_s() {
        assert_eq!(told(&at(1_003_600, 8_600.0, 7_600.0)), []);
        assert_eq!(told(&at(1_003_601, 8_600.0, 7_599.9)), []);
    }

    #[test]
    fn ten_minutes_of_sleep_are_told_and_are_no_step() {
        let told = told(&at(1_003_600, 8_600.0, 7_000.0));
        assert_eq!(told.len(), 1);
        assert_eq!(told[0].0, "suspended");
        assert!(told[0].1.contains("slept for 600 s"), "{}", told[0].1);
    }

    #[test]
    fn a_clock_set_forward_by_3600_s_or_back_by_5_s_is_told_as_stepped() {
        for (wall_s, want) in [(1_007_200, "forward by 3600 s"), (1_003_595, "back by 5 s")] {
            let told = told(&at(wall_s, 8_600.0, 7_600.0));
            assert_eq!(told.len(), 1);
            assert_eq!(told[0].0, "clock-stepped");
            assert!(told[0].1.contains(want), "{}", told[0].1);
        }
        // Back beyond the beginning of the watch.
        let told = told(&at(900_000, 8_600.0, 7_600.0));
        assert!(told[0].1.contains("back by 103600 s"), "{}", told[0].1);
    }
}
