//! SIGKILL at random instants: what was told is there, what was not is told as interrupted.

use std::{
    env,
    hash::{BuildHasher, RandomState},
    time::{Duration, Instant},
};

use goodwire_proto::v1::{
    GetMeasurementRequest, ListMeasurementsRequest, MeasureRequest, Measurement,
    measurement::State, watch_measurement_response::News,
};
use goodwire_tests::{
    client::{Client, has_ended, reason, request},
    daemon::Daemon,
    rig::CELLAR,
};
use tokio::sync::mpsc;

/// How often it is killed where nobody says otherwise.
const KILL_COUNT: u32 = 100;
/// Latest kill after the daemon is ready, in times that one request takes.
const LATEST_REQUESTS: f64 = 2.5;

/// What a client was told before the kill.
enum Told {
    /// These were asked for.
    Asked(String),
    /// This one has ended, with all of its figures.
    Ended(Box<Measurement>),
}

/// Keeps asking and watching until the daemon is gone.
async fn keep_asking(client: Client, told: mpsc::UnboundedSender<Told>) {
    loop {
        let Ok(asked) = client.ask(wanted()).await else {
            return;
        };
        for measurement in &asked {
            // The receiver lives until this task ends.
            let _ = told.send(Told::Asked(measurement.name.clone()));
        }
        for Measurement { name, .. } in asked {
            let request = goodwire_proto::v1::WatchMeasurementRequest { name };
            let Ok(stream) = client.measurements.clone().watch_measurement(request).await else {
                return;
            };
            let mut stream = stream.into_inner();
            loop {
                match stream.message().await {
                    Err(_) => return,
                    Ok(None) => break,
                    Ok(Some(message)) => {
                        if let Some(News::Measurement(one)) = message.news
                            && has_ended(one.state())
                        {
                            let _ = told.send(Told::Ended(Box::new(one)));
                        }
                    }
                }
            }
        }
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn killed_at_random_it_loses_no_result_that_it_told() {
    let kill_count = env::var("GOODWIRE_KILLS").map_or(KILL_COUNT, |text| text.parse().unwrap());
    let mut daemon = Daemon::start(CELLAR);
    let one_request = time_of_one_request(&daemon.connect().await).await;
    let (mut told_count, mut interrupted_count) = (0, 0);
    for round in 0..kill_count {
        let (told, mut heard) = mpsc::unbounded_channel();
        let asking = tokio::spawn(keep_asking(daemon.connect().await, told));
        let share = RandomState::new().hash_one(round) as f64 / u64::MAX as f64;
        tokio::time::sleep(one_request.mul_f64(LATEST_REQUESTS * share)).await;
        daemon = daemon.kill_and_start_again();
        asking.await.unwrap();
        let client = daemon.connect().await;
        while let Some(told) = heard.recv().await {
            match told {
                Told::Asked(name) => {
                    let found = get(&client, &name).await;
                    assert!(
                        has_ended(found.state()),
                        "round {round}: {name} is {:?}",
                        found.state()
                    );
                    if found.state() == State::Failed {
                        assert_eq!(reason(&found), "interrupted", "round {round}: {name}");
                        interrupted_count += 1;
                    }
                }
                Told::Ended(measurement) => {
                    let found = get(&client, &measurement.name).await;
                    assert_eq!(found, *measurement, "round {round}");
                    told_count += 1;
                }
            }
        }
        assert_eq!(
            unfinished(&client).await,
            0,
            "round {round}: nothing runs after a restart"
        );
    }
    println!(
        "{kill_count} kills: {told_count} told results, 0 lost; {interrupted_count} interrupted"
    );
    assert!(
        told_count > 0 && interrupted_count > 0,
        "the kills came at no interesting instants"
    );
}

/// How long it takes to measure what is asked for here.
async fn time_of_one_request(client: &Client) -> Duration {
    let begun = Instant::now();
    for measurement in client.ask(wanted()).await.unwrap() {
        assert_eq!(
            client.end_of(&measurement.name).await.state(),
            State::Succeeded
        );
    }
    begun.elapsed()
}

/// What is asked for again and again.
fn wanted() -> MeasureRequest {
    request(
        "all",
        "latency",
        &[("repeats", "1"), ("sweep_s", "0.2"), ("wake_s", "0.1")],
    )
}

async fn get(client: &Client, name: &str) -> Measurement {
    let request = GetMeasurementRequest { name: name.into() };
    client
        .measurements
        .clone()
        .get_measurement(request)
        .await
        .unwrap()
        .into_inner()
}

async fn unfinished(client: &Client) -> usize {
    let page = ListMeasurementsRequest {
        page_size: 500,
        ..Default::default()
    };
    let page = client
        .measurements
        .clone()
        .list_measurements(page)
        .await
        .unwrap()
        .into_inner();
    page.measurements
        .iter()
        .filter(|m| !has_ended(m.state()))
        .count()
}
