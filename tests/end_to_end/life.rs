//! The daemon's life: ready, healthy, asked about itself, locked, ended.

use std::{os::unix::fs::PermissionsExt, time::Duration};

use goodwire_proto::v1::{
    GetStatusRequest, WatchMeasurementRequest, interface, measurement, plugin,
    watch_measurement_response::News,
};
use goodwire_tests::{
    client::{Client, request},
    daemon::{Daemon, Start},
    rig::{CELLAR, cellar_in_real_time},
};
use prost_reflect::DescriptorPool;
use tempfile::TempDir;
use tonic::Code;
use tonic_health::pb::{
    HealthCheckRequest, health_check_response::ServingStatus, health_client::HealthClient,
};
use tonic_reflection::pb::{v1, v1alpha};

#[test]
fn it_is_ready_in_far_less_than_a_second() {
    let mut taken: Vec<_> = (0..5).map(|_| Daemon::start(CELLAR).ready_after).collect();
    taken.sort();
    println!(
        "ready after {taken:?}, median {:?}; the goal is 200 ms",
        taken[2]
    );
    // The goal is for a machine that does nothing else, which a machine that runs tests is not:
    // here only what is out of all proportion fails.
    assert!(
        taken[0] < Duration::from_secs(1),
        "the fastest of five took {:?}",
        taken[0]
    );
}

#[tokio::test]
async fn status_says_what_there_is() {
    let daemon = Daemon::start(CELLAR);
    let mut client = daemon.connect().await;
    let status = client
        .rig
        .get_status(GetStatusRequest {})
        .await
        .unwrap()
        .into_inner();
    assert_eq!(
        (status.site.as_str(), status.link_count),
        ("lantern-cellar", 2)
    );
    let interface = status.interface.unwrap();
    assert_eq!(interface.state(), interface::State::Ready);
    assert!(interface.simulated && interface.locked);
    assert_eq!(
        (interface.rate_hz, interface.time.as_str()),
        (48000, "virtual")
    );
    let mut analyses: Vec<_> = status
        .plugins
        .iter()
        .flat_map(|p| p.analyses.clone())
        .collect();
    analyses.sort();
    assert_eq!(
        analyses,
        [
            "channels",
            "crosstalk",
            "distortion",
            "dropout",
            "endurance",
            "latency",
            "level",
            "noise",
            "null",
            "response"
        ]
    );
    assert!(
        status
            .plugins
            .iter()
            .all(|p| p.state() == plugin::State::Ready)
    );
}

#[tokio::test]
async fn health_is_told_for_the_process_each_subsystem_and_each_of_the_services() {
    let daemon = Daemon::start(CELLAR);
    let client = daemon.connect().await;
    let mut health = HealthClient::new(client.channel.clone());
    let api = DescriptorPool::decode(goodwire_proto::DESCRIPTORS).unwrap();
    let services: Vec<String> = api
        .services()
        .map(|service| service.full_name().to_owned())
        .filter(|name| name.starts_with("goodwire.v1."))
        .collect();
    assert!(services.len() >= 9, "{services:?}");
    for service in ["", "audio", "store", "plugins"]
        .into_iter()
        .chain(services.iter().map(String::as_str))
    {
        let request = HealthCheckRequest {
            service: service.into(),
        };
        let answer = health
            .check(request)
            .await
            .unwrap_or_else(|e| panic!("{service}: {e}"));
        assert_eq!(
            answer.into_inner().status(),
            ServingStatus::Serving,
            "{service}"
        );
    }
    let request = HealthCheckRequest {
        service: "kitchen".into(),
    };
    assert_eq!(
        health.check(request).await.unwrap_err().code(),
        Code::NotFound
    );
}

#[tokio::test]
async fn reflection_answers_in_both_versions() {
    let daemon = Daemon::start(CELLAR);
    let client = daemon.connect().await;
    let ask = v1::ServerReflectionRequest {
        message_request: Some(v1::server_reflection_request::MessageRequest::ListServices(
            String::new(),
        )),
        ..Default::default()
    };
    let mut new = v1::server_reflection_client::ServerReflectionClient::new(client.channel.clone());
    let answer = new
        .server_reflection_info(tokio_stream::iter([ask]))
        .await
        .unwrap();
    let answer = answer
        .into_inner()
        .message()
        .await
        .unwrap()
        .unwrap()
        .message_response;
    let Some(v1::server_reflection_response::MessageResponse::ListServicesResponse(list)) = answer
    else {
        panic!("{answer:?}")
    };
    let names: Vec<_> = list.service.iter().map(|s| s.name.as_str()).collect();
    for name in [
        "goodwire.v1.RigService",
        "goodwire.v1.MeasurementService",
        "grpc.health.v1.Health",
    ] {
        assert!(names.contains(&name), "{names:?}");
    }
    let ask = v1alpha::ServerReflectionRequest {
        message_request: Some(
            v1alpha::server_reflection_request::MessageRequest::FileContainingSymbol(
                "goodwire.v1.Measurement".into(),
            ),
        ),
        ..Default::default()
    };
    let mut old = v1alpha::server_reflection_client::ServerReflectionClient::new(client.channel);
    let answer = old
        .server_reflection_info(tokio_stream::iter([ask]))
        .await
        .unwrap();
    let answer = answer
        .into_inner()
        .message()
        .await
        .unwrap()
        .unwrap()
        .message_response;
    let is_file = matches!(
        answer,
        Some(v1alpha::server_reflection_response::MessageResponse::FileDescriptorResponse(_))
    );
    assert!(is_file, "{answer:?}");
}

