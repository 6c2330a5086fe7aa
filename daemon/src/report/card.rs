//! The card of a link: what is said of it, and everything that was measured on it.

use std::fmt::Write;

use goodwire_proto::v1::{
    Finding, Measurement, RunCheck, measurement, note::Level, run::State, verdict::Outcome,
};

use super::{
    Report, Subject, change, channels, figures,
    html::{Safe, list},
    mark::Mark,
    plots, provenance, words,
};

/// A link with all that a report has of it.
pub(super) struct Link<'a> {
    /// `links/{link}`; empty for recordings of no link.
    name: &'a str,
    /// Its measurements, each with its index in the report.
    subjects: Vec<(usize, &'a Subject)>,
    /// Checks that have no measurement: they were refused.
    refused: Vec<&'a RunCheck>,
    /// Likely causes: what a run found looking at all its measurements together, else what each of
    /// them tells by itself.
    findings: Vec<&'a Finding>,
}

/// The links of a report, in the order in which they are first met.
pub(super) fn links(report: &Report) -> Vec<Link<'_>> {
    let mut links: Vec<Link<'_>> = Vec::new();
    for (index, subject) in report.subjects.iter().enumerate() {
        let link = at(&mut links, &subject.measurement.link);
        link.subjects.push((index, subject));
    }
    let checks = report.run.iter().flat_map(|run| &run.checks);
    for check in checks.filter(|check| check.measurement.is_empty()) {
        at(&mut links, &check.link).refused.push(check);
    }
    match report
        .run
        .as_ref()
        .filter(|run| run.state() == State::Ended)
    {
        Some(run) => {
            for found in &run.findings {
                let link = at(&mut links, &found.link);
                link.findings.extend(&found.finding);
            }
        }
        None => {
            for link in &mut links {
                let measured = link.subjects.iter().map(|(_, one)| &one.measurement);
                link.findings = measured.flat_map(|one| &one.findings).collect();
            }
        }
    }
    links
}

fn at<'a, 'b>(links: &'b mut Vec<Link<'a>>, name: &'a str) -> &'b mut Link<'a> {
    let known = links.iter().position(|link| link.name == name);
    let index = known.unwrap_or_else(|| {
        links.push(Link {
            name,
            subjects: Vec::new(),
            refused: Vec::new(),
            findings: Vec::new(),
        });
        links.len() - 1
    });
    &mut links[index]
}

impl Link<'_> {
    /// Its name without `links/`.
    pub(super) fn title(&self) -> &str {
        words::link_name(self.name)
    }

    /// The worst that is said of it.
    pub(super) fn mark(&self) -> Mark {
        let measured = self
            .subjects
            .iter()
            .map(|(_, one)| Mark::of(&one.measurement));
        let refused = self.refused.iter().map(|check| Mark::of_check(check));
        measured.chain(refused).max().unwrap_or(Mark::NoLimit)
    }

    /// The first reason for its mark, in a sentence; empty where all is well.
    pub(super) fn why(&self) -> String {
        let mark = self.mark();
        if mark <= Mark::Pass {
            return String::new();
        }
        let mut measured = self.subjects.iter().map(|(_, one)| one);
        let worst = measured.find(|one| Mark::of(&one.measurement) == mark);
        let refused = self.refused.first().and_then(|check| check.reason.as_ref());
        let said = worst.and_then(|one| sayings(&one.measurement).into_iter().next());
        said.or(refused.map(|reason| reason.text.clone()))
            .unwrap_or_default()
    }

    /// Its findings, each once.
    pub(super) fn findings(&self) -> Vec<&str> {
        let mut texts: Vec<&str> = Vec::new();
        for finding in &self.findings {
            if !texts.contains(&finding.text.as_str()) {
                texts.push(&finding.text);
            }
        }
        texts
    }

    /// The card; `index` counts the links of the report.
    pub(super) fn render(&self, report: &Report, index: usize) -> String {
        let refused: Vec<String> = self.refused.iter().map(|check| refusal(check)).collect();
        let findings: Vec<String> = self
            .findings()
            .iter()
            .map(|text| Safe(text).to_string())
            .collect();
        let findings = match findings.is_empty() {
            true => String::new(),
            false => format!(
                "<h3>Likely causes, and what to do</h3>\n{}",
                list("findings", &findings)
            ),
        };
        let measured: String = self
            .subjects
            .iter()
            .map(|(index, subject)| measurement(report, *index, subject))
            .collect();
        format!(
            "<article class=\"card\" id=\"link-{}\">\n<h2>{} {}</h2>\n{findings}{}{measured}</article>\n",
            index + 1,
            Safe(self.title()),
            self.mark().show(),
            list("said", &refused),
        )
    }
}

