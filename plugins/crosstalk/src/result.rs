//! Figure, curve and notes, one each for every other link.

use goodwire_dsp::align::{Alignment, Track};
use goodwire_dsp::check;
use goodwire_dsp::decibel::{DB_PER_NEPER, power_db};
use goodwire_dsp::resample::Resampler;
use goodwire_dsp::response::curve::level;
use goodwire_dsp::response::{Gated, Point, SweepTrain, deconvolve, log_grid};
use goodwire_dsp::spectrum::Power;
use goodwire_plugin_sdk::Failure;
use goodwire_plugin_sdk::api::Note;
use goodwire_plugin_sdk::figures::{Located, curve, figure, info, warning};
use goodwire_plugin_sdk::payload::SessionResult;

use crate::faint::look;
use crate::settings::BAND_HZ;

/// Gates in seconds to choose from, before the longest that is free of harmonics.
const GATES_S: [f64; 2] = [0.05, 0.2];

/// Points an octave of the curve.
const PER_OCTAVE: f64 = 24.0;

/// A point whose noise is more than this share of its power (6 dB below it) is no more than a bound.
const NOISE_SHARE_MAX: f64 = 0.25;

/// A mean that stands fewer deviations above nothing is no more than a bound.
const STANDS_SIGMAS: f64 = 4.0;

/// What another link's return heard.
pub struct Other {
    /// Its name; none for recordings.
    pub link: Option<String>,
    /// Its return, recorded together with what the others are placed by.
    pub samples: Vec<f32>,
}

/// What one return heard of the sweep.
enum Crosstalk {
    /// An answer, over the reference's, at frequencies evenly spaced over log f.
    Heard(Vec<Point>),
    /// None: frequency in Hz, and power of the noise over the reference's.
    Bound(Vec<(f64, f64)>),
}

/// The result of a measurement; `alignment` is that of the reference's return where
/// `has_reference`, else of the link's own, and then levels are told re what was sent.
///
/// # Errors
/// `unrelated` where that return does not answer to the sweep; the reason of the last where none of
/// the others could be read.
pub fn result(
    alignment: Alignment,
    has_reference: bool,
    train: &SweepTrain,
    others: &[Other],
) -> Result<SessionResult, Failure> {
    let own = deconvolve(&alignment, train)
        .map_err(|error| Failure::new("unrelated", error.to_string()))?;
    let own = has_reference.then(|| Gated::new(&own[0], train.sweep(), &GATES_S));
    let mut result = SessionResult::default();
    if !has_reference {
        result.notes.push(info(
            "no-reference",
            "there is no reference: crosstalk is told re what was sent",
        ));
    }
    for other in others {
        match crosstalk(&alignment, has_reference, train, own.as_ref(), other) {
            Ok(found) => tell(&found, other, &mut result),
            Err(note) => result.notes.push(note),
        }
    }
    if let (true, Some(note)) = (result.figures.is_empty(), result.notes.last()) {
        // Not one return could be read: the last says why.
        return Err(Failure::new(note.id.clone(), note.text.clone()));
    }
    Ok(result)
}

/// What one return heard.
fn crosstalk(
    alignment: &Alignment,
    has_reference: bool,
    train: &SweepTrain,
    own: Option<&Gated>,
    other: &Other,
) -> Result<Crosstalk, Note> {
    let anchor = &alignment.link;
    if let Some(index) = check::first_not_finite(&other.samples) {
        let text = format!("sample {index} of {} is not a finite number", other.name());
        return Err(warning("not-finite", text));
    }
    if check::peak(&other.samples) < f64::MIN_POSITIVE {
        let text = format!(
            "{} holds nothing but zeros: it is not connected",
            other.name()
        );
        return Err(warning("digital-silence", text));
    }
    let grid = log_grid(BAND_HZ[0], BAND_HZ[1], PER_OCTAVE);
    let answer = look(alignment, train, &placed(anchor, &other.samples, 0));
    let bound = || Crosstalk::Bound(over(&answer.noise, own));
    let Some(late) = answer.late_frames else {
        return Ok(bound());
    };
    let track = Track {
        samples: placed(anchor, &other.samples, late),
        // Which way round an answer is, the sweep itself tells.
        polarity: 1.0,
        ..anchor.clone()
    };
    let pair = Alignment {
        link: track,
        reference: has_reference.then(|| anchor.clone()),
        ..alignment.clone()
    };
    let Ok(answers) = deconvolve(&pair, train) else {
        return Ok(bound());
    };
    let gated = Gated::new(&answers[0], train.sweep(), &GATES_S);
    let points: Vec<Point> = grid.iter().map(|&f| gated.at(f)).collect();
    let mean = mean(&points);
    if mean.value < STANDS_SIGMAS * mean.variance.sqrt() {
        return Ok(bound());
    }
    Ok(Crosstalk::Heard(points))
}

