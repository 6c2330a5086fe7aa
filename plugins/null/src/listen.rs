//! The pair as one hears it: the reference, the link put on it, and what is left.

use goodwire_dsp::Complex64;
use goodwire_dsp::fft::Transform;
use goodwire_plugin_sdk::payload::Sound;

use crate::matching::Matched;

/// Longest sound in seconds.
const LENGTH_S: usize = 5;

/// Whole periods of both returns, from the first one on that is compared.
pub struct Takes<'a> {
    /// The reference's return.
    pub reference: &'a [f64],
    /// The link's return.
    pub link: &'a [f64],
    /// Rate in Hz of both; so many frames are a period.
    pub rate_hz: usize,
}

impl Takes<'_> {
    /// `reference`, `link` (delay, gain and polarity matched, the paths' difference divided out by
    /// `divide(f)`) and `difference`, at the level of the reference's return. At most five seconds.
    ///
    /// The sound is periodic, so that it is turned as a whole without ends.
    pub fn sounds(&self, matched: &Matched, divide: impl Fn(f64) -> Complex64) -> Vec<Sound> {
        let frames = self.rate_hz * (self.link.len() / self.rate_hz).min(LENGTH_S);
        let (reference, link) = (&self.reference[..frames], &self.link[..frames]);
        let mut transform = Transform::new(frames);
        let [mut spectrum, silent] = transform.forward_pair(link, &[]);
        let per_bin_hz = self.rate_hz as f64 / frames as f64;
        for (bin, value) in spectrum.iter_mut().enumerate() {
            let frequency_hz = bin as f64 * per_bin_hz;
            let turn = Complex64::cis(std::f64::consts::TAU * frequency_hz * matched.delay_s);
            *value *= turn * matched.factor / divide(frequency_hz);
        }
        let [link, _] = transform.inverse_pair(&spectrum, &silent);
        let difference: Vec<f64> = reference.iter().zip(&link).map(|(a, b)| a - b).collect();
        [
            ("reference", reference),
            ("link", &link),
            ("difference", &difference),
        ]
        .into_iter()
        .map(|(id, samples)| self.sound(id, samples))
        .collect()
    }

    fn sound(&self, id: &str, samples: &[f64]) -> Sound {
        Sound {
            id: id.to_owned(),
            rate_hz: i32::try_from(self.rate_hz).unwrap_or(i32::MAX),
            samples: samples.iter().map(|&x| x as f32).collect(),
        }
    }
}
