//! `[[limit]]`.

use std::collections::BTreeMap;

use super::{
    links::LinkDraft,
    nearest::nearest,
    section::{Section, as_number},
    types::{AtValue, LimitConfig},
};

const FIGURE: &str = "the id of a figure in snake_case, such as \"deviation\"";
const ANALYSIS: &str = "the id of an analysis, such as \"response\"";
const AT: &str = "numbers and texts by name, such as at = { from_hz = 125, to_hz = 250 }";

/// Reads all limits; the wrong ones are noted.
pub(super) fn read(file: &Section<'_>, links: &[LinkDraft<'_>]) -> Vec<LimitConfig> {
    let sections = file.sections("limit", "[[limit]]");
    sections
        .iter()
        .map(|section| read_limit(section, links))
        .collect()
}

fn read_limit(section: &Section<'_>, links: &[LinkDraft<'_>]) -> LimitConfig {
    let finite = f64::MIN..=f64::MAX;
    let limit = LimitConfig {
        link: read_link_name(section, links),
        analysis: read_id(section, "analysis", ANALYSIS),
        figure: read_id(section, "figure", FIGURE),
        at: read_at(section),
        min: section.number("min", finite.clone()),
        max: section.number("max", finite),
        drift: section.number("drift", 0.0..=f64::MAX),
    };
    if !["min", "max", "drift"].iter().any(|key| section.has(key)) {
        let wrong = "this limit allows everything".to_owned();
        let right = "at least one of `min`, `max` and `drift`".to_owned();
        section.mistakes.missing(section.span_of(""), wrong, right);
    }
    if let (Some(min), Some(max)) = (limit.min, limit.max)
        && min > max
    {
        section.wrong(
            "min",
            format!("`min` is {min}, above `max`, which is {max}"),
            "min <= max",
        );
    }
    section.close();
    limit
}

fn read_id(section: &Section<'_>, key: &'static str, right: &str) -> String {
    let text = section
        .need(key, section.text(key, right), right)
        .unwrap_or_default();
    let good = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_' || c == '-';
    if !text.chars().all(good) {
        section.wrong(key, format!("`{key}` is \"{text}\""), right);
    }
    text.to_owned()
}

fn read_link_name(section: &Section<'_>, links: &[LinkDraft<'_>]) -> Option<String> {
    let name = section.text("link", "the name of a link; without it every link is meant")?;
    let right = "the name of a [[link]] of this file; without it every link is meant";
    known_link(section, "link", name, links, right);
    Some(name.to_owned())
}

/// Notes a name at `key` that is none of a link.
pub(super) fn known_link(
    section: &Section<'_>,
    key: &str,
    name: &str,
    links: &[LinkDraft<'_>],
    right: &str,
) {
    let known = || {
        links
            .iter()
            .map(|link| link.name.as_str())
            .filter(|name| !name.is_empty())
    };
    if !known().any(|link| link == name) {
        let right = match nearest(name, known()) {
            Some(near) => format!("\"{near}\""),
            None => right.to_owned(),
        };
        section.wrong(key, format!("there is no link \"{name}\""), right);
    }
}

fn read_at(limit: &Section<'_>) -> BTreeMap<String, AtValue> {
    let Some(section) = limit.section("at", "at = { … }") else {
        return BTreeMap::new();
    };
    let mut at = BTreeMap::new();
    for (key, value) in section.entries() {
        let number = as_number(value.get_ref()).filter(|number| number.is_finite());
        let value = match number {
            Some(number) => Some(AtValue::Number(number)),
            None => section
                .text_in(key, value, AT)
                .map(|text| AtValue::Text(text.to_owned())),
        };
        at.extend(value.map(|value| (key.to_owned(), value)));
    }
    at
}
