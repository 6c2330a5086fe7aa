//! Permits: sound with nobody present may be made to need one, which expires.

use goodwire_proto::v1::PermitState;
use prost_types::Timestamp;

use crate::{
    clock::Clock,
    config::SafetyConfig,
    store::{Permit, Store, StoreError},
};

/// Nanoseconds of an hour.
const HOUR_NS: f64 = 3600e9;
/// A permit that was given later than now by more than this was given on another clock, in ns.
const CLOCK_SLACK_NS: i128 = 60_000_000_000;

/// The permit that counts now: not over, and no older than `safety.permit_hours`. Where none is
/// needed there is none that counts.
///
/// # Errors
/// Where the store cannot say; nobody may then be played to.
pub fn permit_now(
    store: &Store,
    safety: &SafetyConfig,
    clock: &dyn Clock,
) -> Result<Option<PermitState>, StoreError> {
    let Some(hours) = safety.permit_hours else {
        return Ok(None);
    };
    let now = ns(&clock.timestamp());
    Ok(store
        .permit()?
        .and_then(|permit| counting(permit, hours, now)))
}

fn counting(permit: Permit, hours: f64, now_ns: i128) -> Option<PermitState> {
    let given_ns = ns(&permit.create_time);
    let stale_ns = given_ns + (hours * HOUR_NS) as i128;
    let until_ns = permit
        .until_time
        .as_ref()
        .map_or(stale_ns, ns)
        .min(stale_ns);
    if now_ns >= until_ns || now_ns + CLOCK_SLACK_NS < given_ns {
        return None;
    }
    Some(PermitState {
        text: permit.text,
        create_time: Some(permit.create_time),
        until_time: Some(Timestamp {
            seconds: i64::try_from(until_ns.div_euclid(1_000_000_000)).ok()?,
            nanos: i32::try_from(until_ns.rem_euclid(1_000_000_000)).ok()?,
        }),
    })
}

/// The sentence that a missing permit refuses with.
#[must_use]
pub fn permit_text(safety: &SafetyConfig) -> String {
    let hours = safety.permit_hours.unwrap_or_default();
    format!(
        "sound with nobody present needs a permit of the last {hours} h, and there is none: give \
         one when the room is empty (`goodwire permit`)"
    )
}

fn ns(time: &Timestamp) -> i128 {
    i128::from(time.seconds) * 1_000_000_000 + i128::from(time.nanos)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn given_at_1000_s(until_s: Option<i64>) -> Permit {
        let at = |seconds| Timestamp { seconds, nanos: 0 };
        Permit {
            text: String::new(),
            create_time: at(1000),
            until_time: until_s.map(at),
        }
    }

    fn counts_at(permit: Permit, seconds: i128) -> bool {
        counting(permit, 2.0, seconds * 1_000_000_000).is_some()
    }

    #[test]
    fn a_permit_without_an_end_counts_for_2_h_and_not_a_second_longer() {
        assert!(counts_at(given_at_1000_s(None), 8199));
        assert!(!counts_at(given_at_1000_s(None), 8200));
    }

    #[test]
    fn a_permit_until_2099_still_expires_after_2_h() {
        assert!(!counts_at(given_at_1000_s(Some(4_070_908_800)), 8200));
    }

    #[test]
    fn a_permit_ends_when_it_says_and_does_not_count_before_it_was_given() {
        assert!(!counts_at(given_at_1000_s(Some(1500)), 1500));
        assert!(!counts_at(given_at_1000_s(None), 900));
    }
}
