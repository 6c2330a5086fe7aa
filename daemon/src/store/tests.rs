mod beside;
mod histories;
mod kills;
mod lists;
mod lives;
mod outbox;
mod starts;

use std::{path::Path, sync::Arc};

use goodwire_proto::plugin::v1::Sound;
use goodwire_proto::v1::verdict::Outcome;
use goodwire_proto::v1::{Curve, Figure, Finding, Measurement, Verdict, measurement::State};

use super::*;
use crate::clock::TestClock;

/// 2024-05-01 00:00:00 UTC.
const START_S: u64 = 1_714_521_600;

fn clock() -> Arc<TestClock> {
    Arc::new(TestClock::at(START_S))
}

fn open(dir: &Path) -> Store {
    Store::open(dir, clock()).unwrap()
}

/// A queued measurement of a link.
fn queued(link: &str, analysis: &str) -> Measurement {
    let mut measurement = Measurement {
        name: new_name(&*clock()),
        link: format!("links/{link}"),
        analysis: analysis.to_owned(),
        simulated: true,
        ..Default::default()
    };
    measurement.set_state(State::Queued);
    measurement
}

fn figure(id: &str, value: f64) -> Figure {
    Figure {
        id: id.to_owned(),
        value: Some(value),
        ..Default::default()
    }
}

/// The same measurement, ended with a figure, a curve, a verdict and a finding.
fn succeeded(measurement: &Measurement, gain_db: f64) -> Measurement {
    let mut ended = measurement.clone();
    ended.set_state(State::Succeeded);
    ended.figures = vec![figure("gain", gain_db)];
    ended.curves = vec![Curve {
        id: "magnitude".to_owned(),
        x: vec![20.0, 1000.0],
        y: vec![gain_db, 0.0],
        ..Default::default()
    }];
    ended.verdict = Some(Verdict {
        outcome: Outcome::Pass.into(),
        judgements: Vec::new(),
    });
    ended.findings = vec![Finding {
        id: "knob".to_owned(),
        text: "Look.".to_owned(),
    }];
    ended
}

/// Creates and finishes a measurement with a sound of three equal samples; gives its name.
fn heard(store: &Store, sample: f32) -> String {
    let created = store
        .create(&[queued("lectern", "null")], None)
        .unwrap()
        .remove(0);
    let sound = Sound {
        id: "difference".to_owned(),
        rate_hz: 48_000,
        samples: vec![sample; 3],
    };
    store
        .finish_with_sounds(&succeeded(&created, 0.0), vec![sound])
        .unwrap();
    created.name
}

/// Creates and finishes a measurement.
fn kept(store: &Store, link: &str, analysis: &str, gain_db: f64) -> Measurement {
    let created = store
        .create(&[queued(link, analysis)], None)
        .unwrap()
        .remove(0);
    store.finish(&succeeded(&created, gain_db)).unwrap();
    store.get(&created.name).unwrap()
}
