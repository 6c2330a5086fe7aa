//! The rules, one file each.

mod all_silent;
mod battery_sagging;
mod clips_early;
mod compander_mismatch;
mod disturbed;
mod gain;
mod high_end_lost;
mod hum;
mod input_switch;
mod interface_clock;
mod interference;
mod latency_moved;
mod link_clock;
mod link_distorts;
mod loose_cable;
mod low_end_lost;
mod neighbours_sound;
mod no_signal;
mod not_docked;
mod out_of_range;
mod polarity_swapped;
mod receiver_output;
mod reference_distorts;
mod reference_knob;
mod reference_silent;
mod resynchronises;
mod return_knob;
mod setup_changed;
mod silence;
mod transmitter_gain;
mod xruns;

use super::evidence::{Evidence, Link};

/// One cause.
pub(super) struct Rule {
    /// Stable name of the finding.
    pub(super) id: &'static str,
    /// Cause and what to do about it, in a sentence or two; `None` where nothing speaks for it.
    pub(super) look: fn(&Evidence<'_>) -> Option<String>,
}

const fn rule(id: &'static str, look: fn(&Evidence<'_>) -> Option<String>) -> Rule {
    Rule { id, look }
}

/// All of them, in the order in which they are told. A rule that sees less than another one gives
/// way to it by asking it.
pub(super) static RULES: [Rule; 28] = [
    rule("reference-silent", reference_silent::look),
    rule("all-links-silent", all_silent::look),
    rule("not-docked", not_docked::look),
    rule("nothing-at-the-return", no_signal::look),
    rule("setup-changed", setup_changed::look),
    rule("xruns", xruns::look),
    rule("interface-clock", interface_clock::look),
    rule("neighbours-sound", neighbours_sound::look),
    rule("polarity-swapped", polarity_swapped::look),
    rule("battery-sagging", battery_sagging::look),
    rule("reference-knob", reference_knob::look),
    rule("receiver-output", receiver_output::look),
    rule("return-knob", return_knob::look),
    rule("input-switch", input_switch::look),
    rule("transmitter-gain", transmitter_gain::look),
    rule("clips-early", clips_early::look),
    rule("reference-distorts", reference_distorts::look),
    rule("link-distorts", link_distorts::look),
    rule("compander-mismatch", compander_mismatch::look),
    rule("high-end-lost", high_end_lost::look),
    rule("low-end-lost", low_end_lost::look),
    rule("latency-moved", latency_moved::look),
    rule("link-clock", link_clock::look),
    rule("interference", interference::look),
    rule("resynchronises", resynchronises::look),
    rule("out-of-range", out_of_range::look),
    rule("loose-cable", loose_cable::look),
    rule("hum", hum::look),
];

/// The rules that can say something of a link: where it hears another's send instead of its own,
/// its figures are that link's.
pub(super) fn of(link: &Link<'_>) -> &'static [Rule] {
    let last = RULES.iter().position(|rule| rule.id == "neighbours-sound");
    match last.filter(|_| neighbours_sound::hears_another(link)) {
        Some(last) => &RULES[..=last],
        None => &RULES,
    }
}
