//! A curve against the corners of its mask.

use goodwire_proto::v1::verdict::Outcome;

use super::{
    super::{interval::Standing, line::along, words},
    Held, Points, Worst, said_of,
};
use crate::config::CurveLimit;

/// What the corners of the mask say; `None` where the limit has none.
pub(super) fn held(wanted: &CurveLimit, points: &Points<'_>) -> Option<Held> {
    let masks = [&wanted.upper, &wanted.lower];
    let ends = |mask: &Vec<[f64; 2]>| Some([mask.first()?[0], mask.last()?[0]]);
    masks.into_iter().find_map(ends)?;
    let judged: Vec<Worst> = points
        .all()
        .filter_map(|(x, interval)| {
            let upper = along(points.axis, &wanted.upper, x);
            let lower = along(points.axis, &wanted.lower, x);
            let min = lower.unwrap_or(f64::NEG_INFINITY);
            let max = upper.unwrap_or(f64::INFINITY);
            (upper.is_some() || lower.is_some()).then(|| Worst {
                x,
                interval,
                standing: interval.against(lower, upper),
                excess: (interval.value - max).max(min - interval.value),
                allowed: Some([min, max]),
                before: None,
            })
        })
        .collect();
    let missing = masks
        .into_iter()
        .filter_map(ends)
        .find_map(|reach| points.unmeasured(&points.curve.x, reach, ""));
    Some(said_of(points, &judged, missing, |worst, count| {
        mask_in_words(points, worst, count)
    }))
}

fn mask_in_words(points: &Points<'_>, worst: &Worst, count: &str) -> (Outcome, String) {
    let name = &points.name;
    let x = points.shown_x(worst.x);
    let [min, max] = worst.allowed.unwrap_or([f64::NEG_INFINITY, f64::INFINITY]);
    let is_high = worst.interval.value - max > min - worst.interval.value;
    let limit = points.shown(if is_high { max } else { min });
    let value = words::interval(&worst.interval, &points.curve.y_unit);
    let by = points.shown(worst.excess.abs());
    match worst.standing {
        Standing::Outside => {
            let side = if is_high { "above" } else { "below" };
            let text = format!(
                "{name} breaks its mask {count}, worst at {x}: {value} is {by} {side} the limit \
                 of {limit}."
            );
            (Outcome::Fail, text)
        }
        Standing::Across => {
            let text = format!(
                "{name} is too uncertain to tell {count}, worst at {x}: {value}; the limit there \
                 is {limit}."
            );
            (Outcome::Unmeasured, text)
        }
        Standing::Inside => {
            let text = format!(
                "{name} keeps its mask {count}, nearest at {x}: {value} is {by} from the limit of \
                 {limit}."
            );
            (Outcome::Pass, text)
        }
    }
}
