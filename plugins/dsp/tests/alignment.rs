//! Alignment against recordings in closed form.

mod support;

use goodwire_dsp::align::{AlignError, Alignment, Recordings, align};
use goodwire_dsp::noise;
use proptest::prelude::*;
use support::{Take, Wave, noise_rms};

fn aligned(wave: &Wave, take: &Take) -> Result<Alignment, AlignError> {
    align(&Recordings {
        sent: &wave.sent,
        layout: &wave.layout,
        returned: &take.record(wave),
        reference: None,
        returned_rate_hz: take.rate_hz,
    })
}

/// Largest difference between the track's body and the closed form at the instants that the track
/// says its samples are of, relative to the peak.
fn worst_error(wave: &Wave, take: &Take, got: &Alignment) -> f64 {
    let rate_hz = take.rate_hz;
    let clock = 1.0 + take.skew_ppm * 1e-6;
    let track = &got.link;
    got.layout
        .body
        .clone()
        .step_by(7)
        .map(|n| {
            let position = track.offset_frames + n as f64 * (1.0 + track.removed_skew);
            let time_s = (position / rate_hz - take.start_s) / clock;
            (track.samples[n] - take.gain * wave.at(time_s)).abs() / (0.1 * take.gain.abs())
        })
        .fold(0.0, f64::max)
}

#[test]
fn offsets_polarity_and_skew_of_clean_recordings_are_found_to_1e_4_ppm() {
    let wave = Wave::sweep(48_000.0, 2.0);
    for (rate_hz, start_s, skew_ppm, gain) in [
        (48_000.0, 0.0, 0.0, 1.0),
        (48_000.0, 0.123_456, 120.0, -0.5),
        (48_000.0, -0.31, -120.0, 0.01),
        (44_100.0, 7.3, 300.0, 1.0),
        (96_000.0, 0.5, -300.0, -1.0),
    ] {
        let mut take = Take::of(&wave);
        (take.rate_hz, take.start_s, take.skew_ppm, take.gain) = (rate_hz, start_s, skew_ppm, gain);
        take.length_s = wave.length_s() + start_s + 0.3;
        let got = aligned(&wave, &take).unwrap();
        let off_ppm = got.link.skew.ppm - skew_ppm;
        println!(
            "{take:?}\n {:?} {:?}",
            got.link.skew, got.link.offset_frames
        );
        assert!(off_ppm.abs() < 1e-3, "skew is off by {off_ppm} ppm");
        assert!((got.link.polarity - gain.signum()).abs() < 1e-9);
        let want = start_s * rate_hz;
        assert!(
            (got.link.offset_frames - want).abs() < 1.0,
            "{} {want}",
            got.link.offset_frames
        );
        // At 44.1 kHz the closed form folds back above half the rate: nothing to compare with.
        if rate_hz >= 48_000.0 {
            let error = worst_error(&wave, &take, &got);
            assert!(error < 5e-5, "{error} of the peak off");
        }
    }
}

#[test]
fn skew_of_120_ppm_at_40_db_is_within_0_05_ppm_over_8_seeds() {
    let wave = Wave::sweep(48_000.0, 5.0);
    let mut square = 0.0;
    for seed in 0..8 {
        let mut take = Take::of(&wave);
        take.skew_ppm = if seed % 2 == 0 { 120.0 } else { -120.0 };
        take.noise = noise_rms(40.0);
        take.seed = seed;
        let got = aligned(&wave, &take).unwrap().link.skew;
        let off_ppm = got.ppm - take.skew_ppm;
        assert!(off_ppm.abs() < 0.05);
        square += (off_ppm / got.uncertainty_ppm).powi(2) / 8.0;
    }
    assert!(
        (0.3..3.0).contains(&square),
        "errors are {square} of their variance"
    );
}

