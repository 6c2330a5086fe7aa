//! What is lost is told, and what is gone comes back.

use std::{
    sync::atomic::Ordering,
    thread,
    time::{Duration, Instant},
};

use goodwired::audio::{Interface, InterfaceError};

use super::{
    clients::TestClient,
    player::{Player, noise, open},
    server::{PERIOD_FRAMES, Server, Turn, eventually},
};

#[test]
fn xruns_are_counted_and_what_follows_is_exact_again() {
    let Some(_turn) = Turn::take() else { return };
    let _server = Server::start(PERIOD_FRAMES);
    let dut = TestClient::device_under_test(2);
    let mut interface = open(2).unwrap();
    let mut player = Player::new(noise);
    for round in 1..=4 {
        player.play_exactly(&mut interface, 2000);
        let (xruns, losses) = (interface.xrun_count(), player.loss_count);
        dut.sight.dawdle_ms.store(40 * round, Ordering::Release);
        player.play_until(
            &mut interface,
            "the xrun is counted and told",
            |player, interface| interface.xrun_count() > xruns && player.loss_count > losses,
        );
    }
    player.play_exactly(&mut interface, 2000);
    println!(
        "{} xruns, {} losses",
        interface.xrun_count(),
        player.loss_count
    );
}

#[test]
fn a_late_engine_is_a_loss_and_never_a_splice() {
    let Some(_turn) = Turn::take() else { return };
    let _server = Server::start(PERIOD_FRAMES);
    let _dut = TestClient::device_under_test(1);
    let mut interface = open(1).unwrap();
    let mut player = Player::new(noise);
    for _ in 0..3 {
        player.play_exactly(&mut interface, 20_000);
        thread::sleep(Duration::from_millis(300));
        player.play_to_a_loss(&mut interface);
    }
    player.play_exactly(&mut interface, 20_000);
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
        player.play_exactly(&mut interface, 20_000);
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
        assert!(error.to_string().contains("jack:goodwire-test"), "{error}");
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
    player.play_exactly(&mut interface, 20_000);
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
    assert!(matches!(open(1), Err(InterfaceError::Gone { .. })));
    // SAFETY: as above.
    unsafe { libc::kill(server.pid(), libc::SIGCONT) };
    eventually("the server is usable again", || open(1).is_ok());
}
