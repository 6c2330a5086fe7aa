//! What a manager reads in ten seconds: a sentence, counts as words and shapes, the links.

use goodwire_proto::v1::{Run, run::State};

use super::{
    Report, Zone,
    card::Link,
    html::{Safe, list, scrolled},
    mark::{Mark, WORST_FIRST},
    words,
};

/// The summary of a report of these links.
pub(super) fn render(report: &Report, links: &[Link<'_>]) -> String {
    let marks: Vec<Mark> = links.iter().map(Link::mark).collect();
    let mut page = format!(
        "<section class=\"summary\">\n<h2>Summary</h2>\n<p class=\"answer\">{}</p>\n{}",
        Safe(&sentence(report.run.as_ref(), links)),
        list("counts", &counts(&marks)),
    );
    if let Some(run) = &report.run {
        page.push_str(&list("notes", &about(run, &report.zone)));
    }
    if !links.is_empty() {
        page.push_str(&overview(links));
    }
    page.push_str("</section>\n");
    page
}

/// The one sentence.
pub(super) fn sentence(run: Option<&Run>, links: &[Link<'_>]) -> String {
    match run.map(Run::state) {
        Some(State::Missed) => return "This round was missed: nothing was measured.".to_owned(),
        Some(State::Running) => return format!("Still running. So far: {}", told(links)),
        _ => {}
    }
    let reason = run.and_then(|run| run.reason.as_ref());
    match reason {
        Some(reason) if links.is_empty() => format!("Nothing was measured. {}", reason.text),
        Some(reason) => format!("{} {}", told(links), reason.text),
        None => told(links),
    }
}

fn told(links: &[Link<'_>]) -> String {
    if links.is_empty() {
        return "No link was measured.".to_owned();
    }
    let count = words::counted(links.len(), "link");
    if let Some(mark) = same_of_all(links) {
        return of_all(mark, links, &count);
    }
    let parts: Vec<String> = WORST_FIRST
        .iter()
        .filter_map(|mark| part(*mark, links))
        .collect();
    let parts: Vec<&str> = parts.iter().map(String::as_str).collect();
    format!("Of {count} {}.", words::joined(&parts))
}

fn same_of_all(links: &[Link<'_>]) -> Option<Mark> {
    let first = links.first()?.mark();
    links
        .iter()
        .all(|link| link.mark() == first)
        .then_some(first)
}

fn of_all(mark: Mark, links: &[Link<'_>], count: &str) -> String {
    let who = match links {
        [only] => only.title().to_owned(),
        _ => format!("All {count}"),
    };
    let has_one = links.len() == 1;
    let (one, several) = match mark {
        Mark::NoLimit => (
            "was measured; no limit is set to judge it by",
            "were measured; no limit is set to judge them by",
        ),
        Mark::Pass => ("passes", "pass"),
        Mark::Drift => (
            "is within its limits, but has drifted from the baseline",
            "are within their limits, but have drifted from the baseline",
        ),
        Mark::Unfinished => ("is not finished", "are not finished"),
        Mark::Unmeasured => ("could not be told", "could not be told"),
        Mark::Fail => ("fails", "fail"),
    };
    format!("{who} {}.", if has_one { one } else { several })
}

/// What a part of the links has in common: `1 fails (lectern)`.
fn part(mark: Mark, links: &[Link<'_>]) -> Option<String> {
    let names: Vec<&str> = links
        .iter()
        .filter(|link| link.mark() == mark)
        .map(Link::title)
        .collect();
    let (one, several) = match mark {
        Mark::NoLimit => (
            "has no limit to be judged by",
            "have no limit to be judged by",
        ),
        Mark::Pass => ("passes", "pass"),
        Mark::Drift => ("has drifted", "have drifted"),
        Mark::Unfinished => ("is not finished", "are not finished"),
        Mark::Unmeasured => ("could not be told", "could not be told"),
        Mark::Fail => ("fails", "fail"),
    };
    let verb = if names.len() == 1 { one } else { several };
    match (names.len(), mark) {
        (0, _) => None,
        (count, Mark::Pass | Mark::NoLimit) => Some(format!("{count} {verb}")),
        (count, _) => Some(format!("{count} {verb} ({})", words::joined(&names))),
    }
}

/// How many there are of each mark, worst first, as HTML.
pub(crate) fn counts(marks: &[Mark]) -> Vec<String> {
    let count = |mark: Mark| marks.iter().filter(|one| **one == mark).count();
    WORST_FIRST
        .iter()
        .map(|mark| (mark, count(*mark)))
        .filter(|(_, count)| *count > 0)
        .map(|(mark, count)| {
            let (shape, word) = (mark.shape(), mark.word().to_lowercase());
            format!("{shape} <b>{count}</b> {word}")
        })
        .collect()
}

/// What a run has to say beside its checks: who was left out.
fn about(run: &Run, zone: &Zone) -> Vec<String> {
    let told = run.excuses.iter().map(|excuse| {
        let name = words::link_name(&excuse.link);
        let until = zone.time(excuse.until_time.as_ref());
        let why = match excuse.text.as_str() {
            "" => String::new(),
            text => format!(": {text}"),
        };
        Safe(&format!("{name} was left out, excused until {until}{why}.")).to_string()
    });
    told.collect()
}

/// A row for each link: the mark, and the worst that is said.
fn overview(links: &[Link<'_>]) -> String {
    let rows: String = links
        .iter()
        .enumerate()
        .map(|(index, link)| {
            let findings = link.findings();
            let what = match findings.first() {
                Some(finding) => (*finding).to_owned(),
                None => link.why(),
            };
            format!(
                "<tr><th scope=\"row\"><a href=\"#link-{}\">{}</a></th><td>{}</td><td class=\"what\">{}</td></tr>\n",
                index + 1,
                Safe(link.title()),
                link.mark().show(),
                Safe(&what)
            )
        })
        .collect();
    let table = format!(
        "<table class=\"overview\">\n<caption>The links</caption>\n<thead><tr><th scope=\"col\">Link</th>\
         <th scope=\"col\">Verdict</th><th scope=\"col\">What is wrong, and what to do</th></tr></thead>\n\
         <tbody>\n{rows}</tbody>\n</table>\n"
    );
    scrolled("The links", &table)
}
