//! How many truths the uncertainties hold: links in noise, again and again with other seeds.

use std::collections::BTreeMap;

use goodwire_plugin_sdk::api::Figure;
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::{OpenRequest, SessionResult};

use super::{analyse, curve, request, stimulus, through, with_method};

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
}

impl Tally {
    /// Counts one figure.
    pub fn count(&mut self, figure: &Figure, truth: f64) {
        let value = figure.value.unwrap();
        if let Some(deviation) = figure.uncertainty {
            self.even += 1;
            self.one += usize::from((value - truth).abs() <= deviation);
            self.two += usize::from((value - truth).abs() <= 2.0 * deviation);
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
            "{:4} even: {one:5.1} % within one, {two:5.1} % within two; {:4} intervals: {within:5.1} %",
            self.even, self.uneven
        )
    }
}

/// Tallies by figure.
pub type Tallies = BTreeMap<String, Tally>;

/// A bent line `x + a2 x² + … + a5 x⁵` on tones of -20 dBFS.
const FACTORS: [f64; 4] = [0.1, 0.4, 4.0, 20.0];

const PEAK: f64 = 0.1;

fn bend(x: f64) -> f64 {
    let [a2, a3, a4, a5] = FACTORS;
    x * (1.0 + x * (a2 + x * (a3 + x * (a4 + x * a5))))
}

/// Harmonics 1 to 5 of a tone through it, by power reduction.
fn harmonics() -> [f64; 5] {
    let [a2, a3, a4, a5] = FACTORS;
    let power = |n: i32| PEAK.powi(n);
    [
        PEAK + 0.75 * a3 * power(3) + 0.625 * a5 * power(5),
        0.5 * a2 * power(2) + 0.5 * a4 * power(4),
        0.25 * a3 * power(3) + 0.3125 * a5 * power(5),
        0.125 * a4 * power(4),
        0.0625 * a5 * power(5),
    ]
}

/// Runs `runs` seeds of white noise of `noise` (RMS) at the link's return and a tenth of it at the
/// reference's, over a tone of 997 Hz.
pub fn stepped(runs: u64, noise: f64) -> Tallies {
    let request = request(
        Mode::Recorded,
        &[("wake_s", 0.0), ("duration_s", 0.4)],
        &[997.0],
    );
    let h = harmonics();
    let distortion: f64 = h[1..].iter().map(|h| h * h).sum();
    // Of white noise over 24 kHz, 20 Hz to 20 kHz counts.
    let rest = distortion + 2.0 * noise * noise * 19_980.0 / 24_000.0;
    let mut truths: Vec<(String, f64)> = (2..=5)
        .map(|order| (format!("h{order}"), 20.0 * (h[order - 1] / h[0]).log10()))
        .collect();
    truths.push(("thd".to_owned(), 100.0 * distortion.sqrt() / h[0]));
    truths.push((
        "thd_n".to_owned(),
        100.0 * (rest / (rest + h[0] * h[0])).sqrt(),
    ));
    tallied(runs, noise, &request, &truths, bend)
}

/// The same over pairs of tones: `x + a2 x² + a3 x³` and the identities of products of sines.
pub fn intermodulation(runs: u64, noise: f64) -> Tallies {
    let request = request(Mode::Recorded, &[("wake_s", 0.0), ("duration_s", 0.4)], &[]);
    let request = with_method(request, "intermodulation");
    let (a2, a3) = (0.05, 0.3);
    let tone = |own: f64, other: f64| own * (1.0 + a3 * (0.75 * own * own + 1.5 * other * other));
    let (p, q) = (0.8 * PEAK, 0.2 * PEAK);
    let modulation = f64::hypot(2.0 * a2 * p * q, 1.5 * a3 * p * p * q) / tone(q, p);
    let half = 0.5 * PEAK;
    let difference =
        f64::hypot(a2 * half * half, 1.5 * a3 * half.powi(3)) / (2.0 * tone(half, half));
    let truths = [
        ("imd_modulation".to_owned(), 100.0 * modulation),
        ("imd_difference".to_owned(), 100.0 * difference),
    ];
    tallied(runs, noise, &request, &truths, |x| {
        x + a2 * x * x + a3 * x * x * x
    })
}

/// The points of swept curves, 2 s long, more than an octave apart: shares of
/// points count as runs do.
pub fn swept(runs: u64, noise: f64) -> Tallies {
    let set = [("wake_s", 0.0), ("sweep_s", 2.0)];
    let request = with_method(request(Mode::Recorded, &set, &[]), "swept");
    let sent = stimulus(&request);
    // Squares and cubes fold at the top of the sweep: what is told of ends below.
    let link = |x: f64| x + 0.1 * x * x + 0.4 * x * x * x;
    let fundamental = PEAK + 0.75 * 0.4 * PEAK.powi(3);
    let truths = [("h2", 0.05 * PEAK.powi(2)), ("h3", 0.1 * PEAK.powi(3))];
    let mut tallies = Tallies::new();
    for seed in 0..runs {
        let returned = through(&sent, 200, noise, 2 * seed + 1, link);
        let reference = through(&sent, 3, 0.1 * noise, 2 * seed + 2, |x| x);
        let result = analyse(&request, &sent, &returned, Some(&reference)).unwrap();
        for (id, amplitude) in truths {
            let truth = 20.0 * (amplitude / fundamental).log10();
            let curve = curve(&result, id).unwrap();
            let points = curve.x.iter().zip(&curve.y).zip(&curve.y_uncertainty);
            let told = points.filter(|((hz, _), _)| (40.0..4_000.0).contains(*hz));
            for ((_, &value), &deviation) in told.step_by(28) {
                let tally = tallies.entry(id.to_owned()).or_default();
                tally.even += 1;
                tally.one += usize::from((value - truth).abs() <= deviation);
                tally.two += usize::from((value - truth).abs() <= 2.0 * deviation);
            }
        }
    }
    tallies
}

fn tallied(
    runs: u64,
    noise: f64,
    request: &OpenRequest,
    truths: &[(String, f64)],
    link: impl Fn(f64) -> f64,
) -> Tallies {
    let sent = stimulus(request);
    let mut tallies = Tallies::new();
    for seed in 0..runs {
        let returned = through(&sent, 200, noise, 2 * seed + 1, &link);
        let reference = through(&sent, 3, 0.1 * noise, 2 * seed + 2, |x| x);
        let result = analyse(request, &sent, &returned, Some(&reference)).unwrap();
        count(&mut tallies, &result, truths);
    }
    tallies
}

fn count(tallies: &mut Tallies, result: &SessionResult, truths: &[(String, f64)]) {
    for (id, truth) in truths {
        let found = result.figures.iter().find(|figure| figure.id == *id);
        tallies
            .entry(id.clone())
            .or_default()
            .count(found.unwrap(), *truth);
    }
}
