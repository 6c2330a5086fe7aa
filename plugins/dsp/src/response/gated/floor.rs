//! The noise of a response: its floor, and the lines of hum that stand out of it.

use std::f64::consts::LN_2;

use super::spectrum::GateSpectrum;
use super::sums::Sums;
use crate::fft::Transform;
use crate::response::gates::Gate;
use crate::response::heard::Heard;
use crate::response::point::log_grid;

/// Power over that of the floor from which on a bin belongs to a line. Of noise alone one bin in
/// `exp(16)`, nine million, is so strong.
const LINE: f64 = 16.0;
/// Power over that of the floor down to which the bins beside a line belong to it.
const SKIRT: f64 = 4.0;
/// Half width of the band whose median is the floor, as a share of its frequency, and in cells of
/// the noise gate's resolution: a line fills some six.
const FLOOR_SHARE: f64 = 0.3;
const FLOOR_CELLS: f64 = 14.0;
/// Frequencies an octave at which the floor is found.
const FLOOR_PER_OCTAVE: f64 = 12.0;

/// Width of a line in cells, where it is a hundredth as strong as at its peak; what is wider is no
/// line, but noise of its own colour or a harmonic folded back.
const LINE_CELLS: f64 = 10.0;

/// A steady line.
pub(super) struct HumLine {
    pub(super) frequency_hz: f64,
    /// Density above the floor times its width in Hz.
    strength: f64,
}

/// Noise density of one channel's response, power per second of gate.
pub(super) struct NoiseFloor {
    /// All of it.
    all: Sums,
    /// Without lines.
    floor: Sums,
    lines: Vec<HumLine>,
    per_bin_hz: f64,
    /// Seconds of lags that it was had from.
    noise_s: f64,
}

impl NoiseFloor {
    /// Reads `noise`, the spectrum of lags at which the response has ended, under `gate`.
    pub(super) fn new(noise: &GateSpectrum, gate: &Gate, heard: &Heard, band_hz: [f64; 2]) -> Self {
        let per_bin_hz = noise.per_bin_hz;
        let density: Vec<f64> = noise
            .bins
            .iter()
            .enumerate()
            .map(|(bin, value)| value.norm_sqr() / heard.seconds(bin as f64 * per_bin_hz))
            .collect();
        let found = Excess::find(&density, per_bin_hz, gate.noise_s(), band_hz);
        let mut floor = density.clone();
        let lines = found.iter().map(|line| {
            let bins = line.first_bin..line.first_bin + line.excess.len();
            for (floor, excess) in floor[bins].iter_mut().zip(&line.excess) {
                *floor -= excess;
            }
            HumLine {
                frequency_hz: line.centre() * per_bin_hz,
                strength: line.excess.iter().sum::<f64>() * per_bin_hz,
            }
        });
        let lines = lines.collect();
        Self {
            all: Sums::new(density.into_iter().map(Some), per_bin_hz, band_hz),
            floor: Sums::new(floor.into_iter().map(Some), per_bin_hz, band_hz),
            lines,
            per_bin_hz,
            noise_s: gate.noise_s(),
        }
    }

    /// Mean density with its lines over `half_hz` on either side.
    pub(super) fn mean(&self, frequency_hz: f64, half_hz: f64) -> f64 {
        self.all.mean(frequency_hz, half_hz)
    }

    /// Density of the floor over a third of an octave, or what holds a few cells.
    pub(super) fn floor(&self, frequency_hz: f64) -> f64 {
        self.floor.mean(frequency_hz, self.half_hz(frequency_hz))
    }

    fn half_hz(&self, frequency_hz: f64) -> f64 {
        (0.12 * frequency_hz).max(8.0 / self.noise_s)
    }

    /// Power that the lines bring to `frequency_hz` under a gate of this `leakage`: a steady line
    /// spreads as the gate's own spectrum, and its phase is anybody's guess.
    pub(super) fn of_lines(&self, frequency_hz: f64, leakage: &Leakage) -> f64 {
        self.lines
            .iter()
            .map(|line| line.strength * leakage.at((line.frequency_hz - frequency_hz).abs()))
            .sum()
    }

    /// Whether any line stands out.
    pub(super) fn has_lines(&self) -> bool {
        !self.lines.is_empty()
    }

    /// Relative variance of [`NoiseFloor::floor`].
    pub(super) fn scatter(&self, frequency_hz: f64) -> f64 {
        1.0 / (2.0 * self.half_hz(frequency_hz) * self.noise_s)
    }

    /// Sum of density over frequency, and its relative variance: the weight by which a sweep's
    /// noise counts.
    pub(super) fn over_frequency(&self, from_hz: f64, to_hz: f64) -> [f64; 2] {
        let bins = (from_hz / self.per_bin_hz).ceil() as usize..=(to_hz / self.per_bin_hz) as usize;
        let (mut sum, mut square) = (0.0, 0.0);
        for bin in bins {
            let here = self.all.value(bin) / bin as f64;
            sum += here;
            square += here * here;
        }
        // Each power of noise alone has the square of its mean as variance, and so many
        // neighbours are one value.
        let alike = 1.0 / (self.noise_s * self.per_bin_hz);
        [sum, 0.5 * square * alike.max(1.0) / (sum * sum)]
    }
}

