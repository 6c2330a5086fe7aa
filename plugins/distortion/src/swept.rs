//! A sweep through all frequencies: harmonics against the frequency of the fundamental.
//!
//! Synchronized exponential sweep (A. Novak, P. Lotton, L. Simon, JAES 63(10), 786-798, 2015):
//! divided by what was sent, harmonic N of a distorting link answers `L ln N` before the link's
//! linear response, with the phase of the Nth power of the tone, so that each can be cut out and
//! read at N times the fundamental's frequency.

mod curves;
mod cut;
mod gate;
mod harmonics;
mod noise;
mod scatter;

use goodwire_dsp::decibel::amplitude;
use goodwire_dsp::response::{SweepTrain, deconvolve};
use goodwire_dsp::stimulus::Stimulus;
use goodwire_dsp::sweep::Sweep;
use goodwire_plugin_sdk::Failure;
use goodwire_plugin_sdk::parameters::{Parameters, violation};
use goodwire_plugin_sdk::payload::{FieldViolation, OpenRequest, SessionResult};

use crate::playing::{Method, Returns};
use crate::settings::Settings;
use curves::result;
use cut::cut_hz;
use harmonics::Harmonics;

/// Length of the sweep where none is given, in seconds.
pub const SWEEP_S: f64 = 5.0;

/// Share of the rate that the sweep ends below: above, there is no room for it to fade out.
const STOP_RATE_SHARE: f64 = 0.46;

/// The sweep is at its full level from this share of `start_hz` on. The steep beginning of a gate
/// mixes what lies within 20 Hz, and where the sweep still fades in, its harmonics are weaker: from
/// 0.6 on, the second one of 21 Hz was 0.1 to 0.45 dB off.
const BELOW: f64 = 0.35;

/// The lowest fundamental in Hz whose harmonics a sweep of [`LOWEST_S`] tells true: measured with
/// sweeps of 1 to 10 s, they are 0.05 dB off at most from there on. What a gate resolves is the
/// inverse of its length, and that goes with the sweep's.
const LOWEST_HZ: f64 = 20.0;

/// Seconds of sweep from which on [`LOWEST_HZ`] holds.
const LOWEST_S: f64 = 3.0;

/// Octaves that the sweep has at least, so that there are fundamentals to tell harmonics of.
const OCTAVES_MIN: f64 = 3.0;

/// The method `swept`.
pub struct Swept {
    settings: Settings,
    start_hz: f64,
    sweep_s: f64,
}

impl Swept {
    /// Reads the sweep from a request whose parameters are within their bounds.
    ///
    /// # Errors
    /// Every parameter that does not go with another or with the rates.
    pub fn open(request: &OpenRequest) -> Result<Self, Vec<FieldViolation>> {
        let settings = Settings::read(request);
        let read = Parameters::of(request);
        let start_hz = read.number("start_hz");
        let mut violations = Vec::new();
        let highest_hz = settings.bandwidth_hz / OCTAVES_MIN.exp2();
        if start_hz > highest_hz {
            violations.push(violation(
                "start_hz",
                format!(
                    "{start_hz} Hz is too near to bandwidth_hz, where the sweep ends: at most \
                     {highest_hz} Hz"
                ),
            ));
        }
        violations.extend(settings.bandwidth_violation(STOP_RATE_SHARE));
        if !violations.is_empty() {
            return Err(violations);
        }
        Ok(Self {
            settings,
            start_hz,
            sweep_s: read.number("sweep_s"),
        })
    }

    /// Where the curves begin: lower, the gates mix harmonics of too many fundamentals.
    fn lowest_hz(&self) -> f64 {
        let told_hz = LOWEST_HZ * (LOWEST_S / self.sweep_s).max(1.0);
        self.start_hz.max(told_hz)
    }
}

impl Method for Swept {
    type Body = SweepTrain;

    fn stimulus(&self) -> Stimulus<SweepTrain> {
        let settings = &self.settings;
        let sweep = Sweep::new(
            settings.rate_hz,
            1.0,
            BELOW * self.start_hz,
            settings.bandwidth_hz,
            self.sweep_s,
        );
        Stimulus::new(
            settings.rate_hz,
            settings.wake_s,
            settings.seed,
            settings.level_dbfs,
            settings.level_dbfs,
            SweepTrain::new(sweep, vec![amplitude(settings.level_dbfs)]),
        )
    }

    fn result(&self, returns: &Returns<'_, SweepTrain>) -> Result<SessionResult, Failure> {
        let train = returns.stimulus.body();
        let cut_hz = cut_hz(returns);
        let sweeps = deconvolve(returns.alignment, train)
            .map_err(|error| Failure::new("unrelated", error.to_string()))?;
        let polarities = [
            returns.alignment.link.polarity,
            (returns.alignment.reference.as_ref()).map_or(1.0, |track| track.polarity),
        ];
        let harmonics = Harmonics::of(
            &sweeps[0],
            train.sweep(),
            [self.lowest_hz(), self.settings.bandwidth_hz],
            polarities,
        );
        result(&harmonics, &cut_hz, returns)
    }
}
