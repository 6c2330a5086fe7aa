//! When a link's sound comes back.

use super::average::Averaged;
use super::line::Line;
use super::train::SweepTrain;
use crate::align::Alignment;

/// Frequency in Hz whose passing stands for the time of a sweep: the middle of 1 to 10 kHz.
const MIDDLE_HZ: f64 = 3_162.0;

/// The latency of one repeat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Arrival {
    /// Seconds from the first frame of the recording to the middle of the sweep in it.
    pub time_s: f64,
    /// Link minus reference (minus what was sent, without one) in seconds of the recorder.
    pub latency_s: f64,
    /// Change of the latency against the first repeat, on the stimulus' clock, in seconds.
    pub change_s: f64,
    /// One standard deviation of `change_s`.
    pub sigma_s: f64,
}

/// Latency of each repeat. `line` is that of the averaged response, `indices` are the sweeps of
/// `train` that were averaged. Without a reference it counts from the first frame of what was
/// sent, and is a latency only where both recordings share start and clock.
#[must_use]
pub fn arrivals(
    alignment: &Alignment,
    train: &SweepTrain,
    indices: &[usize],
    averaged: &Averaged,
    line: &Line,
) -> Vec<Arrival> {
    let rate_hz = alignment.layout.rate_hz;
    let response = &averaged.response;
    indices
        .iter()
        .enumerate()
        .map(|(number, &index)| {
            let middle_s =
                train.start_s(&alignment.layout, index) + train.sweep().time_of_s(MIDDLE_HZ);
            let frame = middle_s * rate_hz;
            let [link_delay, link_sigma] = averaged.link_delays[number];
            let link_frames = response.link.lag_frames + link_delay + line.delay_s * rate_hz;
            let link_at = alignment.link.position(frame + link_frames);
            let (mut other_at, mut change, mut variance) = (frame, link_delay, link_sigma.powi(2));
            if let (Some(track), Some(channel)) = (&alignment.reference, &response.reference) {
                let [delay, sigma] = averaged.reference_delays[number];
                other_at = track.position(frame + channel.lag_frames + delay);
                change -= delay;
                variance += sigma.powi(2);
            }
            Arrival {
                time_s: link_at / rate_hz,
                latency_s: (link_at - other_at) / rate_hz,
                change_s: change / rate_hz,
                sigma_s: variance.sqrt() / rate_hz,
            }
        })
        .collect()
}
