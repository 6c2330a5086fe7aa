//! The front page as HTML.

use goodwire_proto::v1::{Round, interface::State};

use super::{Front, LinkState, progress::RELOAD_S};
use crate::{
    page::{answer::WAYS, runs},
    report::{
        Zone,
        html::{Safe, list, scrolled},
        mark::Mark,
        sheet::{self, SIMULATED, Sheet},
        summary, words,
    },
};

impl Front {
    /// The page; one that stands still does not load itself anew while a round runs.
    pub(in crate::page) fn render(&self, is_still: bool) -> String {
        let interface = self.status.interface.as_ref();
        let is_simulated = interface.is_some_and(|interface| interface.simulated);
        let progress = self.progress.as_ref();
        let running = progress.map(|progress| progress.render(is_still));
        let sheet = Sheet {
            title: "The links".to_owned(),
            site: self.status.site.clone(),
            ways: WAYS.to_owned(),
            lead: if is_simulated { SIMULATED } else { "" }.to_owned(),
            main: format!(
                "{}{}{}{}{}",
                self.summary(),
                running.unwrap_or_default(),
                self.rounds(),
                self.permission(),
                self.last_runs(),
            ),
            end: format!(
                "<p>Times are told with their offset from UTC. Nothing can be changed or played \
                 from this page.</p>\n{}",
                sheet::version()
            ),
            reload_s: progress.filter(|_| !is_still).map(|_| RELOAD_S),
        };
        sheet.render()
    }

    /// The sentence, the counts and the links.
    fn summary(&self) -> String {
        let here = self.links.iter().filter(|link| link.excuse.is_none());
        let marks: Vec<Mark> = here.filter_map(|link| link.mark).collect();
        let rows: String = self.links.iter().map(|link| self.link_row(link)).collect();
        let table = format!(
            "<table class=\"overview\">\n<caption>The links, as last measured</caption>\n<thead>\
             <tr><th scope=\"col\">Link</th><th scope=\"col\">Verdict</th>\
             <th scope=\"col\">What is wrong, and what to do</th><th scope=\"col\">When</th></tr>\
             </thead>\n<tbody>\n{rows}</tbody>\n</table>\n"
        );
        format!(
            "<section class=\"summary\">\n<h2>How they stand</h2>\n<p class=\"answer\">{}</p>\n\
             {}{}</section>\n",
            Safe(&self.sentence()),
            list("counts", &summary::counts(&marks)),
            scrolled("The links, as last measured", &table)
        )
    }

    /// The one sentence: all is well, or who needs attention.
    pub(in crate::page) fn sentence(&self) -> String {
        let named = |is_meant: &dyn Fn(&&LinkState) -> bool| -> Vec<&str> {
            let meant = self.links.iter().filter(is_meant);
            meant.map(|link| link.name.as_str()).collect()
        };
        let here = |link: &LinkState| link.excuse.is_none();
        let bad = named(&|link| here(link) && link.mark.is_some_and(|mark| mark > Mark::Pass));
        let unjudged = named(&|link| here(link) && link.mark == Some(Mark::NoLimit));
        let new = named(&|link| here(link) && link.mark.is_none());
        let away = named(&|link| !here(link));
        let count = words::counted(self.links.len(), "link");
        let well = self.links.len() - bad.len() - unjudged.len() - new.len() - away.len();
        let mut said = match (bad.len(), well) {
            (0, 0) => Vec::new(),
            (0, _) if well == self.links.len() => vec![format!("All is well: {count} checked.")],
            (0, _) => vec![format!("{well} of {count} checked, and well.")],
            (1, _) => vec![format!("1 of {count} needs attention: {}.", bad[0])],
            (several, _) => {
                let names = words::joined(&bad);
                vec![format!("{several} of {count} need attention: {names}.")]
            }
        };
        let rest = [
            (unjudged, "without a limit to be judged by"),
            (new, "not measured yet"),
            (away, "away, and excused"),
        ];
        for (names, what) in rest.iter().filter(|(names, _)| !names.is_empty()) {
            let verb = if names.len() == 1 { "is" } else { "are" };
            said.push(format!("{} {verb} {what}.", words::joined(names)));
        }
        said.join(" ")
    }

