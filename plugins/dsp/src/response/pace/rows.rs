//! The delay of each pass in each cell of the band.

use std::f64::consts::TAU;
use std::ops::Range;

use rustfft::num_complex::Complex64;

use super::passes::Pass;
use crate::fft::Transform;

/// Lowest frequency of a cell in Hz: below, a short response does not tell neighbours apart.
const LOWEST_HZ: f64 = 80.0;
/// Least width of a cell in Hz, and its least share of its frequency.
const WIDTH_HZ: f64 = 40.0;
const WIDTH_SHARE: f64 = 0.125;
/// Coherence (squared) from which on a cell's phase is that of the delay that was expected.
const AS_EXPECTED: f64 = 0.995;
/// Coherence (squared) below which a cell holds noise.
const COHERENCE_MIN: f64 = 0.3;
/// Coherence (squared) from which on an envelope is sharp enough to count whole periods.
const SHARP: f64 = 0.97;

/// A stretch of the band.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cell {
    bins: Range<usize>,
    /// Lower and upper end in Hz.
    edges_hz: [f64; 2],
}

/// What one pass tells of one cell.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row {
    pub(super) pass: usize,
    pub(super) cell: usize,
    /// Seconds of the stimulus at which the pass is in the middle of the cell.
    pub(super) time_s: f64,
    /// The same at both ends of the cell, earlier one first.
    pub(super) ends_s: [f64; 2],
    /// Frames by which the pass is later here than the first sweep.
    pub(super) delay_frames: f64,
    /// Inverse of the variance of `delay_frames`, up to a factor common to all rows.
    pub(super) weight: f64,
}

/// Cells of the whole band that any two passes tell of.
pub(super) fn cells(passes: &[Pass]) -> Vec<Cell> {
    let per_bin_hz = passes[0].per_bin_hz;
    let lowest = passes
        .iter()
        .map(|pass| pass.band_hz[0])
        .fold(f64::INFINITY, f64::min);
    let highest = passes
        .iter()
        .map(|pass| pass.band_hz[1])
        .fold(0.0, f64::max);
    let mut low_hz = lowest.max(LOWEST_HZ);
    let mut cells = Vec::new();
    while low_hz < highest {
        let width_hz = WIDTH_HZ.max(WIDTH_SHARE * low_hz);
        // What is left at the top belongs to the last one.
        let is_last = low_hz + 2.0 * width_hz > highest;
        let high_hz = if is_last { highest } else { low_hz + width_hz };
        cells.push(Cell {
            bins: (low_hz / per_bin_hz).ceil() as usize..(high_hz / per_bin_hz).ceil() as usize,
            edges_hz: [low_hz, high_hz],
        });
        low_hz = high_hz;
    }
    cells
}

/// All rows, by pass and in each by cell. Cells that fewer than two passes tell of are left out.
pub(super) fn rows(passes: &[Pass], cells: &[Cell], rate_hz: f64) -> Vec<Row> {
    // The first sweep has the widest band.
    let base = &passes[1];
    let expected: Vec<f64> = passes.iter().map(|pass| whole_delay(pass, base)).collect();
    let mut rows = Vec::with_capacity(passes.len() * cells.len());
    let mut comparer = Comparer::default();
    for (number, cell) in cells.iter().enumerate() {
        let tells = |pass: &Pass| {
            pass.band_hz[0] <= cell.edges_hz[0] && cell.edges_hz[1] <= pass.band_hz[1]
        };
        let heard: Vec<(usize, Heard)> = (0..passes.len())
            .filter(|&index| tells(&passes[index]))
            .filter_map(|index| {
                let heard = comparer.compare(&passes[index], base, cell, expected[index])?;
                Some((index, heard))
            })
            .collect();
        if heard.len() < 2 {
            continue;
        }
        let power = heard.iter().map(|(_, heard)| heard.power).sum::<f64>() / heard.len() as f64;
        let middle_hz = 0.5 * (cell.edges_hz[0] + cell.edges_hz[1]);
        let share = (cell.edges_hz[1] / cell.edges_hz[0]).ln();
        rows.extend(heard.iter().map(|&(index, heard)| {
            let pass = &passes[index];
            let mut ends_s = cell.edges_hz.map(|hz| pass.time_s(hz));
            ends_s.sort_by(f64::total_cmp);
            Row {
                pass: index,
                cell: number,
                time_s: pass.time_s(middle_hz),
                ends_s,
                delay_frames: pass.lag_frames - base.lag_frames + heard.delay_frames,
                weight: (TAU * middle_hz / rate_hz).powi(2) * power * pass.energy * share,
            }
        }));
    }
    rows.sort_by_key(|row| (row.pass, row.cell));
    rows
}

