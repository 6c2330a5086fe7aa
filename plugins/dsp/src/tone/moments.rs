//! What came and went in the residual of a tone: a click, a dropout, a door, programme.

/// Moments into which a piece is divided, or fewer where a period is longer than one.
const MOMENT_COUNT: usize = 50;

/// A moment this much louder than the median one, as a power ratio, is a disturbance: 10 dB. White
/// noise of 20 ms varies by 0.2 dB (4.343 / sqrt(B T)), and what is steady not at all.
const LOUD: f64 = 10.0;

/// Below this, as a power ratio to the median moment, a swing is over: 3 dB.
const SETTLED: f64 = 2.0;

/// A swing is over after so many settled moments: one that passes zero is not.
const SETTLED_COUNT: usize = 3;

/// Power of what came and went in `left`, the residual of a tone of `cycles_per_sample`: mean
/// square over the whole piece, full scale = 1; 0 where nothing did.
///
/// Moments hold whole periods, so that what recurs with the tone (harmonics above those that were
/// fitted, the corners of a clipped wave) is as loud in each. What is loudest at the beginning and
/// dies away from there is the swing that a change of tone leaves in high-passes and in whatever
/// regulates: it belongs to the link, and is left out.
pub(super) fn disturbance_power(left: &[f64], cycles_per_sample: f64) -> f64 {
    let powers = moment_powers(left, cycles_per_sample);
    let mut sorted = powers.clone();
    sorted.sort_by(f64::total_cmp);
    let median = sorted.get(sorted.len() / 2).copied().unwrap_or(0.0);
    let loud = powers[swing_count(&powers, SETTLED * median)..]
        .iter()
        .filter(|&&power| power > LOUD * median);
    loud.map(|power| power - median).sum::<f64>() / powers.len().max(1) as f64
}

/// Mean square of each moment; what is left over at the end belongs to none.
fn moment_powers(left: &[f64], cycles_per_sample: f64) -> Vec<f64> {
    let periods = left.len() as f64 * cycles_per_sample;
    let periods_each = (periods / MOMENT_COUNT as f64).round().max(1.0);
    let length = periods_each / cycles_per_sample;
    let edge = |moment: usize| (moment as f64 * length).round() as usize;
    (0..(periods / periods_each + 1e-9) as usize)
        .map(|moment| {
            let moment = &left[edge(moment)..edge(moment + 1).min(left.len())];
            moment.iter().map(|x| x * x).sum::<f64>() / moment.len().max(1) as f64
        })
        .collect()
}

/// How many moments belong to a swing that dies away from the first one on, until `settled`.
fn swing_count(powers: &[f64], settled: f64) -> usize {
    let over = powers
        .windows(SETTLED_COUNT)
        .position(|moments| moments.iter().all(|&power| power <= settled))
        .unwrap_or(0);
    let dies_away = powers[..over]
        .iter()
        .all(|&power| power <= SETTLED * powers[0]);
    if dies_away { over } else { 0 }
}
