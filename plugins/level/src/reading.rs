//! What every step became: one reading for the link, one for the reference.

use goodwire_dsp::decibel::{DB_PER_NEPER, db};
use goodwire_dsp::tone::{
    Estimate, Heard, RelativeHarmonics, Sequence, ToneFitter, is_cut_at_full_scale,
};

use crate::settings::SETTLE_S;
use crate::settling::late_part;

/// Harmonics count up to here, in Hz.
const HARMONICS_BELOW_HZ: f64 = 20_000.0;

/// One step at one return.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Peak amplitude of the fundamental, full scale = 1.
    pub amplitude: Estimate,
    /// Its harmonics.
    pub harmonics: RelativeHarmonics,
    /// Level of the fundamental above everything else from 20 Hz to 20 kHz that is no harmonic,
    /// in dB.
    pub snr_db: f64,
    /// True where the recorder cut the wave at its full scale.
    pub cut: bool,
}

/// One step at both returns; absent where no tone stands clear of the noise.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// Level at the send in dBFS.
    pub level_dbfs: f64,
    /// The link's return.
    pub link: Option<Reading>,
    /// The reference's return; also absent where there is no reference.
    pub reference: Option<Reading>,
}

impl Step {
    /// Gain of the fundamental in dB, link over reference; over what was sent without one.
    pub fn gain_db(&self, has_reference: bool) -> Option<Estimate> {
        let link = self.link.as_ref()?.amplitude;
        let below = if has_reference {
            self.reference.as_ref()?.amplitude
        } else {
            Estimate {
                value: 10f64.powf(self.level_dbfs / 20.0),
                uncertainty: 0.0,
            }
        };
        let relative = (link.uncertainty / link.value).hypot(below.uncertainty / below.value);
        Some(Estimate {
            value: db(link.value / below.value),
            uncertainty: DB_PER_NEPER * relative,
        })
    }

    /// Distortion as a ratio that is the link's: seen in its return, and still there when the
    /// reference's is subtracted. Of the two the smaller, so that an interface that clips is
    /// taken for no link that does, whether before or behind the link.
    pub fn thd_ratio(&self, order_max: usize) -> Option<Estimate> {
        let heard = &self.link.as_ref()?.harmonics;
        let thd = heard.thd_ratio(order_max);
        let Some(reference) = &self.reference else {
            return Some(thd);
        };
        let own = heard.minus(&reference.harmonics).thd_ratio(order_max);
        Some(if own.value < thd.value { own } else { thd })
    }
}

/// Reads all steps of one return.
pub fn readings(
    fitter: &mut ToneFitter,
    heard: &Heard<'_>,
    sequence: &Sequence,
) -> Vec<Option<Reading>> {
    (0..sequence.tones().len())
        .map(|index| {
            let samples = heard.tone(sequence, index, SETTLE_S);
            let freq_hz = sequence.tones()[index].sine.freq_hz;
            reading(fitter, heard, samples, freq_hz)
        })
        .collect()
}

/// Highest order, at most 10, of which the harmonic of a tone of `freq_hz` is below 20 kHz.
pub fn order_max(freq_hz: f64) -> usize {
    (2..=10)
        .take_while(|&order| f64::from(order) * freq_hz < HARMONICS_BELOW_HZ)
        .last()
        .map_or(1, |order| order as usize)
}

/// Reads one step; `None` where no tone stands clear of the noise.
fn reading(
    fitter: &mut ToneFitter,
    heard: &Heard<'_>,
    samples: &[f32],
    freq_hz: f64,
) -> Option<Reading> {
    let rate_hz = heard.rate_hz();
    let whole = fitter.fit(samples, freq_hz / rate_hz)?;
    if !whole.stands() {
        return None;
    }
    let noise = whole
        .residual
        .band_power(20.0 / rate_hz, 20_000.0 / rate_hz);
    let tone_power = whole.amplitude().powi(2) / 2.0;
    let late = late_part(samples, &whole);
    let fit = late.and_then(|late| fitter.fit(late, freq_hz / rate_hz));
    let fit = fit.as_ref().unwrap_or(&whole);
    Some(Reading {
        amplitude: Estimate {
            value: fit.amplitude(),
            uncertainty: fit.amplitude_uncertainty(),
        },
        harmonics: RelativeHarmonics::of(fit, heard.polarity()),
        snr_db: 10.0 * (tone_power / noise.power.max(f64::MIN_POSITIVE)).log10(),
        cut: is_cut_at_full_scale(samples),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn harmonics_of_997_hz_count_to_10_and_of_4_khz_to_4() {
        assert_eq!(order_max(997.0), 10);
        assert_eq!(order_max(4_000.0), 4);
        assert_eq!(order_max(12_000.0), 1);
    }
}
