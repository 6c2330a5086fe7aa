//! The rules, one small function each.

use goodwire_proto::v1::Finding;

use super::{
    super::{
        interval::{Interval, Standing},
        place,
    },
    Evidence,
};

/// A gain that moved by less than this is left to its limits, in dB.
const GAIN_STEP_DB: f64 = 1.0;
/// A corner that moved by less than this part is left to its limits.
const CORNER_PART: f64 = 0.1;
/// A latency that moved by less than this is left to its limits, in ms.
const LATENCY_STEP_MS: f64 = 0.5;
/// A link whose latency stays within this between repeats does not resynchronise, in ms.
const JITTER_MS: f64 = 0.5;

fn found(id: &str, text: String) -> Option<Finding> {
    Some(Finding {
        id: id.to_owned(),
        text,
    })
}

/// The analyses end with `no-signal` where nothing of the stimulus came back.
pub(super) fn no_signal(evidence: &Evidence<'_>) -> Option<Finding> {
    let reason = evidence.measurement.reason.as_ref()?;
    if reason.id != "no-signal" {
        return None;
    }
    let text = "Nothing of the test sound came back: look whether transmitter and receiver are on \
                and on one channel, whether one of them is muted, and whether the cables from the \
                send and to the return are plugged where the configuration says.";
    found("nothing-at-the-return", text.to_owned())
}

/// A baseline of another setup is not compared with.
pub(super) fn other_setup(evidence: &Evidence<'_>) -> Option<Finding> {
    if evidence.setup_differences.is_empty() {
        return None;
    }
    let text = format!(
        "The link is set up otherwise than when its baseline was made ({}): put it back, or \
         measure a new baseline.",
        evidence.setup_differences.join(", ")
    );
    found("setup-changed", text)
}

/// A swap anywhere in the link shows as 180° at all frequencies, and as nothing else.
pub(super) fn polarity_swapped(evidence: &Evidence<'_>) -> Option<Finding> {
    let swapped = evidence.value("polarity")? < 0.0;
    let was_swapped = evidence.baseline.is_some_and(|baseline| {
        baseline
            .figures
            .iter()
            .any(|figure| figure.id == "polarity" && figure.value < Some(0.0))
    });
    if !swapped || was_swapped {
        return None;
    }
    let text = "The link turns the polarity over: look for a cable with its two signal wires \
                swapped, and for a polarity switch on transmitter, receiver or return.";
    found("polarity-swapped", text.to_owned())
}

/// What lies behind the point that clips does not move the clip point at the send. The reference
/// has a knob of its own, and its gain divides ours.
pub(super) fn return_knob(evidence: &Evidence<'_>) -> Option<Finding> {
    let moved_db = evidence.moved("gain", GAIN_STEP_DB);
    let wrong = || evidence.too_high("gain").or(evidence.too_low("gain"));
    let clip_point_is_wrong = evidence.moved("clip_point", GAIN_STEP_DB).is_some()
        || evidence.too_low("clip_point").is_some();
    if clip_point_is_wrong {
        return None;
    }
    let what = match (moved_db, wrong().and_then(|judgement| judgement.value)) {
        (Some(moved_db), _) if evidence.stayed("clip_point", GAIN_STEP_DB) => {
            format!("The gain has moved by {moved_db:+.1} dB while the clip point stayed")
        }
        (Some(moved_db), _) => format!("The gain has moved by {moved_db:+.1} dB"),
        (None, Some(gain_db)) => format!("The gain of {gain_db:+.1} dB is not what it should be"),
        (None, None) => return None,
    };
    let text = format!(
        "{what}: the first suspects are the input knobs of the link's return and of the \
         reference's, then the receiver's output level."
    );
    found("return-knob", text)
}

/// More gain before the point that clips brings the clip point down by as much as the gain goes up.
pub(super) fn transmitter_gain(evidence: &Evidence<'_>) -> Option<Finding> {
    let moved = evidence
        .moved("gain", GAIN_STEP_DB)
        .zip(evidence.moved("clip_point", GAIN_STEP_DB))
        .filter(|(gain_db, clip_db)| (gain_db + clip_db).abs() <= GAIN_STEP_DB);
    if let Some((gain_db, clip_db)) = moved {
        let text = format!(
            "Gain and clip point have moved against each other ({gain_db:+.1} dB and \
             {clip_db:+.1} dB): the transmitter's input gain or pad was changed."
        );
        return found("transmitter-gain", text);
    }
    let gain_db = evidence.too_high("gain")?.value?;
    let clip_dbfs = evidence.too_low("clip_point")?.value?;
    let text = format!(
        "The gain is {gain_db:+.1} dB and the link clips already at {clip_dbfs:.1} dBFS at the \
         send: the transmitter's input gain is set too high, or its pad is out."
    );
    found("transmitter-gain", text)
}

