//! How many truths the uncertainties hold: links in noise, again and again with other seeds and
//! other knees.

use std::collections::BTreeMap;
use std::f64::consts::TAU;

use goodwire_dsp::noise::white;
use goodwire_plugin_sdk::api::Figure;
use goodwire_plugin_sdk::payload::SessionResult;
use goodwire_plugin_sdk::payload::open_request::Mode;

use super::{analyse, request, stimulus, through};

/// Truths that were held, of one figure.
#[derive(Debug, Clone, Copy, Default)]
pub struct Tally {
    /// Runs in which the figure had a standard deviation.
    pub even: usize,
    /// Of those, truths within one.
    pub one: usize,
    /// Of those, truths within two.
    pub two: usize,
    /// Runs in which it had an interval.
    pub uneven: usize,
    /// Of those, truths within it.
    pub within: usize,
    /// Largest difference.
    pub worst: f64,
}

impl Tally {
    /// Counts one figure.
    pub fn count(&mut self, figure: &Figure, truth: f64) {
        let off = (figure.value.unwrap() - truth).abs();
        self.worst = self.worst.max(off);
        if let Some(deviation) = figure.uncertainty {
            self.even += 1;
            self.one += usize::from(off <= deviation);
            self.two += usize::from(off <= 2.0 * deviation);
        } else {
            let held = figure.low.unwrap() <= truth && truth <= figure.high.unwrap();
            self.uneven += 1;
            self.within += usize::from(held);
        }
    }
}

impl std::fmt::Display for Tally {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let percent = |part: usize, all: usize| 100.0 * part as f64 / all.max(1) as f64;
        let (one, two) = (percent(self.one, self.even), percent(self.two, self.even));
        let within = percent(self.within, self.uneven);
        write!(
            f,
            "{:4} even: {one:5.1} % within one, {two:5.1} % within two; {:4} intervals: {within:5.1} \
             %; worst {:.4}",
            self.even, self.uneven, self.worst
        )
    }
}

/// Tallies by figure.
pub type Tallies = BTreeMap<String, Tally>;

/// A link with a knee.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Straight for ever.
    Straight,
    /// Cut at the knee.
    Hard,
    /// A hyperbolic tangent towards the knee.
    Tanh,
}

impl Kind {
    fn bend(self, x: f64, knee: f64) -> f64 {
        match self {
            Self::Straight => x,
            Self::Hard => x.clamp(-knee, knee),
            Self::Tanh => knee * (x / knee).tanh(),
        }
    }

    /// Gain of the fundamental in dB at `level_dbfs`, by its Fourier integral over 512 phases.
    fn gain_db(self, level_dbfs: f64, knee: f64) -> f64 {
        let peak = 10f64.powf(level_dbfs / 20.0);
        let sum: f64 = (0..512)
            .map(|n| (TAU * f64::from(n) / 512.0).sin())
            .map(|sine| sine * self.bend(peak * sine, knee))
            .sum();
        20.0 * (2.0 * sum / 512.0 / peak).log10()
    }
}

/// Levels from -40 dBFS up in steps of 2 dB.
const STEPS: [(&str, f64); 3] = [("wake_s", 0.0), ("min_dbfs", -40.0), ("step_db", 2.0)];

/// Runs `runs` seeds of white noise of `noise` (RMS) at the return, the knee at -9 to -7 dBFS.
pub fn run(kind: Kind, runs: u64, noise: f64) -> Tallies {
    let request = request(Mode::Recorded, &STEPS);
    let sent = stimulus(&request);
    let mut tallies = Tallies::new();
    for seed in 0..runs {
        let knee_dbfs = -8.0 + white(91, seed);
        let knee = 10f64.powf(knee_dbfs / 20.0);
        let returned = through(&sent, 200, noise, 2 * seed + 1, |x| {
            0.5 * kind.bend(x, knee)
        });
        let reference = through(&sent, 3, 0.1 * noise, 2 * seed + 2, |x| x);
        let result = analyse(&request, &sent, &returned, Some(&reference)).unwrap();
        for (id, truth) in truths(kind, knee_dbfs, &result) {
            if let Some(figure) = result.figures.iter().find(|figure| figure.id == id) {
                tallies
                    .entry(id.to_owned())
                    .or_default()
                    .count(figure, truth);
            }
        }
    }
    tallies
}

/// What the figures of a link with its knee at `knee_dbfs` have to be: clip and compression point by
/// bisection on the Fourier integral, the change of the gain where the result found it.
fn truths(kind: Kind, knee_dbfs: f64, result: &SessionResult) -> Vec<(&'static str, f64)> {
    let knee = 10f64.powf(knee_dbfs / 20.0);
    let (clip, compression) = match kind {
        Kind::Straight => (f64::NAN, f64::NAN),
        Kind::Hard => (0.6700, 2.0043),
        Kind::Tanh => (-4.0331, -2.9253),
    };
    let straight_db = 20.0 * 0.5f64.log10();
    let levels = || (0..=20).map(|step| -40.0 + 2.0 * f64::from(step));
    let clip_dbfs = knee_dbfs + clip;
    let bent_db = |level_dbfs: f64| kind.gain_db(level_dbfs, knee);
    // As the contract has it: the mean over 30 to 20 dB below the clip point.
    let low = levels().filter(|level| (clip_dbfs - 30.0..=clip_dbfs - 20.0).contains(level));
    let (sum, count) = low.fold((0.0, 0.0), |(sum, n), level| {
        (sum + bent_db(level), n + 1.0)
    });
    let gain_db = if clip.is_nan() { 0.0 } else { sum / count };
    let changes = levels().filter(|&level| clip.is_nan() || level <= clip_dbfs - 6.0);
    let change = changes
        .map(|level| bent_db(level) - gain_db)
        .max_by(|a, b| a.abs().total_cmp(&b.abs()))
        .unwrap();
    let mut truths = vec![("gain", straight_db + gain_db), ("linearity", change)];
    if !clip.is_nan() {
        truths.push(("clip_point", clip_dbfs));
        truths.push(("compression_point", knee_dbfs + compression));
    }
    assert!(!result.figures.is_empty());
    truths
}
