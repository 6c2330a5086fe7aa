//! The page as a whole.

use super::{
    Report, card,
    html::Safe,
    mark,
    sheet::{self, SIMULATED, Sheet},
    side_by_side, summary, words,
};

/// Renders a report as one HTML page that stands alone.
#[must_use]
pub fn render(report: &Report) -> String {
    render_among(report, "")
}

/// Renders a report that is served among other pages; `ways` are links to them, as HTML.
#[must_use]
pub fn render_among(report: &Report, ways: &str) -> String {
    let links = card::links(report);
    let cards: String = links
        .iter()
        .enumerate()
        .map(|(index, link)| link.render(report, index))
        .collect();
    let summary = summary::render(report, &links);
    let beside = side_by_side::render(report);
    let simulated = if report.is_simulated() { SIMULATED } else { "" };
    let sheet = Sheet {
        title: title(report),
        site: report.site.clone(),
        ways: ways.to_owned(),
        lead: format!("{}{simulated}", when(report)),
        main: format!("{summary}{beside}{cards}"),
        end: end(report),
        reload_s: None,
    };
    sheet.render()
}

fn title(report: &Report) -> String {
    match (&report.run, report.subjects.as_slice()) {
        (Some(run), _) => {
            let round = words::link_name(&run.round);
            let time = run.start_time.as_ref().or(run.due_time.as_ref());
            format!("Round {round}, {}", report.zone.time(time))
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
        .filter_map(|(word, time)| {
            Some(format!("{word} {}", report.zone.time(Some(time.as_ref()?))))
        })
        .collect();
    format!(
        "<p class=\"when\">{} · {}</p>\n",
        Safe(&run.name),
        told.join(", ")
    )
}

/// What the words mean, how to read the pictures, and what to mind.
fn end(report: &Report) -> String {
    format!(
        "<h2>How to read this</h2>\n{marks}\
         <p>A value stands with ± 2 standard uncertainties (about 95 %); a limit inside that range \
         is neither kept nor broken. Changes in bold are larger than their own uncertainty. Gains \
         are those of the link against the cable beside it. Times are those of {zone}, with their offset from UTC.</p>\n\
         <p>Levels over frequency stand on the proportions of IEC 60263:2020, which each picture \
         states.</p>\n\
         <h2>Before anything is measured again</h2>\n\
         <p>Mute the PA and the in-ear mixes and tell the people in the room; loud sound harms \
         hearing. Start low. Never send test tones into an open live system. Radio and mains: the \
         local rules come first.</p>\n\
         {version}",
        marks = mark::legend(),
        zone = Safe(report.zone.name()),
        version = sheet::version(),
    )
}
