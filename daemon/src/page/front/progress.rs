//! How far a running round has come: what is measured now, what is done, what waits.

use goodwire_proto::v1::{Excuse, Measurement, Run};

use crate::{
    measure::{complete::Desk, job::bare},
    report::{
        html::{Safe, scrolled},
        mark::Mark,
        words,
    },
    rounds::round_of,
};

/// The page loads itself anew after so many seconds while a round runs.
pub(super) const RELOAD_S: u32 = 3;

/// A round while it runs.
#[derive(Debug, Default)]
pub(in crate::page) struct Progress {
    pub(in crate::page) run: Run,
    /// Names of its links that are not away, in the rig's order.
    pub(in crate::page) links: Vec<String>,
    /// Ids of its analyses, in order.
    pub(in crate::page) checks: Vec<String>,
    /// What is on the rig now, whoever asked for it.
    pub(in crate::page) measured_now: Vec<Measurement>,
}

impl Progress {
    /// `None` for a round that is not in the configuration any more.
    pub(super) fn of(desk: &Desk, run: &Run, excuses: &[Excuse]) -> Option<Self> {
        let round = round_of(desk, desk.config.round(&run.round)?).ok()?;
        let is_away = |link: &&String| excuses.iter().any(|one| bare(&one.link) == bare(link));
        let mut measured_now = desk.watchers.running();
        measured_now.sort_by(|a, b| a.link.cmp(&b.link));
        Some(Self {
            run: run.clone(),
            links: round
                .links
                .iter()
                .filter(|link| !is_away(link))
                .map(|link| bare(link).to_owned())
                .collect(),
            checks: round.checks.into_iter().map(|one| one.analysis).collect(),
            measured_now,
        })
    }

    /// The part of the page.
    pub(in crate::page) fn render(&self, is_still: bool) -> String {
        let round = words::link_name(&self.run.round);
        let reload = match is_still {
            true => "This page stands still. <a href=\"/\">Follow the round</a>".to_owned(),
            false => format!(
                "This page loads itself anew every {RELOAD_S} s while the round runs. \
                 <a href=\"/?still\">Let it stand still</a>"
            ),
        };
        format!(
            "<section class=\"card\" id=\"now\">\n<h2>Round {} runs</h2>\n\
             <p class=\"answer\">{}</p>\n{}<p>{reload}</p>\n</section>\n",
            Safe(round),
            Safe(&self.sentence()),
            self.table()
        )
    }

    /// `Latency is measured now on drum-riser and lectern (43 %). 3 of 10 checks are done.`
    pub(in crate::page) fn sentence(&self) -> String {
        let done = self.run.checks.len();
        let all = self.links.len() * self.checks.len();
        let verb = if done == 1 { "is" } else { "are" };
        let done = format!("{done} of {} {verb} done.", words::counted(all, "check"));
        let Some(first) = self.measured_now.first() else {
            return format!("Nothing is on the rig at this moment. {done}");
        };
        let links: Vec<&str> = self
            .measured_now
            .iter()
            .filter(|one| one.analysis == first.analysis)
            .map(|one| words::link_name(&one.link))
            .collect();
        format!(
            "{} is measured now on {} ({}). {done}",
            words::title(&first.analysis),
            words::joined(&links),
            words::percent(first.progress)
        )
    }

    /// A row for each link, a column for each check.
    fn table(&self) -> String {
        let heads: String = self
            .checks
            .iter()
            .map(|check| format!("<th scope=\"col\">{}</th>", Safe(&words::title(check))))
            .collect();
        let rows: String = self.links.iter().map(|link| self.row(link)).collect();
        let table = format!(
            "<table>\n<caption>The checks of this round</caption>\n<thead><tr>\
             <th scope=\"col\">Link</th>{heads}</tr></thead>\n<tbody>\n{rows}</tbody>\n</table>\n"
        );
        scrolled("The checks of this round", &table)
    }

    fn row(&self, link: &str) -> String {
        let cells: String = self
            .checks
            .iter()
            .map(|check| format!("<td>{}</td>", self.cell(link, check)))
            .collect();
        format!("<tr><th scope=\"row\">{}</th>{cells}</tr>\n", Safe(link))
    }

    fn cell(&self, link: &str, analysis: &str) -> String {
        let is_it = |of: &str, by: &str| bare(of) == link && by == analysis;
        let mut done = self.run.checks.iter();
        if let Some(check) = done.find(|one| is_it(&one.link, &one.analysis)) {
            return Mark::of_check(check).show();
        }
        let mut now = self.measured_now.iter();
        match now.find(|one| is_it(&one.link, &one.analysis)) {
            Some(one) => format!(
                "<strong>measured now, {}</strong>",
                words::percent(one.progress)
            ),
            None => "waits".to_owned(),
        }
    }
}
