//! From the readings to the figures.

use goodwire_dsp::tone::{Estimate, RelativeHarmonics};
use goodwire_plugin_sdk::Failure;
use goodwire_plugin_sdk::api::{Figure, Note};
use goodwire_plugin_sdk::figures::{Located, figure, info, warning};
use goodwire_plugin_sdk::payload::{OpenRequest, SessionResult};

use crate::reading::{Reading, order_max};
use crate::settings::{Settings, TestTone};

/// A reference whose distortion is within this of the link's own, in dB, is told of.
const REFERENCE_WITHIN_DB: f64 = 10.0;

/// Distortion of the reference below this ratio matters to nobody: the floor of what is measured.
const REFERENCE_LEAST_RATIO: f64 = 1e-6;

/// Highest order that has a figure of its own.
const ORDER_SHOWN_MAX: usize = 5;

/// One tone at both returns; absent where it does not stand clear of the noise.
pub struct Pair {
    /// The tone.
    pub tone: TestTone,
    /// The link's return.
    pub link: Option<Reading>,
    /// The reference's return; also absent where there is no reference.
    pub reference: Option<Reading>,
}

/// Tones that something has to be said of, in words for the notes.
#[derive(Default)]
struct Remarks {
    missing: Vec<String>,
    clipped: Vec<String>,
    reference_missing: Vec<String>,
    reference_distorts: Vec<String>,
    below_noise: Vec<String>,
    disturbed: Vec<String>,
    no_harmonics: Vec<String>,
}

/// The result of a measurement.
///
/// # Errors
/// `no-signal` where no tone stands clear of the noise, `clipped` where all are cut by the return.
pub fn result(
    pairs: &[Pair],
    settings: &Settings,
    request: &OpenRequest,
    has_reference: bool,
) -> Result<SessionResult, Failure> {
    let heard = |pair: &Pair| pair.link.as_ref().is_some_and(|link| !link.cut);
    if !pairs.iter().any(heard) {
        return Err(nothing_heard(pairs));
    }
    let (mut figures, mut remarks) = (Vec::new(), Remarks::default());
    for pair in pairs {
        figures.extend(tone_figures(pair, settings, has_reference, &mut remarks));
    }
    let mut notes = notes(settings, request, has_reference);
    notes.extend(remarks.notes());
    Ok(SessionResult {
        figures,
        curves: Vec::new(),
        notes,
        ..SessionResult::default()
    })
}

/// Why no tone has figures.
fn nothing_heard(pairs: &[Pair]) -> Failure {
    if pairs.iter().any(|pair| pair.link.is_some()) {
        return Failure::new(
            "clipped",
            "the link's return is at its own full scale with every tone: lower level_dbfs, or turn \
             the return's gain down",
        );
    }
    Failure::new(
        "no-signal",
        "none of the tones stands clear of the noise in the link's return: raise level_dbfs, or \
         check that the link is on",
    )
}

/// The figures of one tone.
fn tone_figures(
    pair: &Pair,
    settings: &Settings,
    has_reference: bool,
    remarks: &mut Remarks,
) -> Vec<Figure> {
    let tone = format!("{} Hz", pair.tone.freq_hz);
    let counted = order_max(pair.tone.freq_hz, settings.bandwidth_hz);
    let mut figures = Vec::new();
    if counted < 2 {
        remarks.no_harmonics.push(tone.clone());
    }
    if pair.link.as_ref().is_some_and(|link| link.disturbed) {
        remarks.disturbed.push(tone.clone());
    }
    let reference = pair.reference.as_ref().filter(|reference| !reference.cut);
    match (&pair.link, reference) {
        (None, _) => remarks.missing.push(tone.clone()),
        (Some(link), _) if link.cut => remarks.clipped.push(tone.clone()),
        (Some(link), None) => {
            if has_reference {
                remarks.reference_missing.push(tone.clone());
            }
            figures.extend(link_figures(link, &link.harmonics, counted));
            remarks.below_noise(&tone, &link.harmonics, counted);
        }
        (Some(link), Some(reference)) => {
            let own = link.harmonics.minus(&reference.harmonics);
            figures.extend(link_figures(link, &own, counted));
            remarks.below_noise(&tone, &own, counted);
            if reference_distorts(&own, &reference.harmonics, counted) {
                remarks.reference_distorts.push(tone);
            }
        }
    }
    if let Some(reference) = reference {
        let named = link_figures(reference, &reference.harmonics, counted);
        figures.extend(named.into_iter().map(|mut figure| {
            figure.id.insert_str(0, "reference_");
            figure
        }));
    }
    let at = |figure: Figure| {
        figure
            .at("frequency_hz", pair.tone.freq_hz)
            .at("level_dbfs", settings.level_dbfs)
    };
    figures.into_iter().map(at).collect()
}