/// A clip point that is too low without too much gain.
pub(super) fn clips_early(evidence: &Evidence<'_>) -> Option<Finding> {
    if transmitter_gain(evidence).is_some() {
        return None;
    }
    let came_down = evidence
        .moved("clip_point", GAIN_STEP_DB)
        .is_some_and(|moved_db| moved_db < 0.0);
    if !came_down && evidence.too_low("clip_point").is_none() {
        return None;
    }
    let clip_dbfs = evidence.value("clip_point")?;
    let text = format!(
        "The link clips already at {clip_dbfs:.1} dBFS at the send: lower the transmitter's input \
         gain or switch its pad in; where the batteries are low, change them."
    );
    found("clips-early", text)
}

/// The distortion that breaks its limit, and the reference's at the same place, in %.
fn distortion(evidence: &Evidence<'_>) -> Option<(f64, Option<f64>)> {
    let wrong = evidence.too_high("thd")?;
    let reference = evidence.measurement.figures.iter().find(|figure| {
        figure.id == "reference_thd" && place::same_place(figure.at.as_ref(), wrong.at.as_ref())
    });
    Some((wrong.value?, reference.and_then(|figure| figure.value)))
}

/// A cable has no distortion of its own.
pub(super) fn reference_distorts(evidence: &Evidence<'_>) -> Option<Finding> {
    let (link_percent, reference_percent) = distortion(evidence)?;
    reference_percent.filter(|reference_percent| *reference_percent >= link_percent)?;
    let text = "The cable beside the link shows as much distortion as the link: it comes from the \
                interface, so lower the level or the input knobs before blaming the link.";
    found("reference-distorts", text.to_owned())
}

/// What the cable does not show is the link's own.
pub(super) fn link_distorts(evidence: &Evidence<'_>) -> Option<Finding> {
    let (link_percent, reference_percent) = distortion(evidence)?;
    let reference_percent = reference_percent.filter(|percent| *percent < link_percent)?;
    let text = format!(
        "The link distorts ({link_percent:.2} %) and the cable beside it does not \
         ({reference_percent:.2} %): it is driven too hard, so lower the transmitter's input \
         gain; `level` tells where the link clips."
    );
    found("link-distorts", text)
}

/// Digital links have a mode with a lower rate; a low-pass leaves the rest as it was.
pub(super) fn high_end_lost(evidence: &Evidence<'_>) -> Option<Finding> {
    let corner_hz = evidence.value("corner_high")?;
    let step_hz =
        CORNER_PART * (corner_hz - evidence.change("corner_high").map_or(0.0, |c| c.value));
    let moved = evidence
        .moved("corner_high", step_hz)
        .is_some_and(|moved_hz| moved_hz < 0.0);
    if !moved && evidence.too_low("corner_high").is_none() {
        return None;
    }
    let text = format!(
        "The high end is lost above {corner_hz:.0} Hz: look whether the link has fallen back to a \
         mode for speech or long range, and whether a high cut is switched in."
    );
    found("high-end-lost", text)
}

/// Most transmitters have a low-cut switch.
pub(super) fn low_end_lost(evidence: &Evidence<'_>) -> Option<Finding> {
    let corner_hz = evidence.value("corner_low")?;
    let step_hz =
        CORNER_PART * (corner_hz - evidence.change("corner_low").map_or(0.0, |c| c.value));
    let moved = evidence
        .moved("corner_low", step_hz)
        .is_some_and(|moved_hz| moved_hz > 0.0);
    if !moved && evidence.too_high("corner_low").is_none() {
        return None;
    }
    let text = format!(
        "The low end is lost below {corner_hz:.0} Hz: look for a low-cut switch on the \
         transmitter or receiver."
    );
    found("low-end-lost", text)
}

/// The delay of a digital link belongs to its mode.
pub(super) fn latency_moved(evidence: &Evidence<'_>) -> Option<Finding> {
    let moved_ms = evidence.moved("latency", LATENCY_STEP_MS)?;
    let text = format!(
        "The latency has moved by {moved_ms:+.2} ms: the link runs in another mode, or something \
         that delays was put into its way."
    );
    found("latency-moved", text)
}

/// A delay that differs from repeat to repeat was set anew between them.
pub(super) fn resynchronises(evidence: &Evidence<'_>) -> Option<Finding> {
    let jitter = Interval::of(evidence.figure("jitter")?)?;
    if jitter.against(None, Some(JITTER_MS)) != Standing::Outside {
        return None;
    }
    let text = format!(
        "The latency differs by {:.2} ms between repeats: the link finds its time anew while it \
         runs; look at distance, aerials and busy radio channels.",
        jitter.value
    );
    found("resynchronises", text)
}
