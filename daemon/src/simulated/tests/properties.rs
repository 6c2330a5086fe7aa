//! Properties over drawn settings.

use proptest::prelude::*;

use super::*;

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]

    #[test]
    fn the_same_frames_are_heard_in_whatever_blocks_they_are_played(
        sizes in prop::collection::vec(1_usize..3000, 1..6),
    ) {
        let sound = beats();
        let (want, reports) = play(&mut SimulatedInterface::new(&wild_rig()), &sound, &[256]);
        let (got, other_reports) = play(&mut SimulatedInterface::new(&wild_rig()), &sound, &sizes);
        // At the end frames may be held back by an xrun.
        for (want, got) in want.iter().zip(&got) {
            let count = want.len().min(got.len());
            prop_assert!(count > 40_000);
            prop_assert!(want[..count].iter().zip(&got[..count])
                .all(|(a, b)| a.to_bits() == b.to_bits()));
        }
        let losses = |reports: &[Heard]| -> Vec<u64> {
            reports.iter().filter(|r| r.lost.is_some()).map(|r| r.first_frame).collect()
        };
        let (want, got) = (losses(&reports), losses(&other_reports));
        prop_assert!(want.len().abs_diff(got.len()) <= 1 && want.len() > 1);
        prop_assert!(want.iter().zip(&got).all(|(a, b)| a == b));
    }

    #[test]
    fn gain_delay_filters_and_polarity_are_heard_as_they_are_told(
        gain_db in -30.0_f64..6.0,
        delay_ms in 0.7_f64..20.0,
        low_corner_hz in 20.0_f64..500.0,
        high_corner_hz in 3000.0_f64..22_000.0,
        filter_order in 1_usize..=8,
        inverted: bool,
        bin in 2_u32..170,
    ) {
        let settings = LinkSettings {
            gain_db, delay_ms, low_corner_hz, high_corner_hz, filter_order, inverted, ..wire()
        };
        let frequency_hz = 100.0 * f64::from(bin);
        let heard = play_on(&quiet_rig(settings.clone()), &sine(frequency_hz, 0.5, 48_000));
        let (re, im) = amplitude(&heard[0], frequency_hz, 4800);
        let want = settings.response(frequency_hz, f64::from(RATE_HZ));
        let (want_re, want_im) =
            (want.factor * want.phase_radians.cos(), want.factor * want.phase_radians.sin());
        // The fraction's kernel is right to 1e-5, 32-bit samples to 6e-8.
        let error = (2.0 * re - want_re).hypot(2.0 * im - want_im);
        prop_assert!(error < 2e-5 * factor_of_db(gain_db) + 1e-6, "error {error}");
        // The cable beside it carries what is played, frame by frame.
        prop_assert_eq!(&heard[1], &sine(frequency_hz, 0.5, 48_000));
    }

    #[test]
    fn a_tone_6_02_db_louder_comes_back_6_02_db_louder_and_nothing_else(peak in 0.01_f64..0.5) {
        let spec = quiet_rig(LinkSettings { delay_ms: 1.2345, ..LinkSettings::default() });
        let soft = play_on(&spec, &sine(1000.0, peak, 4800));
        let loud: Vec<f32> = sine(1000.0, peak, 4800).iter().map(|x| 2.0 * x).collect();
        let loud = play_on(&spec, &loud);
        prop_assert!(soft[0].iter().zip(&loud[0]).all(|(a, b)| 2.0 * a == *b));
    }
}
