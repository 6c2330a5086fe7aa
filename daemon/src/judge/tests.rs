mod curves;
mod limits;
mod moves;
mod properties;
mod side_by_side;
mod trends;

use goodwire_proto::v1::{Figure, Measurement, Verdict, measurement::State};
use prost_types::{Struct, Value, value::Kind};

use super::*;
use crate::config::{AtValue, LimitConfig};

pub(super) fn figure(id: &str, value: f64, uncertainty: f64) -> Figure {
    Figure {
        id: id.to_owned(),
        value: Some(value),
        uncertainty: Some(uncertainty),
        unit: "dB".to_owned(),
        ..Default::default()
    }
}

pub(super) fn at(pairs: &[(&str, f64)]) -> Option<Struct> {
    let value = |number| Value {
        kind: Some(Kind::NumberValue(number)),
    };
    let fields = pairs
        .iter()
        .map(|(key, number)| ((*key).to_owned(), value(*number)));
    Some(Struct {
        fields: fields.collect(),
    })
}

pub(super) fn measured(figures: Vec<Figure>) -> Measurement {
    Measurement {
        name: "measurements/2".to_owned(),
        link: "links/lectern".to_owned(),
        analysis: "response".to_owned(),
        state: State::Succeeded.into(),
        figures,
        ..Default::default()
    }
}

pub(super) fn baseline(figures: Vec<Figure>) -> Measurement {
    Measurement {
        name: "measurements/1".to_owned(),
        ..measured(figures)
    }
}

pub(super) fn limit(figure: &str) -> LimitConfig {
    LimitConfig {
        analysis: "response".to_owned(),
        figure: figure.to_owned(),
        ..LimitConfig::default()
    }
}

pub(super) fn within(figure: &str, min: f64, max: f64) -> LimitConfig {
    LimitConfig {
        min: Some(min),
        max: Some(max),
        ..limit(figure)
    }
}

fn at_most_moved(figure: &str, drift: f64) -> LimitConfig {
    LimitConfig {
        drift: Some(drift),
        ..limit(figure)
    }
}

/// The verdict of one limit on one figure.
fn verdict(limit: LimitConfig, figure: Figure) -> Verdict {
    judge(&[limit], &measured(vec![figure]), None).unwrap()
}

/// The only sentence of a verdict.
fn sentence(verdict: &Verdict) -> &str {
    assert_eq!(verdict.judgements.len(), 1, "{verdict:?}");
    &verdict.judgements[0].text
}
