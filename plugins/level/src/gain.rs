//! The gain of every step, the gain of the link, and how far the steps depart from it.

use goodwire_dsp::tone::Estimate;

use crate::reading::Step;

/// Where the gain is taken, in dB below the clip point.
const BELOW_CLIP_DB: (f64, f64) = (30.0, 20.0);

/// Without a clip point: over so many dB from the lowest step that stands so far above the noise.
const SPAN_DB: f64 = 10.0;
const ABOVE_NOISE_DB: f64 = 40.0;

/// Where linearity is told, in dB below the clip point.
const LINEAR_DB: (f64, f64) = (60.0, 6.0);

/// Steps whose gain is less certain than this, in dB, tell nothing of linearity: of 60 steps of
/// pure noise the largest would be three times as far off.
const LINEAR_UNCERTAINTY_MAX_DB: f64 = 0.02;

/// Mean square of the differences between neighbouring steps, in deviations, that noise explains:
/// the mean of five such squares passes it about once in 100 times.
const SCATTER_MAX: f64 = 3.6;

/// Changes nearer to the largest than so many deviations of their difference may be as large.
const NEAR_DEVIATIONS: f64 = 2.0;

/// Slack where steps are compared with levels.
const SAME_DB: f64 = 1e-6;

/// The gain of the fundamental at one step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StepGain {
    /// Level at the send in dBFS.
    pub level_dbfs: f64,
    /// Gain in dB.
    pub gain_db: Estimate,
    /// The link's tone above the noise, in dB.
    pub snr_db: f64,
}

/// The gains of all steps at which neither return was cut at full scale.
pub fn step_gains(steps: &[Step], has_reference: bool) -> Vec<StepGain> {
    let gain = |step: &Step| {
        let link = step.link.as_ref()?;
        let reference_cut = step.reference.as_ref().is_some_and(|reading| reading.cut);
        if link.cut || reference_cut {
            return None;
        }
        Some(StepGain {
            level_dbfs: step.level_dbfs,
            gain_db: step.gain_db(has_reference)?,
            snr_db: link.snr_db,
        })
    };
    steps.iter().filter_map(gain).collect()
}

/// The link's gain in dB, and the lowest level at the send that it was taken at.
///
/// The mean over the steps 30 to 20 dB below the clip point; where there is none, or no such step,
/// over the 10 dB from the lowest step on that stands 40 dB above the noise; where none does, over
/// the 10 dB below the step that stands highest above it. `None` without any step.
pub fn gain_of(gains: &[StepGain], clip: Option<Estimate>) -> Option<(Estimate, f64)> {
    let within = |low_dbfs: f64, high_dbfs: f64| {
        let inside = move |step: &&StepGain| {
            (low_dbfs - SAME_DB..=high_dbfs + SAME_DB).contains(&step.level_dbfs)
        };
        mean(gains.iter().filter(inside))
    };
    clip.and_then(|clip| within(clip.value - BELOW_CLIP_DB.0, clip.value - BELOW_CLIP_DB.1))
        .or_else(|| {
            let lowest = gains.iter().find(|step| step.snr_db >= ABOVE_NOISE_DB)?;
            within(lowest.level_dbfs, lowest.level_dbfs + SPAN_DB)
        })
        .or_else(|| {
            let clearest = gains.iter().max_by(|a, b| a.snr_db.total_cmp(&b.snr_db))?;
            within(clearest.level_dbfs - SPAN_DB, clearest.level_dbfs)
        })
}

