//! A run as the JSON that is posted, in the shape that Standard Webhooks recommends: what it is,
//! when it was, and the data.

use std::sync::LazyLock;

use goodwire_proto::v1::{Run, run::State};
use prost::Message;
use prost_reflect::{DescriptorPool, DynamicMessage, MessageDescriptor};
use serde_json::{Value, json};

use super::Letter;
use crate::rounds::message::is_interrupted;

static RUN: LazyLock<MessageDescriptor> = LazyLock::new(|| {
    let pool = DescriptorPool::decode(goodwire_proto::DESCRIPTORS);
    let pool = pool.expect("the build wrote the descriptors");
    let run = pool.get_message_by_name("goodwire.v1.Run");
    run.expect("it is in the descriptors")
});

/// What is posted of a run.
pub(super) fn body(letter: &Letter<'_>) -> Value {
    let run = letter.run;
    let time = run.end_time.as_ref().or(run.due_time.as_ref());
    let links = letter.recovered.iter();
    let recovered: Vec<String> = links.map(|link| format!("links/{link}")).collect();
    json!({
        "type": kind(run),
        "timestamp": time.map(ToString::to_string),
        "data": {
            "site": letter.site,
            "headline": letter.headline(),
            "text": letter.text,
            "recovered": recovered,
            "run": canonical(run),
        },
    })
}

fn kind(run: &Run) -> &'static str {
    match run.state() {
        State::Missed => "run.missed",
        _ if is_interrupted(run) => "run.interrupted",
        _ => "run.ended",
    }
}

/// The canonical proto3 JSON of a run.
fn canonical(run: &Run) -> Value {
    let bytes = run.encode_to_vec();
    let dynamic = DynamicMessage::decode(RUN.clone(), bytes.as_slice());
    let dynamic = dynamic.expect("what was just encoded decodes");
    serde_json::to_value(&dynamic).expect("a run holds no number that JSON cannot say")
}
