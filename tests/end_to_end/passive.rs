//! `dropout` with `pilot=none`: it watches during a hold and plays nothing.

use goodwire_proto::v1::{
    HoldRequest, Measurement, WatchLevelsRequest, level_service_client::LevelServiceClient,
    measurement::State,
};
use goodwire_tests::{
    client::{Client, reason, request, value},
    daemon::Daemon,
    rig::with_links,
};
use tonic::Code;

const PASSIVE: [(&str, &str); 2] = [("pilot", "none"), ("duration_s", "10")];

async fn hold(client: &mut Client) {
    let text = "a reading".into();
    client.rig.hold(HoldRequest { text }).await.unwrap();
}

async fn watched(client: &Client) -> Measurement {
    let asked = client.ask(request("link-1", "dropout", &PASSIVE)).await;
    client.end_of(&asked.unwrap()[0].name).await
}

#[tokio::test]
async fn programme_is_watched_during_a_hold_and_has_no_dropout_in_10_s() {
    let programme = "[interface.simulated]\nprogramme_dbfs = -30\n[reference]";
    let daemon = Daemon::start(&with_links(1).replace("[reference]", programme));
    let mut client = daemon.connect().await;
    hold(&mut client).await;
    let with_noise = client.ask(request("link-1", "dropout", &[])).await;
    assert_eq!(with_noise.unwrap_err().code(), Code::FailedPrecondition);
    let ended = watched(&client).await;
    assert_eq!(ended.state(), State::Succeeded, "{:?}", ended.reason);
    assert_eq!(value(&ended, "dropouts"), 0.0);
    assert!(ended.notes.iter().any(|note| note.id == "passive"));
    assert!(ended.notes.iter().all(|note| note.id != "no-reference"));
}

#[tokio::test]
async fn the_sends_stay_silent_for_10_s_and_where_nothing_is_heard_it_is_no_signal() {
    let in_real_time = with_links(1).replace("\"virtual\"", "\"real\"");
    let daemon = Daemon::start(&in_real_time);
    let mut client = daemon.connect().await;
    hold(&mut client).await;
    let mut levels = LevelServiceClient::new(client.channel.clone());
    let levels = levels.watch_levels(WatchLevelsRequest {}).await;
    let mut levels = levels.unwrap().into_inner();
    let ending = watched(&client);
    tokio::pin!(ending);
    let mut loudest_dbfs = f64::NEG_INFINITY;
    let ended = loop {
        tokio::select! {
            ended = &mut ending => break ended,
            next = levels.message() => {
                let told = next.unwrap().unwrap();
                let peaks = told.returns.iter().filter_map(|one| one.peak_dbfs);
                loudest_dbfs = peaks.fold(loudest_dbfs, f64::max);
            }
        }
    };
    assert_eq!(ended.state(), State::Failed);
    assert_eq!(reason(&ended), "no-signal");
    // The rig's own noise is at -100 dBFS; a pilot would stand at -20.
    assert!(
        (-110.0..-70.0).contains(&loudest_dbfs),
        "{loudest_dbfs} dBFS"
    );
}
