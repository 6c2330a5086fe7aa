//! Figures, curve, events and notes from the deconvolved sweeps.

use goodwire_dsp::align::Alignment;
use goodwire_dsp::response::corners::{Curve, corners};
use goodwire_dsp::response::curve::{level, power_mean};
use goodwire_dsp::response::{
    Arrival, Gated, Line, Paces, PathDifference, Point, SweepResponse, SweepTrain, arrivals,
    average, fit_line, latency_grid, log_grid, paces, range_of_noise,
};
use goodwire_plugin_sdk::api::Note;
use goodwire_plugin_sdk::figures::{curve, event, figure, info, warning};
use goodwire_plugin_sdk::payload::{OpenRequest, SessionResult};

use crate::settings::{BAND_HZ, Settings};

/// Gates in seconds to choose from, before the longest that is free of harmonics.
const GATES_S: [f64; 3] = [0.01, 0.05, 0.2];
/// Points an octave of the curve that the corners are found on.
const PER_OCTAVE: f64 = 24.0;
/// Speed of sound at 20 °C in m/s (ISO 9613-1, from memory).
const SOUND_M_PER_S: f64 = 343.2;
/// Single-precision samples tell no delay more finely than this, in frames.
const ROUNDING_FRAMES: f64 = 1e-6;

/// Timed sweeps.
pub struct Timed<'a> {
    request: &'a OpenRequest,
    settings: &'a Settings,
    alignment: &'a Alignment,
    paces: Paces,
    line: Line,
    /// The band that the line was fitted in.
    band_hz: [f64; 2],
    /// Those of the sweeps within which the delay did not step.
    arrivals: Vec<Arrival>,
    /// Whether all sweeps had to be kept although the delay stepped within them.
    is_spoilt: bool,
}

impl<'a> Timed<'a> {
    /// Averages `sweeps` and times each of them. `None` where no phase could be fitted.
    pub fn new(
        request: &'a OpenRequest,
        settings: &'a Settings,
        alignment: &'a Alignment,
        train: &SweepTrain,
        sweeps: &[SweepResponse],
    ) -> Option<Self> {
        let paces = paces(alignment, train, sweeps);
        let indices = paces.sound_sweeps(alignment, train, 0..sweeps.len());
        let sound: Vec<&SweepResponse> = indices.iter().map(|&index| &sweeps[index]).collect();
        let averaged = average(&sound, BAND_HZ);
        let gated = Gated::new(&averaged.response, train.sweep(), &GATES_S);
        let read = |at: &[f64]| -> Vec<Point> {
            at.iter()
                .map(|&f| matched_point(&gated, request, f))
                .collect()
        };
        let frequencies_hz = log_grid(BAND_HZ[0], BAND_HZ[1], PER_OCTAVE);
        let points = read(&frequencies_hz);
        let about_1_khz = |p: &&Point| (890.0..1_125.0).contains(&p.frequency_hz);
        let gain = power_mean(
            &points
                .iter()
                .filter(about_1_khz)
                .copied()
                .collect::<Vec<_>>(),
        );
        let levels: Vec<_> = points.iter().map(level).collect();
        let gates_s: Vec<f64> = points.iter().map(|point| point.gate_s).collect();
        let curve = Curve {
            frequencies_hz: &frequencies_hz,
            levels: &levels,
            gates_s: &gates_s,
        };
        let edges = corners(&curve, gain.db - 3.0);
        let grid_hz = latency_grid(&edges, BAND_HZ);
        let line = fit_line(&read(&grid_hz))?;
        Some(Self {
            request,
            settings,
            alignment,
            line,
            band_hz: [*grid_hz.first()?, *grid_hz.last()?],
            arrivals: arrivals(alignment, train, &indices, &averaged, &line),
            is_spoilt: paces.spoil(alignment, train, &indices),
            paces,
        })
    }

    /// The result as the daemon takes it.
    pub fn result(&self) -> SessionResult {
        let mut result = SessionResult::default();
        self.paths(&mut result.notes);
        self.latency(&mut result);
        self.jitter(&mut result);
        self.steps(&mut result);
        let skew = self.paces.link.skew;
        result
            .figures
            .push(figure("skew", skew.ppm, skew.uncertainty_ppm, "ppm"));
        if self.is_sure() && self.line.polarity < 0.0 {
            result
                .notes
                .push(info("inverted", "the link swaps the polarity"));
        }
        result
    }

