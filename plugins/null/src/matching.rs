//! Two sounds on each other: delay, gain and polarity that leave the least difference.

use std::f64::consts::TAU;

use goodwire_dsp::Complex64;
use goodwire_dsp::fft::Transform;

use crate::programme::BAND_HZ;

/// How far apart two tracks may be that alignment has put on one another, in seconds.
const REACH_S: f64 = 0.06;

/// The spectra of one period: bin `f` lies at `f` Hz.
pub struct Period {
    /// The reference's return.
    pub reference: Vec<Complex64>,
    /// The link's return.
    pub link: Vec<Complex64>,
}

impl Period {
    /// Transforms a second of both returns.
    pub fn new(transform: &mut Transform, reference: &[f64], link: &[f64]) -> Self {
        let [reference, link] = transform.forward_pair(reference, link);
        Self { reference, link }
    }
}

/// What makes the link's sound most like the reference's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Matched {
    /// Seconds that the link is later than the reference, by what the tracks say.
    pub delay_s: f64,
    /// Factor that the link is multiplied by, below 0 where it is inverted: it leaves the least
    /// energy of reference minus link (least squares).
    pub factor: f64,
    /// Share of the reference's energy that the link explains, 0 to 1.
    pub explained: f64,
}

/// First and last bin of the band.
pub fn bins(period: &[Complex64]) -> std::ops::RangeInclusive<usize> {
    BAND_HZ[0] as usize..=(BAND_HZ[1] as usize).min(period.len() - 1)
}

/// Matches the link to the reference over all `periods`.
///
/// The energy of `X - a Y exp(j w t)` is least where the real part of the sum of
/// `X* Y exp(j w t)` is largest in magnitude, with `a` that sum over the energy of `Y`. The
/// largest sample of their correlation comes first, then Newton's method on its slope.
pub fn match_periods(periods: &[Period]) -> Matched {
    let size = periods[0].link.len();
    let mut cross = vec![Complex64::default(); size];
    let (mut reference, mut link) = (0.0, 0.0);
    for period in periods {
        for bin in bins(&period.link) {
            cross[bin] += period.link[bin] * period.reference[bin].conj();
            reference += period.reference[bin].norm_sqr();
            link += period.link[bin].norm_sqr();
        }
    }
    let delay_s = delay_s(&cross);
    let sum: f64 = (cross.iter().enumerate())
        .map(|(hz, value)| (value * turned(hz, delay_s)).re)
        .sum();
    Matched {
        delay_s,
        factor: sum / link.max(f64::MIN_POSITIVE),
        explained: sum * sum / (reference * link).max(f64::MIN_POSITIVE),
    }
}

/// `exp(j 2 pi f t)`: what undoes a delay.
pub fn turned(frequency_hz: usize, delay_s: f64) -> Complex64 {
    Complex64::cis(TAU * frequency_hz as f64 * delay_s)
}

/// The delay at which the correlation with the spectrum `cross` (one bin a Hz) is largest in
/// magnitude.
fn delay_s(cross: &[Complex64]) -> f64 {
    let frames = 2 * (cross.len() - 1);
    let silent = vec![Complex64::default(); cross.len()];
    let [correlation, _] = Transform::new(frames).inverse_pair(cross, &silent);
    let reach = (REACH_S * frames as f64) as i64;
    let at = |lag: i64| correlation[lag.rem_euclid(frames as i64) as usize].abs();
    let coarse = (-reach..=reach)
        .max_by(|&a, &b| at(a).total_cmp(&at(b)))
        .unwrap_or(0);
    let frame_s = 1.0 / frames as f64;
    let mut delay_s = coarse as f64 * frame_s;
    for _ in 0..8 {
        let (mut slope, mut bend) = (0.0, 0.0);
        for (hz, value) in cross.iter().enumerate() {
            let omega = TAU * hz as f64;
            let here = value * turned(hz, delay_s);
            slope -= omega * here.im;
            bend -= omega * omega * here.re;
        }
        // A step beyond half a sample is none of this peak's.
        let step = if bend == 0.0 { 0.0 } else { slope / bend };
        delay_s -= step.clamp(-0.5 * frame_s, 0.5 * frame_s);
        if step.abs() < 1e-15 {
            break;
        }
    }
    delay_s
}

