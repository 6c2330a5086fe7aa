//! `[[limit]]`.

use std::collections::BTreeMap;

use goodwire_proto::v1::Analysis;

use super::{
    declared,
    links::LinkDraft,
    masks,
    nearest::nearest,
    section::{Section, as_number},
    types::{AtValue, GroupConfig, LimitConfig},
};

const FIGURE: &str = "the id of a figure in snake_case, such as \"deviation\"";
const ANALYSIS: &str = "the id of an analysis, such as \"response\"";
/// Further ahead a trend says nothing.
const HORIZON_WEEKS_MAX: f64 = 52.0;
const AT: &str = "numbers and texts by name, such as at = { from_hz = 125, to_hz = 250 }";

/// Reads all limits; the wrong ones are noted, also those of what no installed analysis gives.
pub(super) fn read(
    file: &Section<'_>,
    links: &[LinkDraft<'_>],
    analyses: &[Analysis],
) -> Vec<LimitConfig> {
    let read_one = |section: &Section<'_>| {
        let limit = read_limit(section, links);
        declared::check(section, &limit, analyses);
        limit
    };
    let sections = file.sections("limit", "[[limit]]");
    sections.iter().map(read_one).collect()
}

fn read_limit(section: &Section<'_>, links: &[LinkDraft<'_>]) -> LimitConfig {
    let finite = f64::MIN..=f64::MAX;
    let analysis = read_id(section, "analysis", ANALYSIS);
    let figure = read_id(section, "figure", FIGURE);
    let curve = masks::read(section);
    if curve.is_none() {
        section.need("figure", figure.as_ref(), FIGURE);
    }
    let limit = LimitConfig {
        link: read_link_name(section, links),
        group: read_group(section, links),
        analysis: section
            .need("analysis", analysis, ANALYSIS)
            .unwrap_or_default(),
        figure: figure.unwrap_or_default(),
        curve,
        at: read_at(section),
        min: section.number("min", finite.clone()),
        max: section.number("max", finite),
        drift: section.number("drift", 0.0..=f64::MAX),
        horizon_weeks: section.number("horizon_weeks", 0.0..=HORIZON_WEEKS_MAX),
    };
    let is_open = !["min", "max", "drift"].iter().any(|key| section.has(key));
    if limit.curve.is_none() && is_open {
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

/// An id; `None` where there is none, or not a text.
pub(super) fn read_id(section: &Section<'_>, key: &'static str, right: &str) -> Option<String> {
    let text = section.text(key, right)?;
    let good = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_' || c == '-';
    if !text.chars().all(good) {
        section.wrong(key, format!("`{key}` is \"{text}\""), right);
    }
    Some(text.to_owned())
}

fn read_link_name(section: &Section<'_>, links: &[LinkDraft<'_>]) -> Option<String> {
    let name = section.text("link", "the name of a link; without it every link is meant")?;
    let right = "the name of a [[link]] of this file; without it every link is meant";
    known_link(section, "link", name, links, right);
    Some(name.to_owned())
}

/// The group that a limit names, with its links.
fn read_group(section: &Section<'_>, links: &[LinkDraft<'_>]) -> Option<GroupConfig> {
    let right = "the `group` of a [[link]] of this file";
    let name = section.text("group", right)?;
    if section.has("link") {
        let wrong = "this limit names a `link` and a `group`";
        section.wrong("group", wrong, "one of the two");
    }
    let groups = links.iter().filter_map(|link| link.group.as_deref());
    let members = links.iter();
    let members = members.filter(|link| link.group.as_deref() == Some(name));
    let members: Vec<String> = members.map(|link| link.name.clone()).collect();
    if members.is_empty() {
        let right = match nearest(name, groups) {
            Some(near) => format!("\"{near}\""),
            None => right.to_owned(),
        };
        section.wrong("group", format!("there is no group \"{name}\""), right);
    }
    Some(GroupConfig {
        name: name.to_owned(),
        links: members,
    })
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