    fn link_row(&self, link: &LinkState) -> String {
        let mark = match (&link.excuse, link.mark) {
            (Some(_), _) => "Away".to_owned(),
            (None, Some(mark)) => mark.show(),
            (None, None) => "Not measured yet".to_owned(),
        };
        let why = match &link.excuse {
            Some(excuse) => {
                let until = self.zone.time(excuse.until_time.as_ref());
                format!("Excused until {until}. {}", words::sentence(&excuse.text))
            }
            None => link.why.clone(),
        };
        format!(
            "<tr><th scope=\"row\"><a href=\"/links/{name}\">{name}</a></th><td>{mark}</td>\
             <td class=\"what\">{}</td><td class=\"number\">{}</td></tr>\n",
            Safe(why.trim_end()),
            self.zone.time(link.when.as_ref()),
            name = Safe(&link.name),
        )
    }

    fn rounds(&self) -> String {
        let inner = match self.rounds.is_empty() {
            true => "<p>The configuration has no rounds.</p>\n".to_owned(),
            false => {
                let rows: String = self.rounds.iter().map(round_row).collect();
                let table = format!(
                    "<table>\n<caption>What is due when</caption>\n<thead><tr>\
                     <th scope=\"col\">Round</th><th scope=\"col\">Next</th>\
                     <th scope=\"col\">By the clock</th></tr></thead>\n<tbody>\n{rows}</tbody>\n\
                     </table>\n"
                );
                scrolled("What is due when", &table)
            }
        };
        format!("<section class=\"card\">\n<h2>Rounds</h2>\n{inner}</section>\n")
    }

    /// Whether sound may be played now, and whether anything else keeps it from being measured.
    fn permission(&self) -> String {
        let status = &self.status;
        let time = |time: &Option<prost_types::Timestamp>| self.zone.time(time.as_ref());
        let mut said = Vec::new();
        if let Some(hold) = &status.hold {
            let since = time(&hold.create_time);
            said.push(format!(
                "Held since {since}: nothing is played. {}",
                hold.text
            ));
        }
        said.push(match (&status.permit, status.unattended) {
            (_, false) => "Sound is played only when somebody who is in the room says so.".into(),
            (Some(permit), _) => {
                let until = time(&permit.until_time);
                format!("Permitted until {until}. {}", permit.text)
            }
            (None, _) if status.permit_needed => {
                "No permit counts now: until one is given, rounds measure nothing.".into()
            }
            (None, _) => "Rounds may play at any time; no permit is needed.".into(),
        });
        let interface = status.interface.as_ref();
        if let Some(lost) = interface.filter(|one| one.state() != State::Ready) {
            said.push(format!("The audio interface is not ready. {}", lost.text));
        }
        let said: Vec<String> = said
            .iter()
            .map(|text| Safe(&words::sentence(text.trim_end())).to_string())
            .collect();
        format!(
            "<section class=\"card\">\n<h2>May sound be played?</h2>\n{}</section>\n",
            list("notes", &said)
        )
    }

    fn last_runs(&self) -> String {
        let inner = match self.runs.is_empty() {
            true => "<p>No round has run yet.</p>\n".to_owned(),
            false => format!(
                "{}<p><a href=\"/runs\">All runs</a></p>\n",
                runs::table(&self.runs)
            ),
        };
        format!("<section class=\"card\">\n<h2>Last runs</h2>\n{inner}</section>\n")
    }
}

fn round_row((round, zone): &(Round, Zone)) -> String {
    let next = match &round.next_time {
        Some(time) => zone.time(Some(time)),
        None => "when somebody asks".to_owned(),
    };
    let schedule = match round.schedule.as_str() {
        "" => "never",
        schedule => schedule,
    };
    format!(
        "<tr><th scope=\"row\">{}</th><td class=\"number\">{next}</td><td>{}</td></tr>\n",
        Safe(words::link_name(&round.name)),
        Safe(schedule)
    )
}