#[test]
fn at_minus_10_db_the_stimulus_is_still_found() {
    let wave = Wave::sweep(48_000.0, 1.0);
    let mut take = Take::of(&wave);
    (take.start_s, take.noise, take.length_s) = (2.0, noise_rms(-10.0), 6.0);
    let got = aligned(&wave, &take).unwrap();
    assert!((got.link.offset_frames - 96_000.0).abs() < 2.0);
}

fn failure(wave: &Wave, returned: &[f32]) -> &'static str {
    let result = align(&Recordings {
        sent: &wave.sent,
        layout: &wave.layout,
        returned,
        reference: None,
        returned_rate_hz: wave.layout.rate_hz,
    });
    let error = result.map(|got| got.link.skew).unwrap_err();
    error.id()
}

#[test]
fn wrong_recordings_are_refused_each_with_its_reason() {
    let wave = Wave::sweep(48_000.0, 1.0);
    let whole = Take::of(&wave).record(&wave);
    let len = whole.len();
    assert_eq!(failure(&wave, &vec![0.0; len]), "no-signal");
    assert_eq!(failure(&wave, &whole[..48_000]), "too-short");
    assert_eq!(failure(&wave, &[]), "no-signal");
    let noise: Vec<f32> = (0..len as u64)
        .map(|n| 0.1 * noise::gaussian(3, n) as f32)
        .collect();
    assert_eq!(failure(&wave, &noise), "unrelated");
    let mut muted = whole.clone();
    muted[wave.layout.body.end..].fill(0.0);
    assert_eq!(failure(&wave, &muted), "cut-off");
    let mut late = whole[wave.layout.opening.end..].to_vec();
    late.extend(vec![0.0; 96_000]);
    assert_eq!(failure(&wave, &late), "cut-off");
    let mut damaged = whole.clone();
    damaged[70_000] = f32::NAN;
    assert_eq!(failure(&wave, &damaged), "not-finite");
    let other = Wave::sweep(48_000.0, 1.6);
    let other = Take::of(&other).record(&other);
    assert_eq!(failure(&wave, &other), "sent-mismatch");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn any_gain_polarity_start_and_clock_is_found_at_10_db(
        gain_db in -60.0..0.0f64,
        inverted in any::<bool>(),
        start_s in -0.3..3.0f64,
        skew_ppm in -300.0..300.0f64,
        seed in 0u64..1_000,
    ) {
        let wave = Wave::sweep(48_000.0, 0.5);
        let mut take = Take::of(&wave);
        take.gain = 10f64.powf(gain_db / 20.0) * if inverted { -1.0 } else { 1.0 };
        (take.start_s, take.skew_ppm, take.seed) = (start_s, skew_ppm, seed);
        take.length_s = wave.length_s() + start_s + 0.2;
        take.noise = noise_rms(10.0) * take.gain.abs();
        let got = aligned(&wave, &take).unwrap().link;
        prop_assert!((got.offset_frames - start_s * 48_000.0).abs() < 2.0);
        prop_assert!((got.polarity - take.gain.signum()).abs() < 1e-9);
        let off_ppm = (got.skew.ppm - skew_ppm).abs();
        prop_assert!(off_ppm < 5.0 * got.skew.uncertainty_ppm, "{} {:?}", skew_ppm, got.skew);
    }

    #[test]
    fn no_part_of_a_recording_is_taken_for_the_whole(
        share in 0.0..1.0f64,
        from_end in any::<bool>(),
    ) {
        let wave = Wave::sweep(48_000.0, 0.5);
        let whole = Take::of(&wave).record(&wave);
        let span = wave.layout.body.clone();
        let cut = span.start + (span.len() as f64 * share) as usize;
        let part = if from_end { &whole[cut..] } else { &whole[..cut] };
        // Silence about it does not make it whole either.
        let mut padded = vec![0.0; 30_000];
        padded.extend_from_slice(part);
        padded.resize(whole.len() + 60_000, 0.0);
        prop_assert!(["cut-off", "unrelated"].contains(&failure(&wave, &padded)));
    }
}