/// Frames by which all of `pass` is later than `base`, both on their own lag, to a frame or so.
fn whole_delay(pass: &Pass, base: &Pass) -> f64 {
    let size = 2 * (pass.spectrum.len() - 1);
    let cross: Vec<Complex64> = pass
        .spectrum
        .iter()
        .zip(&base.spectrum)
        .enumerate()
        .map(|(bin, (a, b))| a * b.conj() / (bin.max(1) as f64))
        .collect();
    let mut transform = Transform::new(size);
    let silent = vec![Complex64::default(); cross.len()];
    let [likeness, _] = transform.inverse_pair(&cross, &silent);
    let peak = (0..size)
        .max_by(|&a, &b| likeness[a].total_cmp(&likeness[b]))
        .unwrap_or(0);
    if peak > size / 2 {
        peak as f64 - size as f64
    } else {
        peak as f64
    }
}

/// Two passes in one cell.
#[derive(Debug, Clone, Copy)]
struct Heard {
    delay_frames: f64,
    /// Power of the link there, without its noise.
    power: f64,
}

/// Compares passes; keeps its transform.
#[derive(Default)]
struct Comparer {
    transform: Option<Transform>,
    cross: Vec<Complex64>,
}

impl Comparer {
    /// `pass` against `base` in `cell`, about the delay that was `expected`. `None` where they
    /// are not alike.
    ///
    /// The phase tells the delay but for whole periods; these are the expected ones where the
    /// cell is as coherent there as anywhere, else those of the envelope's peak.
    fn compare(&mut self, pass: &Pass, base: &Pass, cell: &Cell, expected: f64) -> Option<Heard> {
        let size = 2 * (pass.spectrum.len() - 1);
        let bins = cell.bins.clone();
        let (a, b) = (&pass.spectrum[bins.clone()], &base.spectrum[bins.clone()]);
        self.cross.clear();
        self.cross
            .extend(a.iter().zip(b).map(|(a, b)| a * b.conj()));
        let energies = [a, b].map(|part| part.iter().map(Complex64::norm_sqr).sum::<f64>());
        let all = (energies[0] * energies[1]).max(f64::MIN_POSITIVE);
        let mut delay = expected;
        let mut sum = self.turned_back(delay, cell, size);
        let mut coherence = sum.norm_sqr() / all;
        if coherence < AS_EXPECTED {
            let peak = self.envelope_peak(size);
            let there = self.turned_back(peak, cell, size);
            let at_peak = there.norm_sqr() / all;
            // In noise an envelope is too blunt to leave what was expected for a little more.
            if at_peak > SHARP || coherence < 0.5 * at_peak {
                (delay, sum, coherence) = (peak, there, at_peak);
            }
        }
        if coherence.is_nan() || coherence < COHERENCE_MIN {
            return None;
        }
        let middle = 0.5 * (bins.start + bins.end - 1) as f64;
        let per_frame = TAU * middle / size as f64;
        Some(Heard {
            delay_frames: delay - sum.arg() / per_frame,
            power: sum.norm() / bins.len() as f64,
        })
    }

    /// Sum of the cross spectrum with `delay` frames taken out.
    fn turned_back(&self, delay: f64, cell: &Cell, size: usize) -> Complex64 {
        let step = TAU * delay / size as f64;
        let turn = Complex64::cis(step);
        let mut phasor = Complex64::cis(step * cell.bins.start as f64);
        let mut sum = Complex64::default();
        for value in &self.cross {
            sum += value * phasor;
            phasor *= turn;
        }
        sum
    }

    /// Frames at which the envelope of the cross-correlation is largest.
    fn envelope_peak(&mut self, size: usize) -> f64 {
        let points = (4 * self.cross.len()).next_power_of_two();
        let transform = match &mut self.transform {
            Some(transform) if transform.size() == points => transform,
            other => other.insert(Transform::new(points)),
        };
        let mut envelope = self.cross.clone();
        envelope.resize(points, Complex64::default());
        transform.inverse(&mut envelope);
        let power: Vec<f64> = envelope.iter().map(Complex64::norm_sqr).collect();
        let peak = (0..points)
            .max_by(|&a, &b| power[a].total_cmp(&power[b]))
            .unwrap_or(0);
        let [before, here, after] = [points - 1, 0, 1].map(|step| power[(peak + step) % points]);
        let bend = before - 2.0 * here + after;
        let beside = if bend < 0.0 {
            0.5 * (before - after) / bend
        } else {
            0.0
        };
        let mut place = peak as f64 + beside;
        if place > points as f64 / 2.0 {
            place -= points as f64;
        }
        place * size as f64 / points as f64
    }
}