fn refusal(check: &RunCheck) -> String {
    let reason = check.reason.as_ref().map_or("", |reason| &reason.text);
    let analysis = words::title(&check.analysis);
    Safe(&format!("{analysis} was refused: {reason}")).to_string()
}

/// Why a measurement did not succeed, and what its limits say where they are not kept, worst first.
pub(crate) fn sayings(measurement: &Measurement) -> Vec<String> {
    let mut judgements: Vec<_> = measurement
        .verdict
        .iter()
        .flat_map(|verdict| &verdict.judgements)
        .filter(|one| one.outcome() != Outcome::Pass)
        .collect();
    judgements.sort_by_key(|one| std::cmp::Reverse(Mark::of_outcome(one.outcome())));
    let judged = judgements.into_iter().map(|one| one.text.clone());
    if measurement.state() == measurement::State::Succeeded {
        return judged.collect();
    }
    // The judge can only repeat it.
    let reason = measurement.reason.iter();
    reason.map(|reason| reason.text.clone()).collect()
}

fn measurement(report: &Report, index: usize, subject: &Subject) -> String {
    let measurement = &subject.measurement;
    let letter = report.letter(index);
    let analysis = words::title(&measurement.analysis);
    let title = match letter.is_empty() {
        true => analysis,
        false => format!("{letter}: {analysis}"),
    };
    let what = format!("{}, {}", words::link_name(&measurement.link), title);
    let id = format!("m{}", index + 1);
    let said: Vec<String> = sayings(measurement)
        .iter()
        .map(|text| Safe(text).to_string())
        .collect();
    let mut page = format!(
        "<section id=\"{id}\">\n<h3>{} {}</h3>\n<p class=\"when\">{}{}</p>\n{}",
        Safe(&title),
        Mark::of(measurement).show(),
        report.zone.time_of(measurement),
        manner(subject),
        list("said", &said),
    );
    page.push_str(&change::sentences(subject, &report.zone));
    page.push_str(&notes(subject, Level::Warning, "Cautions"));
    for plot in plots::of_subject(subject, &report.zone, &id, &what) {
        page.push_str(&plot.render());
    }
    page.push_str(&channels::section(measurement, &id, &what));
    page.push_str(&figures(subject, &what));
    page.push_str(&events(subject));
    page.push_str(&notes(subject, Level::Info, "Notes"));
    let caption = format!("Setup and versions of {what}");
    page.push_str(&provenance::table(measurement, &report.zone, &caption));
    page.push_str("</section>\n");
    page
}

/// The table of figures; folded away where those of a plan are told channel by channel before it.
fn figures(subject: &Subject, what: &str) -> String {
    let table = figures::table(subject, &format!("Figures of {what}"));
    match &subject.measurement.channel_plan {
        Some(_) if !table.is_empty() => format!(
            "<details>\n<summary>All figures, with limits and changes</summary>\n{table}</details>\n"
        ),
        _ => table,
    }
}

/// How it was measured, where that is not live on a real link.
fn manner(subject: &Subject) -> &'static str {
    let measurement = &subject.measurement;
    match (measurement.simulated, measurement.recorded) {
        (true, _) => " · <strong>simulated</strong>",
        (false, true) => " · from recordings",
        (false, false) => "",
    }
}

fn notes(subject: &Subject, level: Level, title: &str) -> String {
    let notes = subject.measurement.notes.iter();
    let texts: Vec<String> = notes
        .filter(|note| (note.level() == Level::Warning) == (level == Level::Warning))
        .map(|note| Safe(&words::sentence(&note.text)).to_string())
        .collect();
    match texts.is_empty() {
        true => String::new(),
        false => format!("<h4>{title}</h4>\n{}", list("notes", &texts)),
    }
}

/// How many events there were of each kind, and when the first was.
fn events(subject: &Subject) -> String {
    let events = &subject.measurement.events;
    let mut ids: Vec<&str> = events.iter().map(|event| event.id.as_str()).collect();
    ids.sort_unstable();
    ids.dedup();
    let mut text = String::new();
    for id in ids {
        let of_kind: Vec<_> = events.iter().filter(|event| event.id == id).collect();
        let first_s = of_kind.first().and_then(|event| event.start_s);
        let first = first_s.map_or(String::new(), |at| format!(", the first at {at:.2} s"));
        write!(
            text,
            "{}{}: {}{first}",
            separator(&text),
            Safe(id),
            of_kind.len()
        )
        .expect("a string takes all");
    }
    match text.is_empty() {
        true => text,
        false => format!("<p>Events: {text}.</p>\n"),
    }
}

fn separator(before: &str) -> &'static str {
    if before.is_empty() { "" } else { "; " }
}
