//! Amplitudes heard in noise as figures: with a standard deviation where they scatter evenly, with
//! the 95 % interval where not, as an upper bound where nothing stands clear.

use goodwire_dsp::tone::NoisyPower;
use goodwire_plugin_sdk::api::Figure;
use goodwire_plugin_sdk::figures::figure;

use crate::common_notes::reference_distorts;

/// Levels below this, in dB, are told as this: nothing that is measured reaches there.
const LEAST_DB: f64 = -200.0;

/// A power of the link's own, the reference's subtracted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Own {
    /// What is left of what the link's return heard.
    power: NoisyPower,
    /// By how much its amplitude may be off because the two paths do not distort alike: 0 where
    /// the reference's is far below.
    doubt: f64,
}

impl Own {
    /// A power of which nothing was subtracted that matters.
    pub fn sure(power: NoisyPower) -> Self {
        Self { power, doubt: 0.0 }
    }

    /// What is left of a power without the reference's: the link's own where that is clear, else an
    /// amplitude that may be off by twice the reference's, which the interface may add to the link's
    /// return in another phase than to the reference's.
    pub fn beside(power: NoisyPower, reference: &NoisyPower) -> Self {
        let doubt = if reference_distorts(&power, reference) {
            2.0 * reference.amplitude()
        } else {
            0.0
        };
        Self { power, doubt }
    }

    /// True where the reference makes a bound of it.
    pub fn is_bound(&self) -> bool {
        self.doubt > 0.0
    }

    /// The amplitudes between which 95 % of the truths lie.
    fn interval(&self) -> [f64; 2] {
        let [low, high] = self.power.interval().map(f64::sqrt);
        [(low - self.doubt).max(0.0), high + self.doubt]
    }
}

/// A share in percent whose square is `own`.
pub fn percent(id: &str, own: &Own) -> Figure {
    let value = 100.0 * own.power.amplitude();
    if own.power.is_even() && !own.is_bound() {
        return figure(id, value, 100.0 * own.power.amplitude_deviation(), "%");
    }
    let ends = own.interval().map(|amplitude| 100.0 * amplitude);
    asymmetric(id, value, ends, "%")
}

/// A level in dB whose power is `own`; the upper bound where nothing stands clear of the noise.
pub fn level(id: &str, own: &Own) -> Figure {
    let power = &own.power;
    if power.is_even() && !own.is_bound() {
        let deviation = level_deviation_db(power);
        return figure(id, level_db(power.value), deviation, "dB");
    }
    let [low, high] = own.interval().map(|amplitude| level_db(amplitude.powi(2)));
    if power.stands() {
        return asymmetric(id, level_db(power.value), [low, high], "dB");
    }
    let by_noise = level_db(power.interval()[1]);
    asymmetric(id, by_noise, [LEAST_DB, high], "dB")
}

/// A power as a level in dB.
pub fn level_db(power: f64) -> f64 {
    (10.0 * power.max(f64::MIN_POSITIVE).log10()).max(LEAST_DB)
}

/// Standard deviation of the level of a power that is even, in dB: half of what lies between one
/// deviation of the amplitude more and one less.
pub fn level_deviation_db(power: &NoisyPower) -> f64 {
    let share = power.amplitude_deviation() / power.amplitude();
    10.0 * ((1.0 + share) / (1.0 - share)).log10()
}

fn asymmetric(id: &str, value: f64, [low, high]: [f64; 2], unit: &str) -> Figure {
    Figure {
        uncertainty: None,
        low: Some(low.min(value)),
        high: Some(high.max(value)),
        ..figure(id, value, 0.0, unit)
    }
}

/// The figures of the reference's own, named so.
pub fn of_reference(figures: Vec<Figure>) -> impl Iterator<Item = Figure> {
    figures.into_iter().map(|mut figure| {
        figure.id.insert_str(0, "reference_");
        figure
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn harmonic_of_minus_60_db_in_noise_of_minus_80_db_has_a_deviation_of_0_614_db() {
        // Of an amplitude of 1 in noise of 0.1 (both components): 0.1 / sqrt(2) of it, and
        // 20 lg of 1.0707 and of 0.9293 are 1.23 dB apart.
        let power = NoisyPower::of(1e-6 + 1e-8, 1e-8);
        let shown = level("h2", &Own::sure(power));
        assert!((shown.value.unwrap() + 60.0).abs() < 1e-9);
        assert!((shown.uncertainty.unwrap() - 0.616).abs() < 0.002);
        assert_eq!((shown.low, shown.high), (None, None));
    }

    #[test]
    fn nothing_in_noise_of_minus_80_db_is_a_bound_within_7_db_of_the_noise() {
        let shown = level("h2", &Own::sure(NoisyPower::of(1e-8, 1e-8)));
        assert_eq!((shown.value, shown.uncertainty), (shown.high, None));
        assert!((-80.0..-73.0).contains(&shown.high.unwrap()), "{shown:?}");
        assert_eq!(shown.low, Some(-200.0));
        let shown = percent("thd", &Own::sure(NoisyPower::of(1e-8, 1e-8)));
        assert_eq!((shown.value, shown.low), (Some(0.0), Some(0.0)));
        assert!((0.01..0.023).contains(&shown.high.unwrap()), "{shown:?}");
    }

    #[test]
    fn reference_9_db_below_makes_a_bound_of_twice_its_amplitude_more_and_one_11_db_below_none() {
        let own = NoisyPower::of(1e-4, 1e-12);
        let reference = |below_db: f64| NoisyPower::of(1e-4 * 10f64.powf(-below_db / 10.0), 1e-12);
        let near = percent("thd", &Own::beside(own, &reference(9.0)));
        let off = 2.0 * 10f64.powf(-9.0 / 20.0);
        assert_eq!(near.uncertainty, None);
        assert!((near.value.unwrap() - 1.0).abs() < 1e-6);
        assert!((near.low.unwrap() - (1.0 - off).max(0.0)).abs() < 1e-3);
        assert!((near.high.unwrap() - (1.0 + off)).abs() < 1e-3);
        let clear = percent("thd", &Own::beside(own, &reference(11.0)));
        assert!(clear.high.is_none() && clear.uncertainty.unwrap() < 1e-3);
    }

    #[test]
    fn silence_in_silence_stays_finite() {
        let nothing = Own::sure(NoisyPower::of(0.0, 0.0));
        for shown in [level("h2", &nothing), percent("thd", &nothing)] {
            assert!(shown.value.unwrap().is_finite() && shown.high.unwrap().is_finite());
        }
    }
}
