//! Links that wake late: their bass is played first, and reads low.
//!
//! Two things tell of it. The first of several repeats reads lower in the bass than the last one.
//! Or the link slept through some of the wake-up noise and its bass reads low: then it is measured
//! again from the top down, so that it has been awake for longest where the bass is. Each
//! frequency is believed of the sweeps that came to it latest. Own design.

use std::ops::Range;

use goodwire_dsp::align::Alignment;
use goodwire_dsp::decibel::{amplitude, db, power_db};
use goodwire_dsp::response::{Averaged, Compared, SweepResponse, compare, splice};
use goodwire_plugin_sdk::api::Note;
use goodwire_plugin_sdk::figures::{info, warning};
use goodwire_plugin_sdk::payload::OpenRequest;
use goodwire_plugin_sdk::payload::open_request::Mode;

use crate::heard::Heard;
use crate::settings::Settings;

/// What begins above is no bass, in Hz.
const BASS_HZ_MAX: f64 = 320.0;
/// Octaves of bass at most, from the lowest frequency on.
const BASS_OCTAVES: i32 = 4;
/// How far the lowest octave lies below the middle of the band, in dB, where bass reads low.
const LOW_DB: f64 = -0.5;
/// How far one sweep lies below another, in dB and in standard deviations, where that counts.
const LOWER_DB: f64 = -0.1;
const LOWER_SIGMAS: f64 = 5.0;
/// Lowest level in dB that is told: silence has none.
const TOLD_DB_MIN: f64 = -60.0;
/// Seconds of the wake-up noise that are looked at together.
const SLICE_S: f64 = 0.05;
/// A slice that lies so far below what the opening burst leads to expect, in dB, was slept through.
const ASLEEP_DB: f64 = -15.0;

/// Which sweeps are believed, and what is to be said of the others.
pub struct Waking {
    /// First repeat of the first level that counts.
    first_repeat: usize,
    /// Where the bass comes from, where it does not come from the first play.
    top_down: Option<SweepResponse>,
    pub notes: Vec<Note>,
}

impl Waking {
    /// Judges what was heard first, and again from the top down.
    pub fn judge(
        request: &OpenRequest,
        settings: &Settings,
        first: &Heard,
        again: Option<&Heard>,
    ) -> Self {
        let (first_repeat, lower) = awake_from(settings, &first.sweeps);
        let mut waking = Self {
            first_repeat,
            top_down: None,
            notes: Vec::new(),
        };
        if let Some(lower) = lower {
            waking.notes.push(late_repeats(&lower, first_repeat));
        }
        if let Some(again) = again {
            waking.compare_with(settings, first, again);
        } else if asks_again(settings, first) {
            waking.notes.push(unsure(request, settings, first));
        }
        waking
    }

    /// Sweeps of level number `level` that count.
    pub fn sweeps_of(&self, settings: &Settings, heard: &Heard, level: usize) -> Vec<usize> {
        let all = settings.sweeps_of(level);
        let skipped = if level == 0 { self.first_repeat } else { 0 };
        heard.sound(all.start + skipped..all.end)
    }

    /// The mean of the sweeps of level number `level`, its bass from the top down where that is
    /// believed.
    pub fn averaged(&self, settings: &Settings, heard: &Heard, level: usize) -> Averaged {
        let band_hz = settings.band_hz();
        let mut averaged = heard.average(&self.sweeps_of(settings, heard, level), band_hz);
        if let (Some(bass), true) = (&self.top_down, level == settings.loudest()) {
            averaged.response = splice(bass, &averaged.response, settings.middle_hz(), band_hz);
        }
        averaged
    }

    fn compare_with(&mut self, settings: &Settings, first: &Heard, again: &Heard) {
        let band_hz = settings.band_hz();
        let from_below = self.averaged(settings, first, settings.loudest()).response;
        let top_down = again
            .average(&again.sound(0..again.sweeps.len()), band_hz)
            .response;
        match lowest(settings, &from_below, &top_down) {
            Some(lower) => {
                self.notes.push(warning(
                    "woke-late",
                    format!(
                        "swept from below, the bass read {} than from the top down{}: the link \
                         woke late, and below {:.0} Hz the curve is that from the top down",
                        told(&lower),
                        slept(first),
                        settings.middle_hz()
                    ),
                ));
                self.top_down = Some(top_down);
            }
            None => self.notes.push(info(
                "bass-confirmed",
                "the link sleeps when idle and its bass reads low: measured again from the top \
                 down, it reads the same",
            )),
        }
    }
}

/// Whether the bass of `heard` is to be measured again before it is believed.
pub fn asks_again(settings: &Settings, heard: &Heard) -> bool {
    if octaves(settings).next().is_none() {
        return false;
    }
    let (first_repeat, _) = awake_from(settings, &heard.sweeps);
    let still_waking = first_repeat > 0 && first_repeat + 1 == settings.repeats;
    still_waking || (slept_s(&heard.alignment) > 0.0 && bass_db(settings, heard) < LOW_DB)
}

