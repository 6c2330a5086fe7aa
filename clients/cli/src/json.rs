//! The canonical proto3 JSON of messages, through their descriptors (`prost` itself has none).

use std::sync::LazyLock;

use anyhow::Context;
use goodwire_proto::v1::{
    Analysis, Baseline, Calibration, ClearBaselineResponse, CompareMeasurementsResponse, Device,
    GetTrendResponse, HoldResponse, Link, MarkMeasurementResponse, Measurement, Note, PermitState,
    ReleaseResponse, Round, Run, Status, StimulusHeader, StopResponse, WatchLevelsResponse, Wiring,
    WithdrawPermitResponse,
};
use prost::Message;
use prost_reflect::{DescriptorPool, DynamicMessage};
use serde_json::{Map, Value};

static POOL: LazyLock<DescriptorPool> = LazyLock::new(|| {
    DescriptorPool::decode(goodwire_proto::DESCRIPTORS).expect("the build wrote the descriptors")
});

/// A message that has a JSON form, and its name in the descriptors.
pub trait Named: Message {
    /// Name without the package.
    const NAME: &'static str;
}

macro_rules! named {
    ($($message:ident),* $(,)?) => {
        $(impl Named for $message {
            const NAME: &'static str = stringify!($message);
        })*
    };
}

named!(
    Analysis,
    Baseline,
    Calibration,
    ClearBaselineResponse,
    CompareMeasurementsResponse,
    Device,
    GetTrendResponse,
    HoldResponse,
    Link,
    MarkMeasurementResponse,
    Measurement,
    Note,
    PermitState,
    ReleaseResponse,
    Round,
    Run,
    Status,
    StimulusHeader,
    StopResponse,
    WatchLevelsResponse,
    Wiring,
    WithdrawPermitResponse,
);

/// The canonical JSON of one message. The keys are sorted, so that equal messages give equal text.
///
/// # Errors
/// Where the message holds a number that JSON cannot say inside a `Struct` (NaN, an infinity).
pub fn message<M: Named>(message: &M) -> anyhow::Result<Value> {
    let descriptor = POOL
        .get_message_by_name(&format!("goodwire.v1.{}", M::NAME))
        .expect("every named message is in the descriptors");
    let dynamic = DynamicMessage::decode(descriptor, message.encode_to_vec().as_slice())
        .expect("what was just encoded decodes");
    serde_json::to_value(&dynamic).context("the answer cannot be written as JSON")
}

/// `{"key": [...]}`: an empty list still prints its key.
///
/// # Errors
/// As of [`message`].
pub fn list<M: Named>(key: &str, items: &[M]) -> anyhow::Result<Value> {
    let items = items.iter().map(message).collect::<Result<Vec<_>, _>>()?;
    Ok(Value::Object(Map::from_iter([(
        key.to_owned(),
        Value::Array(items),
    )])))
}

/// The text of one document, indented, with a line end.
pub fn document(value: &Value) -> String {
    format!("{value:#}\n")
}

/// Reads the canonical JSON of a measurement.
///
/// # Errors
/// Names the field that is wrong.
pub fn measurement_of(json: Value) -> anyhow::Result<Measurement> {
    let descriptor = POOL
        .get_message_by_name("goodwire.v1.Measurement")
        .expect("it is in the descriptors");
    let dynamic = DynamicMessage::deserialize(descriptor, json)?;
    Ok(dynamic.transcode_to()?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use goodwire_proto::v1::{Figure, measurement::State};
    use serde_json::json;

    fn measurement() -> Measurement {
        Measurement {
            name: "measurements/1".into(),
            state: State::Succeeded.into(),
            figures: vec![Figure {
                id: "gain".into(),
                value: Some(0.0),
                uncertainty: Some(0.01),
                unit: "dB".into(),
                ..Figure::default()
            }],
            setup: [
                ("b".to_owned(), "2".to_owned()),
                ("a".to_owned(), "1".to_owned()),
            ]
            .into(),
            ..Measurement::default()
        }
    }

    #[test]
    fn zeros_that_mean_something_are_shown_and_enums_have_no_prefix() {
        assert_eq!(
            message(&measurement()).unwrap(),
            json!({
                "name": "measurements/1",
                "state": "SUCCEEDED",
                "figures": [{"id": "gain", "value": 0.0, "uncertainty": 0.01, "unit": "dB"}],
                "setup": {"a": "1", "b": "2"},
            })
        );
    }

    #[test]
    fn an_empty_list_prints_its_key() {
        assert_eq!(list::<Link>("links", &[]).unwrap(), json!({"links": []}));
    }

    #[test]
    fn what_is_written_reads_back_as_the_same_measurement() {
        let text = document(&message(&measurement()).unwrap());
        assert_eq!(
            measurement_of(serde_json::from_str(&text).unwrap()).unwrap(),
            measurement()
        );
    }
}
