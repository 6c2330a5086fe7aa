//! The method `intermodulation` on links of closed form.

mod common;

use common::{
    analyse, figure_at, found_at, has_note, recorded_by, request, stimulus, through, with_method,
};
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::{OpenRequest, SessionResult};
use goodwire_plugin_sdk::{Kind, ListValue, Value};
use proptest::prelude::*;

fn intermodulation(set: &[(&str, f64)]) -> OpenRequest {
    with_method(request(Mode::Recorded, set, &[]), "intermodulation")
}

fn with_tones(mut request: OpenRequest, id: &str, tones_hz: [f64; 2]) -> OpenRequest {
    let values = tones_hz.map(|hz| Value {
        kind: Some(Kind::NumberValue(hz)),
    });
    let kind = Some(Kind::ListValue(ListValue {
        values: values.to_vec(),
    }));
    let fields = &mut request.parameters.as_mut().unwrap().fields;
    fields.insert(id.to_owned(), Value { kind });
    request
}

/// Products of two sines `p sin a + q sin b` through `y = x + a2 x² + a3 x³`, by the identities of
/// products of sines: `b ± a` have `a2 p q`, `b ± 2a` have `3/4 a3 p² q`, `2b - a` has
/// `3/4 a3 p q²`; the tones come out as `p (1 + a3 (3/4 p² + 3/2 q²))` and the like.
struct Bent {
    a2: f64,
    a3: f64,
}

impl Bent {
    fn tone(&self, own: f64, other: f64) -> f64 {
        own * (1.0 + self.a3 * (0.75 * own * own + 1.5 * other * other))
    }

    /// In percent, of peaks 0.8 and 0.2 of `peak`.
    fn modulation(&self, peak: f64) -> f64 {
        let (p, q) = (0.8 * peak, 0.2 * peak);
        let below = self.tone(q, p);
        let second = 2.0 * self.a2 * p * q / below;
        let third = 2.0 * 0.75 * self.a3 * p * p * q / below;
        100.0 * second.hypot(third)
    }

    /// In percent, of two halves of `peak`.
    fn difference(&self, peak: f64) -> f64 {
        let p = 0.5 * peak;
        let below = 2.0 * self.tone(p, p);
        let second = self.a2 * p * p / below;
        let third = 2.0 * 0.75 * self.a3 * p * p * p / below;
        100.0 * second.hypot(third)
    }
}

#[track_caller]
fn near(result: &SessionResult, (id, freq_hz): (&str, f64), want: f64, within_db: f64) {
    let (value, told) = figure_at(result, id, freq_hz).unwrap_or_else(|| panic!("no {id}"));
    let off_db = 20.0 * (value / want).log10();
    println!("{id}: off by {off_db:e} dB");
    assert!(
        off_db.abs() < within_db,
        "{id}: {value} ± {told} %, want {want} % within {within_db} dB"
    );
}

#[test]
fn published_values_at_full_scale_are_read_within_0_01_db() {
    // a2, a3; d2 and d3 in % by modulation and by difference frequency, from the closed form, checked
    // by FFT to 1e-12 with SciPy; 0.8 + 0.2 and 0.5 + 0.5 of full scale.
    for (a2, a3, [m2, m3], [d2, d3]) in [
        (0.01, 0.0, [1.6, 0.0], [0.25, 0.0]),
        (0.0, 0.01, [0.0, 0.950_589], [0.0, 0.186_451]),
        (0.01, 0.01, [1.584_32, 0.950_589], [0.248_602, 0.186_451]),
    ] {
        let (modulation, difference) = (f64::hypot(m2, m3), f64::hypot(d2, d3));
        let bent = Bent { a2, a3 };
        assert!((bent.modulation(1.0) / modulation - 1.0).abs() < 1e-5);
        assert!((bent.difference(1.0) / difference - 1.0).abs() < 1e-5);
        let request = intermodulation(&[("level_dbfs", 0.0)]);
        let sent = stimulus(&request);
        let link = |x: f64| 0.3 * (x + a2 * x * x + a3 * x * x * x);
        let returned = through(&sent, 333, 0.0, 1, link);
        let result = analyse(&request, &sent, &returned, None).unwrap();
        near(&result, ("imd_modulation", 7_000.0), modulation, 0.01);
        near(&result, ("imd_difference", 20_000.0), difference, 0.01);
        assert!(has_note(&result, "no-reference"));
    }
}

