//! Limiters take their time: what `level` reads of one is what it settles to.

mod common;

use common::{RATE_HZ, analyse, figure, has_note, request, stimulus};
use goodwire_plugin_sdk::payload::open_request::Mode;

/// A limiter that holds peaks above the knee down to it: its gain moves towards what the peak of
/// the last two periods of the tone demands, within `attack_s` (to 1/e) down and `release_s` up.
fn limited(samples: &[f32], knee: f64, attack_s: f64, release_s: f64) -> Vec<f32> {
    let rate_hz = f64::from(RATE_HZ);
    let window = (2.0 * rate_hz / 997.0) as usize;
    let per_frame = |seconds: f64| 1.0 - (-1.0 / (seconds * rate_hz)).exp();
    let (attack, release) = (per_frame(attack_s), per_frame(release_s));
    let mut gain = 1.0;
    (0..samples.len())
        .map(|n| {
            let heard = &samples[n.saturating_sub(window)..=n];
            let peak = heard
                .iter()
                .fold(0f64, |peak, &x| peak.max(f64::from(x.abs())));
            let wanted = if peak > knee { knee / peak } else { 1.0 };
            gain += (wanted - gain) * if wanted < gain { attack } else { release };
            (f64::from(samples[n]) * gain) as f32
        })
        .collect()
}

#[test]
fn limiters_of_5_to_100_ms_of_attack_compress_where_they_settle_within_0_05_db() {
    // Settled, the peak stays at the knee: the gain has fallen by 1 dB one dB above it. A limiter
    // that never lets a wave be cut does not clip.
    let request = request(Mode::Recorded, &[("wake_s", 0.0), ("min_dbfs", -40.0)]);
    let sent = stimulus(&request);
    let knee_dbfs = -12.3;
    for attack_s in [0.005, 0.02, 0.05, 0.1] {
        let returned = limited(&sent, 10f64.powf(knee_dbfs / 20.0), attack_s, 0.3);
        let result = analyse(&request, &sent, &returned, Some(&sent)).unwrap();
        let (point, told) = figure(&result, "compression_point").unwrap();
        println!("attack {attack_s} s: {point} ± {told}");
        assert!(
            (point - (knee_dbfs + 1.0)).abs() < 0.05,
            "attack {attack_s} s: {point} ± {told}, want {}",
            knee_dbfs + 1.0
        );
        let (gain, _) = figure(&result, "gain").unwrap();
        assert!(gain.abs() < 0.001, "attack {attack_s} s: gain {gain}");
        let curve = &result.curves[0];
        let (sent_dbfs, heard_dbfs) = (curve.x.last().unwrap(), curve.y.last().unwrap());
        assert!(
            *sent_dbfs == 0.0 && (heard_dbfs - knee_dbfs).abs() < 0.1,
            "attack {attack_s} s: {heard_dbfs} dBFS at 0 dBFS, settles to {knee_dbfs}"
        );
        assert!(has_note(&result, "no-clip-point"), "attack {attack_s} s");
        let (reached, _) = figure(&result, "unclipped_to").unwrap();
        assert_eq!(reached, 0.0);
    }
}

#[test]
fn steps_end_at_the_level_that_was_asked_for_and_the_point_out_of_reach_says_how_far_they_went() {
    let request = request(
        Mode::Recorded,
        &[("wake_s", 0.0), ("min_dbfs", -50.0), ("max_dbfs", -13.7)],
    );
    let sent = stimulus(&request);
    let highest = sent.iter().fold(0f32, |most, x| most.max(x.abs()));
    assert!(f64::from(highest) <= 10f64.powf(-13.7 / 20.0) * (1.0 + 1e-6));
    let returned: Vec<f32> = sent.iter().map(|x| x.clamp(-0.25, 0.25)).collect();
    let result = analyse(&request, &sent, &returned, Some(&sent)).unwrap();
    assert!(
        figure(&result, "clip_point").is_none() && figure(&result, "compression_point").is_none()
    );
    let (reached, _) = figure(&result, "unclipped_to").unwrap();
    assert_eq!(reached, -13.7);
    for id in ["no-clip-point", "no-compression-point"] {
        let note = result.notes.iter().find(|note| note.id == id).unwrap();
        assert!(note.text.contains("-13.7 dBFS"), "{}", note.text);
    }
}
