//! From the readings to the figures.

use goodwire_dsp::tone::{NoisyPower, RelativeHarmonics};
use goodwire_plugin_sdk::Failure;
use goodwire_plugin_sdk::api::{Figure, Note};
use goodwire_plugin_sdk::figures::{Located, figure, info};
use goodwire_plugin_sdk::payload::{OpenRequest, SessionResult};

use super::TestTone;
use super::reading::{Reading, order_max};
use super::remarks::Remarks;
use crate::common_notes;
use crate::settings::Settings;
use crate::shown::{Own, level, of_reference, percent};

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
            figures.extend(heard_figures(link, counted));
            remarks.below_noise(&tone, &link.harmonics, shown);
        }
        (Some(link), Some(reference)) => {
            let own = link.harmonics.minus(&reference.harmonics);
            remarks.below_noise(&tone, &own, shown);
            let own = OwnHarmonics::beside(&own, &reference.harmonics, counted);
            if own.is_bound() {
                remarks.reference_distorts.push(tone);
            }
            figures.extend(figures_of(link, &own));
        }
    }
    if let Some(reference) = reference {
        figures.extend(of_reference(heard_figures(reference, counted)));
    }
    let at = |figure: Figure| {
        figure
            .at("frequency_hz", pair.tone.freq_hz)
            .at("level_dbfs", settings.level_dbfs)
    };
    figures.into_iter().map(at).collect()
}

/// What a tone's harmonics are worth: all of them together and each by itself.
struct OwnHarmonics {
    /// Absent where none lies below the bandwidth.
    total: Option<Own>,
    /// By order, from 2 on.
    orders: Vec<Own>,
}

impl OwnHarmonics {
    /// Those of a return as they were heard.
    fn heard(harmonics: &RelativeHarmonics, counted: usize) -> Self {
        Self {
            total: (counted >= 2).then(|| Own::sure(harmonics.thd_power(counted))),
            orders: shown_powers(harmonics, counted).map(Own::sure).collect(),
        }
    }

    /// Those of a link, from which a reference's were subtracted.
    fn beside(own: &RelativeHarmonics, reference: &RelativeHarmonics, counted: usize) -> Self {
        let total = || Own::beside(own.thd_power(counted), &reference.thd_power(counted));
        let pairs = shown_powers(own, counted).zip(shown_powers(reference, counted));
        Self {
            total: (counted >= 2).then(total),
            orders: pairs.map(|(own, of)| Own::beside(own, &of)).collect(),
        }
    }

    /// True where the reference makes a bound of one of them.
    fn is_bound(&self) -> bool {
        self.total.iter().chain(&self.orders).any(Own::is_bound)
    }
}

/// Powers of the harmonics that have a figure of their own.
fn shown_powers(harmonics: &RelativeHarmonics, counted: usize) -> impl Iterator<Item = NoisyPower> {
    let shown = 2..=counted.min(ORDER_SHOWN_MAX);
    shown.map_while(|order| harmonics.power(order))
}

/// The figures of one return as it was heard.
fn heard_figures(reading: &Reading, counted: usize) -> Vec<Figure> {
    figures_of(reading, &OwnHarmonics::heard(&reading.harmonics, counted))
}

/// `thd`, `thd_n` and `h2` to `h5` of one return.
fn figures_of(reading: &Reading, own: &OwnHarmonics) -> Vec<Figure> {
    let mut figures: Vec<Figure> = own.total.iter().map(|own| percent("thd", own)).collect();
    let thd_n = reading.thd_n_ratio;
    figures.push(figure(
        "thd_n",
        100.0 * thd_n.value,
        100.0 * thd_n.uncertainty,
        "%",
    ));
    let orders = own.orders.iter().zip(2..);
    figures.extend(orders.map(|(own, order)| level(&format!("h{order}"), own)));
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