/// Mean power over log frequency, the noise's own power taken out, and its variance.
///
/// A point of power `P` holds noise of the power `r P`; without it, `P (1 - r)` is left, with the
/// variance `2 P (1 - r) r P + (r P)²`. Points closer than the inverse of their gate share their
/// noise.
fn mean(points: &[Point]) -> Power {
    let count = points.len() as f64;
    let apart = std::f64::consts::LN_2 / PER_OCTAVE;
    points.iter().fold(Power::default(), |mean, point| {
        let heard = point.value.norm_sqr();
        let noise = heard * point.variance;
        let alike = (1.0 / (apart * point.frequency_hz * point.gate_s)).clamp(1.0, count);
        let variance = noise * (2.0 * (heard - noise).max(0.0) + noise);
        Power {
            value: mean.value + (heard - noise) / count,
            variance: mean.variance + alike * variance / (count * count),
        }
    })
}

/// Another return on the frames of the stimulus as `anchor` lies on them, read `late` frames later.
fn placed(anchor: &Track, samples: &[f32], late: i64) -> Vec<f64> {
    let count = anchor.samples.len();
    let first = anchor.offset_frames + late as f64;
    if anchor.removed_skew == 0.0 {
        let from = first.round() as i64;
        let at = |n: usize| usize::try_from(from + n as i64).ok();
        let sample = |n: usize| at(n).and_then(|at| samples.get(at)).copied();
        return (0..count)
            .map(|n| f64::from(sample(n).unwrap_or(0.0)))
            .collect();
    }
    let step = 1.0 + anchor.removed_skew;
    let samples: Vec<f64> = samples.iter().map(|&x| f64::from(x)).collect();
    Resampler::new(step).resample(&samples, first, step, count)
}

/// Noise re what was sent as noise re the reference.
fn over(noise: &[(f64, f64)], own: Option<&Gated>) -> Vec<(f64, f64)> {
    let reference = |f: f64| own.map_or(1.0, |gated| gated.at(f).value.norm_sqr());
    noise
        .iter()
        .map(|&(f, power)| (f, power / reference(f)))
        .collect()
}

impl Other {
    fn name(&self) -> String {
        let link = self.link.as_ref();
        link.map_or_else(
            || "the return".to_owned(),
            |link| format!("the return of {link}"),
        )
    }

    fn place<T: Located>(&self, at: T) -> T {
        match &self.link {
            Some(link) => at.at_name("link", link),
            None => at,
        }
    }
}

/// Adds figure, curve and notes of one return.
fn tell(found: &Crosstalk, other: &Other, result: &mut SessionResult) {
    let (value, deviation, x, y, y_uncertainty): (f64, f64, Vec<f64>, Vec<f64>, Vec<f64>);
    match found {
        Crosstalk::Heard(points) => {
            let mean = mean(points);
            value = power_db(mean.value);
            deviation = DB_PER_NEPER / 2.0 * mean.relative();
            x = points.iter().map(|point| point.frequency_hz).collect();
            let levels = || points.iter().map(level);
            y = levels().map(|level| level.db).collect();
            y_uncertainty = levels().map(|level| level.sigma_db).collect();
            result.notes.extend(buried(points, other));
        }
        Crosstalk::Bound(noise) => {
            let mean = noise.iter().map(|(_, power)| power).sum::<f64>() / noise.len() as f64;
            // Each point is a mean over twenty pieces of exponentially distributed power.
            (value, deviation) = (power_db(mean), DB_PER_NEPER / 2.0 / 20f64.sqrt());
            x = noise.iter().map(|(f, _)| *f).collect();
            y = noise.iter().map(|(_, power)| power_db(*power)).collect();
            y_uncertainty = vec![deviation; x.len()];
            let text = format!(
                "{} hears nothing of this send that stands out of its noise: {value:.1} dB is an \
                 upper bound, the noise in 50 ms of the answer",
                other.name()
            );
            result.notes.push(warning("below-noise", text));
        }
    }
    let told = figure("crosstalk", value, deviation, "dB");
    result.figures.push(other.place(told));
    let told = curve("crosstalk", ["Hz", "dB"], x, y, y_uncertainty);
    result.curves.push(other.place(told));
}

/// Says where a curve that was heard is noise.
fn buried(points: &[Point], other: &Other) -> Option<Note> {
    let noisy: Vec<f64> = (points.iter())
        .filter(|point| point.variance > NOISE_SHARE_MAX)
        .map(|point| point.frequency_hz)
        .collect();
    let (first, last) = (noisy.first()?, noisy.last()?);
    Some(info(
        "partly-below-noise",
        format!(
            "{} of {} points of what {} hears are noise, from {first:.0} to {last:.0} Hz: upper \
             bounds there",
            noisy.len(),
            points.len(),
            other.name()
        ),
    ))
}
