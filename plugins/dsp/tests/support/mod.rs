//! Recordings made in closed form: every wave is evaluated at the instant of each sample, so no
//! interpolation of the code under test takes part.
#![allow(dead_code, reason = "each test file uses its part")]

use goodwire_dsp::burst::{self, End};
use goodwire_dsp::noise;
use goodwire_dsp::stimulus::{Body, Layout, Stimulus};
use goodwire_dsp::sweep::Sweep;

/// Ticks per second of the clock that sweeps are evaluated on.
const TICKS_HZ: f64 = 1e12;

/// A stimulus that can be evaluated between frames.
pub struct Wave {
    pub layout: Layout,
    pub sent: Vec<f32>,
    sweep: Sweep,
    peak: f64,
}

impl Wave {
    /// A sweep of `duration_s` from 20 Hz to 20 kHz at -20 dBFS.
    pub fn sweep(rate_hz: f64, duration_s: f64) -> Self {
        let sweep = Sweep::new(rate_hz, 0.1, 20.0, 20_000.0, duration_s);
        let stimulus = Stimulus::new(rate_hz, 0.3, 0, -20.0, -20.0, sweep);
        Self {
            layout: stimulus.layout().clone(),
            sent: stimulus.whole(),
            sweep: Sweep {
                rate_hz: TICKS_HZ,
                ..sweep
            },
            peak: 0.1,
        }
    }

    /// The stimulus without its wake-up, `time_s` after its first frame.
    pub fn at(&self, time_s: f64) -> f64 {
        let since = |frame: usize| time_s - frame as f64 / self.layout.rate_hz;
        let body = since(self.layout.body.start);
        let mut sum = self.peak * burst::sample(End::Opening, since(self.layout.opening.start))
            + self.peak * burst::sample(End::Closing, since(self.layout.closing.start));
        if (0.0..self.sweep.length_s()).contains(&body) {
            sum += self.sweep.sample((body * TICKS_HZ).round() as usize);
        }
        sum
    }

    /// Seconds that the stimulus lasts.
    pub fn length_s(&self) -> f64 {
        self.layout.frame_count() as f64 / self.layout.rate_hz
    }
}

/// How a recording is made.
#[derive(Debug, Clone, Copy)]
pub struct Take {
    /// Nominal rate of the recording in Hz.
    pub rate_hz: f64,
    /// The stimulus' first frame lies here, in seconds of the recording; may be below 0.
    pub start_s: f64,
    /// Length of the recording in seconds.
    pub length_s: f64,
    /// Skew in ppm: plus: more samples came back.
    pub skew_ppm: f64,
    /// Linear gain, below 0: inverted.
    pub gain: f64,
    /// RMS of white noise on top.
    pub noise: f64,
    pub seed: u64,
}

impl Take {
    pub fn of(wave: &Wave) -> Self {
        Self {
            rate_hz: wave.layout.rate_hz,
            start_s: 0.0,
            length_s: wave.length_s() + 1.0,
            skew_ppm: 0.0,
            gain: 1.0,
            noise: 0.0,
            seed: 1,
        }
    }

    pub fn record(&self, wave: &Wave) -> Vec<f32> {
        let clock = 1.0 + self.skew_ppm * 1e-6;
        (0..(self.length_s * self.rate_hz) as u64)
            .map(|n| {
                let time_s = (n as f64 / self.rate_hz - self.start_s) / clock;
                let noise = self.noise * noise::gaussian(self.seed, n);
                (self.gain * wave.at(time_s) + noise) as f32
            })
            .collect()
    }
}

/// RMS of white noise for an SNR in dB against a sine of peak 0.1.
pub fn noise_rms(snr_db: f64) -> f64 {
    0.1 / 2f64.sqrt() * 10f64.powf(-snr_db / 20.0)
}
