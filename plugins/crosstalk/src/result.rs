//! Figure, curve and notes, one each for every other link.

use goodwire_dsp::align::{Alignment, Track};
use goodwire_dsp::check;
use goodwire_dsp::decibel::{DB_PER_NEPER, power_db};
use goodwire_dsp::resample::Resampler;
use goodwire_dsp::response::SweepTrain;
use goodwire_dsp::spectrum::Power;
use goodwire_plugin_sdk::Failure;
use goodwire_plugin_sdk::api::Note;
use goodwire_plugin_sdk::figures::{Located, curve, figure, info, warning};
use goodwire_plugin_sdk::payload::SessionResult;

use crate::faint::{Answer, GATE_LENGTH_S, Heard, PER_OCTAVE};

/// A point whose noise is more than this share of its power (6 dB below it) is no more than a bound.
const NOISE_SHARE_MAX: f64 = 0.25;

/// A mean that stands fewer deviations above nothing is no more than a bound.
const STANDS_SIGMAS: f64 = 4.0;

/// Power that the gate spreads from the strongest part of an answer into the weakest, at the most:
/// behind a first-order high-pass, 35 dB down at 20 Hz, the curve is 0.5 dB off there.
const LEAKAGE: f64 = 1e-6;

/// Lower end of the interval of a bound, in dB: nothing excludes less.
const LEAST_DB: f64 = -200.0;

/// What another link's return heard.
pub struct Other {
    /// Its name; none for recordings.
    pub link: Option<String>,
    /// Its return, recorded together with what the others are placed by.
    pub samples: Vec<f32>,
}

/// What one return heard of the sweep, over the reference, at frequencies evenly spaced over log f.
struct Crosstalk {
    points: Vec<Heard>,
    /// True where nothing stands out of the noise.
    bound: bool,
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
    let own = Answer::new(&alignment, train, &alignment.link.samples);
    let late = own.late_frames().ok_or_else(no_answer)?;
    let own = has_reference.then(|| own.gated(late));
    let mut result = SessionResult::default();
    if !has_reference {
        result.notes.push(info(
            "no-reference",
            "there is no reference: crosstalk is told re what was sent",
        ));
    }
    for other in others {
        match crosstalk(&alignment, train, own.as_deref(), other) {
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

fn no_answer() -> Failure {
    Failure::new(
        "unrelated",
        "the recording that the others are placed by holds the alignment bursts but no answer to \
         the sweep",
    )
}

/// What one return heard, re the reference's answer `own`, or re what was sent.
fn crosstalk(
    alignment: &Alignment,
    train: &SweepTrain,
    own: Option<&[Heard]>,
    other: &Other,
) -> Result<Crosstalk, Note> {
    if let Some(index) = check::first_not_finite(&other.samples) {
        let text = format!("sample {index} of {} is not a finite number", other.name());
        return Err(warning("not-finite", text));
    }
    if check::peak(&other.samples) < f64::MIN_POSITIVE {
        let name = other.name();
        let text = format!("{name} holds nothing but zeros: it is not connected");
        return Err(warning("digital-silence", text));
    }
    let answer = Answer::new(alignment, train, &placed(&alignment.link, &other.samples));
    let late = answer.late_frames();
    let mut points = answer.gated(late.unwrap_or(0));
    for (point, own) in points.iter_mut().zip(own.unwrap_or_default()) {
        point.power /= own.power;
        point.noise /= own.power;
    }
    let mean = mean(&points);
    Ok(Crosstalk {
        bound: late.is_none() || mean.value < STANDS_SIGMAS * mean.variance.sqrt(),
        points,
    })
}

/// Mean power over log frequency, the noise's own power taken out, and its variance.
///
/// A point of power `P` holds noise of the power `N`; without it, `S = P - N` is left, with the
/// variance `2 S N + N²`. Points closer than the inverse of the gate share their noise.
fn mean(points: &[Heard]) -> Power {
    let count = points.len() as f64;
    let apart = std::f64::consts::LN_2 / PER_OCTAVE;
    points.iter().fold(Power::default(), |mean, point| {
        let own = point.power - point.noise;
        let alike = (1.0 / (apart * point.frequency_hz * GATE_LENGTH_S)).clamp(1.0, count);
        let variance = point.noise * (2.0 * own.max(0.0) + point.noise);
        Power {
            value: mean.value + own / count,
            variance: mean.variance + alike * variance / (count * count),
        }
    })
}

/// Another return on the frames of the stimulus as `anchor` lies on them.
fn placed(anchor: &Track, samples: &[f32]) -> Vec<f64> {
    let count = anchor.samples.len();
    if anchor.removed_skew == 0.0 {
        let from = anchor.offset_frames.round() as i64;
        let at = |n: usize| usize::try_from(from + n as i64).ok();
        let sample = |n: usize| at(n).and_then(|at| samples.get(at)).copied();
        let placed = (0..count).map(|n| f64::from(sample(n).unwrap_or(0.0)));
        return placed.collect();
    }
    let step = 1.0 + anchor.removed_skew;
    let samples: Vec<f64> = samples.iter().map(|&x| f64::from(x)).collect();
    Resampler::new(step).resample(&samples, anchor.offset_frames, step, count)
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
    let Crosstalk { points, bound } = found;
    let mut mean = mean(points);
    if *bound {
        // What noise puts under the gate, or two deviations above what was seen.
        let noise = points.iter().map(|point| point.noise).sum::<f64>() / points.len() as f64;
        mean.value = noise.max(mean.value + 2.0 * mean.variance.sqrt());
    }
    let level_db = power_db(mean.value);
    let deviation_db = DB_PER_NEPER / 2.0 * mean.relative();
    let mut figure = figure("crosstalk", level_db, deviation_db, "dB");
    if *bound {
        figure.uncertainty = None;
        (figure.low, figure.high) = (Some(LEAST_DB), Some(level_db));
    }
    result.figures.push(other.place(figure));
    let strongest = points
        .iter()
        .fold(0f64, |most, point| most.max(point.power));
    let deviation_db = |point: &Heard| {
        let off = point.noise + LEAKAGE * strongest;
        DB_PER_NEPER * (off / point.power / 2.0).sqrt().min(1.0)
    };
    let curve = curve(
        "crosstalk",
        ["Hz", "dB"],
        points.iter().map(|point| point.frequency_hz).collect(),
        points
            .iter()
            .map(|point| power_db(point.power.max(f64::MIN_POSITIVE)))
            .collect(),
        points.iter().map(deviation_db).collect(),
    );
    result.curves.push(other.place(curve));
    if *bound {
        let text = format!(
            "{} hears nothing of this send that stands out of its noise: {level_db:.1} dB is an \
             upper bound, the noise in {:.0} ms of the answer",
            other.name(),
            1e3 * GATE_LENGTH_S
        );
        result.notes.push(warning("below-noise", text));
    } else {
        result.notes.extend(buried(points, other));
    }
}

/// Says where a curve that was heard is noise.
fn buried(points: &[Heard], other: &Other) -> Option<Note> {
    let noisy: Vec<f64> = (points.iter())
        .filter(|point| point.noise > NOISE_SHARE_MAX * point.power)
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
