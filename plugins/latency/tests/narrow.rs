//! Links that pass but a narrow band, in noise: delay and polarity are told right, or not at all.

#[path = "../../dsp/tests/support/link.rs"]
mod link;

use goodwire_dsp::Complex64;
use goodwire_plugin_latency::Latency;
use link::*;

const LATE_FRAMES: f64 = 234.43;

/// A band with edges of a twelfth of an octave and no phase of its own.
fn band([low_hz, high_hz]: [f64; 2]) -> impl Fn(f64) -> f64 {
    let rise = |f: f64, at_hz: f64| {
        let place = 12.0 * (f.max(1e-3) / at_hz).log2() + 0.5;
        0.5 - 0.5 * (std::f64::consts::PI * place.clamp(0.0, 1.0)).cos()
    };
    move |f| rise(f, low_hz) * (1.0 - rise(f, high_hz))
}

/// Measures a link of that band, every second time inverted, in as many noises; gives how often
/// the delay was told. What is told is right: polarity, and the delay within `within_frames`.
fn told(band_hz: [f64; 2], snr_db: f64, within_frames: f64) -> usize {
    let bench = Bench::of::<Latency>("latency", 48_000);
    let sent = bench.sent::<Latency>();
    let rms = 0.1 / 2f64.sqrt() * 10f64.powf(-snr_db / 20.0);
    let mut told = 0;
    for seed in 0..4 {
        let sign = if seed % 2 == 0 { 1.0 } else { -1.0 };
        let (shape, delay) = (band(band_hz), delayed(LATE_FRAMES, 48_000.0));
        let gain = |f: f64| -> Complex64 { delay(f) * shape(f) * sign };
        let clean = through(&sent, 48_000.0, 24_000, gain);
        let mut cable = sent.clone();
        cable.resize(clean.len(), 0.0);
        let returned = with_noise(&clean, rms, 2 * seed);
        let reference = with_noise(&cable, rms, 2 * seed + 1);
        let result = bench.analyse::<Latency>(&sent, &returned, Some(&reference));
        let Ok(result) = result else { continue };
        let has = |id: &str| result.notes.iter().any(|note| note.id == id);
        let figure = result.figures.iter().find(|figure| figure.id == "latency");
        let Some(ms) = figure.and_then(|figure| figure.value) else {
            assert!(
                has("latency-unsure") && !has("inverted"),
                "{:?}",
                result.notes
            );
            continue;
        };
        let off = ms * 48.0 - LATE_FRAMES;
        assert!(
            off.abs() < within_frames,
            "{band_hz:?} {snr_db} dB: {off} frames"
        );
        assert_eq!(has("inverted"), sign < 0.0, "{band_hz:?} {snr_db} dB");
        told += 1;
    }
    told
}

// The tolerances are a hundredth of half a period at the upper corner, or less.

#[test]
fn a_telephone_band_is_told_from_0_to_40_db() {
    assert_eq!(told([300.0, 3_400.0], 0.0, 0.1), 4);
    assert_eq!(told([300.0, 3_400.0], 40.0, 0.01), 4);
}

#[test]
fn an_octave_is_told_from_20_db_on() {
    assert_eq!(told([707.0, 1_414.0], 20.0, 0.05), 4);
}

#[test]
fn a_third_of_an_octave_is_told_at_40_db_and_never_wrongly_at_20() {
    assert_eq!(told([891.0, 1_122.0], 40.0, 0.05), 4);
    told([891.0, 1_122.0], 20.0, 0.05);
}

#[test]
fn a_third_of_an_octave_that_leaves_out_1_khz_is_never_told_wrongly() {
    for snr_db in [20.0, 40.0] {
        told([3_550.0, 4_470.0], snr_db, 0.05);
    }
}