    fn paths(&self, notes: &mut Vec<Note>) {
        if self.alignment.reference.is_none() {
            notes.push(info(
                "no-reference",
                "no reference was heard: the link is compared with what was played",
            ));
        } else if self.request.r#match.is_none() && !self.request.is_match {
            notes.push(info(
                "unmatched-paths",
                "the paths of link and reference were never matched with a cable in the link's \
                 place: their own difference is in the latency",
            ));
        }
    }

    fn latency(&self, result: &mut SessionResult) {
        if self.alignment.reference.is_none() && !self.request.synchronous {
            result.notes.push(warning(
                "latency-unknown",
                "without a reference the latency is known only where sent and returned recording \
                 share start and clock (synchronous)",
            ));
            return;
        }
        if !self.is_sure() {
            result.notes.push(warning(
                "latency-unsure",
                "too little of 1 to 10 kHz passes the link above the noise to tell delay and \
                 polarity apart: neither is told; raise level_dbfs",
            ));
            return;
        }
        let matched_s = self
            .request
            .r#match
            .as_ref()
            .map_or(0.0, |by| by.latency_ms * 1e-3);
        let latency_s = |arrival: &Arrival| arrival.latency_s - matched_s;
        let [mean_s, unsteady_s] = self.mean_arrival_s();
        let mean_s = mean_s - matched_s;
        if mean_s.abs() > self.settings.max_ms * 1e-3 {
            let text = format!(
                "the link seems to be {:.3} ms late, beyond the {} ms that were searched (max_ms)",
                mean_s * 1e3,
                self.settings.max_ms
            );
            result.notes.push(warning("beyond-max-ms", text));
            return;
        }
        // What the noise does to the mean, and what the link itself does to it.
        let noise_s = self.line.sigma_s.max(self.floor_s());
        let sigma_s = noise_s.hypot(unsteady_s * f64::from(u8::from(unsteady_s > 3.0 * noise_s)));
        result
            .figures
            .push(figure("latency", mean_s * 1e3, sigma_s * 1e3, "ms"));
        let metres = mean_s * SOUND_M_PER_S;
        result
            .figures
            .push(figure("air_path", metres, sigma_s * SOUND_M_PER_S, "m"));
        result.curves.push(curve(
            "latency_over_time",
            ["s", "ms"],
            self.arrivals.iter().map(|arrival| arrival.time_s).collect(),
            self.arrivals
                .iter()
                .map(|arrival| latency_s(arrival) * 1e3)
                .collect(),
            vec![self.repeat_sigma_s() * 1e3; self.arrivals.len()],
        ));
    }

    /// Mean of the repeats' latencies, and its deviation by their scatter, both in s.
    fn mean_arrival_s(&self) -> [f64; 2] {
        let count = self.arrivals.len() as f64;
        let latencies = || self.arrivals.iter().map(|arrival| arrival.latency_s);
        let mean_s = latencies().sum::<f64>() / count;
        let variance: f64 = latencies().map(|s| (s - mean_s).powi(2)).sum();
        [mean_s, (variance / (count * (count - 1.0).max(1.0))).sqrt()]
    }

    /// Whether delay and polarity are told apart. In less than an octave the repeats may be taken
    /// for each other's neighbours, half a period away: their mean must be five deviations from
    /// half of that.
    fn is_sure(&self) -> bool {
        let [low_hz, high_hz] = self.band_hz;
        let [_, unsteady_s] = self.mean_arrival_s();
        let may_be_periods = high_hz < 2.0 * low_hz && unsteady_s > 1.0 / (20.0 * high_hz);
        self.line.is_sure() && !may_be_periods
    }

    fn jitter(&self, result: &mut SessionResult) {
        if self.arrivals.len() < 2 {
            result.notes.push(info(
                "no-jitter",
                "one sweep tells no jitter: two or more repeats do",
            ));
            return;
        }
        let changes = || self.arrivals.iter().map(|arrival| arrival.change_s);
        let spread_s =
            changes().fold(f64::NEG_INFINITY, f64::max) - changes().fold(f64::INFINITY, f64::min);
        // Noise alone spreads steady repeats, too: its share is taken out as a power.
        let [known, sigma] =
            range_of_noise(self.arrivals.len()).map(|factor| factor * self.repeat_sigma_s());
        let own_s = (spread_s.powi(2) - known.powi(2)).max(0.0).sqrt();
        result
            .figures
            .push(figure("jitter", own_s * 1e3, sigma * 1e3, "ms"));
    }

    /// Where the delay stepped, within the sweeps and between them.
    fn steps(&self, result: &mut SessionResult) {
        for told in self.paces.told(self.alignment.layout.rate_hz) {
            let [from_s, to_s] = told.between_s;
            result
                .events
                .push(event(told.id, from_s, Some(to_s - from_s), told.text));
        }
        if self.is_spoilt {
            result.notes.push(warning(
                "slip",
                "the delay stepped within every sweep: latency and jitter are of no one delay, \
                 measure again",
            ));
        }
    }

    /// One standard deviation of one repeat's delay: the first one's noise is in each change too.
    fn repeat_sigma_s(&self) -> f64 {
        let changes = &self.arrivals[1..];
        if changes.is_empty() {
            return self.line.sigma_s.max(self.floor_s());
        }
        let square: f64 = changes.iter().map(|arrival| arrival.sigma_s.powi(2)).sum();
        (square / (2.0 * changes.len() as f64))
            .sqrt()
            .max(self.floor_s())
    }

    fn floor_s(&self) -> f64 {
        ROUNDING_FRAMES / self.alignment.layout.rate_hz
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