/// `thd`, `thd_n` and `h2` to `h5` of one return, harmonics from `own`.
fn link_figures(reading: &Reading, own: &RelativeHarmonics, counted: usize) -> Vec<Figure> {
    let percent =
        |id: &str, ratio: Estimate| figure(id, 100.0 * ratio.value, 100.0 * ratio.uncertainty, "%");
    let mut figures = Vec::new();
    if counted >= 2 {
        figures.push(percent("thd", own.thd_ratio(counted)));
    }
    figures.push(percent("thd_n", reading.thd_n_ratio));
    for order in 2..=counted.min(ORDER_SHOWN_MAX) {
        if let Some(found) = own.level_db(order) {
            let level = found.level_db;
            let id = format!("h{order}");
            figures.push(figure(&id, level.value, level.uncertainty, "dB"));
        }
    }
    figures
}

/// True where the reference distorts nearly as much as the link itself, and more than its noise.
fn reference_distorts(
    own: &RelativeHarmonics,
    reference: &RelativeHarmonics,
    counted: usize,
) -> bool {
    let (own, reference) = (own.thd_ratio(counted), reference.thd_ratio(counted));
    let within = 10f64.powf(REFERENCE_WITHIN_DB / 20.0);
    let stands = reference.value > REFERENCE_LEAST_RATIO.max(2.0 * reference.uncertainty);
    stands && reference.value * within >= own.value
}

impl Remarks {
    /// Remembers harmonics of a tone that do not stand clear of the noise.
    fn below_noise(&mut self, tone: &str, own: &RelativeHarmonics, counted: usize) {
        let buried: Vec<String> = (2..=counted.min(ORDER_SHOWN_MAX))
            .filter(|&order| own.level_db(order).is_some_and(|found| !found.stands))
            .map(|order| format!("h{order}"))
            .collect();
        if !buried.is_empty() {
            let buried = buried.join(" ");
            self.below_noise.push(format!("{buried} of {tone}"));
        }
    }

    /// A note for each kind of remark that was made.
    fn notes(self) -> Vec<Note> {
        let mut notes = Vec::new();
        let mut warn = |id: &str, tones: &[String], text: &str| {
            if !tones.is_empty() {
                notes.push(warning(id, format!("{}: {text}", tones.join(", "))));
            }
        };
        warn(
            "tone-missing",
            &self.missing,
            "the tone does not stand clear of the noise in the link's return, so it has no figures",
        );
        warn(
            "return-clipped",
            &self.clipped,
            "the link's return is at its own full scale, so the tone has no figures: lower \
             level_dbfs or turn the return's gain down",
        );
        warn(
            "reference-missing",
            &self.reference_missing,
            "the reference's return does not hold the tone clear of the noise and whole, so the \
             link's figures hold what the interface adds",
        );
        warn(
            "reference-distorts",
            &self.reference_distorts,
            "the reference's own distortion is within 10 dB of the link's or above it, so the \
             difference leans on both paths distorting alike",
        );
        warn(
            "disturbed-tones",
            &self.disturbed,
            "something that came and went was heard beside the tone, as of a dropout or a click, and \
             is in its figures",
        );
        warn(
            "h-below-noise",
            &self.below_noise,
            "the harmonic does not stand clear of the noise by two uncertainties, so its figure is \
             an upper bound",
        );
        warn(
            "no-harmonics",
            &self.no_harmonics,
            "no harmonic lies below bandwidth_hz, so there is thd_n alone",
        );
        notes
    }
}

/// What the reader has to know of the whole.
fn notes(settings: &Settings, request: &OpenRequest, has_reference: bool) -> Vec<Note> {
    let mut notes = Vec::new();
    if !has_reference {
        notes.push(warning(
            "no-reference",
            "there is no reference: what the interface adds is in the link's figures",
        ));
    } else if request.r#match.is_none() {
        notes.push(info(
            "unmatched-paths",
            "the link's path and the reference's were never matched: distortion is told re the \
             fundamental, which unequal gains leave as it is",
        ));
    }
    let shifted: Vec<String> = (settings.tones.iter())
        .filter(|tone| tone.played_hz != tone.freq_hz)
        .map(|tone| format!("{} Hz as {} Hz", tone.freq_hz, tone.played_hz))
        .collect();
    if !shifted.is_empty() {
        notes.push(info(
            "frequency-shifted",
            format!(
                "played were {}, so that harmonics that fold at the sample rate fall beside those \
                 that are measured",
                shifted.join(", ")
            ),
        ));
    }
    notes
}
