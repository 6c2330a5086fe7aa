//! `[[round]]`.

use jiff::{SignedDuration, tz::TimeZone};
use prost_types::{ListValue, Struct, Value, value::Kind};
use toml::{Spanned, de::DeValue};

use super::{
    limits::known_link,
    links::LinkDraft,
    section::{Section, as_number},
    types::{CheckConfig, RoundConfig},
};
use crate::rounds::{Schedule, ScheduleError};

const NAME: &str = "a name of letters, digits, `-` and `_`, such as \"nightly\"";
const WHEN: &str = "a cron expression of five fields, such as \"0 16 * * *\" for 16:00 every day";
const EVERY: &str = "a number of hours, days or weeks, such as \"4 weeks\"";
const FROM: &str = "the first date with its time, such as from = \"2026-12-01 16:00\"";
const WINDOW: &str = "two times of day, such as \"15:00-17:00\"";
const ZONE: &str = "a zone of the IANA database, such as \"Europe/Vienna\"";
const CHECKS: &str = "a list of analyses, such as checks = [\"latency\", \
                      { analysis = \"level\", set = { step_db = 2 } }]";
const LINKS: &str = "a list of links' names; without it every link is checked";
/// The keys that say when, of which one at most may be there.
const SCHEDULES: [&str; 3] = ["when", "every", "window"];
/// Hours that a missed due date may be caught up, where nothing is said.
const CATCH_UP_HOURS: f64 = 3.0;
const CATCH_UP_HOURS_MAX: f64 = 168.0;

/// Reads all rounds; the wrong ones are noted.
pub(super) fn read(file: &Section<'_>, links: &[LinkDraft<'_>]) -> Vec<RoundConfig> {
    let sections = file.sections("round", "[[round]]");
    let mut rounds: Vec<RoundConfig> = Vec::new();
    for section in &sections {
        let round = read_round(section, links);
        if rounds.iter().any(|other| other.name == round.name) && !round.name.is_empty() {
            let wrong = format!("there is another round \"{}\"", round.name);
            section.wrong("name", wrong, "a name of its own for each round");
        }
        rounds.push(round);
    }
    rounds
}

fn read_round(section: &Section<'_>, links: &[LinkDraft<'_>]) -> RoundConfig {
    let name = section.need("name", section.text("name", NAME), "name = \"nightly\"");
    let word = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    if let Some(wrong) = name.filter(|name| !name.chars().all(word)) {
        section.wrong(
            "name",
            format!("\"{wrong}\" cannot be the name of a round"),
            NAME,
        );
    }
    let round = RoundConfig {
        name: name.unwrap_or_default().to_owned(),
        schedule: read_schedule(section),
        catch_up: read_catch_up(section),
        links: read_links(section, links),
        checks: read_checks(section),
    };
    section.close();
    round
}

fn read_catch_up(section: &Section<'_>) -> SignedDuration {
    let hours = section.number_or("catch_up_hours", 0.0..=CATCH_UP_HOURS_MAX, CATCH_UP_HOURS);
    SignedDuration::from_secs_f64(hours * 3600.0)
}

fn read_schedule(section: &Section<'_>) -> Schedule {
    let zone = read_zone(section);
    let when = section.text("when", WHEN);
    let (every, from) = (section.text("every", EVERY), section.text("from", FROM));
    let window = section.text("window", WINDOW);
    let given: Vec<&str> = SCHEDULES
        .into_iter()
        .filter(|key| section.has(key))
        .collect();
    if let [first, second, ..] = given[..] {
        let wrong = format!("both `{first}` and `{second}` say when");
        section.wrong(
            second,
            wrong,
            "one of `when`, `every` with `from`, and `window`",
        );
    }
    if section.has("from") != section.has("every") {
        let key = if section.has("from") { "from" } else { "every" };
        section.wrong(
            key,
            "`every` and `from` go together",
            format!("{EVERY}; {FROM}"),
        );
        return Schedule::OnDemand;
    }
    let schedule = match (when, every.zip(from), window) {
        (Some(text), _, _) => Schedule::cron(text, zone),
        (_, Some((every, from)), _) => Schedule::every(every, from, zone),
        (_, _, Some(text)) => Schedule::window(text, zone),
        _ => return Schedule::OnDemand,
    };
    schedule.unwrap_or_else(|error| {
        let (key, right) = match &error {
            ScheduleError::Cron(_) => ("when", WHEN),
            ScheduleError::Interval => ("every", EVERY),
            ScheduleError::Date => ("from", FROM),
            ScheduleError::Window => ("window", WINDOW),
        };
        section.wrong(key, format!("`{key}` cannot be used: {error}"), right);
        Schedule::OnDemand
    })
}

/// The zone of the round's times; the machine's own where nothing is said.
fn read_zone(section: &Section<'_>) -> TimeZone {
    let Some(name) = section.text("zone", ZONE) else {
        return TimeZone::system();
    };
    TimeZone::get(name).unwrap_or_else(|error| {
        section.wrong("zone", format!("the zone cannot be used: {error}"), ZONE);
        TimeZone::UTC
    })
}

fn read_links(section: &Section<'_>, links: &[LinkDraft<'_>]) -> Option<Vec<String>> {
    let names = section.texts("links", LINKS)?;
    for name in &names {
        known_link(section, "links", name, links, LINKS);
    }
    if names.is_empty() && section.has("links") {
        section.wrong("links", "`links` is empty", LINKS);
    }
    Some(names)
}

fn read_checks(section: &Section<'_>) -> Vec<CheckConfig> {
    let values = section.need("checks", section.list("checks", CHECKS), CHECKS);
    let values = values.unwrap_or_default();
    if values.is_empty() && section.has("checks") {
        section.wrong("checks", "`checks` names no analysis", CHECKS);
    }
    values
        .into_iter()
        .map(|value| read_check(section, value))
        .collect()
}

fn read_check(section: &Section<'_>, value: &Spanned<DeValue<'_>>) -> CheckConfig {
    let Some(table) = value.get_ref().as_table() else {
        let analysis = section.text_in("checks", value, CHECKS);
        return CheckConfig {
            analysis: analysis.unwrap_or_default().to_owned(),
            parameters: Struct::default(),
        };
    };
    let check = Section::new("checks", table, value.span(), section.mistakes);
    let analysis = check.need("analysis", check.text("analysis", CHECKS), CHECKS);
    let parameters = check.section("set", "set = { … }").map(|set| {
        let fields = set.entries().filter_map(|(key, value)| {
            let parameter = parameter(value.get_ref());
            if parameter.is_none() {
                let wrong = format!("`{key}` is no value of a parameter");
                let right = "a number, a text, true or false, or a list of numbers";
                set.wrong(key, wrong, right);
            }
            Some((key.to_owned(), parameter?))
        });
        Struct {
            fields: fields.collect(),
        }
    });
    let check_config = CheckConfig {
        analysis: analysis.unwrap_or_default().to_owned(),
        parameters: parameters.unwrap_or_default(),
    };
    check.close();
    check_config
}

/// A value as the API has it; the plugin's schema says later whether it fits.
fn parameter(value: &DeValue<'_>) -> Option<Value> {
    let kind = match value {
        DeValue::String(text) => Kind::StringValue(text.to_string()),
        DeValue::Boolean(switch) => Kind::BoolValue(*switch),
        DeValue::Array(list) => {
            let values = list.iter().map(|value| parameter(value.get_ref()));
            let values = values.collect::<Option<_>>()?;
            Kind::ListValue(ListValue { values })
        }
        other => Kind::NumberValue(as_number(other)?),
    };
    Some(Value { kind: Some(kind) })
}
