//! What has to be known to read the figures rightly.

use goodwire_dsp::watch::ledger::{OTHER_COUNT_MAX, PIECE_COUNT_MAX};
use goodwire_dsp::watch::{Log, poisson};
use goodwire_plugin_sdk::api::Note;
use goodwire_plugin_sdk::figures::{info, warning};

/// What it shows that nothing was seen. `None` where there was a dropout, or nothing was judged.
#[must_use]
pub fn none_seen(log: &Log) -> Option<Note> {
    let judged_s = log.judged_s();
    if log.ledger.dropout_count() > 0 || judged_s <= 0.0 {
        return None;
    }
    let per_hour = poisson::upper_bound(0) / (judged_s / 3_600.0);
    let text = format!(
        "{judged_s:.0} s without a dropout show fewer than {per_hour:.3} an hour with 95 % \
         confidence; fewer than one an hour takes {:.0} s",
        poisson::seconds_for_fewer_than(1.0).ceil()
    );
    Some(info("none-seen", text))
}

/// How much the interface lost. `None` where it lost nothing.
#[must_use]
pub fn frames_lost(log: &Log) -> Option<Note> {
    let text = format!(
        "the interface lost frames {} times, {:.3} s in all; they are left out, and are no dropouts",
        log.loss_count,
        log.lost_by_interface / log.rate_hz
    );
    (log.loss_count > 0).then(|| info("frames-lost", text))
}

/// Whose fault cannot be told without a reference. `None` where there is one.
#[must_use]
pub fn reference_missing(has_reference: bool) -> Option<Note> {
    let text = "there is no reference, so gaps of the interface and of the link cannot be told \
                apart";
    (!has_reference).then(|| warning("no-reference", text))
}

/// How many lapses are not among the events. `None` where all are.
#[must_use]
pub fn not_all_listed(log: &Log) -> Option<Note> {
    let left_out = log.ledger.left_out();
    let text = format!(
        "the {PIECE_COUNT_MAX} longest gaps and concealed stretches and the first \
         {OTHER_COUNT_MAX} others are listed; {left_out} more are counted alone"
    );
    (left_out > 0).then(|| info("not-all-listed", text))
}
