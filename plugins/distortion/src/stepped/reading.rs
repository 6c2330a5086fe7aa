//! What one tone became at one return.

use goodwire_dsp::tone::{
    Estimate, Heard, RelativeHarmonics, ToneFit, ToneFitter, is_cut_at_full_scale,
};

use super::TestTone;
use crate::settings::BAND_FROM_HZ;

/// What came and went is told of from this share of the power of noise and distortion on: it then
/// moves `thd_n` by 0.5 %.
const DISTURBED_SHARE: f64 = 0.01;

/// One tone at one return.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Its harmonics re its fundamental.
    pub harmonics: RelativeHarmonics,
    /// Distortion and noise re all that was heard in the band, as a ratio.
    pub thd_n_ratio: Estimate,
    /// True where the recorder cut the wave at its full scale.
    pub cut: bool,
    /// True where something came and went beside the tone.
    pub disturbed: bool,
}

/// Highest order, at most 10, whose harmonic of the frequency that was asked for is below
/// `bandwidth_hz`; 1 where there is none.
pub fn order_max(freq_hz: f64, bandwidth_hz: f64) -> usize {
    (2..=10)
        .take_while(|&order| f64::from(order) * freq_hz < bandwidth_hz)
        .last()
        .map_or(1, |order| order as usize)
}

/// Reads a tone from its samples in what was heard; `None` where it does not stand clear of the noise.
pub fn reading(
    fitter: &mut ToneFitter,
    heard: &Heard<'_>,
    samples: &[f32],
    tone: &TestTone,
    bandwidth_hz: f64,
) -> Option<Reading> {
    let rate_hz = heard.rate_hz();
    let fit = fitter.fit(samples, tone.played_hz / rate_hz)?;
    if !fit.stands() {
        return None;
    }
    let counted = order_max(tone.freq_hz, bandwidth_hz);
    let band = [BAND_FROM_HZ / rate_hz, bandwidth_hz / rate_hz];
    let thd_n_ratio = thd_n_ratio(&fit, counted, band);
    let tone_power = fit.amplitude().powi(2) / 2.0;
    let disturbance = fit.residual.disturbance_power();
    Some(Reading {
        harmonics: RelativeHarmonics::of(&fit, heard.polarity()),
        thd_n_ratio,
        cut: is_cut_at_full_scale(samples),
        disturbed: disturbance > DISTURBED_SHARE * thd_n_ratio.value.powi(2) * tone_power,
    })
}

/// THD+N re the total: what is left without the fundamental, from 20 Hz to the bandwidth, over all
/// in that band (as AES17 has it: the fundamental taken out by a notch, here by subtracting it).
///
/// The power of the counted harmonics is added to that of the residual, out of which the fit had
/// taken them; direct current is in neither.
fn thd_n_ratio(fit: &ToneFit, counted: usize, [from, to]: [f64; 2]) -> Estimate {
    let rest = fit.residual.band_power(from, to);
    let (mut power, mut variance) = (rest.power, rest.uncertainty.powi(2));
    let harmonics = fit.harmonics.iter().zip(&fit.variances);
    for (harmonic, noise) in harmonics.take(counted).skip(1) {
        power += harmonic.norm_sqr() / 2.0;
        variance += harmonic.norm_sqr() * noise / 2.0;
    }
    let total = power + fit.amplitude().powi(2) / 2.0;
    let value = (power / total).sqrt();
    Estimate {
        value,
        // Derivative of the root of the share: ratio * (1 - ratio²) / 2 a relative change of power.
        uncertainty: value * (1.0 - value * value) / 2.0 * variance.sqrt()
            / power.max(f64::MIN_POSITIVE),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn harmonics_of_2000_hz_below_20_khz_are_the_second_to_the_ninth() {
        assert_eq!(order_max(2_000.0, 20_000.0), 9);
        assert_eq!(order_max(997.0, 20_000.0), 10);
        assert_eq!(order_max(6_300.0, 20_000.0), 3);
        assert_eq!(order_max(15_000.0, 20_000.0), 1);
    }
}
