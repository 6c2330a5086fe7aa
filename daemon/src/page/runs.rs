//! The list of runs, newest first, in pages.

use goodwire_proto::v1::{Run, run::State};

use super::answer::{Trouble, WAYS};
use crate::{
    measure::{complete::Desk, job::bare},
    report::{
        Zone,
        html::{Safe, scrolled},
        mark::Mark,
        sheet::{self, Sheet},
        words,
    },
    store::RunQuery,
};

/// The page of the runs before one; of the newest where it is empty. Blocks.
pub(super) fn list(desk: &Desk, before: String) -> Result<String, Trouble> {
    let query = RunQuery {
        page_token: before,
        ..RunQuery::default()
    };
    let (runs, older) = desk.store.runs(&query)?;
    let runs: Vec<(Run, Zone)> = runs
        .into_iter()
        .map(|run| {
            let zone = Zone::of_round(&desk.config, &run.round);
            (run, zone)
        })
        .collect();
    let main = match runs.is_empty() {
        true => "<p>There are none.</p>\n".to_owned(),
        false => table(&runs),
    };
    let more = match older.is_empty() {
        true => String::new(),
        false => format!(
            "<p><a href=\"/runs?before={}\">Older runs</a></p>\n",
            Safe(&older)
        ),
    };
    let sheet = Sheet {
        title: "Runs, newest first".to_owned(),
        site: desk.config.site.clone(),
        ways: WAYS.to_owned(),
        main: format!("<section class=\"summary\">\n{main}{more}</section>\n"),
        end: sheet::version(),
        ..Sheet::default()
    };
    Ok(sheet.render())
}

/// Runs, each with a way to its report.
pub(super) fn table(runs: &[(Run, Zone)]) -> String {
    let rows: String = runs.iter().map(row).collect();
    let table = format!(
        "<table class=\"overview\">\n<caption>Runs, newest first</caption>\n<thead><tr>\
         <th scope=\"col\">When</th><th scope=\"col\">Round</th><th scope=\"col\">Verdict</th>\
         <th scope=\"col\">What it says</th></tr></thead>\n<tbody>\n{rows}</tbody>\n</table>\n"
    );
    scrolled("Runs, newest first", &table)
}

fn row((run, zone): &(Run, Zone)) -> String {
    let when = zone.time(run.start_time.as_ref().or(run.due_time.as_ref()));
    format!(
        "<tr><th scope=\"row\" class=\"number\"><a href=\"/runs/{}\">{when}</a></th><td>{}</td><td>{}</td>\
         <td class=\"what\">{}</td></tr>\n",
        Safe(bare(&run.name)),
        Safe(bare(&run.round)),
        Mark::of_run(run).show(),
        Safe(&said(run))
    )
}

/// Why it could not measure, or which links need attention; empty where all is well.
fn said(run: &Run) -> String {
    if let Some(reason) = &run.reason {
        return words::sentence(&reason.text);
    }
    if run.state() == State::Running {
        return "Runs now.".to_owned();
    }
    let bad = run
        .checks
        .iter()
        .filter(|one| Mark::of_check(one) > Mark::Pass);
    let mut names: Vec<&str> = bad.map(|check| bare(&check.link)).collect();
    names.dedup();
    match names.len() {
        0 => String::new(),
        1 => format!("{} needs attention.", names[0]),
        _ => format!("{} need attention.", words::joined(&names)),
    }
}
