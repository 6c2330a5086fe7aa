//! Figures, curves and notes from the deconvolved sweeps.

use std::ops::Range;

use goodwire_dsp::align::Alignment;
use goodwire_dsp::decibel::power_db;
use goodwire_dsp::response::corners::{self, Corners};
use goodwire_dsp::response::curve::{
    Level, group_delay, half_band, level, phase, power_mean, smoothed,
};
use goodwire_dsp::response::{
    Arrival, Gated, Line, PathDifference, Point, Rival, SweepResponse, SweepTrain, arrivals,
    fit_line, harmonic_ratio, largest, latency_grid, linear_grid, log_grid,
};
use goodwire_plugin_sdk::api::{Curve, Figure, Note};
use goodwire_plugin_sdk::figures::{Located, curve, figure, info, warning};
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::{OpenRequest, SessionResult};

use crate::coder;
use crate::heard::Heard;
use crate::levels;
use crate::settings::Settings;
use crate::waking::Waking;

/// Gates in seconds to choose from, before the longest that is free of harmonics.
const GATES_S: [f64; 2] = [0.1, 0.5];
/// Points an octave of the curves.
const PER_OCTAVE: f64 = 96.0;
/// Points of the third octave about 1 kHz whose mean power is the gain.
const GAIN_POINT_COUNT: usize = 65;
/// Points on either side that are averaged to tell a large value from a chance one: a sixth of an
/// octave.
const SMOOTH_POINTS: usize = 16;
/// Fundamentals in Hz whose third harmonic tells a bend from a limiter, which distorts the bass
/// alone.
const THIRD_HZ: [f64; 2] = [300.0, 2_000.0];
/// Spread of the repeats' delays in frames from which on it is told.
const JITTER_FRAMES: f64 = 0.02;
/// Least uncertainty in dB of a gain on real hardware whose knobs were never matched.
const UNMATCHED_GAIN_DB: f64 = 0.5;

/// A measured response.
pub struct Measured<'a> {
    request: &'a OpenRequest,
    settings: &'a Settings,
    alignment: &'a Alignment,
    /// The curve at each level, where there are several.
    levels: Vec<Vec<Level>>,
    /// Third harmonic at the loudest level re the fundamental, where there are several.
    third: f64,
    frequencies_hz: Vec<f64>,
    /// The response at the loudest level, which all but `levels` is of.
    points: Vec<Point>,
    magnitude: Vec<Level>,
    gain: Level,
    edges: Corners,
    /// Power ratio and its relative standard deviation.
    snr: [f64; 2],
    /// What is to be said of an error that follows the signal.
    coder: Option<Note>,
    line: Option<Line>,
    arrivals: Vec<Arrival>,
}

impl<'a> Measured<'a> {
    /// Averages, gates and reads the sweeps of `heard` that `waking` believes.
    pub fn new(
        request: &'a OpenRequest,
        settings: &'a Settings,
        heard: &'a Heard,
        waking: &Waking,
    ) -> Self {
        let band_hz = settings.band_hz();
        let frequencies_hz = log_grid(band_hz[0], band_hz[1], PER_OCTAVE);
        let loudest = settings.loudest();
        let of_level = |level: usize| {
            let averaged = waking.averaged(settings, heard, level);
            let gated = Gated::new(&averaged.response, heard.train.sweep(), &GATES_S);
            (averaged, gated)
        };
        let (averaged, gated) = of_level(loudest);
        let read = |gated: &Gated, at: &[f64]| -> Vec<Point> {
            at.iter()
                .map(|&f| matched_point(gated, request, f))
                .collect()
        };
        let points = read(&gated, &frequencies_hz);
        let magnitude = magnitude_of(&points, settings);
        let others = |level: usize| match level == loudest {
            true => magnitude.clone(),
            false => magnitude_of(&read(&of_level(level).1, &frequencies_hz), settings),
        };
        let levels = match settings.levels_dbfs.len() {
            0 | 1 => Vec::new(),
            count => (0..count).map(others).collect(),
        };
        let third = match levels.len() {
            0 => 0.0,
            _ => third_harmonic(&averaged.response, &heard.train, band_hz),
        };
        let gain = power_mean(&read(&gated, &gain_frequencies(band_hz)));
        let gates_s: Vec<f64> = points.iter().map(|point| point.gate_s).collect();
        let curve = corners::Curve {
            frequencies_hz: &frequencies_hz,
            levels: &magnitude,
            gates_s: &gates_s,
        };
        let edges = corners::corners(&curve, gain.db - 3.0);
        let line = fit_line(&read(&gated, &latency_grid(&edges, band_hz)));
        let indices = waking.sweeps_of(settings, heard, loudest);
        let alignment = &heard.alignment;
        let arrivals = line.map_or_else(Vec::new, |line| {
            arrivals(alignment, &heard.train, &indices, &averaged, &line)
        });
        Self {
            request,
            settings,
            alignment,
            snr: gated.snr(band_hz[0], band_hz[1]),
            coder: coder::note(&gated, &frequencies_hz),
            levels,
            third,
            frequencies_hz,
            points,
            magnitude,
            gain,
            edges,
            line,
            arrivals,
        }
    }