/// Mean gain of some steps and the lowest level among them. Its deviation is that of the noise; that
/// of the steps' own scatter where noise does not explain it, as with a link that fades.
///
/// The scatter is told by neighbours, half of whose squared differences are on average their
/// variance: a gain that bends with the level is none.
fn mean<'a>(steps: impl Iterator<Item = &'a StepGain>) -> Option<(Estimate, f64)> {
    let gains: Vec<(f64, Estimate)> = steps.map(|step| (step.level_dbfs, step.gain_db)).collect();
    let count = gains.len() as f64;
    let (lowest_dbfs, _) = *gains.first()?;
    let sum = |f: &dyn Fn(Estimate) -> f64| gains.iter().map(|&(_, gain)| f(gain)).sum::<f64>();
    let value = sum(&|gain| gain.value) / count;
    let noise = sum(&|gain| gain.uncertainty.powi(2)) / count;
    let (mut scatter, mut excess) = (0.0, 0.0);
    for pair in gains.windows(2) {
        let [(_, one), (_, other)] = [pair[0], pair[1]];
        let square = (one.value - other.value).powi(2);
        let variance = one.uncertainty.powi(2) + other.uncertainty.powi(2);
        scatter += square / 2.0 / (count - 1.0);
        excess += square / variance.max(1e-18) / (count - 1.0);
    }
    let explained = excess <= SCATTER_MAX;
    let variance = if explained { noise } else { noise.max(scatter) } / count;
    let uncertainty = variance.sqrt();
    Some((Estimate { value, uncertainty }, lowest_dbfs))
}

/// How far the gain departs from itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Change {
    /// The largest change in dB, signed.
    pub change_db: Estimate,
    /// The 95 % interval of it, where it is not the change of one step that stands out of the noise
    /// and of all others.
    pub interval_db: Option<[f64; 2]>,
    /// Level at the send where it is, in dBFS.
    pub level_dbfs: f64,
}

/// The largest change of the gain from `gain` in dB, signed, and the level at the send where it is:
/// from 60 to 6 dB below the clip point, over all steps where there is none.
///
/// The largest of many noisy changes is too large by chance. Where the largest one could be noise
/// alone its sign is not known; where others come near it, it is the larger of what may be equals,
/// of `m` of which the largest lies `sqrt(2 ln m)` deviations above the mean at most.
pub fn linearity(gains: &[StepGain], gain: Estimate, clip: Option<Estimate>) -> Option<Change> {
    let (low_dbfs, high_dbfs) = clip.map_or((f64::NEG_INFINITY, f64::INFINITY), |clip| {
        (clip.value - LINEAR_DB.0, clip.value - LINEAR_DB.1)
    });
    let changes: Vec<(Estimate, f64)> = gains
        .iter()
        .filter(|step| low_dbfs <= step.level_dbfs && step.level_dbfs <= high_dbfs)
        .filter(|step| step.gain_db.uncertainty <= LINEAR_UNCERTAINTY_MAX_DB)
        .map(|step| {
            let change = Estimate {
                value: step.gain_db.value - gain.value,
                uncertainty: step.gain_db.uncertainty.hypot(gain.uncertainty),
            };
            (change, step.level_dbfs)
        })
        .collect();
    let largest =
        |a: &&(Estimate, f64), b: &&(Estimate, f64)| a.0.value.abs().total_cmp(&b.0.value.abs());
    let &(change_db, level_dbfs) = changes.iter().max_by(largest)?;
    Some(Change {
        change_db,
        interval_db: interval(change_db, &changes),
        level_dbfs,
    })
}

/// The interval of the largest of `changes`, where it needs one.
fn interval(largest: Estimate, changes: &[(Estimate, f64)]) -> Option<[f64; 2]> {
    let (size, deviation) = (largest.value.abs(), largest.uncertainty);
    let near = |change: &&(Estimate, f64)| {
        let apart = change.0.uncertainty.hypot(deviation);
        size - change.0.value.abs() <= NEAR_DEVIATIONS * apart
    };
    let rivals = changes.iter().filter(near);
    let widest = rivals.clone().map(|change| change.0.uncertainty);
    let widest = widest.fold(deviation, f64::max);
    let by_chance = (2.0 * (changes.len() as f64).ln()).sqrt() + 1.0;
    let significant = changes
        .iter()
        .any(|(change, _)| change.value.abs() > by_chance * change.uncertainty);
    if !significant {
        let most = size + 2.0 * widest;
        return Some([-most, most]);
    }
    let count = rivals.count() as f64;
    (count > 1.0).then(|| {
        let low = size - (2.0 + (2.0 * count.ln()).sqrt()) * widest;
        let ends = [low, size + 2.0 * widest].map(|end| end * largest.value.signum());
        [ends[0].min(ends[1]), ends[0].max(ends[1])]
    })
}
