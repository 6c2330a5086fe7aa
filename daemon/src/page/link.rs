//! The history of a link: its figures night by night with their trends, and what was said of it.

mod picture;
mod view;

use std::rc::Rc;

use goodwire_proto::v1::{Figure, Measurement};
use prost_types::Timestamp;

use super::{
    answer::Trouble,
    front::{LinkState, link_state},
};
use crate::{
    judge::{Trend, limited, place},
    measure::complete::Desk,
    refusal::Refusal,
    report::Zone,
    rounds::nights,
    store::{History, HistoryQuery, ListQuery, Said, Series},
};

/// So many of the last measurements are listed.
const LISTED: i32 = 20;
const WEEK_S: i64 = 604_800;

/// All that the page of a link says.
#[derive(Debug)]
pub(super) struct LinkPage {
    site: String,
    zone: Zone,
    is_simulated: bool,
    state: LinkState,
    span: Span,
    /// Analysis by analysis, in the order in which they were first measured.
    figures: Vec<FigureHistory>,
    /// The last measurements, newest first, without curves.
    last: Vec<Measurement>,
}

/// How much of the history is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Span {
    /// The last so many weeks.
    Weeks(i64),
    /// All of it.
    All,
}

/// One figure of a link at one place.
#[derive(Debug)]
struct FigureHistory {
    analysis: String,
    /// Its id, place and unit; its value is the last one.
    figure: Figure,
    /// What there is of it in the span.
    history: History,
    /// Where it is heading, by all nights of the present setup and baseline.
    trend: Option<Trend>,
    /// How many nights that are.
    night_count: usize,
    baseline: Option<f64>,
    /// What is allowed: least and most.
    limits: Vec<(Option<f64>, Option<f64>)>,
    /// What was said of its analysis in the span.
    said: Rc<Vec<Said>>,
}

impl Span {
    /// From `weeks=13` or `all`; a year where nothing is said.
    pub(super) fn parse(query: Option<&str>) -> Option<Self> {
        match query {
            None | Some("") => Some(Self::Weeks(52)),
            Some("all") => Some(Self::All),
            Some(other) => {
                let weeks = other.strip_prefix("weeks=")?.parse().ok()?;
                (1..=5200).contains(&weeks).then_some(Self::Weeks(weeks))
            }
        }
    }

    fn since(self, now: &Timestamp) -> Option<Timestamp> {
        match self {
            Self::All => None,
            Self::Weeks(weeks) => Some(Timestamp {
                seconds: now.seconds - weeks * WEEK_S,
                nanos: 0,
            }),
        }
    }
}

impl LinkPage {
    /// Reads the history of a link. Blocks.
    pub(super) fn gather(desk: &Desk, name: &str, span: Span) -> Result<Self, Trouble> {
        let Some(link) = desk.config.link(name) else {
            return Err(Refusal::NotFound(desk.unknown_link(name)).into());
        };
        let now = desk.clock.timestamp();
        let since = span.since(&now);
        let list = ListQuery {
            link: link.name.clone(),
            page_size: LISTED,
            ..ListQuery::default()
        };
        let mut page = Self {
            site: desk.config.site.clone(),
            zone: Zone::of_machine(),
            is_simulated: desk.config.interface.backend.is_simulated(),
            state: link_state(desk, &link.name, &desk.store.excuses(&now)?)?,
            span,
            figures: Vec::new(),
            last: desk.store.list(&list)?.measurements,
        };
        let mut series = desk.store.series(&link.name)?;
        let mut order: Vec<String> = series.iter().map(|one| one.analysis.clone()).collect();
        order.dedup();
        series.sort_by_key(|one| order.iter().position(|analysis| *analysis == one.analysis));
        for alike in series.chunk_by(|a, b| a.analysis == b.analysis) {
            page.figures
                .extend(of_analysis(desk, &link.name, alike, since.as_ref())?);
        }
        Ok(page)
    }
}

fn of_analysis(
    desk: &Desk,
    link: &str,
    series: &[Series],
    since: Option<&Timestamp>,
) -> Result<Vec<FigureHistory>, Trouble> {
    let analysis = &series[0].analysis;
    let said = Rc::new(desk.store.said(link, analysis, since)?);
    let baseline = desk.store.baseline(link, analysis)?;
    let mut figures = Vec::new();
    for one in series.iter().filter(|one| is_followed(desk, link, one)) {
        let all = desk.store.history(&HistoryQuery {
            link: link.to_owned(),
            analysis: analysis.clone(),
            figure: one.figure.clone(),
            at: Some(one.at.clone()),
            since: None,
        })?;
        let figure = Figure {
            id: one.figure.clone(),
            unit: one.unit.clone(),
            at: Some(one.at.clone()),
            value: all.points.last().map(|point| point.value),
            uncertainty: all.points.last().and_then(|point| point.uncertainty),
            ..Figure::default()
        };
        let nights = nights(&all);
        let before = baseline.as_ref();
        let before = before.and_then(|one| place::counterpart(&figure, &one.figures)?.value);
        figures.push(FigureHistory {
            analysis: analysis.clone(),
            limits: limits(desk, link, analysis, &figure),
            figure,
            trend: Trend::of(&nights),
            night_count: nights.len(),
            baseline: before,
            history: within(all, since),
            said: Rc::clone(&said),
        });
    }
    Ok(figures)
}

/// Of the channels of a table, which may be hundreds, those that somebody limits.
fn is_followed(desk: &Desk, link: &str, one: &Series) -> bool {
    let is_of_all = one.at.fields.is_empty() || !desk.registry.is_without_audio(&one.analysis);
    let figure = Figure {
        id: one.figure.clone(),
        at: Some(one.at.clone()),
        ..Figure::default()
    };
    is_of_all || !limits(desk, link, &one.analysis, &figure).is_empty()
}

/// What the configuration allows for a figure of a link.
fn limits(
    desk: &Desk,
    link: &str,
    analysis: &str,
    figure: &Figure,
) -> Vec<(Option<f64>, Option<f64>)> {
    let measurement = Measurement {
        link: link.to_owned(),
        analysis: analysis.to_owned(),
        figures: vec![figure.clone()],
        ..Measurement::default()
    };
    let limits = limited(&desk.config.limits, &measurement);
    limits
        .iter()
        .map(|(limit, _)| (limit.min, limit.max))
        .collect()
}

/// The part of a history since a time.
fn within(mut history: History, since: Option<&Timestamp>) -> History {
    let is_before = |time: &Timestamp| since.is_some_and(|since| time.seconds < since.seconds);
    let first = history
        .points
        .partition_point(|point| is_before(&point.time));
    history.points.drain(..first);
    history.anew = history.anew.saturating_sub(first);
    history
}
