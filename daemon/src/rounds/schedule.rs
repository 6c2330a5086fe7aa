//! When a round is due.
//!
//! Due dates are instants; wall-clock rules give them by the zone's own calendar. Where the clock
//! is put forward over a due time the date is due at the first instant after the gap; where it is
//! put back the time is due once, the first time it comes (a cron expression with `*` or steps in
//! its hours or minutes means a pace, and keeps it through both).

use std::fmt;

use croner::{
    Cron,
    parser::{CronParser, Seconds, Year},
};
use jiff::{
    Timestamp, ToSpan,
    civil::{Date, DateTime, Time},
    tz::TimeZone,
};

/// When a round is due.
#[derive(Debug, Clone, PartialEq)]
pub enum Schedule {
    /// Never by the clock.
    OnDemand,
    /// At the times of a cron expression.
    Cron {
        /// The expression, of five fields.
        cron: Box<Cron>,
        /// The zone of its times.
        zone: TimeZone,
    },
    /// Again and again after a first time, by the calendar: 4 weeks later it is the same time of day.
    Every {
        /// Time between two dates.
        interval: Interval,
        /// The first date.
        from: DateTime,
        /// The zone of the times.
        zone: TimeZone,
    },
    /// Any time within a part of each day, as soon as each link's signal appears.
    Window {
        /// When it opens.
        from: Time,
        /// When it closes; not after `from`: on the day after.
        until: Time,
        /// The zone of the times.
        zone: TimeZone,
    },
}

/// A number of hours, days or weeks, at least one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Interval {
    /// How many, at least 1.
    pub count: i64,
    /// Of what.
    pub unit: Unit,
}

/// What an interval is counted in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// Hours that pass.
    Hours,
    /// Days of the calendar.
    Days,
    /// Weeks of the calendar.
    Weeks,
}

/// One due date.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Due {
    /// When it is due.
    pub at: Timestamp,
    /// When its window closes; `None`: it has none.
    pub until: Option<Timestamp>,
}

/// Why a text is no schedule.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ScheduleError {
    /// Not a cron expression.
    #[error("it is no cron expression: {0}")]
    Cron(String),
    /// Not an interval.
    #[error("it is no interval")]
    Interval,
    /// Not a date with a time.
    #[error("it is no date with a time")]
    Date,
    /// Not a window.
    #[error("it is no window of time")]
    Window,
}

impl Schedule {
    /// A cron expression of five fields.
    ///
    /// # Errors
    /// [`ScheduleError::Cron`] says what is wrong with it.
    pub fn cron(text: &str, zone: TimeZone) -> Result<Self, ScheduleError> {
        let parser = CronParser::builder()
            .seconds(Seconds::Disallowed)
            .year(Year::Disallowed)
            .build();
        let cron = parser
            .parse(text)
            .map_err(|error| ScheduleError::Cron(error.to_string()))?;
        let cron = Box::new(cron);
        Ok(Self::Cron { cron, zone })
    }

    /// An interval such as `4 weeks`, from a first date such as `2026-12-01 16:00`.
    ///
    /// # Errors
    /// [`ScheduleError::Interval`] or [`ScheduleError::Date`].
    pub fn every(interval: &str, from: &str, zone: TimeZone) -> Result<Self, ScheduleError> {
        let interval = Interval::parse(interval).ok_or(ScheduleError::Interval)?;
        let from = from.parse().map_err(|_| ScheduleError::Date)?;
        Ok(Self::Every {
            interval,
            from,
            zone,
        })
    }

    /// A window of each day such as `15:00-17:00`.
    ///
    /// # Errors
    /// [`ScheduleError::Window`].
    pub fn window(text: &str, zone: TimeZone) -> Result<Self, ScheduleError> {
        let (from, until) = text.split_once('-').ok_or(ScheduleError::Window)?;
        let time = |text: &str| {
            text.trim()
                .parse::<Time>()
                .map_err(|_| ScheduleError::Window)
        };
        let (from, until) = (time(from)?, time(until)?);
        if from == until {
            return Err(ScheduleError::Window);
        }
        Ok(Self::Window { from, until, zone })
    }

