//! Noises of random level behind links of random gain, and what must not move them.

mod common;

use common::*;
use proptest::prelude::*;

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 6,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn white_noise_of_any_level_reads_its_closed_form_whatever_the_gains(
        noise_db in -110.0..-60.0f64,
        returns_db in -12.0..12.0f64,
        link_db in -10.0..10.0f64,
        seed in 1u64..1_000_000,
    ) {
        let linear = |db: f64| 10f64.powf(db / 20.0);
        let mut rig = Rig::new(RATE_HZ, 2.0);
        rig.noise = linear(noise_db);
        rig.reference_noise = linear(noise_db - 40.0);
        (rig.gain, rig.link_gain, rig.seed) = (linear(returns_db), linear(link_db), seed);
        let result = rig.run(|_| 0.0);
        let [got_dbfs, told_db] = value(&result, "noise");
        let want_dbfs = white_dbfs(rig.noise, RATE_HZ);
        prop_assert!((got_dbfs - want_dbfs).abs() < 4.0 * told_db, "{got_dbfs}, {want_dbfs}");
        // White noise under A and CCIR-RMS: -2.048 and +1.671 dB (integrals of the curves).
        for (id, by_db) in [("noise_a", -2.048), ("noise_ccir_rms", 1.671)] {
            let [got_dbfs, told_db] = value(&result, id);
            prop_assert!((got_dbfs - want_dbfs - by_db).abs() < 0.01 + 4.0 * told_db, "{id}");
        }
        // Noise 6.02 dB louder moves the levels by that; the link's gain moves the range alone.
        let range = value(&result, "dynamic_range_a")[0];
        (rig.noise, rig.reference_noise) = (2.0 * rig.noise, 2.0 * rig.reference_noise);
        rig.link_gain *= 2.0;
        let louder = rig.run(|_| 0.0);
        let moved_db = value(&louder, "noise")[0] - got_dbfs;
        prop_assert!((moved_db - 6.020_6).abs() < 0.001, "{moved_db}");
        let moved_db = value(&louder, "dynamic_range_a")[0] - range;
        prop_assert!(moved_db.abs() < 0.02, "{moved_db}");
    }
}
