//! The JACK back end against a real server with the dummy driver and a device under test that is
//! a client of the test's own.

mod jack_support;

use std::{
    sync::atomic::Ordering,
    thread,
    time::{Duration, Instant},
};

use goodwired::audio::{Interface, InterfaceError};
use jack_support::{
    clients::{ConnectionWatch, TestClient},
    player::{Player, config, noise, open},
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
    for period_frames in [256, 512, 1024] {
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
fn loudspeakers_hear_nothing_but_silence_from_opening_to_closing() {
    let Some(_turn) = Turn::take() else { return };
    let _server = Server::start(PERIOD_FRAMES);
    let dut = TestClient::device_under_test(4);
    let loudspeaker = TestClient::loudspeaker();
    let watch = ConnectionWatch::begin();
    for _ in 0..5 {
        let before = dut.sight.non_zero_count.load(Ordering::Acquire);
        let mut interface = open(4).unwrap();
        let mut player = Player::new(noise);
        player
            .play(&mut interface, Duration::from_millis(600))
            .unwrap();
        let connected: Vec<String> = ["system:playback_1", "listening-system:playback_1"]
            .iter()
            .flat_map(|name| watch.client().port_by_name(name).unwrap().get_connections())
            .collect();
        assert_eq!(connected, Vec::<String>::new());
        assert!(dut.sight.non_zero_count.load(Ordering::Acquire) > before + 10_000);
    }
    let wired = |change: &String| change.starts_with("+ ") && change.contains("system:playback");
    assert!(
        watch.seen().iter().any(wired),
        "cpal no longer connects by itself: the test is void"
    );
    assert_eq!(loudspeaker.sight.non_zero_count.load(Ordering::Acquire), 0);
}

#[test]
fn a_connection_made_by_somebody_else_is_taken_off_and_a_broken_one_restored() {
    let Some(_turn) = Turn::take() else { return };
    let _server = Server::start(PERIOD_FRAMES);
    let dut = TestClient::device_under_test(1);
    let loudspeaker = TestClient::loudspeaker();
    let mut interface = open(1).unwrap();
    let mut player = Player::new(noise);
    player
        .play(&mut interface, Duration::from_millis(500))
        .unwrap();
    let ours = dut
        .client()
        .port_by_name("dut:in_1")
        .unwrap()
        .get_connections()
        .remove(0);

    let target = "listening-system:playback_1";
    loudspeaker
        .client()
        .connect_ports_by_name(&ours, target)
        .unwrap();
    let losses = player.loss_count;
    player.play(&mut interface, Duration::from_secs(1)).unwrap();
    let port = loudspeaker.client().port_by_name(target).unwrap();
    assert_eq!(port.get_connections(), Vec::<String>::new());
    assert!(
        player.loss_count > losses,
        "the stretch of closed gate is told as a loss"
    );
    let leaked = loudspeaker.sight.non_zero_count.load(Ordering::Acquire);
    println!("{leaked} frames passed before the gate closed");
    assert!(leaked <= 3 * PERIOD_FRAMES as u64, "{leaked} frames leaked");

    dut.client()
        .disconnect_ports_by_name(&ours, "dut:in_1")
        .unwrap();
    let losses = player.loss_count;
    player.play(&mut interface, Duration::from_secs(1)).unwrap();
    assert!(
        player.loss_count > losses,
        "the broken connection is told as a loss"
    );
    let exact = player.exact_count;
    player
        .play(&mut interface, Duration::from_millis(500))
        .unwrap();
    assert!(player.exact_count > exact, "the connection is back");
}

#[test]
fn a_device_that_leaves_is_gone_then_waited_for_by_name_then_back() {
    let Some(_turn) = Turn::take() else { return };
    let _server = Server::start(PERIOD_FRAMES);
    let waiting = open(1).err().unwrap();
    let text = waiting.to_string();
    assert!(
        matches!(waiting, InterfaceError::Waiting { .. }),
        "{waiting:?}"
    );
    assert!(
        text.contains("dut:in_1") && text.contains("dut:out_1"),
        "{text}"
    );

    for _ in 0..3 {
        let dut = TestClient::device_under_test(1);
        let mut interface = open(1).unwrap();
        let mut player = Player::new(noise);
        player
            .play(&mut interface, Duration::from_millis(500))
            .unwrap();
        assert!(player.exact_count > 1000);
        let left = Instant::now();
        drop(dut);
        let error = player
            .play(&mut interface, Duration::from_secs(5))
            .unwrap_err();
        assert!(matches!(error, InterfaceError::Gone { .. }), "{error:?}");
        assert!(error.to_string().contains("dut:"), "{error}");
        assert!(
            left.elapsed() < Duration::from_secs(1),
            "{:?}",
            left.elapsed()
        );
        drop(interface);
        assert!(matches!(open(1), Err(InterfaceError::Waiting { .. })));
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

#[test]
fn xruns_are_counted_and_what_follows_is_exact_again() {
    let Some(_turn) = Turn::take() else { return };
    let _server = Server::start(256);
    let dut = TestClient::device_under_test(2);
    let mut interface = open(2).unwrap();
    let mut player = Player::new(noise);
    for round in 1..=5 {
        player
            .play(&mut interface, Duration::from_millis(500))
            .unwrap();
        let before = (
            interface.xrun_count(),
            player.loss_count,
            player.exact_count,
        );
        dut.sight.dawdle_ms.store(40 * round, Ordering::Release);
        player
            .play(&mut interface, Duration::from_millis(900))
            .unwrap();
        assert!(interface.xrun_count() > before.0, "round {round}");
        assert!(player.loss_count > before.1, "round {round}");
        assert!(player.exact_count > before.2, "round {round}");
    }
    println!(
        "{} xruns, {} losses",
        interface.xrun_count(),
        player.loss_count
    );
}

#[test]
fn a_late_engine_is_a_loss_and_never_a_splice() {
    let Some(_turn) = Turn::take() else { return };
    let _server = Server::start(256);
    let _dut = TestClient::device_under_test(1);
    let mut interface = open(1).unwrap();
    let mut player = Player::new(noise);
    for _ in 0..3 {
        player
            .play(&mut interface, Duration::from_millis(500))
            .unwrap();
        let losses = player.loss_count;
        thread::sleep(Duration::from_millis(300));
        player
            .play(&mut interface, Duration::from_millis(500))
            .unwrap();
        assert!(player.loss_count > losses);
    }
}

#[test]
fn a_killed_server_is_gone_within_a_second_and_opens_again_when_it_is_back() {
    let Some(_turn) = Turn::take() else { return };
    let refused = open(1).err().unwrap();
    assert!(
        matches!(refused, InterfaceError::Gone { .. }),
        "{refused:?}"
    );
    for _ in 0..3 {
        let server = Server::start(PERIOD_FRAMES);
        let dut = TestClient::device_under_test(1);
        let mut interface = open(1).unwrap();
        let mut player = Player::new(noise);
        player
            .play(&mut interface, Duration::from_millis(500))
            .unwrap();
        assert!(player.exact_count > 1000);
        let killed = Instant::now();
        server.kill();
        let error = player
            .play(&mut interface, Duration::from_secs(5))
            .unwrap_err();
        assert!(
            matches!(
                error,
                InterfaceError::Gone { .. } | InterfaceError::Stalled { .. }
            ),
            "{error:?}"
        );
        assert!(error.to_string().contains("jack:goodwire-test-"), "{error}");
        println!("{error}, told after {:?}", killed.elapsed());
        assert!(
            killed.elapsed() < Duration::from_millis(1500),
            "{:?}",
            killed.elapsed()
        );
        drop(interface);
        drop(dut);
        assert!(matches!(open(1), Err(InterfaceError::Gone { .. })));
    }
}

#[test]
fn a_frozen_server_is_stalled_and_closing_does_not_hang() {
    let Some(_turn) = Turn::take() else { return };
    let server = Server::start(PERIOD_FRAMES);
    let _dut = TestClient::device_under_test(1);
    let mut interface = open(1).unwrap();
    let mut player = Player::new(noise);
    player
        .play(&mut interface, Duration::from_millis(500))
        .unwrap();
    // SAFETY: signals go to the server that this test started.
    unsafe { libc::kill(server.pid(), libc::SIGSTOP) };
    let error = player
        .play(&mut interface, Duration::from_secs(5))
        .unwrap_err();
    assert!(matches!(error, InterfaceError::Stalled { .. }), "{error:?}");
    let closing = Instant::now();
    drop(interface);
    assert!(
        closing.elapsed() < Duration::from_secs(4),
        "{:?}",
        closing.elapsed()
    );
    // SAFETY: as above.
    unsafe { libc::kill(server.pid(), libc::SIGCONT) };
}

#[test]
fn another_rate_is_refused_with_both_numbers_and_a_wrong_direction_by_name() {
    let Some(_turn) = Turn::take() else { return };
    let _server = Server::start(PERIOD_FRAMES);
    let _dut = TestClient::device_under_test(1);
    let open = |config| goodwired::audio::open(&config).err().unwrap();
    let mut other_rate = config(1);
    other_rate.rate_hz = 44_100;
    let error = open(other_rate);
    assert!(matches!(error, InterfaceError::Unfit { .. }), "{error:?}");
    assert!(
        error.to_string().contains("44100") && error.to_string().contains("48000"),
        "{error}"
    );

    let mut wrong_way = config(1);
    wrong_way.jack_sends = vec![String::from("dut:out_1")];
    let error = open(wrong_way);
    assert!(matches!(error, InterfaceError::Unfit { .. }), "{error:?}");
    assert!(error.to_string().contains("dut:out_1"), "{error}");
}
