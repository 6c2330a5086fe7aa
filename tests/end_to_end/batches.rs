//! Links that are measured together.

use goodwire_proto::v1::measurement::State;
use goodwire_tests::{client::request, daemon::Daemon, rig::with_links};

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