/// The octaves of the bass.
fn octaves(settings: &Settings) -> impl Iterator<Item = [f64; 2]> {
    let start_hz = settings.start_hz;
    (0..BASS_OCTAVES)
        .map(move |octave| [octave, octave + 1].map(|n| start_hz * f64::from(n).exp2()))
        .filter(|[_, to_hz]| *to_hz <= BASS_HZ_MAX * (1.0 + 1e-9))
}

/// Number of the first repeat that reads no lower in the bass than the last, and how much lower
/// those before it read at most.
fn awake_from(settings: &Settings, sweeps: &[SweepResponse]) -> (usize, Option<Compared>) {
    let repeats = &sweeps[settings.sweeps_of(0)];
    let Some((last, before)) = repeats.split_last() else {
        return (0, None);
    };
    let lower: Vec<Compared> = before
        .iter()
        .map_while(|repeat| lowest(settings, repeat, last))
        .collect();
    let worst = lower.iter().min_by(|a, b| a.ratio.total_cmp(&b.ratio));
    (lower.len(), worst.copied())
}

/// The octave of the bass in which `one` lies furthest below `other`, where that counts.
fn lowest(settings: &Settings, one: &SweepResponse, other: &SweepResponse) -> Option<Compared> {
    octaves(settings)
        .map(|octave| compare(one, other, octave))
        .filter(|compared| {
            let below = 1.0 - compared.ratio;
            below > LOWER_SIGMAS * compared.sigma && compared.ratio < amplitude(LOWER_DB)
        })
        .min_by(|a, b| a.ratio.total_cmp(&b.ratio))
}

/// Level of the lowest octave against that about the middle of the band, in dB.
fn bass_db(settings: &Settings, heard: &Heard) -> f64 {
    let Some(sweep) = heard.sweeps[settings.sweeps_of(settings.loudest())].last() else {
        return 0.0;
    };
    let middle_hz = settings.middle_hz();
    let power = |[from_hz, to_hz]: [f64; 2]| {
        let reference = sweep.reference.as_ref();
        sweep.link.power(sweep.bins(from_hz, to_hz))
            / reference.map_or(1.0, |reference| reference.power(sweep.bins(from_hz, to_hz)))
    };
    let bass = power([settings.start_hz, 2.0 * settings.start_hz]);
    power_db(bass / power([middle_hz / 2f64.sqrt(), middle_hz * 2f64.sqrt()]))
}

/// Seconds of the wake-up noise of which nothing came back through the link.
fn slept_s(alignment: &Alignment) -> f64 {
    let (layout, link) = (&alignment.layout, &alignment.link);
    let power = |samples: &[f64]| samples.iter().map(|x| x * x).sum::<f64>();
    let returned = |range: Range<usize>| {
        power(&link.samples[range.clone()]) / power(&alignment.sent[range]).max(f64::MIN_POSITIVE)
    };
    let asleep = returned(layout.opening.clone()) * amplitude(ASLEEP_DB).powi(2);
    let slice = (SLICE_S * layout.rate_hz) as usize;
    let sounds = |from: &usize| power(&alignment.sent[*from..*from + slice]) > 0.0;
    // Before the recording began nobody can tell.
    let recorded_from = (-link.offset_frames).max(0.0).ceil() as usize;
    let end = layout.opening.start.saturating_sub(slice);
    let count = (recorded_from..end)
        .step_by(slice)
        .take_while(sounds)
        .filter(|&from| returned(from..from + slice) < asleep)
        .count();
    count as f64 * SLICE_S
}

/// In words, how far and where.
fn told(lower: &Compared) -> String {
    format!(
        "up to {:.1} dB lower from {:.0} to {:.0} Hz",
        -db(lower.ratio).max(TOLD_DB_MIN),
        lower.from_hz,
        lower.to_hz
    )
}

/// In words, for how long the link slept.
fn slept(heard: &Heard) -> String {
    let slept_s = slept_s(&heard.alignment);
    if slept_s > 0.0 {
        format!(", and the link slept through {slept_s:.2} s of the wake-up")
    } else {
        String::new()
    }
}

fn late_repeats(lower: &Compared, count: usize) -> Note {
    let text = format!(
        "the bass of the first {count} of the repeats read {} than that of the last one: the \
         link woke late, and they do not count",
        told(lower)
    );
    warning("woke-late", text)
}

fn unsure(request: &OpenRequest, settings: &Settings, heard: &Heard) -> Note {
    let why_not = if request.mode() == Mode::Recorded {
        "a recording cannot be played again"
    } else {
        "it was not heard again from the top down"
    };
    let text = format!(
        "the bass reads {:.1} dB from {:.0} to {:.0} Hz{}: whether it woke late cannot be told, \
         for {why_not}; a longer wake_s leaves no doubt",
        bass_db(settings, heard).max(TOLD_DB_MIN),
        settings.start_hz,
        2.0 * settings.start_hz,
        slept(heard),
    );
    warning("bass-unsure", text)
}
