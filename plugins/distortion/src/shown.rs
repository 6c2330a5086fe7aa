//! Amplitudes heard in noise as figures: with a standard deviation where they scatter evenly, with
//! the 95 % interval where not, as an upper bound where nothing stands clear.

use goodwire_dsp::tone::NoisyPower;
use goodwire_plugin_sdk::api::Figure;
use goodwire_plugin_sdk::figures::figure;

/// Levels below this, in dB, are told as this: nothing that is measured reaches there.
const LEAST_DB: f64 = -200.0;

/// A share in percent whose square is `power`.
pub fn percent(id: &str, power: &NoisyPower) -> Figure {
    let value = 100.0 * power.amplitude();
    if power.is_even() {
        return figure(id, value, 100.0 * power.amplitude_deviation(), "%");
    }
    let [low, high] = power.interval().map(|power| 100.0 * power.sqrt());
    asymmetric(id, value, [low, high], "%")
}

/// A level in dB whose power is `power`; the upper bound where nothing stands clear of the noise.
pub fn level(id: &str, power: &NoisyPower) -> Figure {
    if power.is_even() {
        let deviation = level_deviation_db(power);
        return figure(id, level_db(power.value), deviation, "dB");
    }
    let [low, high] = power.interval().map(level_db);
    if power.stands() {
        return asymmetric(id, level_db(power.value), [low, high], "dB");
    }
    asymmetric(id, high, [LEAST_DB, high], "dB")
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
        let shown = level("h2", &power);
        assert!((shown.value.unwrap() + 60.0).abs() < 1e-9);
        assert!((shown.uncertainty.unwrap() - 0.616).abs() < 0.002);
        assert_eq!((shown.low, shown.high), (None, None));
    }

    #[test]
    fn nothing_in_noise_of_minus_80_db_is_a_bound_within_7_db_of_the_noise() {
        let shown = level("h2", &NoisyPower::of(1e-8, 1e-8));
        assert_eq!((shown.value, shown.uncertainty), (shown.high, None));
        assert!((-80.0..-73.0).contains(&shown.high.unwrap()), "{shown:?}");
        assert_eq!(shown.low, Some(-200.0));
        let shown = percent("thd", &NoisyPower::of(1e-8, 1e-8));
        assert_eq!((shown.value, shown.low), (Some(0.0), Some(0.0)));
        assert!((0.01..0.023).contains(&shown.high.unwrap()), "{shown:?}");
    }

    #[test]
    fn silence_in_silence_stays_finite() {
        for shown in [
            level("h2", &NoisyPower::of(0.0, 0.0)),
            percent("thd", &NoisyPower::of(0.0, 0.0)),
        ] {
            assert!(shown.value.unwrap().is_finite() && shown.high.unwrap().is_finite());
        }
    }
}
