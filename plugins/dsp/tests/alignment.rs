//! Alignment against recordings in closed form.

mod support;

use goodwire_dsp::align::{AlignError, Alignment, Recordings, align};
use goodwire_dsp::noise;
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

/// Largest difference between track and sent body, relative to the sent peak, after the exact
/// residual delay is known to be `residual` frames of the closed form.
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
        let error = worst_error(&wave, &take, &got);
        println!("worst {error:e}");
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
        println!("{off_ppm} ± {}", got.uncertainty_ppm);
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
    println!("{error}");
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
