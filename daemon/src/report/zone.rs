//! Times as people at the site read them.

use goodwire_proto::v1::Measurement;
use jiff::tz::TimeZone;
use prost_types::Timestamp;

use crate::{config::Config, measure::job::bare};

/// The zone in which times are told, each with its offset from UTC.
#[derive(Debug, Clone, PartialEq)]
pub struct Zone(TimeZone);

impl Default for Zone {
    fn default() -> Self {
        Self(TimeZone::UTC)
    }
}

impl Zone {
    /// The zone of a round's schedule; the machine's where it has none, or is not in the
    /// configuration any more.
    #[must_use]
    pub fn of_round(config: &Config, round: &str) -> Self {
        let schedule = config.round(bare(round)).map(|round| &round.schedule);
        let zone = schedule.and_then(|schedule| schedule.zone().cloned());
        zone.map_or_else(Self::of_machine, Self)
    }

    /// The machine's own zone.
    #[must_use]
    pub fn of_machine() -> Self {
        Self(TimeZone::system())
    }

    /// A time to the minute: `2026-11-25 18:05 +01:00`. Empty where there is none.
    pub(crate) fn time(&self, time: Option<&Timestamp>) -> String {
        let zoned = time.and_then(|time| self.zoned(time));
        zoned.map_or_else(String::new, |time| {
            time.strftime("%Y-%m-%d %H:%M %:z").to_string()
        })
    }

    /// When a measurement was made; when it was asked for, where it never began.
    pub(crate) fn time_of(&self, measurement: &Measurement) -> String {
        let begun = measurement.start_time.as_ref();
        self.time(begun.or(measurement.create_time.as_ref()))
    }

    /// What the clocks of the zone show, in seconds since they showed the beginning of 1970: the
    /// place of a time on an axis whose days are those of the site.
    pub(crate) fn civil_s(&self, time: &Timestamp) -> f64 {
        let offset_s = self.zoned(time).map_or(0, |zoned| zoned.offset().seconds());
        // Exact as a float for millions of years.
        (time.seconds + i64::from(offset_s)) as f64
    }

    /// The zone's name, for a sentence.
    pub(crate) fn name(&self) -> &str {
        self.0.iana_name().unwrap_or("the machine's own zone")
    }

    fn zoned(&self, time: &Timestamp) -> Option<jiff::Zoned> {
        let time = jiff::Timestamp::new(time.seconds, time.nanos).ok()?;
        Some(time.to_zoned(self.0.clone()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn berlin() -> Zone {
        Zone(TimeZone::get("Europe/Berlin").unwrap())
    }

    #[test]
    fn a_time_is_told_with_1_h_in_winter_and_2_h_in_summer() {
        let told = |seconds| berlin().time(Some(&Timestamp { seconds, nanos: 0 }));
        // 2026-11-25 17:05 UTC and 2026-07-01 17:05 UTC.
        assert_eq!(told(1_795_626_300), "2026-11-25 18:05 +01:00");
        assert_eq!(told(1_782_925_500), "2026-07-01 19:05 +02:00");
        assert_eq!(berlin().time(None), "");
    }

    #[test]
    fn midnight_of_the_site_is_a_whole_day_on_the_axis() {
        // 2026-11-24 23:00 UTC.
        let midnight = Timestamp {
            seconds: 1_795_561_200,
            nanos: 0,
        };
        assert!(berlin().civil_s(&midnight) % 86_400.0 < 1e-9);
    }
}
