//! From the readings to the figures.

use goodwire_dsp::tone::RelativeHarmonics;
use goodwire_plugin_sdk::Failure;
use goodwire_plugin_sdk::api::{Figure, Note};
use goodwire_plugin_sdk::figures::{Located, figure, info};
use goodwire_plugin_sdk::payload::{OpenRequest, SessionResult};

use super::TestTone;
use super::reading::{Reading, order_max};
use super::remarks::Remarks;
use crate::common_notes::{self, reference_distorts};
use crate::settings::Settings;
use crate::shown::{level, of_reference, percent};

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
    let mut notes: Vec<Note> = Vec::new();
    notes.extend(common_notes::of_reference(request, has_reference));
    notes.extend(shifted(pairs));
    notes.extend(remarks.notes());
    Ok(SessionResult {
        figures,
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
    let shown = counted.min(ORDER_SHOWN_MAX);
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
            remarks.below_noise(&tone, &link.harmonics, shown);
        }
        (Some(link), Some(reference)) => {
            let own = link.harmonics.minus(&reference.harmonics);
            figures.extend(link_figures(link, &own, counted));
            remarks.below_noise(&tone, &own, shown);
            let powers = [&own, &reference.harmonics].map(|of| of.thd_power(counted));
            if reference_distorts(&powers[0], &powers[1]) {
                remarks.reference_distorts.push(tone);
            }
        }
    }
    if let Some(reference) = reference {
        let named = link_figures(reference, &reference.harmonics, counted);
        figures.extend(of_reference(named));
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
    let mut figures = Vec::new();
    if counted >= 2 {
        figures.push(percent("thd", &own.thd_power(counted)));
    }
    let thd_n = reading.thd_n_ratio;
    figures.push(figure(
        "thd_n",
        100.0 * thd_n.value,
        100.0 * thd_n.uncertainty,
        "%",
    ));
    let shown = 2..=counted.min(ORDER_SHOWN_MAX);
    figures.extend(shown.filter_map(|order| Some(level(&format!("h{order}"), &own.power(order)?))));
    figures
}

/// Tells of tones that were played beside the frequency that was asked for.
fn shifted(pairs: &[Pair]) -> Option<Note> {
    let shifted: Vec<String> = (pairs.iter().map(|pair| pair.tone))
        .filter(|tone| tone.played_hz != tone.freq_hz)
        .map(|tone| format!("{} Hz as {} Hz", tone.freq_hz, tone.played_hz))
        .collect();
    (!shifted.is_empty()).then(|| {
        info(
            "frequency-shifted",
            format!(
                "played were {}, so that harmonics that fold at the sample rate fall beside those \
                 that are measured",
                shifted.join(", ")
            ),
        )
    })
}
