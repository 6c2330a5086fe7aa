//! What can be set, and the tones that follow from it.

use goodwire_dsp::decibel::amplitude;
use goodwire_dsp::stimulus::Stimulus;
use goodwire_dsp::tone::{Sequence, Tone, clear_frequency_hz};
use goodwire_plugin_sdk::api::Parameter;
use goodwire_plugin_sdk::parameters::{self, Narrow, Parameters, number, violation};
use goodwire_plugin_sdk::payload::{FieldViolation, OpenRequest};

/// What is left out of every tone after its fade, in seconds: links settle.
pub const SETTLE_S: f64 = 0.06;

/// Length in seconds of every step: limiters take their time, and where the knee lies is not known.
const STEP_S: f64 = 0.5;

/// Bursts and wake-up stand so far below the highest step, in dB, that they set off no limiter
/// whose release would reach into the lowest steps.
const BURST_DB: f64 = -20.0;

/// Settings of one measurement.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// The frequency that was asked for, in Hz.
    pub freq_hz: f64,
    /// The frequency that is played, in Hz.
    pub played_hz: f64,
    /// Level of each step in dBFS, rising.
    pub levels_dbfs: Vec<f64>,
    /// Rate in Hz of the stimulus.
    pub rate_hz: f64,
    wake_s: f64,
    seed: u64,
}

/// The parameters of the analysis.
pub fn parameters() -> Vec<Parameter> {
    vec![
        number("freq_hz", "Hz", 997.0, "Frequency of the tone.").within(20.0, 20_000.0),
        number("min_dbfs", "dBFS", -60.0, "Level of the lowest step.")
            .within(-120.0, 0.0)
            .level(),
        number("max_dbfs", "dBFS", 0.0, "Level of the highest step.")
            .within(-120.0, 0.0)
            .level(),
        number("step_db", "dB", 1.0, "From one step to the next.").within(0.1, 12.0),
        parameters::wake_s(),
    ]
}

impl Settings {
    /// Reads them from a request whose parameters are within their bounds.
    ///
    /// # Errors
    /// Every parameter that does not go with another.
    pub fn read(request: &OpenRequest) -> Result<Self, Vec<FieldViolation>> {
        let read = Parameters::of(request);
        let (freq_hz, rate_hz) = (read.number("freq_hz"), f64::from(request.rate_hz));
        let (min_dbfs, max_dbfs) = (read.number("min_dbfs"), read.number("max_dbfs"));
        if max_dbfs <= min_dbfs {
            return Err(vec![violation(
                "max_dbfs",
                format!(
                    "max_dbfs is {max_dbfs} dBFS and min_dbfs is {min_dbfs} dBFS: max_dbfs must be \
                     the higher one (the send's ceiling lowers both where they were not given)"
                ),
            )]);
        }
        Ok(Self {
            freq_hz,
            played_hz: clear_frequency_hz(freq_hz, rate_hz),
            levels_dbfs: levels(min_dbfs, max_dbfs, read.number("step_db")),
            rate_hz,
            wake_s: read.number("wake_s"),
            seed: u64::try_from(request.seed).unwrap_or(0),
        })
    }

    /// The stimulus.
    pub fn stimulus(&self) -> Stimulus<Sequence> {
        let highest_dbfs = self.levels_dbfs[self.levels_dbfs.len() - 1];
        let tones = self.levels_dbfs.iter().map(|&level_dbfs| {
            Tone::single(self.played_hz, amplitude(level_dbfs), self.frame_count())
        });
        Stimulus::new(
            self.rate_hz,
            self.wake_s,
            self.seed,
            highest_dbfs,
            highest_dbfs + BURST_DB,
            Sequence::new(self.rate_hz, tones.collect()),
        )
    }

    /// Frames of one step: at least ten periods stand after link and fade have settled.
    fn frame_count(&self) -> usize {
        let length_s = STEP_S.max(SETTLE_S + 0.02 + 10.0 / self.played_hz);
        (length_s * self.rate_hz).round() as usize
    }
}

/// The levels from the lowest up, step by step, the highest in any case among them.
fn levels(min_dbfs: f64, max_dbfs: f64, step_db: f64) -> Vec<f64> {
    let whole_steps = ((max_dbfs - min_dbfs) / step_db + 1e-9).floor();
    let mut levels: Vec<f64> = (0..=whole_steps as usize)
        .map(|step| min_dbfs + step as f64 * step_db)
        .collect();
    let last = levels.len() - 1;
    if max_dbfs - levels[last] > 1e-6 {
        levels.push(max_dbfs);
    } else {
        levels[last] = max_dbfs;
    }
    levels
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_of_60_db_in_steps_of_1_db_are_61_and_both_ends_are_among_them() {
        let usual = levels(-60.0, 0.0, 1.0);
        assert_eq!((usual.len(), usual[0], usual[60]), (61, -60.0, 0.0));
        let odd = levels(-10.0, -0.5, 3.0);
        assert_eq!(odd, [-10.0, -7.0, -4.0, -1.0, -0.5]);
        assert_eq!(levels(-1.0, -0.7, 0.1).len(), 4);
    }
}
