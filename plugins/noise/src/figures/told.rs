//! What has to be known to read the figures rightly.

use goodwire_dsp::decibel::power_db;
use goodwire_dsp::spectrum::Line;
use goodwire_plugin_sdk::api::Note;
use goodwire_plugin_sdk::figures::{info, warning};

use super::{Context, FALSE_ALARMS, Returns};
use crate::hum::mains;
use crate::weighted::{UNSTEADY_DB, Weighted, Weighting};

/// What came up while the figures were made.
#[derive(Default)]
pub struct Told {
    /// Figures that the interface's own noise makes bounds.
    pub bounds: Vec<String>,
    /// Bands of the spectrum that are bounds, by their midband frequency.
    pub bound_bands_hz: Vec<f64>,
    /// True where a return held digital silence.
    pub silent: bool,
    /// True where the tone did not come through the link.
    pub tone_missing: bool,
    /// The link's lines.
    pub lines: Vec<Line>,
}

impl Told {
    /// All notes.
    pub fn notes(&self, context: &Context<'_>, returns: &Returns) -> Vec<Note> {
        let mut notes = self.of_paths(context, returns);
        notes.extend(self.of_bounds());
        notes.extend(self.of_lines(context.settings.mains_hz));
        notes.extend(of_steadiness(&returns.link, "link"));
        let reference = returns.reference.as_ref();
        notes.extend(reference.and_then(|of| of_steadiness(of, "reference")));
        notes.extend(of_tone_noise(&returns.link));
        if self.silent {
            notes.push(warning(
                "digital-silence",
                "a return holds nothing but zeros: whatever noise there is lies below its last \
                 bit, so it has no figures",
            ));
        }
        if self.tone_missing {
            notes.push(warning(
                "tone-missing",
                "the 997 Hz tone does not stand clear of the noise in the link's return, so there \
                 is no dynamic range: a gate may have closed on it",
            ));
        }
        notes
    }

    fn of_paths(&self, context: &Context<'_>, returns: &Returns) -> Vec<Note> {
        let request = context.request;
        let mut notes = Vec::new();
        if returns.reference.is_none() {
            notes.push(warning(
                "no-reference",
                "there is no reference: levels are those at the return, and what the interface \
                 adds is in them",
            ));
        } else if request.r#match.is_none() {
            notes.push(info(
                "unmatched-paths",
                "the link's path and the reference's were never matched: their own difference is \
                 in the levels",
            ));
        }
        if request.clip_point_dbfs.is_none() {
            notes.push(info(
                "no-clip-point",
                "the link's clip point was never measured (analysis level): dynamic range is told \
                 re 0 dBFS at the send",
            ));
        }
        notes
    }

    fn of_bounds(&self) -> Option<Note> {
        if self.bounds.is_empty() && self.bound_bands_hz.is_empty() {
            return None;
        }
        let mut names = self.bounds.clone();
        if let [first, .., last] | [first @ last] = self.bound_bands_hz[..] {
            let count = self.bound_bands_hz.len();
            names.push(format!(
                "{count} bands of noise_spectrum from {first:.0} to {last:.0} Hz"
            ));
        }
        Some(warning(
            "at-reference-noise",
            format!(
                "the reference's own noise is within 10 dB, so that these are upper bounds of the \
                 link's own (lower bounds of a dynamic range): {}",
                names.join(", ")
            ),
        ))
    }

    fn of_lines(&self, mains_hz: f64) -> Vec<Note> {
        if self.lines.is_empty() {
            return vec![info(
                "no-hum",
                format!(
                    "no line stands out of the noise from 20 Hz to 20 kHz (noise alone would show \
                     one in fewer than {:.0} of 10 000 measurements)",
                    FALSE_ALARMS * 1e4
                ),
            )];
        }
        let found = mains(&self.lines, mains_hz);
        let names = |mine: bool| {
            let is_member = |index| found.as_ref().is_some_and(|m| m.members.contains(&index));
            let lines = self.lines.iter().enumerate();
            let of_kind = lines.filter(|&(index, _)| is_member(index) == mine);
            let names: Vec<String> = of_kind
                .map(|(_, line)| format!("{:.1} Hz", line.frequency_hz))
                .collect();
            names.join(", ")
        };
        let mut notes = Vec::new();
        if let Some(mains) = &found {
            let text = format!(
                "mains of {:.2} Hz and its harmonics: {}",
                mains.frequency_hz,
                names(true)
            );
            notes.push(info("mains-hum", text));
        }
        let others = names(false);
        if !others.is_empty() {
            let text = format!("lines that are no harmonics of the mains: {others}");
            notes.push(info("other-lines", text));
        }
        notes
    }
}

fn of_steadiness(of: &Weighted, which: &str) -> Option<Note> {
    let steadiness = of.silence.steadiness;
    let text = if steadiness.above_db > UNSTEADY_DB {
        format!(
            "the {which}'s noise was at times {:.1} dB above its median (468-weighted, quarters of \
             a second): clicks, or somebody in the room",
            steadiness.above_db
        )
    } else if steadiness.below_db > UNSTEADY_DB {
        format!(
            "the {which}'s noise was at times {:.1} dB below its median (468-weighted, quarters of \
             a second): it mutes or closes when idle",
            steadiness.below_db
        )
    } else {
        return None;
    };
    Some(warning("unsteady-noise", text))
}

/// Tells of links whose noise goes with the signal: silence flatters them.
fn of_tone_noise(link: &Weighted) -> Option<Note> {
    let (_, rest) = link.tone.as_ref()?;
    let with_tone = Weighting::A.power(rest);
    let without = Weighting::A.power(&link.silence.spectrum);
    let clear = 5.0 * (with_tone.variance + without.variance).sqrt();
    let more_db = power_db(with_tone.value / without.value.max(f64::MIN_POSITIVE));
    if more_db < UNSTEADY_DB || with_tone.value - without.value < clear {
        return None;
    }
    Some(info(
        "noise-with-signal",
        format!(
            "beside a faint tone there is {more_db:.1} dB more noise and distortion (A) than in \
             silence: the link closes when idle, and only the dynamic range tells what is heard \
             with a signal"
        ),
    ))
}
