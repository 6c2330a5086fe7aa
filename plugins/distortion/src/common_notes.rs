//! Notes that all methods share.

use goodwire_dsp::tone::NoisyPower;
use goodwire_plugin_sdk::api::Note;
use goodwire_plugin_sdk::figures::{info, warning};
use goodwire_plugin_sdk::payload::OpenRequest;

/// A reference whose distortion is within this of the link's own, as a ratio of powers, is told of:
/// 10 dB.
const REFERENCE_WITHIN: f64 = 10.0;

/// Distortion of the reference below this ratio matters to nobody: the floor of what is measured.
const REFERENCE_LEAST_RATIO: f64 = 1e-6;

/// What the reader has to know of the reference.
pub fn of_reference(request: &OpenRequest, has_reference: bool) -> Option<Note> {
    if !has_reference {
        return Some(warning(
            "no-reference",
            "there is no reference: what the interface adds is in the link's figures",
        ));
    }
    request.r#match.is_none().then(|| {
        info(
            "unmatched-paths",
            "the link's path and the reference's were never matched: distortion is told re the \
             fundamental, which unequal gains leave as it is",
        )
    })
}

/// A warning about some tones; none about none.
pub fn about(id: &str, tones: &[String], text: &str) -> Option<Note> {
    (!tones.is_empty()).then(|| warning(id, format!("{}: {text}", tones.join(", "))))
}

/// What is said of a reference that distorts too.
pub const REFERENCE_DISTORTS: &str = "the reference's own distortion is within 10 dB of the link's \
                                      or above it, so the difference leans on both paths \
                                      distorting alike: where they do not, it is off by up to \
                                      twice the reference's";

/// True where the reference distorts nearly as much as the link itself, and more than its noise.
pub fn reference_distorts(own: &NoisyPower, reference: &NoisyPower) -> bool {
    let matters = reference.stands() && reference.value > REFERENCE_LEAST_RATIO.powi(2);
    matters && REFERENCE_WITHIN * reference.value >= own.value
}