#[tokio::test]
async fn sigterm_ends_it_within_5_s_with_streams_open_and_sound_playing() {
    let mut daemon = Daemon::start(&cellar_in_real_time());
    let client = daemon.connect().await;
    let idle = daemon.connect().await;
    let asked = client
        .ask(request("lectern", "response", &[("duration_s", "20")]))
        .await
        .unwrap();
    let watch = WatchMeasurementRequest {
        name: asked[0].name.clone(),
    };
    let mut watch = client
        .measurements
        .clone()
        .watch_measurement(watch)
        .await
        .unwrap()
        .into_inner();
    watch.message().await.unwrap();
    let mut health = HealthClient::new(client.channel.clone());
    let beat = health.watch(HealthCheckRequest::default()).await.unwrap();
    daemon.ask_to_end();
    let mut told = None;
    while let Some(message) = watch.message().await.unwrap() {
        if let Some(News::Measurement(measurement)) = message.news {
            told = Some(measurement);
        }
    }
    let told = told.expect("the end is told while it is still served");
    assert_eq!(told.state(), measurement::State::Failed);
    assert_eq!(told.reason.unwrap().id, "interrupted");
    let mut beat = beat.into_inner();
    let mut last = ServingStatus::Serving;
    while let Ok(Some(message)) = beat.message().await {
        last = message.status();
    }
    assert_eq!(last, ServingStatus::NotServing);
    let (status, after) = daemon.wait(Duration::from_secs(5));
    println!("ended after {after:?}");
    assert_eq!(status.code(), Some(0), "{}", daemon.log());
    assert!(!daemon.socket().exists(), "the socket is gone");
    drop(idle);
}

#[test]
fn a_second_daemon_on_the_same_results_is_refused() {
    let daemon = Daemon::start(CELLAR);
    let folder = TempDir::new().unwrap();
    let state = daemon.state();
    let (code, said) = Start::new().state(&state).refused(folder.path(), CELLAR);
    assert_eq!(code, Some(3), "{said}");
    assert!(
        said.contains("state") || said.contains(state.to_str().unwrap()),
        "{said}"
    );
}

#[test]
fn a_socket_in_use_and_a_state_folder_that_is_none_are_refused_by_name() {
    let daemon = Daemon::start(CELLAR);
    let folder = TempDir::new().unwrap();
    let socket = daemon.server();
    let taken = Start::new().argument("--listen").argument(&socket);
    let (code, said) = taken.refused(folder.path(), CELLAR);
    assert_eq!(code, Some(3), "{said}");
    assert!(said.contains(&socket) && said.contains("in use"), "{said}");
    let file = folder.path().join("file");
    std::fs::write(&file, "no folder").unwrap();
    let (code, said) = Start::new().state(&file).refused(folder.path(), CELLAR);
    assert_eq!(code, Some(3), "{said}");
    assert!(said.contains(file.to_str().unwrap()), "{said}");
}

#[test]
fn tcp_beyond_loopback_is_refused() {
    let folder = TempDir::new().unwrap();
    for place in ["0.0.0.0:0", "[::]:0", "192.0.2.7:7000"] {
        let (code, said) = Start::new()
            .argument("--listen")
            .argument(place)
            .refused(folder.path(), CELLAR);
        assert_eq!(code, Some(3), "{said}");
        assert!(said.contains("loopback"), "{said}");
    }
}

#[tokio::test]
async fn it_listens_on_a_socket_for_its_group_and_on_loopback_with_the_real_port() {
    let daemon = Start::new().listen("127.0.0.1:0").run(CELLAR);
    let mode = daemon.socket().metadata().unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o660, "{mode:o}");
    let url = daemon.listening[1].clone();
    assert!(
        url.starts_with("http://127.0.0.1:") && !url.ends_with(":0"),
        "{url}"
    );
    let mut client = Client::over_tcp(&url).await;
    client.rig.get_status(GetStatusRequest {}).await.unwrap();
}

#[test]
fn all_mistakes_of_a_configuration_are_told_at_once_with_their_places() {
    let folder = TempDir::new().unwrap();
    let wrong = CELLAR
        .replace("rate = 48000", "rate = \"fast\"\ncolour = \"red\"")
        .replace("return = 3", "return = 1");
    let (code, said) = Start::new().refused(folder.path(), &wrong);
    assert_eq!(code, Some(3));
    for word in ["goodwire.toml:6", "rate", "colour", "return", "^"] {
        assert!(said.contains(word), "{word:?} is not in:\n{said}");
    }
}
