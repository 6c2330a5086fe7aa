//! Limits of whole curves in `[[limit]]`: `curve`, `upper`, `lower`, `re`, `drift_range`.

use toml::{Spanned, de::DeValue};

use super::{
    section::{Section, as_number},
    types::CurveLimit,
};

const CURVE: &str = "the id of a curve in snake_case, such as \"magnitude\"";
const RE: &str = "the id of a figure whose value is subtracted first, such as re = \"gain\"";
const MASK: &str = "two or more corners [x, y] with rising x, such as [[20, 3], [20000, 3]]";
const RANGE: &str = "where drift begins and ends to count, such as drift_range = [63, 16000]";
/// Keys that say nothing without a curve.
const OF_CURVES: [&str; 4] = ["upper", "lower", "re", "drift_range"];

/// Reads what belongs to a curve; `None` where the limit is one of a figure.
pub(super) fn read(limit: &Section<'_>) -> Option<CurveLimit> {
    let curve = CurveLimit {
        id: super::limits::read_id(limit, "curve", CURVE).unwrap_or_default(),
        upper: read_mask(limit, "upper"),
        lower: read_mask(limit, "lower"),
        re: super::limits::read_id(limit, "re", RE),
        drift_range: read_range(limit),
    };
    if !limit.has("curve") {
        for key in OF_CURVES.into_iter().filter(|key| limit.has(key)) {
            let wrong = format!("`{key}` is for a limit of a curve, and there is no `curve`");
            limit.wrong(key, wrong, "with curve = \"magnitude\", or without it");
        }
        return None;
    }
    for key in ["min", "max"].into_iter().filter(|key| limit.has(key)) {
        let wrong = format!("`{key}` is for a limit of a figure");
        limit.wrong(
            key,
            wrong,
            "`upper` and `lower` for a curve: corners [x, y]",
        );
    }
    if limit.has("figure") {
        let wrong = "this limit has a `figure` and a `curve`";
        limit.wrong(
            "curve",
            wrong,
            "one of the two; a [[limit]] of its own for the other",
        );
    }
    if !["upper", "lower", "drift"].iter().any(|key| limit.has(key)) {
        let wrong = "this limit allows everything".to_owned();
        let right = "at least one of `upper`, `lower` and `drift`".to_owned();
        limit.mistakes.missing(limit.span_of(""), wrong, right);
    }
    if limit.has("drift_range") && !limit.has("drift") {
        let wrong = "`drift_range` is there, and `drift` is not";
        limit.wrong("drift_range", wrong, "drift = 1.0 beside it");
    }
    check_order(limit, &curve);
    Some(curve)
}

/// The corners of one side; wrong ones are noted, and the mask is then empty.
fn read_mask(limit: &Section<'_>, key: &'static str) -> Vec<[f64; 2]> {
    let Some(values) = limit.list(key, MASK) else {
        return Vec::new();
    };
    if values.len() < 2 {
        let wrong = format!("`{key}` has {} corners", values.len());
        limit.wrong(key, wrong, MASK);
        return Vec::new();
    }
    let mut corners: Vec<[f64; 2]> = Vec::new();
    for value in values {
        let Some([x, y]) = corner(value) else {
            let wrong = format!("this is no corner of `{key}`");
            limit.mistakes.wrong(value.span(), wrong, MASK.to_owned());
            return Vec::new();
        };
        if let Some([before, _]) = corners.last().filter(|last| x <= last[0]) {
            let wrong = format!("the corner at {x} comes after the one at {before}");
            let right = "corners in the order of x, each x once".to_owned();
            limit.mistakes.wrong(value.span(), wrong, right);
            return Vec::new();
        }
        corners.push([x, y]);
    }
    corners
}

fn corner(value: &Spanned<DeValue<'_>>) -> Option<[f64; 2]> {
    let pair: Vec<f64> = value
        .get_ref()
        .as_array()?
        .iter()
        .filter_map(|number| as_number(number.get_ref()).filter(|number| number.is_finite()))
        .collect();
    <[f64; 2]>::try_from(pair).ok()
}

fn read_range(limit: &Section<'_>) -> Option<[f64; 2]> {
    let numbers = limit.numbers("drift_range", f64::MIN..=f64::MAX)?;
    match <[f64; 2]>::try_from(numbers) {
        Ok([from, to]) if from < to => Some([from, to]),
        _ => {
            let wrong = "`drift_range` is not two rising numbers";
            limit.wrong("drift_range", wrong, RANGE);
            None
        }
    }
}

/// Notes a lower side that lies above the upper at one of its corners, where nothing is allowed.
fn check_order(limit: &Section<'_>, curve: &CurveLimit) {
    for [x, least] in &curve.lower {
        let corners = curve.upper.iter();
        let most = corners.clone().find(|corner| corner[0] == *x);
        // Between corners the upper side lies between its two neighbours on every axis.
        let around = curve.upper.windows(2);
        let mut around = around.filter(|pair| pair[0][0] < *x && *x < pair[1][0]);
        let most = most.map(|corner| corner[1]);
        let most = most.or_else(|| around.next().map(|pair| pair[0][1].max(pair[1][1])));
        if let Some(most) = most.filter(|most| least > most) {
            let wrong = format!("`lower` is {least} at {x}, where `upper` is {most} at most");
            limit.wrong("lower", wrong, "lower <= upper everywhere");
            return;
        }
    }
}
