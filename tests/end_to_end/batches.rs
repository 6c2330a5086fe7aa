//! Links that are measured together.

use goodwire_proto::v1::measurement::State;
use goodwire_tests::{client::request, command_line::goodwire, daemon::Daemon, rig::with_links};

#[tokio::test]
async fn eight_links_at_once_play_at_most_1_2_times_the_frames_of_one() {
    let daemon = Daemon::start(&with_links(8));
    let client = daemon.connect().await;
    let alone = client.measure("link-1", "response", &[]).await;
    let one = alone.provenance.unwrap().batch_frame_count;
    let asked = client.ask(request("all", "response", &[])).await.unwrap();
    assert_eq!(asked.len(), 8);
    let mut staggers = Vec::new();
    for measurement in asked {
        let ended = client.end_of(&measurement.name).await;
        assert_eq!(ended.state(), State::Succeeded, "{:?}", ended.reason);
        let provenance = ended.provenance.unwrap();
        let ratio = provenance.batch_frame_count / one;
        assert!(
            ratio <= 1.2,
            "{} frames for eight, {one} for one",
            provenance.batch_frame_count
        );
        staggers.push(provenance.stagger_frames);
    }
    println!("staggered by {staggers:?} frames; one alone took {one}");
    staggers.sort_unstable();
    staggers.dedup();
    // The k-th send begins k × 100 ms later.
    assert_eq!(staggers.len(), 8);
    assert!(
        staggers.windows(2).all(|pair| pair[1] - pair[0] == 4800),
        "{staggers:?}"
    );
}

#[tokio::test]
async fn a_round_of_eight_links_with_clip_points_of_their_own_plays_at_most_1_2_times_the_frames_of_one()
 {
    let checks = r#"
[[round]]
name = "nightly"
checks = [{ analysis = "level", set = { min_dbfs = -36, step_db = 6 } }, "latency", "response"]
"#;
    let links = with_links(8);
    // Eight units of one kind: 0.7 dB apart in where they clip, 4.9 dB from first to last.
    let clipping = (1..=8).fold(links, |text, number| {
        let link = format!("send = {number}\nreturn = {number}\n");
        let clip_dbfs = -4.0 - 0.7 * f64::from(number);
        let simulated = format!("{link}[link.simulated]\nhard_clip_dbfs = {clip_dbfs:.1}\n");
        text.replacen(
            &format!("\"link-{number}\"\n{link}"),
            &format!("\"link-{number}\"\n{simulated}"),
            1,
        )
    });
    let daemon = Daemon::start(&format!("{clipping}{checks}"));
    let client = daemon.connect().await;
    // On the first night the clip points are not known yet, and all play alike anyway.
    let first = goodwire(&daemon, &["rounds", "run", "nightly"]);
    assert_eq!(first.code, Some(0), "{}", first.err);
    let run = goodwire(&daemon, &["--json", "rounds", "run", "nightly"]).json();
    let checks = run["checks"].as_array().expect("a list");
    assert_eq!(checks.len(), 24, "{run}");
    for analysis in ["latency", "response"] {
        let alone = client.measure("link-8", analysis, &[]).await;
        let one = alone.provenance.unwrap().batch_frame_count;
        for check in checks.iter().filter(|check| check["analysis"] == analysis) {
            let measured = client.end_of(check["measurement"].as_str().unwrap()).await;
            let lowered = measured.notes.iter().any(|note| note.id == "level-lowered");
            assert!(lowered, "the clip point of {} was not known", measured.link);
            let frames = measured.provenance.unwrap().batch_frame_count;
            let link = measured.link;
            assert!(
                frames <= 1.2 * one,
                "{link}: {frames} for eight, {one} for one"
            );
        }
    }
}

#[tokio::test]
async fn links_that_share_a_send_share_its_stimulus() {
    let daemon = Daemon::start(goodwire_tests::rig::CELLAR);
    let client = daemon.connect().await;
    let asked = client.ask(request("all", "latency", &[])).await.unwrap();
    let mut staggers = Vec::new();
    for measurement in asked {
        let ended = client.end_of(&measurement.name).await;
        assert_eq!(ended.state(), State::Succeeded, "{:?}", ended.reason);
        staggers.push(ended.provenance.unwrap().stagger_frames);
    }
    assert_eq!(staggers[0], staggers[1]);
}
