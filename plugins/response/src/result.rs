//! Figures, curves and notes from the deconvolved sweeps.

use goodwire_dsp::align::Alignment;
use goodwire_dsp::decibel::power_db;
use goodwire_dsp::response::curve::{
    Level, corners, group_delay, half_band, level, phase, power_mean, smoothed,
};
use goodwire_dsp::response::{
    Arrival, Gated, Line, PathDifference, Point, SweepResponse, SweepTrain, arrivals, average,
    fit_line, latency_grid, linear_grid, log_grid,
};
use goodwire_plugin_sdk::api::{Curve, Figure, Note};
use goodwire_plugin_sdk::figures::{Located, curve, figure, info, warning};
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::{OpenRequest, SessionResult};

use crate::settings::Settings;

/// Gates in seconds to choose from, before the longest that is free of harmonics.
const GATES_S: [f64; 2] = [0.1, 0.5];
/// Points an octave of the curves.
const PER_OCTAVE: f64 = 96.0;
/// Points of the third octave about 1 kHz whose mean power is the gain.
const GAIN_POINT_COUNT: usize = 65;
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
    frequencies_hz: Vec<f64>,
    /// The response at the loudest level, which all but `levels` is of.
    points: Vec<Point>,
    magnitude: Vec<Level>,
    gain: Level,
    /// Power ratio and its relative standard deviation.
    snr: [f64; 2],
    line: Option<Line>,
    arrivals: Vec<Arrival>,
}

impl<'a> Measured<'a> {
    /// Averages, gates and reads `sweeps`.
    pub fn new(
        request: &'a OpenRequest,
        settings: &'a Settings,
        alignment: &'a Alignment,
        train: &SweepTrain,
        sweeps: &[SweepResponse],
    ) -> Self {
        let band_hz = [settings.start_hz, settings.stop_hz];
        let frequencies_hz = log_grid(band_hz[0], band_hz[1], PER_OCTAVE);
        let loudest = (0..settings.levels_dbfs.len())
            .max_by(|&a, &b| settings.levels_dbfs[a].total_cmp(&settings.levels_dbfs[b]))
            .unwrap_or(0);
        let of_level = |level: usize| {
            let averaged = average(&sweeps[settings.sweeps_of(level)], band_hz);
            let gated = Gated::new(&averaged.response, train.sweep(), &GATES_S);
            (averaged, gated)
        };
        let (averaged, gated) = of_level(loudest);
        let read = |gated: &Gated, at: &[f64]| -> Vec<Point> {
            at.iter()
                .map(|&f| matched_point(gated, request, f))
                .collect()
        };
        let points = read(&gated, &frequencies_hz);
        let levels = if settings.levels_dbfs.len() < 2 {
            Vec::new()
        } else {
            (0..settings.levels_dbfs.len())
                .map(|level| read(&of_level(level).1, &frequencies_hz))
                .map(|points| magnitude_of(&points, settings))
                .collect()
        };
        let magnitude = magnitude_of(&points, settings);
        let gain = power_mean(&read(&gated, &gain_frequencies(band_hz)));
        let edges = corners(&frequencies_hz, &magnitude, gain.db - 3.0);
        let line = fit_line(&read(&gated, &latency_grid(&edges, band_hz)));
        let indices: Vec<usize> = settings.sweeps_of(loudest).collect();
        let arrivals = line.map_or_else(Vec::new, |line| {
            arrivals(alignment, train, &indices, &averaged, &line)
        });
        Self {
            request,
            settings,
            alignment,
            snr: gated.snr(band_hz[0], band_hz[1]),
            levels,
            frequencies_hz,
            points,
            magnitude,
            gain,
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
        self.snr(&mut result);
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
        for edges in self.settings.bands_hz.windows(2) {
            let inside = |hz: f64| hz >= edges[0] * (1.0 - 1e-9) && hz <= edges[1] * (1.0 + 1e-9);
            let largest = (0..self.frequencies_hz.len())
                .filter(|&index| inside(self.frequencies_hz[index]))
                .max_by(|&a, &b| {
                    let off = |index: usize| (self.magnitude[index].db - self.gain.db).abs();
                    off(a).total_cmp(&off(b))
                });
            if let Some(index) = largest {
                let here = &self.magnitude[index];
                let sigma_db = here.sigma_db.hypot(self.gain.sigma_db);
                figures.push(
                    figure("deviation", here.db - self.gain.db, sigma_db, "dB")
                        .at("from_hz", edges[0])
                        .at("to_hz", edges[1])
                        .at("frequency_hz", self.frequencies_hz[index]),
                );
            }
        }
    }

    fn corners(&self, figures: &mut Vec<Figure>, notes: &mut Vec<Note>) {
        let edges = corners(&self.frequencies_hz, &self.magnitude, self.gain.db - 3.0);
        for (id, note, corner) in [
            ("corner_low", "no-corner-low", edges.low_hz),
            ("corner_high", "no-corner-high", edges.high_hz),
        ] {
            match corner {
                Some([hz, sigma_hz]) => {
                    let gain_share = self.gain.sigma_db / 3.0 * hz;
                    figures.push(figure(id, hz, sigma_hz.hypot(gain_share), "Hz"));
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
            let sigma_db = highest.sigma_db.hypot(lowest.sigma_db);
            Some((highest.db - lowest.db, sigma_db, self.frequencies_hz[index]))
        };
        let largest = (0..self.frequencies_hz.len())
            .filter_map(spread)
            .max_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((change_db, sigma_db, hz)) = largest {
            figures
                .push(figure("level_dependence", change_db, sigma_db, "dB").at("frequency_hz", hz));
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
