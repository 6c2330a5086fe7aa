//! A curve against its baseline.

use goodwire_proto::v1::{Curve, Measurement, verdict::Outcome};

use super::{
    super::{
        interval::{Interval, Standing},
        line::along,
        place,
    },
    Held, Points, Worst, level_of, said_of,
};
use crate::config::CurveLimit;

/// What a drift limit says: the change at every point that both have, the baseline interpolated.
pub(super) fn held(
    allowed: f64,
    wanted: &CurveLimit,
    points: &Points<'_>,
    baseline: &Measurement,
) -> Held {
    let name = &points.name;
    let unmeasured = |text| Held::without_place(Outcome::Unmeasured, text);
    let mut curves = baseline.curves.iter();
    let is_same = |before: &&Curve| {
        before.id == points.curve.id
            && place::same_place(before.at.as_ref(), points.curve.at.as_ref())
    };
    let before = curves.find(is_same).zip(level_of(wanted, baseline));
    let Some((before, re)) = before else {
        return unmeasured(format!("{name} is not in the baseline."));
    };
    let ends = before.x.first().copied().zip(before.x.last().copied());
    let Some(range) = wanted.drift_range.or(ends.map(|(from, to)| [from, to])) else {
        return unmeasured(format!("{name} is empty in the baseline."));
    };
    let judged = changes(allowed, points, &Points::new(wanted, before, re), range);
    let missing = points
        .unmeasured(&points.curve.x, range, "")
        .or_else(|| points.unmeasured(&before.x, range, " of the baseline"));
    said_of(points, &judged, missing, |worst, count| {
        drift_in_words(allowed, points, worst, count)
    })
}

fn changes(
    allowed: f64,
    points: &Points<'_>,
    before: &Points<'_>,
    [from, to]: [f64; 2],
) -> Vec<Worst> {
    let values: Vec<[f64; 2]> = before.all().map(|(x, y)| [x, y.value]).collect();
    let highs: Vec<[f64; 2]> = before.all().map(|(x, y)| [x, y.high]).collect();
    let within = points.all().filter(|(x, _)| from <= *x && *x <= to);
    within
        .filter_map(|(x, interval)| {
            let value = along(points.axis, &values, x)?;
            let spread = along(points.axis, &highs, x)? - value;
            let change = interval.change_from(&Interval {
                value,
                low: value - spread,
                high: value + spread,
            });
            Some(Worst {
                x,
                interval,
                standing: change.against(Some(-allowed), Some(allowed)),
                excess: change.value.abs() - allowed,
                allowed: None,
                before: Some(value),
            })
        })
        .collect()
}

fn drift_in_words(
    allowed: f64,
    points: &Points<'_>,
    worst: &Worst,
    count: &str,
) -> (Outcome, String) {
    let name = &points.name;
    let x = points.shown_x(worst.x);
    let change = worst
        .before
        .map_or(0.0, |before| worst.interval.value - before);
    let by = points.shown(change);
    let allowed = points.shown(allowed);
    match worst.standing {
        Standing::Outside => {
            let text = format!(
                "{name} has moved further than {allowed} from the baseline {count}, most at {x}: \
                 by {by}."
            );
            (Outcome::Drift, text)
        }
        Standing::Across => {
            let text = format!(
                "{name} has moved from the baseline too uncertainly to tell {count}, most at {x}: \
                 by {by}; allowed is {allowed}."
            );
            (Outcome::Unmeasured, text)
        }
        Standing::Inside => {
            let text = format!(
                "{name} has moved from the baseline by {by} at most, at {x}; allowed is {allowed}."
            );
            (Outcome::Pass, text)
        }
    }
}
