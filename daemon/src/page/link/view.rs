//! The history of a link as HTML.

use goodwire_proto::v1::Measurement;

use super::{FigureHistory, LinkPage, Span, picture};
use crate::{
    judge::{trend_in_words, words as numbers},
    page::answer::WAYS,
    report::{
        card,
        html::{Safe, list, scrolled},
        mark::{self, Mark},
        sheet::{self, SIMULATED, Sheet},
        words,
    },
};

/// How much may be shown, as a way says it.
const SPANS: [(Span, &str, &str); 3] = [
    (Span::Weeks(13), "weeks=13", "13 weeks"),
    (Span::Weeks(52), "weeks=52", "a year"),
    (Span::All, "all", "all"),
];

impl LinkPage {
    /// The page.
    pub(in crate::page) fn render(&self) -> String {
        let name = &self.state.name;
        let figures = match self.figures.is_empty() {
            true => "<section class=\"card\">\n<p>There is no history of it yet.</p>\n</section>\n"
                .to_owned(),
            false => self.figures(),
        };
        let sheet = Sheet {
            title: format!("The link {name}"),
            site: self.site.clone(),
            ways: WAYS.to_owned(),
            lead: if self.is_simulated { SIMULATED } else { "" }.to_owned(),
            main: format!("{}{figures}{}", self.summary(), self.last()),
            end: format!(
                "<h2>How to read this</h2>\n{}<p>The shapes above a picture say what the limits \
                 said of each measurement; where there is no room for all, the worst stands for \
                 its neighbours. A trend is the median of the slopes of all pairs of nights (Theil \
                 and Sen) with its 95 % interval, since setup and baseline are what they are now. \
                 Limits are those of the present configuration. Times are those of {}, with their \
                 offset from UTC.</p>\n{}",
                mark::legend(),
                Safe(self.zone.name()),
                sheet::version()
            ),
            reload_s: None,
        };
        sheet.render()
    }

    fn summary(&self) -> String {
        let state = &self.state;
        let when = self.zone.time(state.when.as_ref());
        let stands = match state.mark {
            Some(mark) => format!("{} <span class=\"when\">as of {when}</span>", mark.show()),
            None => "Not measured yet".to_owned(),
        };
        let away = state.excuse.as_ref().map_or_else(String::new, |excuse| {
            let until = self.zone.time(excuse.until_time.as_ref());
            let text = format!("Away, excused until {until}. {}", excuse.text);
            format!("<p>{}</p>\n", Safe(text.trim_end()))
        });
        let why = match state.why.as_str() {
            "" => String::new(),
            why => format!("<p>{}</p>\n", Safe(why)),
        };
        let found: Vec<String> = self.findings();
        let found = match found.is_empty() {
            true => String::new(),
            false => format!(
                "<h3>Likely causes lately, and what to do</h3>\n{}",
                list("findings", &found)
            ),
        };
        format!(
            "<section class=\"summary\">\n<h2>How it stands</h2>\n<p class=\"answer\">{stands}</p>\n\
             {why}{away}{found}</section>\n",
        )
    }

    /// What was found in the last measurements, each once, with when it was found last.
    fn findings(&self) -> Vec<String> {
        let mut seen: Vec<&str> = Vec::new();
        let mut told = Vec::new();
        for measurement in &self.last {
            for finding in &measurement.findings {
                if !seen.contains(&finding.id.as_str()) {
                    seen.push(&finding.id);
                    let when = self.zone.time_of(measurement);
                    told.push(format!("{when}: {}", Safe(&finding.text)));
                }
            }
        }
        told
    }

    fn figures(&self) -> String {
        let parts = self.figures.chunk_by(|a, b| a.analysis == b.analysis);
        let mut index = 0;
        let parts = parts.map(|figures| {
            let analysis = words::title(&figures[0].analysis);
            let inner: String = figures
                .iter()
                .map(|figure| {
                    index += 1;
                    self.figure(figure, &analysis, index)
                })
                .collect();
            let title = Safe(&analysis);
            format!("<section class=\"card\">\n<h2>{title}</h2>\n{inner}</section>\n")
        });
        let parts: String = parts.collect();
        format!("{}{parts}", self.spans())
    }

    /// How much is shown, and the ways to more or less.
    fn spans(&self) -> String {
        let spans = SPANS
            .iter()
            .map(|(span, query, text)| match *span == self.span {
                true => format!("<b>{text}</b>"),
                false => format!(
                    "<a href=\"/links/{}?{query}\">{text}</a>",
                    Safe(&self.state.name)
                ),
            });
        let spans: Vec<String> = spans.collect();
        format!("<p>The pictures show at most: {}.</p>\n", spans.join(", "))
    }

    /// A figure; what has neither limit nor certain trend is folded away.
    fn figure(&self, one: &FigureHistory, analysis: &str, index: usize) -> String {
        let name = numbers::figure_in_words(&one.figure);
        let value = words::value(&one.figure);
        let trend = match &one.trend {
            Some(trend) => format!(
                "{}, over {} nights.",
                trend_in_words(&one.figure, trend),
                one.night_count
            ),
            None => format!(
                "{} under the present setup and baseline; a trend takes 14 over at least 2 weeks.",
                words::counted(one.night_count, "measurement")
            ),
        };
        let picture = picture::of_figure(one, &self.zone, format!("figure-{index}"));
        let picture = match picture {
            Some(plot) => plot.render().replacen(
                "aria-label=\"",
                &format!("aria-label=\"{}: ", Safe(analysis)),
                1,
            ),
            None => "<p>Nothing was measured in the time that is shown.</p>\n".to_owned(),
        };
        let is_open = !one.limits.is_empty() || one.trend.is_some_and(|trend| trend.is_certain());
        let (name, value, trend) = (Safe(&name), Safe(&value), Safe(&trend));
        match is_open {
            true => format!("<h3>{name}: {value}</h3>\n<p>{trend}</p>\n{picture}"),
            false => format!(
                "<details>\n<summary>{name}: {value}</summary>\n<p>{trend}</p>\n{picture}</details>\n"
            ),
        }
    }

    fn last(&self) -> String {
        let rows: String = self.last.iter().map(|one| self.row(one)).collect();
        if rows.is_empty() {
            return String::new();
        }
        let table = format!(
            "<table class=\"overview\">\n<caption>The last measurements</caption>\n<thead><tr>\
             <th scope=\"col\">When</th><th scope=\"col\">Analysis</th>\
             <th scope=\"col\">Verdict</th><th scope=\"col\">What it says</th></tr></thead>\n\
             <tbody>\n{rows}</tbody>\n</table>\n"
        );
        format!(
            "<section class=\"card\">\n<h2>Last measurements</h2>\n{}</section>\n",
            scrolled("The last measurements", &table)
        )
    }

    fn row(&self, measurement: &Measurement) -> String {
        let said = card::sayings(measurement).into_iter().next();
        let said = match measurement.is_match {
            true => Some("A match: a cable stood in the link's place.".to_owned()),
            false => said,
        };
        format!(
            "<tr><th scope=\"row\" class=\"number\">{}</th><td>{}</td><td>{}</td>\
             <td class=\"what\">{}</td></tr>\n",
            self.zone.time_of(measurement),
            Safe(&words::title(&measurement.analysis)),
            Mark::of(measurement).show(),
            Safe(&said.unwrap_or_default())
        )
    }
}
