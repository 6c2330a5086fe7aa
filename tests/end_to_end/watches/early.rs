//! What is said of a watch that was ended before its time.

use goodwire_proto::v1::{FinishMeasurementRequest, Measurement, verdict::Outcome};
use goodwire_tests::{
    client::{Client, has_note, request, value},
    daemon::Daemon,
    rig::cellar_in_real_time,
};

use super::{until_readings, watches};

const NO_DROPOUTS: &str = "[[limit]]\nanalysis = \"dropout\"\nfigure = \"dropouts\"\nmax = 0\n";

/// A watch of ten minutes on a healthy link that is ended as soon as it runs.
async fn ended_at_once(settings: &[(&str, &str)]) -> Measurement {
    let daemon = Daemon::start(&format!("{}{NO_DROPOUTS}", cellar_in_real_time()));
    let client = daemon.connect().await;
    let settings = [&[("duration_s", "600")], settings].concat();
    let asked = client.ask(request("lectern", "dropout", &settings)).await;
    let name = asked.unwrap().remove(0).name;
    until_carried(&client, &name).await;
    let request = FinishMeasurementRequest { name: name.clone() };
    watches(&client).finish_measurement(request).await.unwrap();
    client.end_of(&name).await
}

/// Waits until the link has carried its sound for a moment.
async fn until_carried(client: &Client, name: &str) {
    until_readings(client, name).await;
    // The pilot's wake-up, and what the watch takes to find the link.
    tokio::time::sleep(std::time::Duration::from_secs(4)).await;
}

#[tokio::test]
async fn some_seconds_of_600_without_a_dropout_do_not_show_that_there_is_none() {
    let ended = ended_at_once(&[]).await;
    assert_eq!(value(&ended, "dropouts"), 0.0);
    assert!(has_note(&ended, "seen-too-little"), "{:?}", ended.notes);
    let verdict = ended.verdict.unwrap();
    assert_eq!(verdict.outcome(), Outcome::Unmeasured, "{verdict:?}");
    let text = &verdict.judgements[0].text;
    assert!(text.contains("at least 0"), "{text}");
}

#[tokio::test]
async fn a_watch_that_was_to_last_until_somebody_ends_it_has_seen_all_that_was_asked_for() {
    let ended = ended_at_once(&[("open_end", "true")]).await;
    assert!(!has_note(&ended, "seen-too-little"), "{:?}", ended.notes);
    let verdict = ended.verdict.unwrap();
    assert_eq!(verdict.outcome(), Outcome::Pass, "{verdict:?}");
}
