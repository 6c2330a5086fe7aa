//! Watches and cancelling.

use std::time::{Duration, Instant};

use goodwire_proto::v1::{
    CancelMeasurementRequest, Measurement, WatchMeasurementRequest, measurement::State,
    watch_measurement_response::News,
};
use goodwire_tests::{
    client::{has_ended, reason, request},
    daemon::Daemon,
    rig::{CELLAR, cellar_in_real_time},
};

/// Fails where a watch did not begin with a state, go only forward, and end with the final state.
fn is_in_order(news: &[News]) {
    let Some(News::Measurement(_)) = news.first() else {
        panic!("first of all the state: {news:?}")
    };
    let Some(News::Measurement(last)) = news.last() else {
        panic!("last of all the state: {news:?}")
    };
    assert!(has_ended(last.state()));
    let states: Vec<_> = news.iter().filter_map(state).collect();
    assert!(states.is_sorted(), "states go forward: {states:?}");
    let progress: Vec<_> = news
        .iter()
        .filter_map(|one| match one {
            News::Progress(share) => Some(*share),
            _ => None,
        })
        .collect();
    assert!(progress.is_sorted(), "progress never falls: {progress:?}");
    assert!(progress.iter().all(|share| (0.0..=1.0).contains(share)));
}

fn state(news: &News) -> Option<i32> {
    match news {
        News::Measurement(Measurement { state, .. }) => Some(*state),
        _ => None,
    }
}

#[tokio::test]
async fn a_watch_gives_the_present_state_at_once_then_progress_then_the_end() {
    let daemon = Daemon::start(&cellar_in_real_time());
    let client = daemon.connect().await;
    let settings = [("duration_s", "1"), ("repeats", "1")];
    let asked = client
        .ask(request("lectern", "response", &settings))
        .await
        .unwrap();
    let name = &asked[0].name;
    let begun = Instant::now();
    let watch = client.measurements.clone();
    let watch = { watch }
        .watch_measurement(WatchMeasurementRequest { name: name.clone() })
        .await;
    let first = watch
        .unwrap()
        .into_inner()
        .message()
        .await
        .unwrap()
        .unwrap();
    assert!(
        begun.elapsed() < Duration::from_millis(500),
        "at once, not {:?}",
        begun.elapsed()
    );
    assert!(matches!(first.news, Some(News::Measurement(m)) if m.name == *name));
    let (one, other) = tokio::join!(client.news_of(name), client.news_of(name));
    for news in [&one, &other] {
        is_in_order(news);
        assert!(
            news.iter().any(|one| matches!(one, News::Progress(_))),
            "{news:?}"
        );
    }
    // After the end: the final state at once, and nothing else.
    let after = client.news_of(name).await;
    assert_eq!(after.len(), 1, "{after:?}");
    is_in_order(&after);
}

#[tokio::test]
async fn fifty_watches_of_quick_measurements_never_lose_the_end() {
    let daemon = Daemon::start(CELLAR);
    let client = daemon.connect().await;
    for _ in 0..5 {
        let asked = client
            .ask(request("lectern", "latency", &[]))
            .await
            .unwrap();
        let name = asked[0].name.clone();
        let watches = (0..10).map(|_| {
            let (client, name) = (client.clone(), name.clone());
            tokio::spawn(async move { client.news_of(&name).await })
        });
        for watch in watches.collect::<Vec<_>>() {
            is_in_order(&watch.await.unwrap());
        }
    }
}

#[tokio::test]
async fn a_running_and_a_queued_measurement_can_be_cancelled_and_an_ended_one_stays() {
    let daemon = Daemon::start(&cellar_in_real_time());
    let mut client = daemon.connect().await;
    let long = client
        .ask(request("lectern", "response", &[("duration_s", "20")]))
        .await
        .unwrap();
    let queued = client
        .ask(request("lectern", "latency", &[]))
        .await
        .unwrap();
    let (long, queued) = (long[0].name.clone(), queued[0].name.clone());
    goodwire_tests::eventually::eventually("it runs", Duration::from_secs(10), || {
        let (mut client, name) = (client.clone(), long.clone());
        async move {
            let request = goodwire_proto::v1::GetMeasurementRequest { name };
            let got = client
                .measurements
                .get_measurement(request)
                .await
                .unwrap()
                .into_inner();
            (got.state() == State::Running).then_some(())
        }
    })
    .await;
    for name in [&queued, &long] {
        let begun = Instant::now();
        let request = CancelMeasurementRequest { name: name.clone() };
        client
            .measurements
            .cancel_measurement(request)
            .await
            .unwrap();
        let ended = client.end_of(name).await;
        assert_eq!(ended.state(), State::Cancelled, "{:?}", ended.reason);
        assert!(!reason(&ended).is_empty());
        assert!(ended.figures.is_empty());
        assert!(
            begun.elapsed() < Duration::from_secs(2),
            "{:?}",
            begun.elapsed()
        );
    }
    let request = CancelMeasurementRequest { name: long.clone() };
    let again = client
        .measurements
        .cancel_measurement(request)
        .await
        .unwrap()
        .into_inner();
    assert_eq!(again.state(), State::Cancelled);
    // The rig is free again.
    let next = client
        .measure("lectern", "latency", &[("repeats", "1")])
        .await;
    assert_eq!(next.state(), State::Succeeded, "{:?}", next.reason);
}
