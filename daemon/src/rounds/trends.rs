//! What the histories of a run's figures are heading for.

use goodwire_proto::v1::{Figure, Finding, Measurement, Run, RunFinding, measurement::State};

use crate::{
    config::LimitConfig,
    judge::{self, Night},
    measure::complete::Desk,
    store::{History, HistoryQuery, StoreError},
};

const SECONDS_A_WEEK: f64 = 604_800.0;

/// Adds a finding for each figure of a run whose trend reaches a limit soon.
pub(super) fn add(desk: &Desk, run: &mut Run) {
    let succeeded = run.checks.iter();
    let succeeded = succeeded.filter(|check| check.state == i32::from(State::Succeeded));
    let mut found = Vec::new();
    for check in succeeded {
        match of_measurement(desk, &check.measurement) {
            Ok(findings) => found.extend(findings.into_iter().map(|finding| RunFinding {
                link: check.link.clone(),
                finding: Some(finding),
            })),
            Err(error) => tracing::error!(%error, "a history cannot be read"),
        }
    }
    run.findings.extend(found);
}

fn of_measurement(desk: &Desk, name: &str) -> Result<Vec<Finding>, StoreError> {
    let measurement = desk.store.get(name)?;
    let mut findings = Vec::new();
    for (limit, figure) in judge::limited(&desk.config.limits, &measurement) {
        findings.extend(of_figure(desk, &measurement, limit, figure)?);
    }
    Ok(findings)
}

fn of_figure(
    desk: &Desk,
    measurement: &Measurement,
    limit: &LimitConfig,
    figure: &Figure,
) -> Result<Option<Finding>, StoreError> {
    let history = desk.store.history(&HistoryQuery {
        link: measurement.link.clone(),
        analysis: measurement.analysis.clone(),
        figure: figure.id.clone(),
        at: figure.at.clone(),
        since: None,
    })?;
    Ok(judge::trend_finding(limit, figure, &nights(&history)))
}

/// What a trend is made of: the points since setup and baseline are what they are now.
#[must_use]
pub fn nights(history: &History) -> Vec<Night> {
    let points = &history.points[history.anew..];
    let first_s = points.first().map_or(0, |point| point.time.seconds);
    let night = |point: &crate::store::HistoryPoint| Night {
        week: (point.time.seconds - first_s) as f64 / SECONDS_A_WEEK,
        value: point.value,
    };
    points.iter().map(night).collect()
}
