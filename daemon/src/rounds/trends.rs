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

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use goodwire_proto::v1::RunCheck;
    use prost_types::Timestamp;

    use super::*;
    use crate::{
        clock::TestClock,
        config::Config,
        measure::{queue::Queue, watch::Watchers},
        plugins::Registry,
        store::{Store, new_name},
    };

    /// 2026-05-01 00:00:00 UTC.
    const START_S: u64 = 1_777_593_600;
    const RIG: &str = r#"
        site = "lantern-cellar"
        [interface]
        backend = "simulated"
        rate = 48000
        [[link]]
        name = "lectern"
        send = 1
        return = 1
        [[limit]]
        analysis = "level"
        figure = "gain"
        min = -3
    "#;

    /// A level whose gain has fallen by so many dB a night since the first, with a wobble.
    fn night(clock: &TestClock, index: i64, fall_db: f64) -> Measurement {
        let mut measurement = Measurement {
            name: new_name(clock),
            link: "links/lectern".into(),
            analysis: "level".into(),
            figures: vec![Figure {
                id: "gain".into(),
                value: Some(-fall_db * index as f64 + 0.02 * (index % 3) as f64),
                uncertainty: Some(0.02),
                unit: "dB".into(),
                ..Figure::default()
            }],
            create_time: Some(Timestamp {
                seconds: i64::try_from(START_S).unwrap() + index * 86_400,
                nanos: 0,
            }),
            ..Measurement::default()
        };
        measurement.set_state(State::Succeeded);
        measurement
    }

    /// The findings of a run of the last of so many nights.
    fn told(nights: i64, fall_db: f64) -> Vec<String> {
        let dir = tempfile::tempdir().unwrap();
        let clock = Arc::new(TestClock::at(START_S));
        let store = Store::open(dir.path(), clock.clone()).unwrap();
        let all: Vec<_> = (0..nights)
            .map(|index| night(&clock, index, fall_db))
            .collect();
        let last = all.last().unwrap().name.clone();
        store.import(all).unwrap();
        let desk = Desk {
            config: Arc::new(Config::parse(RIG, "rig.toml", &[]).unwrap()),
            store,
            registry: Arc::new(Registry::scan(&[], std::path::Path::new("none"))),
            watchers: Watchers::default(),
            queue: Queue::default(),
            watches: crate::measure::watches::Watches::default(),
            spool_dir: dir.path().to_owned(),
            clock,
            message_counts: crate::rounds::MessageCounts::default(),
        };
        let check = RunCheck {
            link: "links/lectern".into(),
            analysis: "level".into(),
            measurement: last,
            state: State::Succeeded.into(),
            ..RunCheck::default()
        };
        let mut run = Run {
            checks: vec![check],
            ..Run::default()
        };
        add(&desk, &mut run);
        let findings = run
            .findings
            .iter()
            .filter_map(|found| found.finding.as_ref());
        findings
            .map(|finding| format!("{}: {}", finding.id, finding.text))
            .collect()
    }

    #[test]
    fn a_gain_that_loses_0_28_db_a_week_is_told_3_weeks_before_its_limit() {
        // After 56 nights at -2.2 dB, with 0.8 dB left at 0.28 dB a week.
        let told = told(56, 0.04);
        assert_eq!(told.len(), 1, "{told:?}");
        assert!(
            told[0].starts_with("trend-towards-limit: Gain falls by 0.2"),
            "{told:?}"
        );
        assert!(
            told[0].contains("limit of -3 dB in about 3 weeks"),
            "{told:?}"
        );
    }

    #[test]
    fn a_steady_gain_and_a_history_of_10_nights_are_not_told() {
        assert!(told(56, 0.0).is_empty());
        assert!(told(10, 0.2).is_empty());
    }
}
