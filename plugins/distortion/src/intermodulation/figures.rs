//! From the products to the figures.

use goodwire_dsp::tone::{NoisyPower, Sequence};
use goodwire_plugin_sdk::Failure;
use goodwire_plugin_sdk::api::{Figure, Note};
use goodwire_plugin_sdk::figures::{Located, info, warning};
use goodwire_plugin_sdk::payload::SessionResult;

use super::ladder::{CORNER_SHARE, Ladder};
use super::reading::{Found, Reading};
use crate::common_notes::{self, REFERENCE_DISTORTS, about};
use crate::playing::Returns;
use crate::settings::Settings;
use crate::shown::{Own, of_reference, percent};

/// Pairs that something has to be said of, in words for the notes.
#[derive(Default)]
struct Remarks {
    no_pair: Vec<String>,
    lowered: Vec<String>,
    missing: Vec<String>,
    clipped: Vec<String>,
    reference_missing: Vec<String>,
    reference_distorts: Vec<String>,
    below_noise: Vec<String>,
}

/// The result of a measurement.
///
/// # Errors
/// `no-signal` where no pair stands clear of the noise, `clipped` where all are cut by the return.
pub fn result<'a>(
    found: impl Iterator<Item = (&'a Ladder, Option<Found>)>,
    settings: &Settings,
    returns: &Returns<'_, Sequence>,
) -> Result<SessionResult, Failure> {
    let (mut figures, mut remarks) = (Vec::new(), Remarks::default());
    for (ladder, found) in found {
        let of_ladder = remarks.figures(ladder, found, returns.has_reference());
        figures.extend(of_ladder.into_iter().map(|figure| {
            figure
                .at("frequency_hz", ladder.asked_hz[1])
                .at("with_hz", ladder.asked_hz[0])
                .at("level_dbfs", settings.level_dbfs)
        }));
    }
    if figures.is_empty() {
        return Err(remarks.nothing_heard());
    }
    let mut notes: Vec<Note> = Vec::new();
    notes.extend(common_notes::of_reference(
        returns.request,
        returns.has_reference(),
    ));
    notes.extend(remarks.notes());
    Ok(SessionResult {
        figures,
        notes,
        ..SessionResult::default()
    })
}

impl Remarks {
    /// The figures of one kind of pairs, if any, with what has to be said of them.
    fn figures(
        &mut self,
        ladder: &Ladder,
        found: Option<Found>,
        has_reference: bool,
    ) -> Vec<Figure> {
        let id = ladder.kind.id();
        let Some(found) = found else {
            self.no_pair.push(id.to_owned());
            return Vec::new();
        };
        self.note_lowered(ladder, &found);
        let heard = match found.link {
            Reading::Missing => {
                self.missing.push(id.to_owned());
                return Vec::new();
            }
            Reading::Cut => {
                self.clipped.push(id.to_owned());
                return Vec::new();
            }
            Reading::Products(products) => products,
        };
        let Some(Reading::Products(reference)) = found.reference else {
            if has_reference {
                self.reference_missing.push(id.to_owned());
            }
            let power = heard.power();
            self.note_buried(id, &power);
            return vec![percent(id, &Own::sure(power))];
        };
        let (power, reference) = (heard.minus(&reference).power(), reference.power());
        self.note_buried(id, &power);
        let own = Own::beside(power, &reference);
        if own.is_bound() {
            self.reference_distorts.push(id.to_owned());
        }
        let mut figures = vec![percent(id, &own)];
        figures.extend(of_reference(vec![percent(id, &Own::sure(reference))]));
        figures
    }

    fn note_buried(&mut self, id: &str, power: &NoisyPower) {
        if !power.stands() {
            self.below_noise.push(id.to_owned());
        }
    }

    fn note_lowered(&mut self, ladder: &Ladder, found: &Found) {
        let used_hz = [found.pair.low_hz, found.pair.high_hz];
        if used_hz != ladder.asked_hz {
            let [low, high] = used_hz;
            let [asked_low, asked_high] = ladder.asked_hz;
            self.lowered.push(format!(
                "{} with {low:.0} and {high:.0} Hz instead of {asked_low} and {asked_high} Hz",
                ladder.kind.id()
            ));
        }
    }

    /// Why there is no figure at all.
    fn nothing_heard(&self) -> Failure {
        if !self.clipped.is_empty() {
            return Failure::new(
                "clipped",
                "the link's return is at its own full scale: lower level_dbfs, or turn the \
                 return's gain down",
            );
        }
        Failure::new(
            "no-signal",
            "no pair of tones stands clear of the noise in the link's return: raise level_dbfs, or \
             check that the link is on",
        )
    }

    fn notes(self) -> impl Iterator<Item = Note> {
        let lowered = (!self.lowered.is_empty()).then(|| {
            info(
                "tones-lowered",
                format!(
                    "{}: tones keep below {CORNER_SHARE} of the link's upper corner and of what \
                     the sample rate carries, and off what folds",
                    self.lowered.join(", ")
                ),
            )
        });
        let no_pair = (!self.no_pair.is_empty()).then(|| {
            warning(
                "no-pair",
                format!(
                    "{}: the link's upper corner lies too low for any pair of tones",
                    self.no_pair.join(", ")
                ),
            )
        });
        [
            lowered,
            no_pair,
            about(
                "tone-missing",
                &self.missing,
                "a tone does not stand clear of the noise in the link's return, so there is no \
                 figure",
            ),
            about(
                "return-clipped",
                &self.clipped,
                "the link's return is at its own full scale, so there is no figure: lower \
                 level_dbfs or turn the return's gain down",
            ),
            about(
                "reference-missing",
                &self.reference_missing,
                "the reference's return does not hold the tones clear of the noise and whole, so \
                 the link's figure holds what the interface adds",
            ),
            about(
                "reference-distorts",
                &self.reference_distorts,
                REFERENCE_DISTORTS,
            ),
            about(
                "imd-below-noise",
                &self.below_noise,
                "the products do not stand clear of the noise by two standard deviations of their \
                 power: their upper bound is the figure's high",
            ),
        ]
        .into_iter()
        .flatten()
    }
}
