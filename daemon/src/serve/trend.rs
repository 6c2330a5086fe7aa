//! The history of a figure with its trend.

use goodwire_proto::v1::{Figure, GetTrendRequest, GetTrendResponse, TrendPoint};

use crate::{
    judge::{Trend, trend_in_words},
    measure::{complete::Desk, job::bare},
    refusal::Refusal,
    rounds::nights,
    store::{HistoryPoint, HistoryQuery},
};

/// Reads a history and fits its trend.
pub(super) fn get(desk: &Desk, request: GetTrendRequest) -> Result<GetTrendResponse, Refusal> {
    let (link, analysis) = (bare(&request.link), bare(&request.analysis));
    let history = desk.store.history(&HistoryQuery {
        link: link.to_owned(),
        analysis: analysis.to_owned(),
        figure: request.figure.clone(),
        at: request.at.clone(),
        since: request.since_time,
    })?;
    if history.points.is_empty() {
        let text = format!(
            "there is no history of the figure '{}' of '{analysis}' on the link '{link}' there",
            request.figure
        );
        return Err(Refusal::NotFound(text));
    }
    let figure = Figure {
        id: request.figure,
        at: request.at,
        unit: history.unit.clone(),
        ..Figure::default()
    };
    let nights = nights(&history);
    let trend = Trend::of(&nights);
    let text = match &trend {
        Some(trend) => format!(
            "{}, over {} points.",
            trend_in_words(&figure, trend),
            nights.len()
        ),
        None => format!(
            "{} of its points are of the present setup and baseline; a trend takes 14 over at \
             least 2 weeks.",
            nights.len()
        ),
    };
    let point = |point: &HistoryPoint| TrendPoint {
        time: Some(point.time),
        value: Some(point.value),
        uncertainty: point.uncertainty,
        measurement: point.measurement.clone(),
    };
    Ok(GetTrendResponse {
        unit: history.unit.clone(),
        points: history.points.iter().map(point).collect(),
        begin_time: history.points.get(history.anew).map(|point| point.time),
        slope_per_week: trend.map(|trend| trend.slope),
        slope_low: trend.map(|trend| trend.low),
        slope_high: trend.map(|trend| trend.high),
        text,
    })
}
