//! What can be set, and what of it does not go together.

use goodwire_dsp::decibel::amplitude;
use goodwire_dsp::response::SweepTrain;
use goodwire_dsp::stimulus::Stimulus;
use goodwire_dsp::sweep::Sweep;
use goodwire_plugin_sdk::api::Parameter;
use goodwire_plugin_sdk::parameters::{
    Narrow, Parameters, choice, level_dbfs, number, numbers, synchronous, violation, wake_s, whole,
};
use goodwire_plugin_sdk::payload::{FieldViolation, OpenRequest};

/// Highest frequency of the asked band as a share of the rate: above, there is no room for the
/// sweep to fade out before half the rate.
const STOP_RATE_SHARE_MAX: f64 = 0.46;

/// Longest body in seconds: all sweeps together.
const BODY_S_MAX: f64 = 600.0;

/// Edges of the bands of `deviation` in Hz.
const BANDS_HZ: [f64; 11] = [
    20.0, 63.0, 125.0, 250.0, 500.0, 1_000.0, 2_000.0, 4_000.0, 8_000.0, 16_000.0, 20_000.0,
];

/// The parameters of the analysis.
pub fn declared() -> Vec<Parameter> {
    vec![
        number("start_hz", "Hz", 20.0, "Lower end of the measured band.").within(1.0, 90_000.0),
        number("stop_hz", "Hz", 20_000.0, "Upper end of the measured band.").within(2.0, 90_000.0),
        number(
            "duration_s",
            "s",
            5.0,
            "Seconds of one sweep from start_hz to stop_hz.",
        )
        .within(0.5, 60.0),
        level_dbfs(-20.0),
        numbers(
            "levels_dbfs",
            "dBFS",
            &[],
            "Peaks to measure at, one after the other, instead of level_dbfs: tells how far the \
             response depends on the level.",
        )
        .within(-100.0, 0.0)
        .level(),
        whole(
            "repeats",
            1,
            "Sweeps at each level, averaged each on its own delay.",
        )
        .within(1.0, 100.0),
        wake_s(),
        choice(
            "smoothing",
            &["none", "1/48", "1/24", "1/12", "1/6", "1/3"],
            "Width in octaves of the bands that the power of the magnitude is averaged over.",
        ),
        numbers(
            "bands_hz",
            "Hz",
            &BANDS_HZ,
            "Edges of the bands of the figure deviation.",
        )
        .within(1.0, 96_000.0)
        .rising(),
        synchronous(),
    ]
}

/// What was set.
#[derive(Debug, Clone)]
pub struct Settings {
    pub start_hz: f64,
    pub stop_hz: f64,
    pub duration_s: f64,
    /// Peaks in dBFS, at least one.
    pub levels_dbfs: Vec<f64>,
    pub repeats: usize,
    pub wake_s: f64,
    /// `b` of 1/b octave.
    pub smoothing: Option<f64>,
    pub bands_hz: Vec<f64>,
}

impl Settings {
    /// Reads the parameters of `request`, or says what is wrong with them, all at once.
    pub fn read(request: &OpenRequest) -> Result<Self, Vec<FieldViolation>> {
        let parameters = Parameters::of(request);
        let mut levels_dbfs = parameters.numbers("levels_dbfs");
        if levels_dbfs.is_empty() {
            levels_dbfs.push(parameters.number("level_dbfs"));
        }
        let settings = Self {
            start_hz: parameters.number("start_hz"),
            stop_hz: parameters.number("stop_hz"),
            duration_s: parameters.number("duration_s"),
            levels_dbfs,
            repeats: parameters.whole("repeats").max(1),
            wake_s: parameters.number("wake_s"),
            smoothing: parameters
                .choice("smoothing")
                .strip_prefix("1/")
                .and_then(|fraction| fraction.parse().ok()),
            bands_hz: parameters.numbers("bands_hz"),
        };
        let violations = settings.violations(lowest_rate_hz(request));
        if violations.is_empty() {
            Ok(settings)
        } else {
            Err(violations)
        }
    }