#[test]
fn reference_beside_the_link_is_taken_off_by_its_complex_amplitudes() {
    // The send bends by a2 = 0.02, the link by 0.03 more of the same.
    let request = intermodulation(&[]);
    let sent = stimulus(&request);
    let send = |x: f64| x + 0.02 * x * x;
    let reference = through(&sent, 5, 0.0, 2, send);
    let returned = through(&sent, 400, 0.0, 1, |x| -0.5 * (send(x) + 0.03 * x * x));
    let result = analyse(&request, &sent, &returned, Some(&reference)).unwrap();
    let own = Bent { a2: 0.03, a3: 0.0 };
    let of_send = Bent { a2: 0.02, a3: 0.0 };
    for (id, freq_hz, own, of_send) in [
        (
            "imd_modulation",
            7_000.0,
            own.modulation(0.1),
            of_send.modulation(0.1),
        ),
        (
            "imd_difference",
            20_000.0,
            own.difference(0.1),
            of_send.difference(0.1),
        ),
    ] {
        near(&result, (id, freq_hz), own, 0.01);
        near(
            &result,
            (&format!("reference_{id}"), freq_hz),
            of_send,
            0.01,
        );
        let found = found_at(&result, id, freq_hz).unwrap();
        let off = found.high.unwrap() - (own + 2.0 * of_send);
        assert!(off.abs() < 1e-3 * own, "{id}: {found:?}");
        let at = &found.at.as_ref().unwrap().fields;
        assert_eq!(at["level_dbfs"].kind, Some(Kind::NumberValue(-20.0)));
    }
    assert!(has_note(&result, "reference-distorts"));
}

#[test]
fn straight_link_reads_below_0_00001_percent_and_says_so() {
    let request = intermodulation(&[]);
    let sent = stimulus(&request);
    let result = analyse(
        &request,
        &sent,
        &through(&sent, 7, 0.0, 1, |x| x),
        Some(&sent),
    )
    .unwrap();
    for figure in &result.figures {
        let most = figure.high.or(figure.value).unwrap();
        assert!(most < 1e-5, "{figure:?}");
    }
    assert!(has_note(&result, "imd-below-noise"));
}

/// A windowed sinc that passes up to `corner_hz` at -6 dB, within 300 Hz.
fn low_pass(samples: &[f32], corner_hz: f64) -> Vec<f32> {
    const HALF: i64 = 400;
    let taps: Vec<f64> = (-HALF..=HALF)
        .map(|n| {
            let t = n as f64;
            let cycles = corner_hz / 48_000.0;
            let sinc = if n == 0 {
                2.0 * cycles
            } else {
                (std::f64::consts::TAU * cycles * t).sin() / (std::f64::consts::PI * t)
            };
            sinc * (0.5 + 0.5 * (std::f64::consts::PI * t / HALF as f64).cos())
        })
        .collect();
    (0..samples.len() as i64)
        .map(|at| {
            let sum: f64 = (taps.iter().enumerate())
                .map(|(tap, weight)| {
                    let index = at - tap as i64 + HALF;
                    let sample = usize::try_from(index).ok().and_then(|i| samples.get(i));
                    weight * f64::from(*sample.unwrap_or(&0.0))
                })
                .sum();
            sum as f32
        })
        .collect()
}

