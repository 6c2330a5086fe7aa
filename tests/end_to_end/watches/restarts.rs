//! A daemon that was killed or ended, and started again, while a watch ran; and a plugin that died.

use super::*;

/// Long enough for the first state to be kept, which is after a second.
const UNTIL_KEPT: Duration = Duration::from_millis(2_500);

/// Begins a watch of both links, waits until something of it is kept, and ends the daemon.
async fn cut_short(
    resume: bool,
    change: impl FnOnce(String) -> String,
    end: impl FnOnce(Daemon) -> Daemon,
) -> (Daemon, TempDir, Vec<String>) {
    let (daemon, plugins) = vigilant(change);
    let client = daemon.connect().await;
    let asked = client
        .ask(MeasureRequest {
            resume,
            ..request("all", "vigil", &[])
        })
        .await
        .expect("it is not refused");
    for measurement in &asked {
        until_readings(&client, &measurement.name).await;
    }
    tokio::time::sleep(UNTIL_KEPT).await;
    let names = asked.into_iter().map(|measurement| measurement.name);
    (end(daemon), plugins, names.collect())
}

#[tokio::test]
async fn a_killed_watch_goes_on_with_both_links_and_counts_the_time_away_as_lost() {
    let (daemon, _plugins, names) =
        cut_short(true, in_real_time, |daemon| daemon.kill_and_start_again()).await;
    let client = daemon.connect().await;
    for name in &names {
        until_readings(&client, name).await;
    }
    tokio::time::sleep(Duration::from_millis(500)).await;
    for name in &names {
        finish(&client, name).await.unwrap();
        let ended = client.end_of(name).await;
        assert_eq!(ended.state(), State::Succeeded, "{:?}", ended.reason);
        let count = |id| value(&ended, id);
        println!("fed {}, lost {} frames", count("fed"), count("lost"));
        // What was heard after the last state is lost too: of the first second at most all but 0.2 s.
        assert!(count("fed") > 0.8 * 48_000.0);
        assert!(count("lost") > 0.0);
        assert_eq!(
            count("wrong"),
            0.0,
            "the pilot goes on as if it had never stopped"
        );
        assert!(
            has_note(&ended, "resumed-after-restart"),
            "{:?}",
            ended.notes
        );
        let (start, end) = (ended.start_time.unwrap(), ended.end_time.unwrap());
        let by_clock_s = (end.seconds - start.seconds) as f64;
        let watched_s = count("end") / 48_000.0;
        assert!(
            (watched_s - by_clock_s).abs() < 2.0,
            "{watched_s} s of {by_clock_s} s: the frames count on by the clock"
        );
    }
}

#[tokio::test]
async fn a_killed_watch_that_was_not_to_go_on_is_closed_with_what_it_saw() {
    let (daemon, _plugins, names) =
        cut_short(false, in_real_time, |daemon| daemon.kill_and_start_again()).await;
    let client = daemon.connect().await;
    for name in &names {
        let ended = client.end_of(name).await;
        assert_eq!(ended.state(), State::Succeeded, "{:?}", ended.reason);
        assert!(value(&ended, "fed") > 0.8 * 48_000.0);
        assert_eq!(value(&ended, "early"), 1.0);
        assert!(
            has_note(&ended, "closed-after-restart"),
            "{:?}",
            ended.notes
        );
    }
}

#[tokio::test]
async fn a_watch_goes_on_also_after_the_daemon_was_ended_in_good_order() {
    let (daemon, _plugins, names) = cut_short(true, |text| text, Daemon::end_and_start_again).await;
    let client = daemon.connect().await;
    let mut lost = Vec::new();
    for name in &names {
        until_readings(&client, name).await;
        finish(&client, name).await.unwrap();
        let ended = client.end_of(name).await;
        assert_eq!(ended.state(), State::Succeeded, "{:?}", ended.reason);
        assert_eq!(value(&ended, "wrong"), 0.0);
        lost.push(value(&ended, "lost"));
    }
    // Simulated time stood still meanwhile, from the latest state of the two on.
    assert!(lost.contains(&0.0), "{lost:?}");
}

#[tokio::test]
async fn a_hold_from_before_the_restart_keeps_a_watch_from_going_on() {
    let (daemon, _plugins) = vigilant(in_real_time);
    let client = daemon.connect().await;
    let asked = client
        .ask(MeasureRequest {
            resume: true,
            ..request("link-1", "vigil", &[("pilot", "none")])
        })
        .await
        .unwrap();
    let sounding = client
        .ask(MeasureRequest {
            resume: true,
            ..request("link-2", "latency", &[])
        })
        .await
        .unwrap_err();
    assert_eq!(sounding.code(), Code::InvalidArgument, "it is no watch");
    until_readings(&client, &asked[0].name).await;
    let hold = HoldRequest::default();
    client.rig.clone().hold(hold).await.unwrap();
    tokio::time::sleep(UNTIL_KEPT).await;
    let daemon = daemon.kill_and_start_again();
    let client = daemon.connect().await;
    // A passive one goes on during a hold.
    until_readings(&client, &asked[0].name).await;
    client.rig.clone().stop(StopRequest {}).await.unwrap();
    let ended = client.end_of(&asked[0].name).await;
    assert_eq!(ended.state(), State::Cancelled);
    // Once ended, nothing is taken up any more.
    let daemon = daemon.kill_and_start_again();
    let client = daemon.connect().await;
    assert_eq!(client.end_of(&asked[0].name).await, ended);
}

#[tokio::test]
async fn where_nobody_may_be_away_a_watch_is_not_promised_to_go_on() {
    let (daemon, _plugins) = vigilant(|text| format!("{text}\n[safety]\nunattended = false\n"));
    let client = daemon.connect().await;
    let mut wanted = MeasureRequest {
        resume: true,
        present: true,
        ..request("link-1", "vigil", &[("duration_s", "1")])
    };
    let refused = client.ask(wanted.clone()).await.unwrap_err();
    assert_eq!(refused.code(), Code::InvalidArgument);
    wanted.resume = false;
    client.ask(wanted).await.expect("without it, it is allowed");
}

#[tokio::test]
async fn what_a_watch_saw_is_not_lost_with_its_plugin() {
    let (daemon, _plugins) = vigilant(in_real_time);
    let client = daemon.connect().await;
    let ended = client
        .measure("link-1", "vigil", &[("dies_at_s", "4")])
        .await;
    assert_eq!(ended.state(), State::Succeeded, "{:?}", ended.reason);
    // The first state is kept after a second, the next one ten seconds later.
    let fed_s = value(&ended, "fed") / 48_000.0;
    assert!((0.5..4.0).contains(&fed_s), "{fed_s} s");
    assert!(has_note(&ended, "closed-after-fault"), "{:?}", ended.notes);
    let unkept = client
        .measure("link-1", "vigil", &[("dies_at_s", "0.3")])
        .await;
    assert_eq!(
        (unkept.state(), reason(&unkept)),
        (State::Failed, "plugin-crashed")
    );
}
