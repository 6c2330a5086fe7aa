//! Whether a link, or the reference, gave nothing.

use goodwire_proto::v1::Reason;

use super::neighbours_sound::hears_another;
use crate::judge::findings::evidence::Link;

/// Reasons of analyses that found nothing of the stimulus: silence, or noise alone.
const NOTHING: [&str; 2] = ["no-signal", "unrelated"];
/// How these reasons name the reference; without a channel they speak of the link.
const REFERENCE: &str = "reference";

fn reasons<'a>(link: &Link<'a>) -> impl Iterator<Item = &'a Reason> {
    let reasons = link.measurements().filter_map(|one| one.reason.as_ref());
    reasons.filter(|reason| NOTHING.contains(&reason.id.as_str()))
}

/// True where nothing of the stimulus came back through the link.
pub(super) fn is_silent(link: &Link<'_>) -> bool {
    !hears_another(link) && reasons(link).any(|reason| reason.channel != REFERENCE)
}

/// True where nothing of the stimulus came back through the reference.
pub(super) fn is_reference_silent(link: &Link<'_>) -> bool {
    reasons(link).any(|reason| reason.channel == REFERENCE)
}