    /// The result as the daemon takes it.
    pub fn result(&self) -> SessionResult {
        let mut result = SessionResult::default();
        self.paths(&mut result.notes);
        let gain_sigma_db = self.gain_sigma_db();
        result
            .figures
            .push(figure("gain", self.gain.db, gain_sigma_db, "dB"));
        self.deviations(&mut result.figures);
        self.corners(&mut result.figures, &mut result.notes);
        self.level_dependence(&mut result.figures);
        let levels_dbfs = &self.settings.levels_dbfs;
        let bands = levels::bands(levels_dbfs, &self.frequencies_hz, &self.levels);
        result.notes.extend(levels::notes(&bands, self.third));
        self.snr(&mut result);
        result.notes.extend(self.coder.clone());
        self.timing(&mut result);
        result.curves = self.curves();
        result
    }

    /// What the figures are relative to.
    fn paths(&self, notes: &mut Vec<Note>) {
        if self.alignment.reference.is_none() {
            notes.push(info(
                "no-reference",
                "no reference was heard: the link is compared with what was played, so gain and \
                 response of the interface are in the figures",
            ));
        } else if self.request.r#match.is_none() && !self.request.is_match {
            notes.push(info(
                "unmatched-paths",
                "the paths of link and reference were never matched with a cable in the link's \
                 place: their own difference is in the figures",
            ));
        }
        let clock = self.alignment.link.skew;
        if self.alignment.link.removed_skew != 0.0 {
            notes.push(info(
                "skew-removed",
                format!(
                    "the recorder's clock is off by {:.3} ppm; this was taken out",
                    clock.ppm
                ),
            ));
        }
    }

    /// Knobs of real inputs differ where nobody matched them.
    fn gain_sigma_db(&self) -> f64 {
        let live = self.request.mode() == Mode::Live && !self.request.simulated;
        if live && self.request.r#match.is_none() && !self.request.is_match {
            return self.gain.sigma_db.max(UNMATCHED_GAIN_DB);
        }
        self.gain.sigma_db
    }

    fn deviations(&self, figures: &mut Vec<Figure>) {
        let off: Vec<Level> = self
            .magnitude
            .iter()
            .map(|here| Level {
                db: here.db - self.gain.db,
                ..*here
            })
            .collect();
        for edges in self.settings.bands_hz.windows(2) {
            let inside = |&hz: &f64| hz >= edges[0] * (1.0 - 1e-9) && hz <= edges[1] * (1.0 + 1e-9);
            let Some(first) = self.frequencies_hz.iter().position(inside) else {
                continue;
            };
            let end = first
                + self.frequencies_hz[first..]
                    .iter()
                    .take_while(|f| inside(f))
                    .count();
            if let Some((index, level)) = largest(&self.rivals(&off, first..end)) {
                let sigma_db = level.sigma_db.hypot(self.gain.sigma_db);
                figures.push(
                    figure("deviation", level.db, sigma_db, "dB")
                        .at("from_hz", edges[0])
                        .at("to_hz", edges[1])
                        .at("frequency_hz", self.frequencies_hz[first + index]),
                );
            }
        }
    }

    /// The values of `levels`, as many as there are points, with what their noise is.
    fn rivals(&self, levels: &[Level], range: Range<usize>) -> Vec<Rival> {
        range
            .map(|index| {
                let low = index.saturating_sub(SMOOTH_POINTS);
                let about = &levels[low..(index + SMOOTH_POINTS + 1).min(levels.len())];
                let spacing_hz =
                    self.frequencies_hz[index] / (PER_OCTAVE * std::f64::consts::LOG2_E);
                Rival {
                    level: levels[index],
                    smooth_db: about.iter().map(|level| level.db).sum::<f64>() / about.len() as f64,
                    cells: (spacing_hz * self.points[index].gate_s).min(1.0),
                }
            })
            .collect()
    }

    fn corners(&self, figures: &mut Vec<Figure>, notes: &mut Vec<Note>) {
        for (id, note, corner) in [
            ("corner_low", "no-corner-low", self.edges.low),
            ("corner_high", "no-corner-high", self.edges.high),
        ] {
            match corner {
                Some(corner) => {
                    let of_gain_hz = self.gain.sigma_db * corner.hz_per_db;
                    let sigma_hz = corner.sigma_hz.hypot(of_gain_hz);
                    figures.push(figure(id, corner.hz, sigma_hz, "Hz"));
                }
                None => notes.push(info(
                    note,
                    "the curve does not fall 3 dB below the gain at this end of the measured band",
                )),
            }
        }
    }

    fn level_dependence(&self, figures: &mut Vec<Figure>) {
        let spread = |index: usize| {
            let at = |levels: &Vec<Level>| levels[index];
            let by_db = |a: &Level, b: &Level| a.db.total_cmp(&b.db);
            let highest = self.levels.iter().map(at).max_by(by_db)?;
            let lowest = self.levels.iter().map(at).min_by(by_db)?;
            Some(Level {
                db: highest.db - lowest.db,
                sigma_db: highest.sigma_db.hypot(lowest.sigma_db),
            })
        };
        let all = 0..self.frequencies_hz.len();
        let changes: Vec<Level> = all.clone().filter_map(spread).collect();
        if changes.is_empty() {
            return;
        }
        if let Some((index, level)) = largest(&self.rivals(&changes, all)) {
            figures.push(
                figure("level_dependence", level.db.max(0.0), level.sigma_db, "dB")
                    .at("frequency_hz", self.frequencies_hz[index]),
            );
        }
    }

    fn snr(&self, result: &mut SessionResult) {
        let [ratio, sigma] = self.snr;
        let snr_db = power_db(ratio);
        let sigma_db = power_db(1.0 + sigma);
        result.figures.push(figure("snr", snr_db, sigma_db, "dB"));
        if snr_db < 0.0 {
            result.notes.push(warning(
                "low-snr",
                "there is more noise than signal in the link's return: play louder or longer",
            ));
        }
    }

    /// Latency for a match, and the spread of the repeats.
    fn timing(&self, result: &mut SessionResult) {
        let changes = || self.arrivals.iter().map(|arrival| arrival.change_s);
        let spread_s =
            changes().fold(f64::NEG_INFINITY, f64::max) - changes().fold(f64::INFINITY, f64::min);
        if spread_s * self.alignment.layout.rate_hz > JITTER_FRAMES {
            let sigma_s = self.arrivals.iter().map(|a| a.sigma_s).fold(0.0, f64::max);
            result
                .figures
                .push(figure("jitter", spread_s * 1e3, sigma_s * 1e3, "ms"));
            result.notes.push(info(
                "jitter",
                "the repeats did not come back alike late; each was averaged on its own delay",
            ));
        }
        if let (true, Some(line), true) = (
            self.request.is_match,
            self.line,
            self.alignment.reference.is_some(),
        ) {
            let count = self.arrivals.len() as f64;
            let mean_s = self.arrivals.iter().map(|a| a.latency_s).sum::<f64>() / count;
            let floor_s = 1e-6 / self.alignment.layout.rate_hz;
            let sigma_s = line.sigma_s.max(floor_s);
            result
                .figures
                .push(figure("latency", mean_s * 1e3, sigma_s * 1e3, "ms"));
        }
    }

    fn curves(&self) -> Vec<Curve> {
        let x = || self.frequencies_hz.clone();
        let mut curves = vec![curve(
            "magnitude",
            ["Hz", "dB"],
            x(),
            self.magnitude.iter().map(|level| level.db).collect(),
            self.magnitude.iter().map(|level| level.sigma_db).collect(),
        )];
        if let Some(line) = &self.line {
            let phases = phase(&self.points, line);
            let delays = group_delay(&self.points, &phases);
            curves.push(curve(
                "phase",
                ["Hz", "degree"],
                x(),
                phases.iter().map(|phase| phase.to_degrees()).collect(),
                self.points.iter().map(|p| p.sigma().to_degrees()).collect(),
            ));
            curves.push(curve(
                "group_delay",
                ["Hz", "ms"],
                x(),
                delays.iter().map(|delay| delay[0] * 1e3).collect(),
                delays.iter().map(|delay| delay[1] * 1e3).collect(),
            ));
        }
        curves
    }
}