    fn violations(&self, rate_hz: f64) -> Vec<FieldViolation> {
        let mut violations = Vec::new();
        let mut wrong = |id: &str, text: String| violations.push(violation(id, text));
        let stop_hz_max = STOP_RATE_SHARE_MAX * rate_hz;
        if self.stop_hz > stop_hz_max {
            wrong(
                "stop_hz",
                format!(
                    "{} Hz is too high for a rate of {rate_hz} Hz: at most {stop_hz_max:.0} Hz",
                    self.stop_hz
                ),
            );
        }
        if self.stop_hz < 2.0 * self.start_hz {
            wrong(
                "stop_hz",
                format!(
                    "{} Hz is less than an octave above start_hz ({} Hz): at least {} Hz",
                    self.stop_hz,
                    self.start_hz,
                    2.0 * self.start_hz
                ),
            );
        }
        if self.bands_hz.len() == 1 {
            wrong(
                "bands_hz",
                "one edge makes no band: give two or more, or none".to_owned(),
            );
        }
        let sweeps = self.levels_dbfs.len() * self.repeats;
        if sweeps as f64 * self.duration_s > BODY_S_MAX {
            wrong(
                "repeats",
                format!(
                    "{sweeps} sweeps of {} s take more than {BODY_S_MAX} s: fewer repeats or \
                     levels, or a shorter duration_s",
                    self.duration_s
                ),
            );
        }
        violations
    }

    /// The loudest level.
    pub fn peak_dbfs(&self) -> f64 {
        self.levels_dbfs
            .iter()
            .copied()
            .fold(f64::NEG_INFINITY, f64::max)
    }

    /// The measured band.
    pub fn band_hz(&self) -> [f64; 2] {
        [self.start_hz, self.stop_hz]
    }

    /// The middle of the band over log frequency.
    pub fn middle_hz(&self) -> f64 {
        (self.start_hz * self.stop_hz).sqrt()
    }

    /// Number of the loudest level.
    pub fn loudest(&self) -> usize {
        (0..self.levels_dbfs.len())
            .max_by(|&a, &b| self.levels_dbfs[a].total_cmp(&self.levels_dbfs[b]))
            .unwrap_or(0)
    }

    /// Seconds that all sweeps take together.
    pub fn body_s(&self) -> f64 {
        (self.levels_dbfs.len() * self.repeats) as f64 * self.duration_s
    }

    /// Indices of the sweeps at level number `level`.
    pub fn sweeps_of(&self, level: usize) -> std::ops::Range<usize> {
        level * self.repeats..(level + 1) * self.repeats
    }

    /// The stimulus at `rate_hz`; `seed` decides its wake-up noise.
    pub fn stimulus(&self, rate_hz: f64, seed: u64) -> Stimulus<SweepTrain> {
        let amplitudes = self
            .levels_dbfs
            .iter()
            .flat_map(|&level_dbfs| std::iter::repeat_n(amplitude(level_dbfs), self.repeats))
            .collect();
        self.stimulus_of(SweepTrain::new(self.sweep(rate_hz), amplitudes), seed)
    }

    /// The loudest sweeps of [`Settings::stimulus`] from the top down.
    pub fn stimulus_top_down(&self, rate_hz: f64, seed: u64) -> Stimulus<SweepTrain> {
        let amplitudes = vec![amplitude(self.peak_dbfs()); self.repeats];
        let train = SweepTrain::new(self.sweep(rate_hz), amplitudes);
        self.stimulus_of(train.top_down(), seed)
    }

    fn sweep(&self, rate_hz: f64) -> Sweep {
        Sweep::new(rate_hz, 1.0, self.start_hz, self.stop_hz, self.duration_s)
    }

    fn stimulus_of(&self, train: SweepTrain, seed: u64) -> Stimulus<SweepTrain> {
        let (rate_hz, peak_dbfs) = (train.sweep().rate_hz, self.peak_dbfs());
        Stimulus::new(rate_hz, self.wake_s, seed, peak_dbfs, peak_dbfs, train)
    }
}

/// The lower of the rates that the request names.
fn lowest_rate_hz(request: &OpenRequest) -> f64 {
    let returned = if request.returned_rate_hz > 0 {
        request.returned_rate_hz
    } else {
        request.rate_hz
    };
    f64::from(request.rate_hz.min(returned))
}
