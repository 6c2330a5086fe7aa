//! From aligned recordings to matched periods.

use goodwire_dsp::Complex64;
use goodwire_dsp::align::Alignment;
use goodwire_dsp::fft::Transform;
use goodwire_dsp::resample::Resampler;
use goodwire_dsp::response::{PathDifference, Point};
use goodwire_plugin_sdk::payload::OpenRequest;

use crate::matching::{Matched, Period, match_periods};

/// A drift of the delay is taken out where it adds up to so many frames,
const DRIFT_FRAMES_MIN: f64 = 1e-4;

/// and stands so many deviations out of the scatter of the periods' delays.
const DRIFT_SIGMAS: f64 = 6.0;

/// As many periods tell a drift from its scatter.
const DRIFT_PERIODS_MIN: usize = 4;

/// Both returns over whole periods, and what matches them.
pub struct Compared {
    /// The reference's return; what was sent, without one.
    pub reference: Vec<f64>,
    /// The link's return, on the reference's clock.
    pub link: Vec<f64>,
    /// Frames of a period, and rate in Hz.
    pub rate_hz: usize,
    /// Spectra of the periods, the link's with the paths' difference divided out.
    pub periods: Vec<Period>,
    /// What matches them.
    pub matched: Matched,
    /// Share of the reference's energy that what was sent explains.
    pub sent_in_reference: f64,
}

/// The paths' own difference at a frequency in Hz; 1 where they were never matched.
pub fn path_difference(request: &OpenRequest, frequency_hz: f64) -> Complex64 {
    let one = Complex64::new(1.0, 0.0);
    let Some(by) = request.r#match.as_ref().filter(|_| request.has_reference) else {
        return one;
    };
    let mut point = Point {
        frequency_hz: frequency_hz.max(1.0),
        value: one,
        variance: 0.0,
        gate_s: 1.0,
    };
    PathDifference {
        frequency_hz: &by.frequency_hz,
        gain_db: &by.gain_db,
        phase_degree: &by.phase_degree,
    }
    .divide(&mut point);
    one / point.value
}

impl Compared {
    /// Cuts `period_count` periods out of both returns, from the second one on, and matches them.
    pub fn new(alignment: &Alignment, request: &OpenRequest, period_count: usize) -> Self {
        let rate_hz = request.returned_rate_hz.unsigned_abs() as usize;
        let first = alignment.layout.body.start + rate_hz;
        let count = period_count * rate_hz;
        let cut = |samples: &[f64]| {
            let end = (first + count).min(samples.len());
            let mut cut = samples[first.min(end)..end].to_vec();
            cut.resize(count, 0.0);
            cut
        };
        let sent = cut(&alignment.sent);
        let reference = alignment
            .reference
            .as_ref()
            .map(|track| cut(&track.samples));
        let mut transform = Transform::new(rate_hz);
        let divide: Vec<Complex64> = (0..=rate_hz / 2)
            .map(|hz| path_difference(request, hz as f64))
            .collect();
        let mut periods_of = |reference: &[f64], link: &[f64], divide: &[Complex64]| {
            let pairs = reference.chunks(rate_hz).zip(link.chunks(rate_hz));
            let periods = pairs.map(|(reference, link)| {
                let mut period = Period::new(&mut transform, reference, link);
                for (value, divide) in period.link.iter_mut().zip(divide) {
                    *value /= divide;
                }
                period
            });
            periods.collect::<Vec<Period>>()
        };
        let sent_in_reference = reference.as_ref().map_or(1.0, |reference| {
            match_periods(&periods_of(reference, &sent, &[])).explained
        });
        let reference = reference.unwrap_or(sent);
        let mut link = cut(&alignment.link.samples);
        let mut periods = periods_of(&reference, &link, &divide);
        if let Some(drift) = drift(&periods, rate_hz as f64) {
            let step = 1.0 + drift;
            let samples = &alignment.link.samples;
            link = Resampler::new(step).resample(samples, first as f64, step, count);
            periods = periods_of(&reference, &link, &divide);
        }
        Self {
            matched: match_periods(&periods),
            reference,
            link,
            rate_hz,
            periods,
            sent_in_reference,
        }
    }
}

/// Seconds by which the link becomes later in every second, where that stands out: the clock that
/// alignment left. A straight line through the periods' own delays.
fn drift(periods: &[Period], rate_hz: f64) -> Option<f64> {
    if periods.len() < DRIFT_PERIODS_MIN {
        return None;
    }
    let delays_s: Vec<f64> = (0..periods.len())
        .map(|index| match_periods(&periods[index..=index]).delay_s)
        .collect();
    let count = delays_s.len() as f64;
    let middle = (count - 1.0) / 2.0;
    let mean_s = delays_s.iter().sum::<f64>() / count;
    let (mut along, mut squares) = (0.0, 0.0);
    for (index, delay_s) in delays_s.iter().enumerate() {
        let at = index as f64 - middle;
        along += at * (delay_s - mean_s);
        squares += at * at;
    }
    let slope = along / squares;
    let off = |(index, delay_s): (usize, &f64)| {
        (delay_s - mean_s - slope * (index as f64 - middle)).powi(2)
    };
    let scatter = delays_s.iter().enumerate().map(off).sum::<f64>() / (count - 2.0);
    let deviation = (scatter / squares).sqrt();
    let matters = slope.abs() * count * rate_hz > DRIFT_FRAMES_MIN;
    (matters && slope.abs() > DRIFT_SIGMAS * deviation).then_some(slope)
}
