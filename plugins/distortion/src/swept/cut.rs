//! Where in a sweep the recorder cut the wave.

use goodwire_dsp::align::Track;
use goodwire_dsp::response::SweepTrain;
use goodwire_dsp::tone::is_cut_at_full_scale;

use crate::playing::Returns;

/// Length in seconds of the pieces that are looked at: one period of 20 Hz and more.
const PIECE_S: f64 = 0.06;

/// Frequencies about a cut piece that are not told of, as a factor: a twelfth of an octave.
const AROUND: f64 = 1.06;

/// Ranges of the fundamental's frequency in Hz where a return is cut at its full scale.
pub fn cut_hz(returns: &Returns<'_, SweepTrain>) -> Vec<[f64; 2]> {
    let both = [
        Some((&returns.take.returned, &returns.alignment.link)),
        (returns.take.reference.as_ref()).zip(returns.alignment.reference.as_ref()),
    ];
    let mut cut: Vec<[f64; 2]> = Vec::new();
    for (samples, track) in both.into_iter().flatten() {
        cut.extend(of_one(samples, track, returns));
    }
    cut
}

fn of_one(samples: &[f32], track: &Track, returns: &Returns<'_, SweepTrain>) -> Vec<[f64; 2]> {
    let sweep = returns.stimulus.body().sweep();
    let rate_hz = f64::from(returns.request.returned_rate_hz);
    let start_s = returns
        .stimulus
        .body()
        .start_s(returns.stimulus.layout(), 0);
    let first_s = track.offset_frames / rate_hz + start_s;
    let frame = |time_s: f64| (((first_s + time_s) * rate_hz).max(0.0) as usize).min(samples.len());
    let frequency_hz = |time_s: f64| sweep.begin_hz * (time_s / sweep.time_constant_s).exp();
    let count = (sweep.length_s() / PIECE_S) as usize;
    (0..count)
        .map(|piece| [piece, piece + 1].map(|edge| edge as f64 * PIECE_S))
        .filter(|&[from_s, to_s]| is_cut_at_full_scale(&samples[frame(from_s)..frame(to_s)]))
        .map(|[from_s, to_s]| [frequency_hz(from_s) / AROUND, frequency_hz(to_s) * AROUND])
        .collect()
}
