//! Ours are connected to what the configuration lists, and to nothing else.

use std::{
    sync::atomic::Ordering,
    time::{Duration, Instant},
};

use goodwired::audio::InterfaceError;

use super::{
    clients::{ConnectionWatch, TestClient},
    player::{Player, config, noise, open},
    server::{PERIOD_FRAMES, Server, Turn},
};

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
        player.play_exactly(&mut interface, 4 * 10_000);
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
    player.play_exactly(&mut interface, 20_000);
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
    // The stretch of closed gate is told as a loss.
    player.play_to_a_loss(&mut interface);
    player.play_exactly(&mut interface, 20_000);
    let port = loudspeaker.client().port_by_name(target).unwrap();
    assert_eq!(port.get_connections(), Vec::<String>::new());
    let leaked = loudspeaker.sight.non_zero_count.load(Ordering::Acquire);
    println!("{leaked} frames passed before the gate closed");
    assert!(leaked <= 3 * PERIOD_FRAMES as u64, "{leaked} frames leaked");

    dut.client()
        .disconnect_ports_by_name(&ours, "dut:in_1")
        .unwrap();
    player.play_to_a_loss(&mut interface);
    player.play_exactly(&mut interface, 20_000);
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
        player.play_exactly(&mut interface, 20_000);
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
