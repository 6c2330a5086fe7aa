//! What is told of the uncertainty against what happens: one deviation holds 65 to 72 % of the
//! truths, two hold 94 to 97 %.

mod common;

use common::*;

/// Seeds in CI; `GOODWIRE_SEEDS=500` for the whole of it.
fn seed_count() -> u64 {
    let set = std::env::var("GOODWIRE_SEEDS").ok();
    set.and_then(|text| text.parse().ok()).unwrap_or(40)
}

/// Asserts a share of `count` that lies between `low` and `high`, or within three binomial
/// deviations beyond.
fn share(what: &str, hits: f64, count: f64, [low, high]: [f64; 2]) {
    let share = hits / count;
    let slack = |p: f64| 3.0 * (p * (1.0 - p) / count).sqrt();
    println!("{what}: {:.1} % of {count}", 100.0 * share);
    assert!(
        low - slack(low) <= share && share <= high + slack(high),
        "{what}: {share}"
    );
}

#[test]
fn one_deviation_holds_65_to_72_percent_and_two_94_to_97_of_the_truths() {
    let mut rig = Rig::new(RATE_HZ, 2.0);
    let ids = [
        "noise",
        "noise_a",
        "noise_468",
        "noise_ccir_rms",
        "dynamic_range_a",
        "dynamic_range_ccir_rms",
        "reference_noise",
        "hum",
    ];
    // The interface's noise 12 dB below the link's: subtracted, and felt in the deviation.
    let own = 1e-4;
    rig.reference_noise = own * 10f64.powf(-0.6);
    rig.noise = own.hypot(rig.reference_noise);
    let white = white_dbfs(own, RATE_HZ);
    let hum_dbfs = -95.0;
    let mut found: Vec<Vec<[f64; 2]>> = vec![Vec::new(); ids.len()];
    for seed in 0..seed_count() {
        rig.seed = 10_000 + seed;
        let hum = 10f64.powf(hum_dbfs / 20.0);
        let result = rig.run(|t| hum * (std::f64::consts::TAU * 49.97 * t).sin());
        for (id, found) in ids.iter().zip(&mut found) {
            found.push(value(&result, id));
        }
    }
    for (id, found) in ids.iter().zip(&found) {
        let count = found.len() as f64;
        let mean = found.iter().map(|[value, _]| value).sum::<f64>() / count;
        // 50 Hz at -95 dBFS adds 1e-9.5 to the power of the flat noise alone; A takes 30 dB off it.
        let with_hum = 10.0 * (10f64.powf(white / 10.0) + 10f64.powf(hum_dbfs / 10.0)).log10();
        let truth = match *id {
            "noise" => with_hum,
            "noise_a" => white - 2.048,
            "noise_ccir_rms" => white + 1.671,
            "dynamic_range_a" => -white + 2.048,
            "dynamic_range_ccir_rms" => -white - 1.671,
            "reference_noise" => white_dbfs(rig.reference_noise, RATE_HZ),
            "hum" => hum_dbfs,
            // The highest reading of so many seconds has no closed form: its mean over all seeds.
            _ => mean,
        };
        let within = |sigmas: f64| {
            let holds = |&&[value, told]: &&[f64; 2]| (value - truth).abs() < sigmas * told;
            found.iter().filter(holds).count() as f64
        };
        println!(
            "{id}: mean {mean:.4}, truth {truth:.4}, told {:.4}",
            found[0][1]
        );
        share(&format!("{id} in one"), within(1.0), count, [0.65, 0.72]);
        share(&format!("{id} in two"), within(2.0), count, [0.94, 0.97]);
    }
}
