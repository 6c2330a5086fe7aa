//! The likely causes of what is wrong, each in a sentence with what to do about it.
//!
//! A rule looks at a measurement with its verdict, and at the baseline where there is one, and
//! says what it sees or nothing. The causes are common practice of the trade, no source; what
//! each rule relies on stands beside it.

use goodwire_proto::v1::{Figure, Finding, Measurement, measurement::State, verdict::Outcome};

use super::{
    drift::setup_differences,
    interval::{Interval, Standing},
    place,
};

/// What the rules look at.
struct Evidence<'a> {
    measurement: &'a Measurement,
    /// The baseline, where it was made with the same setup.
    baseline: Option<&'a Measurement>,
    /// Setup keys that differ from the baseline's.
    setup_differences: Vec<String>,
}

type Rule = fn(&Evidence<'_>) -> Option<Finding>;

const RULES: [Rule; 11] = [
    no_signal,
    other_setup,
    polarity_swapped,
    return_knob,
    transmitter_gain,
    clips_early,
    reference_distorts,
    high_end_lost,
    low_end_lost,
    latency_moved,
    resynchronises,
];

/// A gain that moved by less than this is left to its limits, in dB.
const GAIN_STEP_DB: f64 = 1.0;
/// A corner that moved by less than this part is left to its limits.
const CORNER_PART: f64 = 0.1;
/// A latency that moved by less than this is left to its limits, in ms.
const LATENCY_STEP_MS: f64 = 0.5;
/// A link whose latency stays within this between repeats does not resynchronise, in ms.
const JITTER_MS: f64 = 0.5;

/// Says what is likely wrong, and what to do about it. `measurement` has ended and been judged;
/// `baseline` is the one of its link and analysis, where one is set.
#[must_use]
pub fn findings(measurement: &Measurement, baseline: Option<&Measurement>) -> Vec<Finding> {
    if measurement.is_match {
        return Vec::new();
    }
    let baseline = baseline.filter(|baseline| baseline.name != measurement.name);
    let setup_differences = baseline
        .map(|baseline| setup_differences([measurement, baseline]))
        .unwrap_or_default();
    let baseline = baseline.filter(|_| setup_differences.is_empty());
    let evidence = Evidence {
        measurement,
        baseline,
        setup_differences,
    };
    RULES.iter().filter_map(|rule| rule(&evidence)).collect()
}

impl<'a> Evidence<'a> {
    fn figure(&self, id: &str) -> Option<&'a Figure> {
        let succeeded = self.measurement.state() == State::Succeeded;
        self.measurement
            .figures
            .iter()
            .find(|figure| succeeded && figure.id == id)
    }

    fn value(&self, id: &str) -> Option<f64> {
        self.figure(id).and_then(|figure| figure.value)
    }

    /// The change of a figure from the baseline's.
    fn change(&self, id: &str) -> Option<Interval> {
        let figure = self.figure(id)?;
        let before = place::counterpart(figure, &self.baseline?.figures)?;
        Some(Interval::of(figure)?.change_from(&Interval::of(before)?))
    }

    /// The change of a figure, where it is beyond ± `step` with all its uncertainty.
    fn moved(&self, id: &str, step: f64) -> Option<f64> {
        let change = self.change(id)?;
        let beyond = change.against(Some(-step), Some(step)) == Standing::Outside;
        beyond.then_some(change.value)
    }

    /// True where the figure is within ± `step` of the baseline's, its uncertainty left aside.
    fn stayed(&self, id: &str, step: f64) -> bool {
        self.change(id)
            .is_some_and(|change| change.value.abs() <= step)
    }

    /// The value of the first figure of that id that breaks a limit on the side that `is_side`
    /// tells from value, min and max.
    fn fails(&self, id: &str, is_side: fn(f64, Option<f64>, Option<f64>) -> bool) -> Option<f64> {
        let verdict = self.measurement.verdict.as_ref()?;
        verdict
            .judgements
            .iter()
            .filter(|judgement| judgement.figure == id && judgement.outcome() == Outcome::Fail)
            .filter_map(|judgement| Some((judgement.value?, judgement.min, judgement.max)))
            .find(|&(value, min, max)| is_side(value, min, max))
            .map(|(value, _, _)| value)
    }

    fn too_low(&self, id: &str) -> Option<f64> {
        self.fails(id, |value, min, _| min.is_some_and(|min| value < min))
    }

    fn too_high(&self, id: &str) -> Option<f64> {
        self.fails(id, |value, _, max| max.is_some_and(|max| value > max))
    }
}