    /// The zone of its times; `None` on demand.
    #[must_use]
    pub fn zone(&self) -> Option<&TimeZone> {
        match self {
            Self::OnDemand => None,
            Self::Cron { zone, .. } | Self::Every { zone, .. } | Self::Window { zone, .. } => {
                Some(zone)
            }
        }
    }

    /// The first due date after `time`; `None` where there is none ever.
    #[must_use]
    pub fn next_after(&self, time: Timestamp) -> Option<Due> {
        match self {
            Self::OnDemand => None,
            Self::Cron { cron, zone } => {
                let after = time.to_zoned(zone.clone());
                let next = cron.find_next_occurrence(&after, false).ok()?;
                Some(Due::at(next.timestamp()))
            }
            Self::Every {
                interval,
                from,
                zone,
            } => interval.next_after(*from, zone, time).map(Due::at),
            Self::Window { from, until, zone } => next_window(*from, *until, zone, time),
        }
    }
}

impl Due {
    fn at(at: Timestamp) -> Self {
        Self { at, until: None }
    }
}

impl Interval {
    /// `4 weeks`, `1 day`, `12 hours`.
    fn parse(text: &str) -> Option<Self> {
        let (count, unit) = text.trim().split_once(' ')?;
        let count = count
            .parse()
            .ok()
            .filter(|count| (1..=1000).contains(count))?;
        let unit = match unit.trim() {
            "hour" | "hours" => Unit::Hours,
            "day" | "days" => Unit::Days,
            "week" | "weeks" => Unit::Weeks,
            _ => return None,
        };
        Some(Self { count, unit })
    }

    /// The first date after `time` of those from `from` on.
    fn next_after(self, from: DateTime, zone: &TimeZone, time: Timestamp) -> Option<Timestamp> {
        let first = zone.to_timestamp(from).ok()?;
        if time < first {
            return Some(first);
        }
        if self.unit == Unit::Hours {
            let step_s = self.count * 3600;
            let steps = (time.as_second() - first.as_second()).div_euclid(step_s) + 1;
            return first.checked_add((steps * step_s).seconds()).ok();
        }
        let days = self.count * if self.unit == Unit::Weeks { 7 } else { 1 };
        let today = time.to_zoned(zone.clone()).date();
        let passed = days_between(from.date(), today);
        // Days are of different lengths: the date may be today still, or the one after.
        let steps = passed.div_euclid(days).max(0);
        (steps..steps + 3)
            .filter_map(|step| from.checked_add((step * days).days()).ok())
            .filter_map(|date| zone.to_timestamp(date).ok())
            .find(|date| *date > time)
    }
}

fn days_between(from: Date, to: Date) -> i64 {
    i64::from((to - from).get_days())
}

/// The first window that opens after `time`.
fn next_window(from: Time, until: Time, zone: &TimeZone, time: Timestamp) -> Option<Due> {
    let today = time.to_zoned(zone.clone()).date();
    (0..3)
        .filter_map(|days| today.checked_add(days.days()).ok())
        .filter_map(|date| {
            let closes_on = if until > from {
                date
            } else {
                date.tomorrow().ok()?
            };
            Some(Due {
                at: zone.to_timestamp(date.to_datetime(from)).ok()?,
                until: zone.to_timestamp(closes_on.to_datetime(until)).ok(),
            })
        })
        .find(|due| due.at > time)
}

/// In words, as the user wrote it.
impl fmt::Display for Schedule {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let zone = match self {
            Self::OnDemand => return Ok(()),
            Self::Cron { cron, zone } => {
                write!(f, "at {}", cron.as_str())?;
                zone
            }
            Self::Every {
                interval,
                from,
                zone,
            } => {
                let unit = match interval.unit {
                    Unit::Hours => "hours",
                    Unit::Days => "days",
                    Unit::Weeks => "weeks",
                };
                write!(
                    f,
                    "every {} {unit} from {}",
                    interval.count,
                    from.strftime("%F %H:%M")
                )?;
                zone
            }
            Self::Window { from, until, zone } => {
                let (from, until) = (from.strftime("%H:%M"), until.strftime("%H:%M"));
                write!(f, "any time from {from} to {until}")?;
                zone
            }
        };
        match zone.iana_name() {
            Some(name) => write!(f, " ({name})"),
            None => Ok(()),
        }
    }
}
