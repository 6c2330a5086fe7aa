//! Noise that is spread over the frequencies like programme, and comes again every second.

use goodwire_dsp::Complex64;
use goodwire_dsp::fft::Transform;
use goodwire_dsp::noise::white;
use goodwire_dsp::stimulus::Body;
use goodwire_dsp::window::flat_top;

/// Band in Hz of the noise and of every figure.
pub const BAND_HZ: [f64; 2] = [20.0, 20_000.0];

/// The noise goes on after its last period for so long, in seconds: a link is late.
const AFTER_S: f64 = 0.05;

/// Fades at both ends in seconds.
const FADE_S: f64 = 0.01;

/// Decides the phases: one and the same noise at all sends and rates.
const SEED: u64 = 0x6E75_6C6C;

/// Pink noise from 20 Hz to 20 kHz with a period of one second.
///
/// Every whole frequency in Hz is one sine of the power `1 / f` and of random phase. Pink noise has
/// the same energy in every third of an octave, which is how programme is spread on average, near
/// enough (common practice, no source), and a mean over it is a plain mean over log frequency. Its
/// spectrum is exact, and what changes from one second to the next is not the stimulus.
pub struct Programme {
    /// One period, its largest sample being the peak.
    period: Vec<f64>,
    frame_count: usize,
    rate_hz: f64,
}

impl Programme {
    /// `period_count` periods of peak `peak` at a whole rate.
    pub fn new(rate_hz: i32, peak: f64, period_count: usize) -> Self {
        let frames = rate_hz.unsigned_abs() as usize;
        let mut spectrum = vec![Complex64::default(); frames / 2 + 1];
        let band = BAND_HZ[0] as usize..=BAND_HZ[1] as usize;
        for frequency_hz in band.filter(|&hz| hz < frames / 2) {
            let phase = std::f64::consts::PI * white(SEED, frequency_hz as u64);
            let amplitude = (frequency_hz as f64).sqrt().recip();
            spectrum[frequency_hz] = Complex64::from_polar(amplitude, phase);
        }
        let silent = vec![Complex64::default(); spectrum.len()];
        let [mut period, _] = Transform::new(frames).inverse_pair(&spectrum, &silent);
        let highest = period.iter().fold(0f64, |most, x| most.max(x.abs()));
        for sample in &mut period {
            *sample *= peak / highest;
        }
        let rate_hz = f64::from(rate_hz);
        Self {
            period,
            frame_count: period_count * frames + (AFTER_S * rate_hz) as usize,
            rate_hz,
        }
    }
}

impl Body for Programme {
    fn frame_count(&self) -> usize {
        self.frame_count
    }

    fn sample(&self, frame: usize) -> f64 {
        let fade = FADE_S * self.rate_hz;
        let at = frame as f64 + 0.5;
        let fades = flat_top(at, 0.0, fade, fade, self.frame_count as f64);
        fades * self.period[frame % self.period.len()]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_third_of_an_octave_has_the_same_energy_within_0_1_db_and_the_peak_is_held() {
        for rate_hz in [44_100, 48_000, 96_000] {
            let noise = Programme::new(rate_hz, 0.1, 3);
            let second: Vec<f64> = (rate_hz..2 * rate_hz)
                .map(|n| noise.sample(n as usize))
                .collect();
            let peak = second.iter().fold(0f64, |most, x| most.max(x.abs()));
            assert!((peak - 0.1).abs() < 1e-12, "{peak}");
            let [spectrum, _] = Transform::new(second.len()).forward_pair(&second, &[]);
            let energy = |from: usize, to: usize| -> f64 {
                spectrum[from..to].iter().map(|x| x.norm_sqr()).sum()
            };
            let (low, high) = (energy(891, 1_122), energy(8_913, 11_220));
            assert!((10.0 * (low / high).log10()).abs() < 0.1);
            assert!(energy(0, 20) + energy(20_001, spectrum.len()) < 1e-15 * low);
        }
    }
}