fn matched_point(gated: &Gated, request: &OpenRequest, frequency_hz: f64) -> Point {
    let mut point = gated.at(frequency_hz);
    if let Some(by) = &request.r#match {
        let difference = PathDifference {
            frequency_hz: &by.frequency_hz,
            gain_db: &by.gain_db,
            phase_degree: &by.phase_degree,
        };
        difference.divide(&mut point);
    }
    point
}

/// Third harmonic of fundamentals in the middle of the band, re the fundamental.
fn third_harmonic(response: &SweepResponse, train: &SweepTrain, band_hz: [f64; 2]) -> f64 {
    let from_hz = THIRD_HZ[0].max(band_hz[0]);
    let to_hz = THIRD_HZ[1].min(band_hz[1] / 3.0);
    if from_hz >= to_hz {
        return 0.0;
    }
    harmonic_ratio(response, train.sweep(), 3, [from_hz, to_hz])
}

fn magnitude_of(points: &[Point], settings: &Settings) -> Vec<Level> {
    match settings.smoothing {
        Some(fraction) => smoothed(points, fraction),
        None => points.iter().map(level).collect(),
    }
}

/// Frequencies of the third octave about 1 kHz, evenly spaced over log f; of all of the band where
/// that was not swept.
fn gain_frequencies(band_hz: [f64; 2]) -> Vec<f64> {
    let half = half_band(3.0);
    let (mut from_hz, mut to_hz) = (1_000.0 / half, 1_000.0 * half);
    if from_hz < band_hz[0] || to_hz > band_hz[1] {
        [from_hz, to_hz] = band_hz;
    }
    linear_grid(from_hz.ln(), to_hz.ln(), GAIN_POINT_COUNT)
        .into_iter()
        .map(f64::exp)
        .collect()
}
