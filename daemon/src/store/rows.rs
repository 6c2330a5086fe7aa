//! A measurement as rows: its proto bytes beside the columns that are searched.
//!
//! The bytes are in three parts, each a `Measurement` with some of its fields: the result, the
//! curves with the channel plan, the judgement. Proto messages merge, so reading is decoding one part over another.

use goodwire_proto::v1::{Measurement, measurement::State, verdict::Outcome};
use prost::Message;
use prost_types::Timestamp;
use rusqlite::Row;

use super::error::StoreError;

/// A measurement in its three parts.
pub(super) struct Parts {
    pub(super) result: Vec<u8>,
    pub(super) curves: Vec<u8>,
    /// `None` where nothing was judged or found.
    pub(super) judgement: Option<Vec<u8>>,
    pub(super) outcome: Outcome,
}

/// Takes a measurement apart.
pub(super) fn split(measurement: &Measurement) -> Parts {
    let mut result = measurement.clone();
    let curves = Measurement {
        curves: std::mem::take(&mut result.curves),
        // As long as curves are, and looked at as rarely.
        channel_plan: result.channel_plan.take(),
        ..Default::default()
    };
    let judgement = Measurement {
        verdict: result.verdict.take(),
        findings: std::mem::take(&mut result.findings),
        ..Default::default()
    };
    let outcome = judgement
        .verdict
        .as_ref()
        .map_or(Outcome::Unspecified, |v| v.outcome());
    Parts {
        result: result.encode_to_vec(),
        curves: curves.encode_to_vec(),
        judgement: (judgement != Measurement::default()).then(|| judgement.encode_to_vec()),
        outcome,
    }
}

/// Puts the parts in the columns `first` and following of a row together; what is NULL is absent.
pub(super) fn join(row: &Row<'_>, first: usize, count: usize) -> Result<Measurement, StoreError> {
    let mut measurement = Measurement::default();
    for column in first..first + count {
        if let Some(part) = row.get_ref(column)?.as_blob_or_null().map_err(damaged)? {
            measurement.merge(part)?;
        }
    }
    Ok(measurement)
}

fn damaged(error: rusqlite::types::FromSqlError) -> StoreError {
    StoreError::Damaged {
        text: error.to_string(),
    }
}

/// True for the states that a measurement stays in.
pub(super) fn is_final(state: State) -> bool {
    matches!(state, State::Succeeded | State::Failed | State::Cancelled)
}

/// Nanoseconds since the beginning of 1970.
pub(super) fn to_ns(time: &Timestamp) -> i64 {
    time.seconds
        .saturating_mul(1_000_000_000)
        .saturating_add(i64::from(time.nanos))
}

/// The time so many nanoseconds after the beginning of 1970.
pub(super) fn from_ns(ns: i64) -> Timestamp {
    Timestamp {
        seconds: ns.div_euclid(1_000_000_000),
        nanos: i32::try_from(ns.rem_euclid(1_000_000_000)).expect("less than 1e9"),
    }
}
