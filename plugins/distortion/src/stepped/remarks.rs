//! What has to be said of some of the tones.

use goodwire_dsp::tone::RelativeHarmonics;
use goodwire_plugin_sdk::api::Note;

use crate::common_notes::{REFERENCE_DISTORTS, about};

/// Tones that something has to be said of, in words for the notes.
#[derive(Default)]
pub struct Remarks {
    pub missing: Vec<String>,
    pub clipped: Vec<String>,
    pub reference_missing: Vec<String>,
    pub reference_distorts: Vec<String>,
    pub disturbed: Vec<String>,
    pub no_harmonics: Vec<String>,
    below_noise: Vec<String>,
}

impl Remarks {
    /// Remembers which of the harmonics of a tone up to `order_max` do not stand clear of the noise.
    pub fn below_noise(&mut self, tone: &str, own: &RelativeHarmonics, order_max: usize) {
        let buried: Vec<String> = (2..=order_max)
            .filter(|&order| own.power(order).is_some_and(|power| !power.stands()))
            .map(|order| format!("h{order}"))
            .collect();
        if !buried.is_empty() {
            let buried = buried.join(" ");
            self.below_noise.push(format!("{buried} of {tone}"));
        }
    }

    /// A note for each kind of remark that was made.
    pub fn notes(self) -> impl Iterator<Item = Note> {
        [
            about(
                "tone-missing",
                &self.missing,
                "the tone does not stand clear of the noise in the link's return, so it has no \
                 figures",
            ),
            about(
                "return-clipped",
                &self.clipped,
                "the link's return is at its own full scale, so the tone has no figures: lower \
                 level_dbfs or turn the return's gain down",
            ),
            about(
                "reference-missing",
                &self.reference_missing,
                "the reference's return does not hold the tone clear of the noise and whole, so \
                 the link's figures hold what the interface adds",
            ),
            about(
                "reference-distorts",
                &self.reference_distorts,
                REFERENCE_DISTORTS,
            ),
            about(
                "disturbed-tones",
                &self.disturbed,
                "something that came and went was heard beside the tone, as of a dropout or a \
                 click, and is in its figures",
            ),
            about(
                "h-below-noise",
                &self.below_noise,
                "the harmonic does not stand clear of the noise by two standard deviations of its \
                 power, so its figure is an upper bound that holds in 97.5 % of cases",
            ),
            about(
                "no-harmonics",
                &self.no_harmonics,
                "no harmonic lies below bandwidth_hz, so there is thd_n alone",
            ),
        ]
        .into_iter()
        .flatten()
    }
}