#[test]
fn tones_keep_below_0_9_of_a_corner_at_8_khz_and_a_note_says_which() {
    let request = intermodulation(&[("wake_s", 0.0), ("duration_s", 0.3)]);
    let sent = stimulus(&request);
    let bent = through(&sent, 100, 0.0, 1, |x| x + 0.1 * x * x + 0.2 * x * x * x);
    let returned = low_pass(&bent, 8_000.0);
    let result = analyse(&request, &sent, &returned, Some(&sent)).unwrap();
    let want = Bent { a2: 0.1, a3: 0.2 };
    near(
        &result,
        ("imd_modulation", 7_000.0),
        want.modulation(0.1),
        0.02,
    );
    near(
        &result,
        ("imd_difference", 20_000.0),
        want.difference(0.1),
        0.02,
    );
    let note = result
        .notes
        .iter()
        .find(|note| note.id == "tones-lowered")
        .unwrap();
    // 20 kHz, 14.1, 10, 7.07 kHz: the first below 7.2 kHz; 7 kHz is below that as it is, or a
    // little lower where something would fold onto its products.
    assert!(
        note.text.contains("imd_difference with 67"),
        "{}",
        note.text
    );
}

#[test]
fn rate_of_44_1_khz_lowers_the_tones_and_other_tones_can_be_asked_for() {
    let mut request = with_tones(intermodulation(&[]), "modulation_hz", [250.0, 8_000.0]);
    request = with_tones(request, "difference_hz", [11_000.0, 12_000.0]);
    let sent = stimulus(&request);
    let link = |x: f64| x + 0.05 * x * x + 0.1 * x * x * x;
    let returned = through(&sent, 20, 1e-5, 1, link);
    let result = analyse(&request, &sent, &returned, Some(&sent)).unwrap();
    let want = Bent { a2: 0.05, a3: 0.1 };
    near(
        &result,
        ("imd_modulation", 8_000.0),
        want.modulation(0.1),
        0.02,
    );
    near(
        &result,
        ("imd_difference", 12_000.0),
        want.difference(0.1),
        0.05,
    );

    let mut request = intermodulation(&[]);
    request.rate_hz = 44_100;
    request.returned_rate_hz = 44_100;
    let sent = stimulus(&request);
    let result = analyse(
        &request,
        &sent,
        &through(&sent, 20, 1e-5, 1, link),
        Some(&sent),
    )
    .unwrap();
    near(
        &result,
        ("imd_difference", 20_000.0),
        want.difference(0.1),
        0.05,
    );
    assert!(has_note(&result, "tones-lowered"));
}

#[test]
fn link_that_is_silent_too_loud_or_too_narrow_has_no_figures_and_a_reason() {
    let request = intermodulation(&[("level_dbfs", -6.0)]);
    let sent = stimulus(&request);
    let clipped = through(&sent, 0, 0.0, 1, |x| (4.0 * x).clamp(-1.0, 1.0));
    assert_eq!(
        analyse(&request, &sent, &clipped, None).unwrap_err().id,
        "clipped"
    );
    let silent = vec![0.0; sent.len()];
    assert_eq!(
        analyse(&request, &sent, &silent, None).unwrap_err().id,
        "no-signal"
    );
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 8,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn bends_of_any_gain_delay_polarity_and_clock_read_their_closed_form_within_0_01_db(
        a2 in 0.001..0.1f64,
        a3 in -0.5..0.5f64,
        gain_db in -30.0..10.0f64,
        delay in 0usize..20_000,
        inverted: bool,
        ppm in -100.0..100.0f64,
    ) {
        let request = intermodulation(&[("wake_s", 0.0), ("duration_s", 0.5)]);
        let sent = stimulus(&request);
        let factor = 10f64.powf(gain_db / 20.0) * if inverted { -1.0 } else { 1.0 };
        let returned = through(&sent, delay, 0.0, 1, |x| factor * (x + a2 * x * x + a3 * x.powi(3)));
        let [returned, cable] = [returned, through(&sent, 0, 0.0, 1, |x| x)]
            .map(|sound| recorded_by(&sound, 48_000.0, ppm, 0.2));
        let result = analyse(&request, &sent, &returned, Some(&cable)).unwrap();
        let bent = Bent { a2, a3 };
        for (id, freq_hz, want) in [
            ("imd_modulation", 7_000.0, bent.modulation(0.1)),
            ("imd_difference", 20_000.0, bent.difference(0.1)),
        ] {
            let (got, _) = figure_at(&result, id, freq_hz).unwrap();
            let off_db = 20.0 * (got / want).log10();
            prop_assert!(off_db.abs() < 0.01, "{id}: {off_db} dB, {ppm} ppm");
        }
    }
}