/// What is left of every bin of the band in every period: reference minus matched link.
pub fn differences(periods: &[Period], matched: &Matched) -> Vec<Vec<Complex64>> {
    let turns: Vec<Complex64> = (bins(&periods[0].link))
        .map(|hz| turned(hz, matched.delay_s) * matched.factor)
        .collect();
    let of_period = |period: &Period| {
        let band = bins(&period.link).zip(&turns);
        band.map(|(hz, turn)| period.reference[hz] - period.link[hz] * turn)
            .collect()
    };
    periods.iter().map(of_period).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One period of pink noise at 48 kHz and what a link of response `gain` makes of it.
    fn period(gain: impl Fn(f64) -> Complex64) -> Vec<Period> {
        let reference: Vec<Complex64> = (0..=24_000u32)
            .map(f64::from)
            .map(|f| Complex64::from_polar(f.max(1.0).sqrt().recip(), (f * f) % 7.0))
            .collect();
        let link = reference.iter().enumerate();
        let link = link.map(|(hz, x)| x * gain(hz as f64)).collect();
        vec![Period { reference, link }]
    }

    /// Energy of the difference over the reference's, in dB.
    fn left_db(periods: &[Period], matched: &Matched) -> f64 {
        let left: f64 = differences(periods, matched)[0]
            .iter()
            .map(|x| x.norm_sqr())
            .sum();
        let band = bins(&periods[0].reference);
        let all: f64 = periods[0].reference[band]
            .iter()
            .map(|x| x.norm_sqr())
            .sum();
        10.0 * (left / all).log10()
    }

    #[test]
    fn delay_of_7_3_frames_and_gain_of_minus_0_3_are_found_to_1e_12_s_and_1e_12() {
        let delay_s = 7.3 / 48_000.0;
        let periods = period(|f| Complex64::cis(-TAU * f * delay_s) * -0.3);
        let matched = match_periods(&periods);
        assert!((matched.delay_s - delay_s).abs() < 1e-12);
        assert!((matched.factor + 1.0 / 0.3).abs() < 1e-12);
        assert!((matched.explained - 1.0).abs() < 1e-12);
        assert!(left_db(&periods, &matched) < -200.0);
    }

    #[test]
    fn error_of_gain_leaves_its_square_and_error_of_delay_the_cosine_integral_within_0_01_db() {
        let periods = period(|_| Complex64::new(1.0, 0.0));
        let exact = match_periods(&periods);
        let gain = Matched {
            factor: 1.01,
            ..exact
        };
        assert!((left_db(&periods, &gain) + 40.0).abs() < 1e-9);
        // Mean over log f of 4 sin²(w d / 2) = 2 - 2 cos(w d): (2 Cin(w2 d) - 2 Cin(w1 d)) / ln(f2 / f1),
        // Cin(x) = sum of (-1)^(k+1) x^(2k) / (2k (2k)!) (Abramowitz and Stegun 5.2.16, from memory).
        let cin = |x: f64| {
            let (mut term, mut sum) = (-1.0, 0.0);
            for k in 1..30 {
                let even = f64::from(2 * k);
                term *= -x * x / (even * (even - 1.0));
                sum += term / even;
            }
            sum
        };
        for delay_s in [1e-6, 10e-6] {
            let off = Matched { delay_s, ..exact };
            let at = |hz: f64| cin(TAU * hz * delay_s);
            // Sums over whole frequencies are integrals from half below to half above.
            let share = 2.0 * (at(20_000.5) - at(19.5)) / (20_000.5f64 / 19.5).ln();
            let want_db = 10.0 * share.log10();
            let got_db = left_db(&periods, &off);
            assert!(
                (got_db - want_db).abs() < 0.01,
                "got {got_db}, want {want_db} dB"
            );
        }
    }
}
