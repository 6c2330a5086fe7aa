//! Links of random response, and one that codes in 8 bit.

#[path = "../../dsp/tests/support/link.rs"]
mod link;

use goodwire_dsp::Complex64;
use goodwire_dsp::fft::Transform;
use goodwire_plugin_null::Null;
use link::*;
use proptest::prelude::*;

const RATE_HZ: f64 = 48_000.0;

fn bench() -> Bench {
    let mut bench = Bench::of::<Null>("null", 48_000)
        .set("wake_s", 0.2)
        .set("duration_s", 2.0);
    bench.request.has_reference = true;
    bench
}

/// Null depth in dB of a link that adds an echo: `1 + g exp(-j w t)`. Over pink noise, every line
/// of the power `1/f`; gain and the delay that leaves least are searched for.
fn echo_db(echo: f64, late_frames: f64) -> f64 {
    let response = |f: f64| 1.0 + echo * delayed(late_frames, RATE_HZ)(f);
    let lines: Vec<(f64, Complex64)> = (20..=20_000)
        .map(|f| (f64::from(f), response(f64::from(f))))
        .collect();
    let (mut reference, mut link) = (0.0, 0.0);
    for (f, h) in &lines {
        reference += 1.0 / f;
        link += h.norm_sqr() / f;
    }
    let alike = |frames: f64| -> f64 {
        let turned = lines
            .iter()
            .map(|(f, h)| (h * delayed(-frames, RATE_HZ)(*f)).re / f);
        turned.sum()
    };
    let (mut centre, mut step) = (0.0, 0.1);
    while step > 1e-6 {
        let around = (-10..=10).map(|n| centre + f64::from(n) * step);
        centre = around
            .max_by(|&a, &b| alike(a).total_cmp(&alike(b)))
            .unwrap();
        step /= 5.0;
    }
    -10.0 * (1.0 - alike(centre).powi(2) / (reference * link)).log10()
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 8,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn echoes_of_any_gain_delay_polarity_and_clock_null_as_in_closed_form(
        echo in 0.01..0.3f64,
        late_frames in 3.0..300.0f64,
        gain_db in -30.0..6.0f64,
        delay in 0.0..4_000.0f64,
        inverted: bool,
        ppm in -30.0..30.0f64,
    ) {
        let factor = 10f64.powf(gain_db / 20.0) * if inverted { -1.0 } else { 1.0 };
        let (bench, sent) = (bench(), bench().sent::<Null>());
        let returned = through(&sent, RATE_HZ, 9_600, |f| {
            factor * delayed(delay, RATE_HZ)(f) * (1.0 + echo * delayed(late_frames, RATE_HZ)(f))
        });
        let mut cable = sent.clone();
        cable.resize(returned.len(), 0.0);
        // One recorder on its own clock for both.
        let [returned, cable] = [returned, cable].map(|sound| on_clock(&sound, ppm));
        let result = bench.analyse::<Null>(&sent, &returned, Some(&cable)).unwrap();
        check_finite(&result);
        let (got_db, want_db) = (value(&result, "null_depth")[0], echo_db(echo, late_frames));
        println!("{echo:.3} at {late_frames:.1}, {ppm:.1} ppm: {got_db:.4}, want {want_db:.4} dB");
        prop_assert!((got_db - want_db).abs() < 0.02, "{got_db}, want {want_db} dB");
    }
}

/// Mu-law of ITU-T G.711 and back (segments of 16 steps, from memory).
fn mu_law(samples: &[f32]) -> Vec<f32> {
    let one = |&x: &f32| {
        let magnitude = ((x.abs() * 8_192.0) as i32).min(8_158) + 33;
        let segment = 26 - magnitude.leading_zeros() as i32;
        let step = (magnitude >> (segment + 1)) & 15;
        ((((2 * step + 33) << segment) - 33) as f32 / 8_192.0).copysign(x)
    };
    samples.iter().map(one).collect()
}

#[test]
fn link_that_codes_in_8_bit_mu_law_is_not_clipped_and_nulls_by_its_own_noise_within_0_05_db() {
    let (bench, sent) = (bench(), bench().sent::<Null>());
    let coded = mu_law(&sent);
    let result = bench.analyse::<Null>(&sent, &coded, Some(&sent)).unwrap();
    // The same by hand, without matching: energy of what differs over whole periods, in the band.
    let energy = |samples: &[f32]| -> f64 {
        let period: Vec<f64> = samples[76_000..][..48_000]
            .iter()
            .map(|&x| x.into())
            .collect();
        let [spectrum, _] = Transform::new(48_000).forward_pair(&period, &[]);
        spectrum[20..=20_000].iter().map(|bin| bin.norm_sqr()).sum()
    };
    let lost: Vec<f32> = sent.iter().zip(&coded).map(|(x, y)| x - y).collect();
    let want_db = 10.0 * (energy(&sent) / energy(&lost)).log10();
    let got_db = value(&result, "null_depth")[0];
    println!("{got_db:.3}, want {want_db:.3} dB");
    assert!((got_db - want_db).abs() < 0.05);
}
