//! The grid of an axis of time: minutes, hours, days, weeks, months or years.

use jiff::{Timestamp, Zoned, tz::TimeZone};

use super::{Axis, Tick};

const DAY_S: i64 = 86_400;
/// Steps of equal length, in seconds, and how their lines are written.
const STEPS: [(i64, &str); 11] = [
    (60, "%H:%M"),
    (300, "%H:%M"),
    (900, "%H:%M"),
    (1800, "%H:%M"),
    (3600, "%H:%M"),
    (3 * 3600, "%H:%M"),
    (6 * 3600, "%-d %b, %H:%M"),
    (12 * 3600, "%-d %b, %H:%M"),
    (DAY_S, "%-d %b"),
    (2 * DAY_S, "%-d %b"),
    (7 * DAY_S, "%-d %b"),
];
/// Steps of the calendar, in months, and how their lines are written.
const MONTHS: [(i64, &str); 7] = [
    (1, "%b %Y"),
    (2, "%b %Y"),
    (3, "%b %Y"),
    (6, "%b %Y"),
    (12, "%Y"),
    (24, "%Y"),
    (60, "%Y"),
];
/// 1970-01-05 was a Monday.
const MONDAY_S: i64 = 4 * DAY_S;
/// The shortest month.
const MONTH_S: i64 = 28 * DAY_S;
/// Least distance of two written times in pixels.
const TEXT_PX: f64 = 84.0;

/// The lines of the grid of an axis whose values are seconds that the site's clocks have shown.
pub(super) fn ticks(axis: &Axis) -> Vec<Tick> {
    let least_s = (axis.high - axis.low) * TEXT_PX / axis.length_px;
    let is_wide = |step_s: i64| step_s as f64 >= least_s;
    let (times, writing) = match STEPS.iter().find(|(step_s, _)| is_wide(*step_s)) {
        Some((step_s, writing)) => (steps(axis, *step_s), writing),
        None => {
            let found = MONTHS.iter().find(|(months, _)| is_wide(months * MONTH_S));
            let (months, writing) = found.unwrap_or(&MONTHS[MONTHS.len() - 1]);
            (calendar(axis, *months), writing)
        }
    };
    let tick = |second: i64| {
        let text = civil(second)?.strftime(writing).to_string();
        let px = axis.px(second as f64);
        Some(Tick { px, text })
    };
    times.into_iter().filter_map(tick).collect()
}

fn steps(axis: &Axis, step_s: i64) -> Vec<i64> {
    let begin_s = if step_s == 7 * DAY_S { MONDAY_S } else { 0 };
    let first = ((axis.low - begin_s as f64) / step_s as f64).ceil() as i64;
    let last = ((axis.high - begin_s as f64) / step_s as f64).floor() as i64;
    (first..=last)
        .map(|index| begin_s + index * step_s)
        .collect()
}

/// The first days of every so many months.
fn calendar(axis: &Axis, months: i64) -> Vec<i64> {
    let month_of = |second: f64| {
        civil(second as i64).map_or(0, |time| {
            12 * i64::from(time.year()) + i64::from(time.month()) - 1
        })
    };
    let first = month_of(axis.low).div_euclid(months);
    let last = month_of(axis.high).div_euclid(months);
    let begin = |index: i64| {
        let month = index * months;
        let year = i16::try_from(month.div_euclid(12)).ok()?;
        let month = i8::try_from(month.rem_euclid(12) + 1).ok()?;
        let day = jiff::civil::Date::new(year, month, 1).ok()?;
        Some(day.to_zoned(TimeZone::UTC).ok()?.timestamp().as_second())
    };
    (first..=last)
        .filter_map(begin)
        .filter(|second| axis.low <= *second as f64 && *second as f64 <= axis.high)
        .collect()
}

/// What the clocks show, as if they stood in UTC.
fn civil(second: i64) -> Option<Zoned> {
    let time = Timestamp::from_second(second).ok()?;
    Some(time.to_zoned(TimeZone::UTC))
}

#[cfg(test)]
mod tests {
    use super::{super::Scale, *};

    fn written(low: f64, high: f64) -> Vec<String> {
        let axis = Axis {
            scale: Scale::Time,
            low,
            high,
            length_px: 660.0,
            label: String::new(),
        };
        ticks(&axis).into_iter().map(|tick| tick.text).collect()
    }

    #[test]
    fn seven_nights_are_written_by_days_a_year_by_quarters_ten_years_by_two() {
        // 2026-11-18 00:00 and later.
        let from = 1_795_996_800.0 - 1_036_800.0;
        let day = 86_400.0;
        assert_eq!(written(from, from + 7.0 * day)[..2], ["18 Nov", "19 Nov"]);
        assert_eq!(
            written(from, from + 365.0 * day),
            [
                "Jan 2027", "Mar 2027", "May 2027", "Jul 2027", "Sep 2027", "Nov 2027"
            ]
        );
        assert_eq!(
            written(from, from + 3650.0 * day),
            ["2028", "2030", "2032", "2034", "2036"]
        );
    }
}