/// How far a steady line spreads under a gate: `|G(f)|^2` in seconds squared.
pub(super) struct Leakage {
    powers: Vec<f64>,
    per_bin_hz: f64,
}

impl Leakage {
    /// Places over the gate, and the size of the transform that they are padded to.
    const PLACES: usize = 2048;
    const SIZE: usize = 16_384;

    /// Tabulates that of `gate`.
    pub(super) fn new(gate: &Gate) -> Self {
        let step_s = (gate.to_s - gate.from_s) / Self::PLACES as f64;
        let weights: Vec<f64> = (0..=Self::PLACES)
            .map(|place| gate.weight(gate.from_s + place as f64 * step_s) * step_s)
            .collect();
        let [spectrum, _] = Transform::new(Self::SIZE).forward_pair(&weights, &[]);
        // Between the gate's zeros, whose places a line's own width blurs, the mean counts.
        let about = (Self::SIZE / Self::PLACES / 2) as i64;
        let power = |bin: i64| spectrum[bin.unsigned_abs() as usize].norm_sqr();
        let mean = |bin: i64| {
            let sum: f64 = (bin - about..=bin + about).map(power).sum();
            sum / (2 * about + 1) as f64
        };
        let last = spectrum.len() as i64 - about;
        Self {
            powers: (0..last).map(mean).collect(),
            per_bin_hz: 1.0 / (step_s * Self::SIZE as f64),
        }
    }

    fn at(&self, apart_hz: f64) -> f64 {
        let place = apart_hz / self.per_bin_hz;
        let base = place as usize;
        let share = place - base as f64;
        match self.powers.get(base..base + 2) {
            Some(pair) => pair[0] + share * (pair[1] - pair[0]),
            None => 0.0,
        }
    }
}

/// What stands out of the floor: consecutive bins.
struct Excess {
    first_bin: usize,
    /// Density above the floor.
    excess: Vec<f64>,
}

impl Excess {
    /// Where its middle lies, in bins.
    fn centre(&self) -> f64 {
        let moment = |(index, excess): (usize, &f64)| index as f64 * excess;
        let sum: f64 = self.excess.iter().sum();
        self.first_bin as f64 + self.excess.iter().enumerate().map(moment).sum::<f64>() / sum
    }

    fn is_line(&self, bins_per_cell: f64) -> bool {
        let peak = self.excess.iter().copied().fold(0.0, f64::max);
        let strong = self.excess.iter().filter(|&&excess| excess > 0.01 * peak);
        (strong.count() as f64) < LINE_CELLS * bins_per_cell.max(1.0)
    }

    /// Lines of `density` against its floor, the median over a wide band.
    ///
    /// White noise that was divided by a sweep grows with f, so the median is of density over f;
    /// the median of an exponential distribution is ln 2 of its mean.
    fn find(density: &[f64], per_bin_hz: f64, noise_s: f64, band_hz: [f64; 2]) -> Vec<Self> {
        let last = density.len() - 1;
        let bin_of = |frequency_hz: f64| ((frequency_hz / per_bin_hz) as usize).clamp(1, last);
        let first_bin = bin_of(band_hz[0]);
        let mut floor = Vec::new();
        for pair in log_grid(band_hz[0], band_hz[1], FLOOR_PER_OCTAVE).windows(2) {
            let half_hz = (FLOOR_SHARE * pair[0]).max(FLOOR_CELLS / noise_s);
            let about = bin_of((pair[0] - half_hz).max(band_hz[0]))..=bin_of(pair[0] + half_hz);
            let mut values: Vec<f64> = about.map(|bin| density[bin] / bin as f64).collect();
            let middle = values.len() / 2;
            let (_, median, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
            let per_bin = *median / LN_2;
            floor.extend((bin_of(pair[0])..bin_of(pair[1])).map(|bin| per_bin * bin as f64));
        }
        let stands_out = |index: usize, by: f64| density[first_bin + index] > by * floor[index];
        let mut found = Vec::new();
        let mut index = 0;
        while index < floor.len() {
            let run = (index..floor.len()).take_while(|&at| stands_out(at, SKIRT));
            let end = run.last().map_or(index + 1, |at| at + 1);
            if (index..end).any(|at| stands_out(at, LINE)) {
                let excess = (index..end).map(|at| density[first_bin + at] - floor[at]);
                found.push(Self {
                    first_bin: first_bin + index,
                    excess: excess.collect(),
                });
            }
            index = end;
        }
        let bins_per_cell = 1.0 / (noise_s * per_bin_hz);
        found.retain(|line| line.is_line(bins_per_cell));
        found
    }
}
