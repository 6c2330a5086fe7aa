//! The page as a whole.

use super::{Report, card, html::Safe, mark::WORST_FIRST, side_by_side, summary, words};

const STYLE: &str = include_str!("style.css");

/// Renders a report as one HTML page.
#[must_use]
pub fn render(report: &Report) -> String {
    let links = card::links(report);
    let title = title(report);
    let cards: String = links
        .iter()
        .enumerate()
        .map(|(index, link)| link.render(report, index))
        .collect();
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n<title>{title}</title>\n\
         <style>\n{STYLE}</style>\n</head>\n<body>\n<header>\n<p class=\"site\">{site}</p>\n\
         <h1>{title}</h1>\n{when}{simulated}</header>\n<main>\n{summary}{beside}{cards}</main>\n\
         {legend}</body>\n</html>\n",
        title = Safe(&title),
        site = Safe(&report.site),
        when = when(report),
        simulated = simulated(report),
        summary = summary::render(report, &links),
        beside = side_by_side::render(report),
        legend = legend(),
    )
}

fn title(report: &Report) -> String {
    match (&report.run, report.subjects.as_slice()) {
        (Some(run), _) => {
            let round = words::link_name(&run.round);
            let time = run.start_time.as_ref().or(run.due_time.as_ref());
            format!("Round {round}, {}", words::time(time))
        }
        (None, [only]) => {
            let link = words::link_name(&only.measurement.link);
            let analysis = words::title(&only.measurement.analysis);
            format!("{link}: {}", analysis.to_lowercase())
        }
        (None, several) => format!(
            "{} side by side",
            words::counted(several.len(), "measurement")
        ),
    }
}

/// When a run was due, began and ended.
fn when(report: &Report) -> String {
    let Some(run) = &report.run else {
        return String::new();
    };
    let times = [
        ("due", &run.due_time),
        ("began", &run.start_time),
        ("ended", &run.end_time),
    ];
    let told: Vec<String> = times
        .iter()
        .filter_map(|(word, time)| Some(format!("{word} {}", words::time(Some(time.as_ref()?)))))
        .collect();
    format!(
        "<p class=\"when\">{} · {}</p>\n",
        Safe(&run.name),
        told.join(", ")
    )
}

fn simulated(report: &Report) -> &'static str {
    if !report.is_simulated() {
        return "";
    }
    "<p class=\"simulated\"><strong>SIMULATED</strong> Measured on the simulated rig: this says \
     nothing of any real link.</p>\n"
}

/// What the words mean, how to read the pictures, and what to mind.
fn legend() -> String {
    let marks: String = WORST_FIRST
        .iter()
        .map(|mark| format!("<dt>{}</dt><dd>{}</dd>\n", mark.show(), mark.meaning()))
        .collect();
    format!(
        "<footer>\n<h2>How to read this</h2>\n<dl class=\"legend\">\n{marks}</dl>\n\
         <p>A value stands with ± 2 standard uncertainties (about 95 %); a limit inside that range \
         is neither kept nor broken. Changes in bold are larger than their own uncertainty. Gains \
         are those of the link against the cable beside it. Times are in UTC.</p>\n\
         <p>Levels over frequency stand on the proportions of IEC 60263:2020, which each picture \
         states.</p>\n\
         <h2>Before anything is measured again</h2>\n\
         <p>Mute the PA and the in-ear mixes and tell the people in the room; loud sound harms \
         hearing. Start low. Never send test tones into an open live system. Radio and mains: the \
         local rules come first.</p>\n\
         <p>goodwire {}</p>\n</footer>\n",
        env!("CARGO_PKG_VERSION")
    )
}
