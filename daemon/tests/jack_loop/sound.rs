//! What is played is what is heard, and silence comes when it is asked for.

use std::{sync::atomic::Ordering, thread, time::Duration};

use goodwired::audio::Interface;

use super::{
    clients::TestClient,
    player::{Player, noise, open},
    server::{PERIOD_FRAMES, RATE_HZ, Server, Turn, eventually},
};

/// A tone of 1 kHz at half scale: its largest step is 0.5 * 2 pi * 1000 / 48000 = 0.0654.
fn tone(frame: u64, _: usize) -> f32 {
    let phase = (frame % 48) as f64 / 48.0;
    (0.5 * (std::f64::consts::TAU * phase).sin()) as f32
}

#[test]
fn frame_n_played_is_frame_n_heard_to_the_bit_over_8_channels() {
    let Some(_turn) = Turn::take() else { return };
    for period_frames in [512, 1024] {
        let _server = Server::start(period_frames);
        let _dut = TestClient::device_under_test(8);
        let mut interface = open(8).unwrap();
        let shape = interface.shape().clone();
        assert!(shape.locked && !shape.simulated && shape.backend == "jack");
        assert_eq!(
            (shape.rate_hz, shape.period_frames),
            (RATE_HZ, period_frames)
        );
        assert_eq!(
            shape.scheduling, "other",
            "the server was started without real time"
        );

        let mut player = Player::new(noise);
        player.play_exactly(&mut interface, 8 * 2 * u64::from(RATE_HZ));
        println!(
            "period {period_frames}: {} samples exact, {} losses, {} xruns",
            player.exact_count,
            player.loss_count,
            interface.xrun_count()
        );
    }
}

#[test]
fn mute_silences_the_port_within_50_ms_without_a_click() {
    let Some(_turn) = Turn::take() else { return };
    let _server = Server::start(PERIOD_FRAMES);
    let dut = TestClient::device_under_test(1);
    let mut interface = open(1).unwrap();
    let mute = interface.mute();
    let mut player = Player::new(tone);
    player.checks_samples = false;
    let mut longest_ms: f64 = 0.0;
    for round in 0..20 {
        player
            .play(&mut interface, Duration::from_millis(400 + 3 * round))
            .unwrap();
        let asked = dut.client().frame_time();
        mute.set(true);
        // The engine's thread does nothing meanwhile: the callback alone must do it.
        eventually("the callback says that it is silent", || mute.is_silent());
        thread::sleep(Duration::from_millis(60));
        let last = dut.sight.last_non_zero_frame.load(Ordering::Acquire);
        let late_ms = f64::from(last.wrapping_sub(asked) as i32) * 1000.0 / f64::from(RATE_HZ);
        longest_ms = longest_ms.max(late_ms);
        mute.set(false);
    }
    println!("sound ended at most {longest_ms:.1} ms after it was asked to");
    assert!(longest_ms <= 50.0, "{longest_ms} ms");
    if player.loss_count == 0 {
        println!("largest step {:.4}", dut.sight.largest_step());
    }
    assert!(interface.xrun_count() > 0 || dut.sight.largest_step() < 0.08);
}
