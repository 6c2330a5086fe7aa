//! Levels at the send that are told in dBu too, where somebody said what full scale is in volts.

/// Figures in dBFS at the send.
const AT_THE_SEND: [&str; 3] = ["clip_point", "compression_point", "unclipped_to"];

/// Id of the figure that tells a figure in dBu; `None` where that would mean nothing.
#[must_use]
pub fn id_in_dbu(figure: &str) -> Option<String> {
    let is_level = AT_THE_SEND.contains(&figure);
    is_level.then(|| format!("{figure}_dbu"))
}
