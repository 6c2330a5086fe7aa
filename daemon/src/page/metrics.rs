//! Metrics in the text format of Prometheus, version 0.0.4 (prometheus.io, "Exposition formats"),
//! named after its conventions: base units, one unit a name. Levels are in decibels, which have no
//! base unit there.

use std::fmt::{Display, Write};

use goodwire_proto::v1::{LinkCheck, measurement::State, verdict::Outcome};
use prost_types::Timestamp;

use crate::{
    audio::engine::EngineStatus, measure::complete::Desk, rounds::round_of, safety,
    store::StoreError,
};

/// Milliseconds of a second.
const MS_PER_S: f64 = 1e3;

/// The metrics while they are written.
#[derive(Default)]
struct Page {
    text: String,
}

/// All metrics.
///
/// # Errors
/// Where the store cannot be read.
pub fn metrics(desk: &Desk, engine: &EngineStatus) -> Result<String, StoreError> {
    let mut page = Page::default();
    of_daemon(&mut page, desk, engine)?;
    of_links(&mut page, desk)?;
    of_rounds(&mut page, desk)?;
    Ok(page.text)
}

fn of_daemon(page: &mut Page, desk: &Desk, engine: &EngineStatus) -> Result<(), StoreError> {
    page.family("goodwire_build_info", "gauge", "Version of the daemon.");
    let version = env!("CARGO_PKG_VERSION");
    page.sample("goodwire_build_info", &[("version", version)], 1);
    let is_ready = engine.shape.is_some();
    page.single(
        "goodwire_interface_ready",
        "gauge",
        "1 where the audio interface is open.",
        u8::from(is_ready),
    );
    page.single(
        "goodwire_interface_xruns_total",
        "counter",
        "Times that the interface lost frames since the daemon began.",
        engine.xrun_count,
    );
    page.single(
        "goodwire_store_healthy",
        "gauge",
        "1 while results can be stored.",
        u8::from(desk.store.is_healthy()),
    );
    page.single(
        "goodwire_measurements_waiting",
        "gauge",
        "Measurements that wait for the rig.",
        desk.queue.waiting_count(),
    );
    page.single(
        "goodwire_held",
        "gauge",
        "1 during a hold: nothing is played.",
        u8::from(desk.store.hold()?.is_some()),
    );
    page.single(
        "goodwire_messages_waiting",
        "gauge",
        "Messages of runs that have not gone out, counted for each way.",
        desk.store.messages_waiting()?,
    );
    of_messages(page, desk);
    let permit = safety::permit_now(&desk.store, &desk.config.safety, &*desk.clock)?;
    if let Some(until) = permit.and_then(|permit| permit.until_time) {
        page.single(
            "goodwire_permit_until_timestamp_seconds",
            "gauge",
            "When the permit ends. Absent where there is none.",
            seconds(&until),
        );
    }
    Ok(())
}

fn of_messages(page: &mut Page, desk: &Desk) {
    let Some(messages) = &desk.config.messages else {
        return;
    };
    let families = [
        (
            "goodwire_messages_sent_total",
            "Messages that went out since the daemon began.",
        ),
        (
            "goodwire_message_failures_total",
            "Times that a message did not go out; it is tried again for a day.",
        ),
        (
            "goodwire_messages_given_up_total",
            "Messages that were given up after a day.",
        ),
    ];
    for (index, (name, help)) in families.into_iter().enumerate() {
        page.family(name, "counter", help);
        for way in messages.ways() {
            let count = desk.message_counts.of(way)[index];
            page.sample(name, &[("way", way)], count);
        }
    }
}

fn of_links(page: &mut Page, desk: &Desk) -> Result<(), StoreError> {
    let mut checks = Vec::new();
    for link in &desk.config.links {
        let of_link = desk.store.last_checks(&link.name)?;
        checks.extend(of_link.into_iter().map(|check| (link.name.as_str(), check)));
    }
    page.family(
        "goodwire_check_outcome",
        "gauge",
        "What the limits said last: 0 pass, 1 drift, 2 fail, 3 unmeasured. Absent without limits.",
    );
    for (link, check) in &checks {
        if let Some(code) = code_of(check) {
            let labels = [("link", *link), ("analysis", check.analysis.as_str())];
            page.sample("goodwire_check_outcome", &labels, code);
        }
    }
    page.family(
        "goodwire_check_end_timestamp_seconds",
        "gauge",
        "When the last measurement ended.",
    );
    for (link, check) in &checks {
        if let Some(end) = &check.end_time {
            let labels = [("link", *link), ("analysis", check.analysis.as_str())];
            page.sample(
                "goodwire_check_end_timestamp_seconds",
                &labels,
                seconds(end),
            );
        }
    }
    of_last_figures(page, desk)
}

