//! Watches: measurements without an end of their own, told by a plugin of the tests' own.

mod early;
mod restarts;

use std::time::Duration;

use goodwire_proto::v1::{
    FinishMeasurementRequest, GetMeasurementRequest, HoldRequest, MarkMeasurementRequest,
    MeasureRequest, Measurement, ReleaseRequest, StopRequest, WatchMeasurementRequest,
    measurement::State, watch_measurement_response::News, watch_service_client::WatchServiceClient,
};
use goodwire_tests::{
    binary,
    client::{Client, has_note, reason, request, value},
    daemon::{Daemon, Start},
    rig::with_links,
};
use tempfile::TempDir;
use tonic::{Code, Status, transport::Channel};

/// A daemon with the plugin `vigil` and two plain links; the folder of the plugin lives as long.
fn vigilant(change: impl FnOnce(String) -> String) -> (Daemon, TempDir) {
    let plugins = TempDir::new().unwrap();
    let library = "libgoodwire_plugin_vigil.so";
    std::fs::copy(
        binary("examples").join(library),
        plugins.path().join(library),
    )
    .unwrap();
    let daemon = Start::new()
        .argument("--plugins")
        .argument(plugins.path().to_str().unwrap())
        .run(&change(with_links(2)));
    (daemon, plugins)
}

fn in_real_time(text: String) -> String {
    text.replace("time = \"virtual\"", "time = \"real\"")
}

fn watches(client: &Client) -> WatchServiceClient<Channel> {
    WatchServiceClient::new(client.channel.clone())
}

async fn begin(client: &Client, link: &str, settings: &[(&str, &str)]) -> Vec<Measurement> {
    let asked = client.ask(request(link, "vigil", settings)).await;
    let asked = asked.expect("it is not refused");
    for measurement in &asked {
        until_readings(client, &measurement.name).await;
    }
    asked
}

/// Waits for the first readings: then it runs.
async fn until_readings(client: &Client, name: &str) {
    let watching = async {
        let request = WatchMeasurementRequest { name: name.into() };
        let asked = client.measurements.clone().watch_measurement(request).await;
        let mut stream = asked.unwrap().into_inner();
        while let Some(message) = stream.message().await.unwrap() {
            if matches!(message.news, Some(News::Readings(_))) {
                return;
            }
        }
        panic!("it ended without any readings");
    };
    tokio::time::timeout(Duration::from_secs(20), watching)
        .await
        .expect("it runs");
}

async fn finish(client: &Client, name: &str) -> Result<Measurement, Status> {
    let request = FinishMeasurementRequest { name: name.into() };
    let finished = watches(client).finish_measurement(request).await?;
    Ok(finished.into_inner())
}

async fn mark(client: &Client, request: MarkMeasurementRequest) -> Result<f64, Status> {
    let marked = watches(client).mark_measurement(request).await?;
    Ok(marked.into_inner().start_s)
}

#[tokio::test]
async fn a_watch_of_60_s_on_two_links_hears_each_frame_of_the_pilot_and_has_enough() {
    let (daemon, _plugins) = vigilant(|text| text);
    let client = daemon.connect().await;
    let asked = client
        .ask(request("all", "vigil", &[("duration_s", "60")]))
        .await
        .unwrap();
    assert_eq!(asked.len(), 2);
    for measurement in asked {
        let ended = client.end_of(&measurement.name).await;
        assert_eq!(ended.state(), State::Succeeded, "{:?}", ended.reason);
        assert!(value(&ended, "fed") >= 60.0 * 48_000.0);
        assert_eq!(value(&ended, "wrong"), 0.0);
        assert_eq!(value(&ended, "lost"), 0.0);
        assert_eq!(value(&ended, "early"), 0.0);
        assert_eq!(ended.provenance.unwrap().stagger_frames, 0);
    }
}

#[tokio::test]
async fn a_finished_watch_gives_what_it_saw_and_the_other_link_goes_on() {
    let (daemon, _plugins) = vigilant(in_real_time);
    let client = daemon.connect().await;
    let asked = begin(&client, "all", &[]).await;
    finish(&client, &asked[0].name).await.unwrap();
    let first = client.end_of(&asked[0].name).await;
    assert_eq!(first.state(), State::Succeeded, "{:?}", first.reason);
    assert_eq!(value(&first, "early"), 1.0);
    assert!(value(&first, "fed") > 0.0);
    assert_eq!(value(&first, "wrong"), 0.0);
    // Asked again, it stays as it is.
    assert_eq!(finish(&client, &asked[0].name).await.unwrap(), first);
    tokio::time::sleep(Duration::from_millis(300)).await;
    finish(&client, &asked[1].name).await.unwrap();
    let second = client.end_of(&asked[1].name).await;
    assert!(value(&second, "fed") > value(&first, "fed"));
}

