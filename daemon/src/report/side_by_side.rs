//! Measurements of one analysis beside each other: which of these systems is better, and in what.

use goodwire_proto::v1::{CompareMeasurementsResponse, ComparisonCell, ComparisonRow, Measurement};

use super::{
    Report, Zone,
    html::{Safe, scrolled},
    mark::Mark,
    plots, words,
};
use crate::judge::{self, drift, place, words as numbers};

/// So many uncertainties are told, as everywhere in the report.
const COVERAGE: f64 = 2.0;

/// The part of the page; empty in a run, and where nothing is measured twice.
pub(super) fn render(report: &Report) -> String {
    if report.run.is_some() {
        return String::new();
    }
    let parts: String = analyses(report)
        .iter()
        .enumerate()
        .map(|(index, analysis)| of_analysis(report, index, analysis))
        .collect();
    match parts.is_empty() {
        true => parts,
        false => format!("<section class=\"card\">\n<h2>Side by side</h2>\n{parts}</section>\n"),
    }
}

/// The analyses of a report, in the order in which they are first met.
fn analyses(report: &Report) -> Vec<&str> {
    let mut analyses: Vec<&str> = Vec::new();
    for subject in &report.subjects {
        if !analyses.contains(&subject.measurement.analysis.as_str()) {
            analyses.push(&subject.measurement.analysis);
        }
    }
    analyses
}

fn of_analysis(report: &Report, index: usize, analysis: &str) -> String {
    let subjects = report.subjects.iter().enumerate();
    let found: Vec<(String, &Measurement)> = subjects
        .filter(|(_, one)| one.measurement.analysis == analysis)
        .map(|(index, one)| (report.letter(index), &one.measurement))
        .collect();
    if found.len() < 2 {
        return String::new();
    }
    let named: Vec<(String, &Measurement)> = found
        .iter()
        .map(|(letter, one)| (format!("{letter}: {}", words::link_name(&one.link)), *one))
        .collect();
    let measurements: Vec<Measurement> = found.iter().map(|(_, one)| (*one).clone()).collect();
    let compared = judge::compare(&measurements);
    let title = words::title(analysis);
    let drawn: String = plots::overlaid(&named, &format!("s{}", index + 1))
        .iter()
        .map(super::plot::Plot::render)
        .collect();
    format!(
        "<h3>{}</h3>\n{}{}{drawn}",
        Safe(&title),
        setups(&found, &report.zone, &title),
        figures(&named, &compared, &title)
    )
}

/// What the measurements were made of, as far as it differs, and what was said of them.
fn setups(found: &[(String, &Measurement)], zone: &Zone, title: &str) -> String {
    let keys = drift::setup_differences(found.iter().map(|(_, one)| *one));
    let mut heads = vec!["Link".to_owned(), "Made".to_owned()];
    heads.extend(keys.iter().cloned());
    heads.push("Verdict".to_owned());
    let rows = found.iter().map(|(letter, one)| {
        let mut cells = vec![
            Safe(words::link_name(&one.link)).to_string(),
            zone.time_of(one),
        ];
        cells.extend(keys.iter().map(|key| setup(one, key)));
        cells.push(Mark::of(one).show());
        row(letter, &cells)
    });
    let rows: String = rows.collect();
    let caption = format!("{title}: what stands side by side");
    table(&caption, "", &heads, &rows)
}

fn setup(measurement: &Measurement, key: &str) -> String {
    match (measurement.setup.get(key), key) {
        (Some(value), _) => Safe(value).to_string(),
        // The judge names it as a key where one was measured on the simulated rig alone.
        (None, "simulated") if measurement.simulated => "yes".to_owned(),
        (None, _) => "–".to_owned(),
    }
}

fn figures(
    named: &[(String, &Measurement)],
    compared: &CompareMeasurementsResponse,
    title: &str,
) -> String {
    let heads: Vec<String> = named.iter().map(|(name, _)| name.clone()).collect();
    let rows: String = compared.rows.iter().map(figure_row).collect();
    let caption = format!(
        "{title}: figures ± 2 uncertainties; in brackets the difference from {}",
        heads.first().map_or("the first", String::as_str)
    );
    table(&caption, "Figure", &heads, &rows)
}

fn figure_row(compared: &ComparisonRow) -> String {
    let place = place::in_words(compared.at.as_ref());
    let unit = match compared.unit.as_str() {
        "" => String::new(),
        unit => format!(" ({unit})"),
    };
    let name = format!("{}{place}{unit}", numbers::figure_name(&compared.figure));
    let cells: Vec<String> = compared.cells.iter().map(cell).collect();
    row(&name, &cells)
}

fn cell(cell: &ComparisonCell) -> String {
    let Some(value) = cell.value else {
        return "not there".to_owned();
    };
    let value = numbers::spread(value, cell.uncertainty.map(|one| COVERAGE * one));
    let Some(difference) = cell.difference else {
        return value;
    };
    let spread = cell.difference_uncertainty.map(|one| COVERAGE * one);
    let told = numbers::spread(difference, spread);
    let sign = if difference > 0.0 { "+" } else { "" };
    match spread.is_none_or(|spread| difference.abs() > spread) && difference != 0.0 {
        true => format!("{value}<br><strong>({sign}{told})</strong>"),
        false => format!("{value}<br>({sign}{told})"),
    }
}

fn row(head: &str, cells: &[String]) -> String {
    let cells: String = cells
        .iter()
        .map(|cell| format!("<td class=\"number\">{cell}</td>"))
        .collect();
    format!("<tr><th scope=\"row\">{}</th>{cells}</tr>\n", Safe(head))
}

fn table(caption: &str, corner: &str, heads: &[String], rows: &str) -> String {
    let corner = match corner {
        "" => "<td></td>".to_owned(),
        corner => format!("<th scope=\"col\">{corner}</th>"),
    };
    let heads: String = heads
        .iter()
        .map(|head| format!("<th scope=\"col\">{}</th>", Safe(head)))
        .collect();
    let table = format!(
        "<table>\n<caption>{}</caption>\n<thead><tr>{corner}{heads}</tr></thead>\n\
         <tbody>\n{rows}</tbody>\n</table>\n",
        Safe(caption)
    );
    scrolled(caption, &table)
}