fn found(id: &str, text: String) -> Option<Finding> {
    Some(Finding {
        id: id.to_owned(),
        text,
    })
}

/// The analyses end with `no-signal` where nothing of the stimulus came back.
fn no_signal(evidence: &Evidence<'_>) -> Option<Finding> {
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
fn other_setup(evidence: &Evidence<'_>) -> Option<Finding> {
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
fn polarity_swapped(evidence: &Evidence<'_>) -> Option<Finding> {
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

/// The link clips before its receiver's output: what lies behind does not move the clip point at
/// the send. The reference has a knob of its own, and its gain divides ours.
fn return_knob(evidence: &Evidence<'_>) -> Option<Finding> {
    let gain_db = evidence.moved("gain", GAIN_STEP_DB)?;
    if evidence.moved("clip_point", GAIN_STEP_DB).is_some() {
        return None;
    }
    let stayed = evidence.stayed("clip_point", GAIN_STEP_DB);
    let because = if stayed {
        " while its clip point stayed"
    } else {
        ""
    };
    let text = format!(
        "The gain has moved by {gain_db:+.1} dB{because}: the first suspects are the input knobs \
         of the link's return and of the reference's, then the receiver's output level."
    );
    found("return-knob", text)
}

/// More gain before the point that clips brings the clip point down by as much as the gain goes up.
fn transmitter_gain(evidence: &Evidence<'_>) -> Option<Finding> {
    let gain_db = evidence.moved("gain", GAIN_STEP_DB)?;
    let clip_db = evidence.moved("clip_point", GAIN_STEP_DB)?;
    if (gain_db + clip_db).abs() > GAIN_STEP_DB {
        return None;
    }
    let text = format!(
        "Gain and clip point have moved against each other ({gain_db:+.1} dB and {clip_db:+.1} \
         dB): the transmitter's input gain or pad was changed."
    );
    found("transmitter-gain", text)
}

/// A clip point that came down without the gain going up.
fn clips_early(evidence: &Evidence<'_>) -> Option<Finding> {
    let moved = evidence
        .moved("clip_point", GAIN_STEP_DB)
        .filter(|_| evidence.stayed("gain", GAIN_STEP_DB));
    let clip_dbfs = evidence.too_low("clip_point").or_else(|| {
        moved
            .filter(|moved_db| *moved_db < 0.0)
            .and_then(|_| evidence.value("clip_point"))
    })?;
    let text = format!(
        "The link clips already at {clip_dbfs:.1} dBFS at the send: lower the transmitter's input \
         gain or switch its pad in; where the batteries are low, change them."
    );
    found("clips-early", text)
}

/// The cable beside the link has no distortion of its own.
fn reference_distorts(evidence: &Evidence<'_>) -> Option<Finding> {
    let link = evidence.figure("thd")?;
    let reference = evidence.measurement.figures.iter().find(|figure| {
        figure.id == "reference_thd" && place::same_place(figure.at.as_ref(), link.at.as_ref())
    })?;
    evidence.too_high("thd")?;
    if reference.value? < link.value? {
        return None;
    }
    let text = "The cable beside the link shows as much distortion as the link: it comes from the \
                interface, so lower the level or the input knobs before blaming the link.";
    found("reference-distorts", text.to_owned())
}

/// Digital links have a mode with a lower rate; a low-pass leaves the rest as it was.
fn high_end_lost(evidence: &Evidence<'_>) -> Option<Finding> {
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
fn low_end_lost(evidence: &Evidence<'_>) -> Option<Finding> {
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
fn latency_moved(evidence: &Evidence<'_>) -> Option<Finding> {
    let moved_ms = evidence.moved("latency", LATENCY_STEP_MS)?;
    let text = format!(
        "The latency has moved by {moved_ms:+.2} ms: the link runs in another mode, or something \
         that delays was put into its way."
    );
    found("latency-moved", text)
}

/// A delay that differs from repeat to repeat was set anew between them.
fn resynchronises(evidence: &Evidence<'_>) -> Option<Finding> {
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
