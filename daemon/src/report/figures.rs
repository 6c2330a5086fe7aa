//! The table of figures of a measurement: value, uncertainty, limit, what has changed.

use std::fmt::Write;

use goodwire_proto::v1::{Figure, Judgement};

use super::{
    Subject, change,
    html::{Safe, scrolled},
    mark::Mark,
    words,
};
use crate::judge::{place, words as numbers};

/// The table; `caption` says of what. Empty where there are no figures.
pub(super) fn table(subject: &Subject, caption: &str) -> String {
    if subject.measurement.figures.is_empty() {
        return String::new();
    }
    let mut rows = String::new();
    for figure in &subject.measurement.figures {
        rows.push_str(&row(subject, figure));
    }
    let mut heads = vec!["Figure", "Value ± 2 uncertainties"];
    if has_judgements(subject) {
        heads.extend(["Limit", "Verdict"]);
    }
    if subject.before.is_some() {
        heads.push("Since last time");
    }
    if subject.baseline.is_some() {
        heads.push("Since the baseline");
    }
    let heads: String = heads
        .iter()
        .map(|head| format!("<th scope=\"col\">{head}</th>"))
        .collect();
    let table = format!(
        "<table>\n<caption>{}</caption>\n<thead><tr>{heads}</tr></thead>\n\
         <tbody>\n{rows}</tbody>\n</table>\n",
        Safe(caption)
    );
    scrolled(caption, &table)
}

fn has_judgements(subject: &Subject) -> bool {
    let verdict = subject.measurement.verdict.as_ref();
    verdict.is_some_and(|verdict| !verdict.judgements.is_empty())
}

fn row(subject: &Subject, figure: &Figure) -> String {
    let mut row = format!(
        "<tr><th scope=\"row\">{}</th><td class=\"number\">{}</td>",
        Safe(&numbers::figure_in_words(figure)),
        Safe(&words::value(figure))
    );
    let mut cell = |class: &str, inner: &str| {
        write!(row, "<td class=\"{class}\">{inner}</td>").expect("a string takes all");
    };
    if has_judgements(subject) {
        let judgements = of_figure(subject, figure);
        let limits: Vec<String> = judgements.iter().filter_map(|one| limit(one)).collect();
        cell("number", &Safe(&limits.join("; ")).to_string());
        let worst = judgements
            .iter()
            .map(|one| Mark::of_outcome(one.outcome()))
            .max();
        cell("", &worst.map(Mark::show).unwrap_or_default());
    }
    for other in [&subject.before, &subject.baseline].into_iter().flatten() {
        let text = match change::of_figure(figure, Some(other)) {
            Some((text, true)) => format!("<strong>{}</strong>", Safe(&text)),
            Some((text, false)) => Safe(&text).to_string(),
            None => "not there".to_owned(),
        };
        cell("number", &text);
    }
    row.push_str("</tr>\n");
    row
}

/// What is said of a figure; several limits may be meant for it.
fn of_figure<'a>(subject: &'a Subject, figure: &Figure) -> Vec<&'a Judgement> {
    let verdict = subject.measurement.verdict.iter();
    verdict
        .flat_map(|verdict| &verdict.judgements)
        .filter(|one| {
            one.figure == figure.id && place::same_place(one.at.as_ref(), figure.at.as_ref())
        })
        .collect()
}

/// What is allowed: `-3 to 3 dB`, `at most 1 %`, `± 1 dB of the baseline`.
fn limit(judgement: &Judgement) -> Option<String> {
    let shown = |value: f64| numbers::with_unit(&numbers::number(value), &judgement.unit);
    let bounds = match (judgement.min, judgement.max) {
        (Some(min), Some(max)) => Some(format!("{} to {}", numbers::number(min), shown(max))),
        (Some(min), None) => Some(format!("at least {}", shown(min))),
        (None, Some(max)) => Some(format!("at most {}", shown(max))),
        (None, None) => None,
    };
    let drift = judgement
        .drift
        .map(|drift| format!("± {} of the baseline", shown(drift)));
    let parts: Vec<String> = bounds.into_iter().chain(drift).collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}
