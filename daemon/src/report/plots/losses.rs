//! Where along an axis of time or distance sound was lost.

use goodwire_proto::v1::Event;
use prost_types::value::Kind;

/// Events at which sound was lost.
const LOST: [&str; 3] = ["gap", "concealed", "lost"];

/// The places of the losses on an axis in `x_unit`; none on one of another quantity.
pub(super) fn along(events: &[Event], x_unit: &str) -> Vec<f64> {
    let lost = events.iter().filter(|one| LOST.contains(&one.id.as_str()));
    match x_unit {
        "s" => lost.filter_map(|event| event.start_s).collect(),
        "m" => lost.filter_map(metres).collect(),
        _ => Vec::new(),
    }
}

fn metres(event: &Event) -> Option<f64> {
    match event.at.as_ref()?.fields.get("metres")?.kind {
        Some(Kind::NumberValue(metres)) => Some(metres),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use prost_types::{Struct, Value};

    use super::*;

    #[test]
    fn a_gap_at_25_s_and_12_m_stands_there_and_a_click_and_other_axes_have_none() {
        let metres = Value {
            kind: Some(Kind::NumberValue(12.0)),
        };
        let gap = Event {
            id: "gap".into(),
            start_s: Some(25.0),
            at: Some(Struct {
                fields: BTreeMap::from([("metres".into(), metres)]),
            }),
            ..Event::default()
        };
        let click = Event {
            id: "click".into(),
            ..gap.clone()
        };
        let events = [gap, click];
        assert_eq!(along(&events, "s"), [25.0]);
        assert_eq!(along(&events, "m"), [12.0]);
        assert_eq!(along(&events, "Hz"), [0.0; 0]);
    }
}
