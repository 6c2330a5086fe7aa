//! Live levels: while it idles and while it measures, to many at once.

use std::time::{Duration, Instant};

use goodwire_proto::v1::{
    WatchLevelsRequest, WatchLevelsResponse, level_service_client::LevelServiceClient,
    measurement::State,
};
use goodwire_tests::{
    client::{Client, request},
    command_line::goodwire,
    daemon::Daemon,
    rig::{CELLAR, cellar_in_real_time},
};
use tonic::Streaming;

/// Watchers that never read.
const SLOW_COUNT: usize = 100;

async fn watch(client: &Client) -> Streaming<WatchLevelsResponse> {
    let mut levels = LevelServiceClient::new(client.channel.clone());
    let stream = levels.watch_levels(WatchLevelsRequest {}).await;
    stream.expect("anybody may watch").into_inner()
}

/// All that is told within a time.
async fn told_within(
    stream: &mut Streaming<WatchLevelsResponse>,
    time: Duration,
) -> Vec<WatchLevelsResponse> {
    let mut told = Vec::new();
    let end = Instant::now() + time;
    while let Ok(next) = tokio::time::timeout_at(end.into(), stream.message()).await {
        told.push(next.expect("the stream holds").expect("it does not end"));
    }
    told
}

/// The highest peak that was told of a return.
fn peak_dbfs(told: &[WatchLevelsResponse], number: usize) -> f64 {
    let peaks = told.iter().map(|one| one.returns[number - 1].peak_dbfs);
    peaks.flatten().fold(f64::NEG_INFINITY, f64::max)
}

#[tokio::test]
async fn an_idle_rig_tells_three_returns_ten_times_a_second() {
    let daemon = Daemon::start(&cellar_in_real_time());
    let mut stream = watch(&daemon.connect().await).await;
    let told = told_within(&mut stream, Duration::from_secs(3)).await;
    // 30 are due; a busy machine may put several stretches into one, none is told twice.
    assert!((20..=31).contains(&told.len()), "{} in 3 s", told.len());
    for levels in &told {
        let names: Vec<_> = levels.returns.iter().map(|one| one.name.as_str()).collect();
        assert_eq!(names, ["links/lectern", "reference", "links/drum-riser"]);
        let numbers: Vec<_> = levels.returns.iter().map(|one| one.r#return).collect();
        assert_eq!(numbers, [1, 2, 3]);
    }
}

#[tokio::test]
async fn what_is_played_at_minus_20_dbfs_is_told_of_the_cable_while_100_watchers_sleep() {
    let daemon = Daemon::start(&cellar_in_real_time());
    let mut asleep = Vec::new();
    for _ in 0..SLOW_COUNT {
        asleep.push(watch(&daemon.connect().await).await);
    }
    let client = daemon.connect().await;
    let mut stream = watch(&client).await;
    let settings = [("level_dbfs", "-20"), ("repeats", "1")];
    let asked = client.ask(request("lectern", "latency", &settings)).await;
    let name = asked.unwrap()[0].name.clone();
    let mut told = Vec::new();
    let measuring = client.end_of(&name);
    let begun = Instant::now();
    let ended = {
        tokio::pin!(measuring);
        loop {
            tokio::select! {
                ended = &mut measuring => break ended,
                next = stream.message() => told.push(next.unwrap().unwrap()),
            }
        }
    };
    assert_eq!(ended.state(), State::Succeeded, "{:?}", ended.reason);
    let due = begun.elapsed().as_secs_f64() * 10.0;
    assert!(
        told.len() as f64 > 0.7 * due,
        "{} told, {due} due",
        told.len()
    );
    // The simulated cable changes nothing, and the stimulus declares its peak; it may stay a little
    // below, because the peak of a sound between its samples is not among them.
    let peak_dbfs = peak_dbfs(&told, 2);
    assert!((-20.5..=-19.99).contains(&peak_dbfs), "{peak_dbfs} dBFS");
    assert!(told.iter().all(|one| !one.returns[1].clipped));
}

#[tokio::test]
async fn levels_once_prints_the_returns_before_and_after_the_first_sound() {
    let daemon = Daemon::start(CELLAR);
    let said = goodwire(&daemon, &["--json", "levels", "--once"]);
    assert_eq!(said.code, Some(0), "{}", said.err);
    let before = said.json();
    let returns = before["returns"].as_array().expect("a list");
    assert_eq!(returns.len(), 3);
    // Virtual time has not begun: nothing was heard, and no number is made up.
    assert!(returns.iter().all(|one| one.get("peakDbfs").is_none()));

    let client = daemon.connect().await;
    let ended = client.measure("lectern", "latency", &[]).await;
    assert_eq!(ended.state(), State::Succeeded, "{:?}", ended.reason);
    let after = goodwire(&daemon, &["--json", "levels", "--once"]).json();
    for one in after["returns"].as_array().expect("a list") {
        assert!(one["peakDbfs"].is_number() && one["rmsDbfs"].is_number());
    }
    let table = goodwire(&daemon, &["levels"]).out;
    assert!(
        table.contains("drum-riser") && table.contains("dBFS"),
        "{table}"
    );
}

#[tokio::test]
async fn levels_are_told_during_a_hold() {
    let daemon = Daemon::start(&cellar_in_real_time());
    assert_eq!(goodwire(&daemon, &["hold"]).code, Some(0));
    let mut stream = watch(&daemon.connect().await).await;
    let told = told_within(&mut stream, Duration::from_secs(1)).await;
    assert!(told.len() >= 5, "{} in 1 s", told.len());
}