#[tokio::test]
async fn marks_come_at_their_frames_once_each_and_odd_ones_are_refused() {
    let (daemon, _plugins) = vigilant(in_real_time);
    let client = daemon.connect().await;
    let name = begin(&client, "link-1", &[]).await[0].name.clone();
    let at = |metres, id: &str| MarkMeasurementRequest {
        name: name.clone(),
        metres,
        label: "door".into(),
        request_id: id.into(),
    };
    let id = "0192f0c1-2d3e-7a4b-8c5d-6e7f8091a2b3";
    let first = mark(&client, at(Some(5.0), id)).await.unwrap();
    tokio::time::sleep(Duration::from_millis(200)).await;
    assert_eq!(mark(&client, at(Some(5.0), id)).await.unwrap(), first);
    let second = mark(&client, at(None, "")).await.unwrap();
    assert!(second - first > 0.19, "{first} s, {second} s");
    for metres in [-1.0, f64::NAN, f64::INFINITY] {
        let refused = mark(&client, at(Some(metres), "")).await.unwrap_err();
        assert_eq!(refused.code(), Code::InvalidArgument, "{metres}");
    }
    finish(&client, &name).await.unwrap();
    let ended = client.end_of(&name).await;
    let told: Vec<f64> = ended
        .events
        .iter()
        .filter_map(|event| event.start_s)
        .collect();
    assert_eq!(told, [first, second]);
    let refused = mark(&client, at(None, "")).await.unwrap_err();
    assert_eq!(refused.code(), Code::FailedPrecondition);
}

#[tokio::test]
async fn lost_frames_are_cut_out_and_the_pilot_goes_on_as_if_they_had_been_played() {
    // 300 frames are lost every 2 s on average.
    let losses = "xrun_every_s = 2.0\nxrun_frames = 300\n";
    let (daemon, _plugins) = vigilant(|text| {
        text.replace(
            "[reference]",
            &format!("[interface.simulated]\n{losses}[reference]"),
        )
    });
    let client = daemon.connect().await;
    let ended = client
        .measure("link-1", "vigil", &[("duration_s", "120")])
        .await;
    assert_eq!(ended.state(), State::Succeeded, "{:?}", ended.reason);
    let provenance = ended.provenance.clone().unwrap();
    println!(
        "{} xruns, {} frames lost",
        provenance.xrun_count,
        value(&ended, "lost")
    );
    assert!(provenance.xrun_count > 20);
    assert!(value(&ended, "lost") >= 300.0 * f64::from(provenance.xrun_count - 1));
    // At most the block of 4096 frames that each touched is lost with them.
    assert!(value(&ended, "lost") <= 8192.0 * f64::from(provenance.xrun_count));
    assert_eq!(value(&ended, "wrong"), 0.0);
}

#[tokio::test]
async fn a_passive_watch_begins_and_goes_on_during_a_hold_and_stop_ends_it() {
    let (daemon, _plugins) = vigilant(in_real_time);
    let mut client = daemon.connect().await;
    let hold = HoldRequest {
        text: "a wedding".into(),
    };
    client.rig.hold(hold.clone()).await.unwrap();
    let refused = client
        .ask(request("link-1", "vigil", &[]))
        .await
        .unwrap_err();
    assert_eq!(refused.code(), Code::FailedPrecondition);
    let passive = begin(&client, "link-1", &[("pilot", "none")]).await;
    client.rig.release(ReleaseRequest {}).await.unwrap();
    client.rig.hold(hold.clone()).await.unwrap();
    tokio::time::sleep(Duration::from_millis(300)).await;
    finish(&client, &passive[0].name).await.unwrap();
    let ended = client.end_of(&passive[0].name).await;
    assert_eq!(ended.state(), State::Succeeded, "{:?}", ended.reason);
    assert_eq!(value(&ended, "wrong"), 0.0);
    let passive = begin(&client, "link-1", &[("pilot", "none")]).await;
    client.rig.stop(StopRequest {}).await.unwrap();
    let ended = client.end_of(&passive[0].name).await;
    assert_eq!(ended.state(), State::Cancelled);
}

#[tokio::test]
async fn a_hold_ends_a_watch_that_plays_and_others_were_told_who_has_the_rig() {
    let (daemon, _plugins) = vigilant(in_real_time);
    let mut client = daemon.connect().await;
    let holder = begin(&client, "link-1", &[]).await[0].name.clone();
    let waits = client
        .ask(request("link-2", "vigil", &[("duration_s", "1")]))
        .await;
    let waits = waits.unwrap()[0].name.clone();
    tokio::time::sleep(Duration::from_millis(500)).await;
    let request = WatchMeasurementRequest {
        name: waits.clone(),
    };
    let stream = client
        .measurements
        .watch_measurement(request)
        .await
        .unwrap();
    let mut stream = stream.into_inner();
    let stop = client.rig.stop(StopRequest {}).await.unwrap().into_inner();
    assert_eq!(stop.cancelled_count, 2);
    assert!(stop.silent_after_ms < 50.0, "{} ms", stop.silent_after_ms);
    let mut told = String::new();
    while let Some(message) = stream.message().await.unwrap() {
        if let Some(News::Waiting(text)) = message.news {
            told = text;
        }
    }
    let ended = client.end_of(&holder).await;
    assert_eq!(ended.state(), State::Cancelled);
    let playing = begin(&client, "link-1", &[]).await[0].name.clone();
    let hold = HoldRequest::default();
    client.rig.hold(hold).await.unwrap();
    let ended = client.end_of(&playing).await;
    assert_eq!((ended.state(), reason(&ended)), (State::Failed, "hold"));
    assert!(
        told.contains(&holder) && told.contains("link-1"),
        "{told:?}"
    );
}

#[tokio::test]
async fn what_is_no_watch_is_neither_finished_nor_marked() {
    let (daemon, _plugins) = vigilant(|text| text);
    let client = daemon.connect().await;
    let refused = finish(&client, "measurements/none").await.unwrap_err();
    assert_eq!(refused.code(), Code::NotFound);
    let get = GetMeasurementRequest {
        name: "none".into(),
    };
    let unknown = client.measurements.clone().get_measurement(get).await;
    assert_eq!(unknown.unwrap_err().code(), Code::NotFound);
}
