//! Random links against their closed form, and what a change of one thing leaves alone.

#[path = "../../dsp/tests/support/link.rs"]
mod link;

use goodwire_dsp::Complex64;
use goodwire_plugin_response::Response;
use goodwire_plugin_sdk::payload::SessionResult;
use link::*;
use proptest::prelude::*;

const RATE_HZ: f64 = 48_000.0;

/// A link of gain, delay, Butterworth filters, a resonance, polarity, noise and a clock.
#[derive(Debug, Clone)]
struct Link {
    gain_db: f64,
    delay_frames: f64,
    low: (f64, usize),
    high: (f64, usize),
    bell: (f64, f64, f64),
    inverted: bool,
    noise_rms: f64,
    skew_ppm: f64,
    seed: u64,
}

impl Link {
    fn form(&self, f: f64) -> Complex64 {
        let sign = if self.inverted { -1.0 } else { 1.0 };
        high_pass(self.low.0, self.low.1)(f)
            * low_pass(self.high.0, self.high.1)(f)
            * bell(self.bell.0, self.bell.1, self.bell.2)(f)
            * (sign * 10f64.powf(self.gain_db / 20.0))
    }

    fn measured(&self) -> SessionResult {
        let bench = Bench::of::<Response>("response", 48_000).set("duration_s", 1.0);
        let sent = bench.sent::<Response>();
        let late = delayed(self.delay_frames, RATE_HZ);
        let clean = through(&sent, RATE_HZ, 48_000, |f| self.form(f) * late(f));
        let gain = 10f64.powf(self.gain_db / 20.0);
        let noisy = with_noise(
            &on_clock(&clean, self.skew_ppm),
            gain * self.noise_rms,
            self.seed,
        );
        bench.analyse::<Response>(&sent, &noisy, None).unwrap()
    }
}

prop_compose! {
    fn links()(
        gain_db in -30.0..6.0,
        delay_frames in 0.0..20_000.0,
        low in (3.0..200.0, 1_usize..4),
        high in (7_000.0..30_000.0, 1_usize..6),
        bell in (100.0..8_000.0, 1.0..10.0, 0.3..3.0),
        inverted: bool,
        noise_db in -110.0..-70.0,
        skew_ppm in -100.0..100.0,
        seed in 0_u64..1_000_000,
    ) -> Link {
        let noise_rms = 10f64.powf(noise_db / 20.0);
        Link { gain_db, delay_frames, low, high, bell, inverted, noise_rms, skew_ppm, seed }
    }
}

/// Largest change of the curve `id` beyond `sigmas` of its standard deviations, `offset` apart.
fn beyond(id: &str, [a, b]: [&SessionResult; 2], offset: f64, sigmas: f64) -> f64 {
    let [a, b] = [a, b].map(|result| curve(result, id));
    let points = a.y.iter().zip(&b.y).zip(&b.y_uncertainty);
    points
        .map(|((a, b), sigma)| (b - a - offset).abs() - sigmas * sigma)
        .fold(0.0, f64::max)
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 12,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn random_links_are_within_0_02_db_and_5_deviations_of_their_closed_form(link in links()) {
        let result = link.measured();
        check_finite(&result);
        let magnitude = curve(&result, "magnitude");
        let points = magnitude.x.iter().zip(&magnitude.y).zip(&magnitude.y_uncertainty);
        for ((&f, db), sigma_db) in points {
            let want_db = 20.0 * link.form(f).norm().log10();
            if want_db - link.gain_db > -40.0 {
                let off_db = (db - want_db).abs();
                prop_assert!(off_db < 0.02 + 5.0 * sigma_db, "{f} Hz: {off_db} ± {sigma_db} dB");
            }
        }
    }

    #[test]
    fn twice_the_level_moves_the_magnitude_by_6_02_db_and_nothing_else(link in links()) {
        let louder = Link { gain_db: link.gain_db + 20.0 * 2f64.log10(), ..link.clone() };
        let both = [&link.measured(), &louder.measured()];
        // Samples in single precision differ by nothing when they are doubled.
        prop_assert!(beyond("magnitude", both, 20.0 * 2f64.log10(), 0.0) < 1e-4);
        prop_assert!(beyond("phase", both, 0.0, 0.0) < 1e-3);
    }

    #[test]
    fn the_other_polarity_turns_the_phase_by_180_degree_and_nothing_else(link in links()) {
        let silent = Link { noise_rms: 0.0, ..link };
        let other = Link { inverted: !silent.inverted, ..silent.clone() };
        let both = [&silent.measured(), &other.measured()];
        let moved_db = beyond("magnitude", both, 0.0, 5.0);
        // Present state, not exact: 0.000 6 dB and 0.002 degree were seen, where the clock is
        // taken out; half of the 0.01 dB that closed forms are held to.
        prop_assert!(moved_db < 5e-3, "{moved_db} dB");
        // Samples are rounded to single precision, which the deviations hold.
        // Half a turn forwards is half a turn backwards.
        let turned = [180.0, -180.0].map(|turn| beyond("phase", both, turn, 5.0));
        prop_assert!(turned[0].min(turned[1]) < 0.02, "{turned:?}");
    }

    #[test]
    fn another_delay_leaves_magnitude_and_phase_alone(link in links(), more in 0.0..900.0) {
        let silent = Link { noise_rms: 0.0, ..link };
        let later = Link { delay_frames: silent.delay_frames + more, ..silent.clone() };
        let both = [&silent.measured(), &later.measured()];
        prop_assert!(beyond("magnitude", both, 0.0, 5.0) < 5e-3);
    }
}
