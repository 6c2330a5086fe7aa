//! How strong a harmonic of a sweep is on the whole.

use super::deconvolve::SweepResponse;
use crate::fft::Transform;
use crate::sweep::Sweep;
use crate::window::flat_top;

/// Half of the gate about a harmonic, and its fades, as shares of the way to the next one.
const GATE: [f64; 2] = [0.4, 0.2];
/// Longest half of that gate in seconds.
const GATE_S_MAX: f64 = 0.03;

/// Amplitude of harmonic `order` of the link against the fundamental, while the fundamental runs
/// through `band_hz`: RMS over frequency, what noise brings to the same gate taken out.
///
/// Harmonic N of a synchronized sweep is the sweep itself, `L ln N` earlier (Novak, Lotton and
/// Simon, JAES 63(10), 2015), so that at N times the fundamental's frequency its spectrum is its
/// amplitude there.
#[must_use]
pub fn harmonic_ratio(
    response: &SweepResponse,
    sweep: &Sweep,
    order: u32,
    band_hz: [f64; 2],
) -> f64 {
    let spectrum = &response.link.spectrum;
    let silent = vec![Default::default(); spectrum.len()];
    let [lags, _] = Transform::new(response.size).inverse_pair(spectrum, &silent);
    let half_s = (GATE[0] * (sweep.advance_s(order + 1) - sweep.advance_s(order))).min(GATE_S_MAX);
    let fade_s = GATE[1] / GATE[0] * half_s;
    let frame = |seconds: f64| (seconds * response.rate_hz).round() as i64;
    let power_about = |middle_s: f64, band_hz: [f64; 2]| {
        let mut gated = vec![0.0; lags.len()];
        for offset in -frame(half_s)..=frame(half_s) {
            let lag = (frame(middle_s) + offset).rem_euclid(lags.len() as i64) as usize;
            let offset_s = offset as f64 / response.rate_hz;
            gated[lag] = lags[lag] * flat_top(offset_s, -half_s, fade_s, fade_s, half_s);
        }
        let [bins, _] = Transform::new(response.size).forward_pair(&gated, &[]);
        let range = response.bins(band_hz[0], band_hz[1]);
        let count = range.len().max(1) as f64;
        bins[range].iter().map(|bin| bin.norm_sqr()).sum::<f64>() / count
    };
    let there_hz = band_hz.map(|f| f * f64::from(order));
    let circle_s = lags.len() as f64 / response.rate_hz;
    let harmonic = power_about(-sweep.advance_s(order), there_hz);
    let noise = power_about(0.4 * circle_s, there_hz);
    ((harmonic - noise).max(0.0) / power_about(0.0, band_hz)).sqrt()
}
