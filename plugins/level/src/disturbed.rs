//! Steps in which something else happened than the step: a dropout, a click, a burst of noise.

use crate::reading::Step;

/// A step whose tone stands so much less clear than that of steps before and after it, in dB, was
/// disturbed. A dropout of 2 ms in a step of half a second leaves 24 dB; what clipping and noise do
/// to a step they do to the next one too.
const LESS_CLEAR_DB: f64 = 10.0;

/// How many steps on either side are looked at.
const NEIGHBOUR_COUNT: usize = 2;

/// Takes the disturbed steps out and gives their levels at the send in dBFS.
pub fn take_out_disturbed(steps: &mut Vec<Step>) -> Vec<f64> {
    let snr_db: Vec<Option<f64>> = (steps.iter())
        .map(|step| step.link.as_ref().map(|link| link.snr_db))
        .collect();
    let clearest = |range: &[Option<f64>]| range.iter().flatten().copied().reduce(f64::max);
    let is_disturbed = |at: usize| {
        let before = clearest(&snr_db[at.saturating_sub(NEIGHBOUR_COUNT)..at])?;
        let after = clearest(&snr_db[at + 1..(at + 1 + NEIGHBOUR_COUNT).min(snr_db.len())])?;
        Some(snr_db[at]? < before.min(after) - LESS_CLEAR_DB)
    };
    let levels_dbfs: Vec<f64> = (0..steps.len())
        .filter(|&at| is_disturbed(at).unwrap_or(false))
        .map(|at| steps[at].level_dbfs)
        .collect();
    steps.retain(|step| !levels_dbfs.contains(&step.level_dbfs));
    levels_dbfs
}
