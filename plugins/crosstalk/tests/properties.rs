//! Neighbours of random gain, delay, polarity, filter and noise, and how often the truth was held.

#[path = "../../dsp/tests/support/link.rs"]
mod link;

use goodwire_dsp::Complex64;
use goodwire_dsp::response::log_grid;
use goodwire_plugin_crosstalk::Crosstalk;
use link::*;
use proptest::prelude::*;

const RATE_HZ: f64 = 48_000.0;

fn bench() -> Bench {
    let mut bench = Bench::of::<Crosstalk>("crosstalk", 48_000)
        .set("duration_s", 1.0)
        .set("wake_s", 0.2);
    bench.request.has_reference = true;
    bench
}

/// First-order high-pass of a gain: what leaks from circuit to circuit.
fn leak(gain: f64, corner_hz: f64) -> impl Fn(f64) -> Complex64 + Copy {
    move |f| {
        let s = Complex64::new(0.0, f / corner_hz);
        gain * s / (s + 1.0)
    }
}

/// Mean power over log frequency, 20 Hz to 20 kHz, in dB, by the trapezoid rule.
fn mean_db(form: impl Fn(f64) -> Complex64) -> f64 {
    let grid = log_grid(20.0, 20_000.0, 96.0);
    let powers: Vec<f64> = grid.iter().map(|&f| form(f).norm_sqr()).collect();
    let (first, last) = (powers[0], powers[powers.len() - 1]);
    let sum = powers.iter().sum::<f64>() - (first + last) / 2.0;
    10.0 * (sum / (powers.len() - 1) as f64).log10()
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 8,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn leaks_of_any_gain_delay_and_polarity_are_told_as_in_closed_form(
        gain_db in -70.0..-20.0f64,
        corner_hz in 100.0..5_000.0f64,
        delay in 0.0..20_000.0f64,
        cable_db in -10.0..10.0f64,
        inverted: bool,
    ) {
        let factor = 10f64.powf(gain_db / 20.0) * if inverted { -1.0 } else { 1.0 };
        let (bench, sent) = (bench(), bench().sent::<Crosstalk>());
        let form = leak(factor, corner_hz);
        let heard = through(&sent, RATE_HZ, 52_800, |f| form(f) * delayed(delay, RATE_HZ)(f));
        let hotter = 10f64.powf(cable_db / 20.0);
        let cable = through(&sent, RATE_HZ, 52_800, |_| Complex64::from(hotter));
        let result = bench.analyse::<Crosstalk>(&sent, &heard, Some(&cable)).unwrap();
        check_finite(&result);
        let ([got_db, told_db], want_db) =
            (value(&result, "crosstalk"), mean_db(form) - cable_db);
        println!("{got_db:.3} ± {told_db:.4}, want {want_db:.3} dB");
        // The grid's two ends count whole in the figure, and half here: 0.02 dB.
        prop_assert!((got_db - want_db).abs() < 0.03 + 4.0 * told_db, "{got_db}, {want_db}");
    }
}

#[test]
fn one_deviation_holds_65_to_72_percent_and_two_94_to_97_of_the_truths() {
    let seeds = std::env::var("GOODWIRE_SEEDS").ok();
    let count: u64 = seeds.and_then(|text| text.parse().ok()).unwrap_or(20);
    let (bench, sent) = (bench(), bench().sent::<Crosstalk>());
    let form = leak(1e-2, 1_000.0);
    let clean = through(&sent, RATE_HZ, 52_800, |f| {
        form(f) * delayed(700.3, RATE_HZ)(f)
    });
    let cable = [sent.clone(), vec![0.0; 52_800]].concat();
    let told = |heard: &[f32]| {
        let result = bench
            .analyse::<Crosstalk>(&sent, heard, Some(&cable))
            .unwrap();
        value(&result, "crosstalk")
    };
    let [truth, _] = told(&clean);
    let (mut one, mut two, mut all) = (0, 0, 0);
    for (noise, first) in [(3e-5, 1_000), (1e-4, 20_000), (2e-4, 300_000)] {
        let (mut held, mut wide) = (0, 0);
        for seed in 0..count {
            let [got, told] = told(&with_noise(&clean, noise, first + seed));
            held += u64::from((got - truth).abs() <= told);
            wide += u64::from((got - truth).abs() <= 2.0 * told);
        }
        println!("noise {noise}: {held} and {wide} of {count}");
        (one, two, all) = (one + held, two + wide, all + count);
    }
    let share = |hits: u64| hits as f64 / all as f64;
    println!("{:.3} and {:.3} of {all}", share(one), share(two));
    // Three binomial deviations beyond the goal's edges.
    let slack = |p: f64| 3.0 * (p * (1.0 - p) / all as f64).sqrt();
    assert!((0.65 - slack(0.65)..=0.72 + slack(0.72)).contains(&share(one)));
    assert!((0.94 - slack(0.94)..=0.97 + slack(0.97)).contains(&share(two)));
}