/// The last figures that a person asks for first.
fn of_last_figures(page: &mut Page, desk: &Desk) -> Result<(), StoreError> {
    let simulated = desk.config.interface.backend.is_simulated();
    let figures = [
        (
            "goodwire_link_latency_seconds",
            "Latency of the link, as last measured.",
            ("latency", "latency"),
            1.0 / MS_PER_S,
        ),
        (
            "goodwire_link_gain_db",
            "Gain of the link against the reference, as last measured.",
            ("level", "gain"),
            1.0,
        ),
        (
            "goodwire_link_clip_point_dbfs",
            "Level at the send at which the link clips, as last measured.",
            ("level", "clip_point"),
            1.0,
        ),
    ];
    for (name, help, (analysis, figure), scale) in figures {
        page.family(name, "gauge", help);
        for link in &desk.config.links {
            let last = desk
                .store
                .last_figure(&link.name, analysis, figure, simulated)?;
            if let Some(value) = last {
                page.sample(name, &[("link", &link.name)], value * scale);
            }
        }
    }
    Ok(())
}

fn of_rounds(page: &mut Page, desk: &Desk) -> Result<(), StoreError> {
    let rounds = desk.config.rounds.iter();
    let rounds = rounds
        .map(|round| Ok((round.name.as_str(), round_of(desk, round)?)))
        .collect::<Result<Vec<_>, StoreError>>()?;
    page.family(
        "goodwire_round_outcome",
        "gauge",
        "What the last run said: 0 pass, 1 drift, 2 fail, 3 unmeasured or missed.",
    );
    for (name, round) in &rounds {
        let outcome = round.last_run.as_ref().map(|run| code(run.outcome()));
        if let Some(code) = outcome.flatten() {
            page.sample("goodwire_round_outcome", &[("round", name)], code);
        }
    }
    page.family(
        "goodwire_round_end_timestamp_seconds",
        "gauge",
        "When the last run ended. Alert on its age.",
    );
    for (name, round) in &rounds {
        let end = round
            .last_run
            .as_ref()
            .and_then(|run| run.end_time.as_ref());
        if let Some(end) = end {
            let labels = [("round", *name)];
            page.sample(
                "goodwire_round_end_timestamp_seconds",
                &labels,
                seconds(end),
            );
        }
    }
    page.family(
        "goodwire_round_due_timestamp_seconds",
        "gauge",
        "The next due date. Absent where the round runs on demand.",
    );
    for (name, round) in &rounds {
        if let Some(next) = &round.next_time {
            let labels = [("round", *name)];
            page.sample(
                "goodwire_round_due_timestamp_seconds",
                &labels,
                seconds(next),
            );
        }
    }
    Ok(())
}

impl Page {
    /// Begins a family of samples.
    fn family(&mut self, name: &str, kind: &str, help: &str) {
        self.line(format_args!("# HELP {name} {help}"));
        self.line(format_args!("# TYPE {name} {kind}"));
    }

    /// A family of one sample.
    fn single(&mut self, name: &str, kind: &str, help: &str, value: impl Display) {
        self.family(name, kind, help);
        self.sample(name, &[], value);
    }

    fn sample(&mut self, name: &str, labels: &[(&str, &str)], value: impl Display) {
        if labels.is_empty() {
            return self.line(format_args!("{name} {value}"));
        }
        let labels: Vec<String> = labels
            .iter()
            .map(|(label, value)| format!("{label}=\"{}\"", escaped(value)))
            .collect();
        self.line(format_args!("{name}{{{}}} {value}", labels.join(",")));
    }

    fn line(&mut self, line: std::fmt::Arguments<'_>) {
        writeln!(self.text, "{line}").expect("writing to a string does not fail");
    }
}

/// A label's value as the format wants it.
fn escaped(value: &str) -> String {
    let value = value.replace('\\', "\\\\").replace('"', "\\\"");
    value.replace('\n', "\\n")
}

/// The code of a check, as commands exit with it.
fn code_of(check: &LinkCheck) -> Option<u8> {
    if check.state() == State::Succeeded {
        code(check.outcome())
    } else {
        Some(3)
    }
}

fn code(outcome: Outcome) -> Option<u8> {
    match outcome {
        Outcome::Unspecified => None,
        Outcome::Pass => Some(0),
        Outcome::Drift => Some(1),
        Outcome::Fail => Some(2),
        Outcome::Unmeasured => Some(3),
    }
}

fn seconds(time: &Timestamp) -> f64 {
    time.seconds as f64 + f64::from(time.nanos) / 1e9
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_are_escaped_as_the_format_wants_it() {
        let mut page = Page::default();
        page.sample("x", &[("link", "a\"b\\c\nd")], 1.5);
        assert_eq!(page.text, "x{link=\"a\\\"b\\\\c\\nd\"} 1.5\n");
    }
}
