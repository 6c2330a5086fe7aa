//! Requests: asked twice, asked wrongly, listed and compared.

use goodwire_proto::v1::{
    CompareMeasurementsRequest, GetMeasurementRequest, ListLinksRequest, ListMeasurementsRequest,
    MeasureRequest, measurement::State,
};
use goodwire_tests::{
    client::{Client, request},
    daemon::Daemon,
    rig::CELLAR,
};
use tonic::{Code, Status};
use tonic_types::StatusExt;

/// The names of the wrong fields, and the stable reason.
fn told(status: &Status) -> (Vec<String>, String) {
    let details = status.get_error_details();
    let fields = details.bad_request().map(|bad| {
        bad.field_violations
            .iter()
            .map(|one| one.field.clone())
            .collect::<Vec<_>>()
    });
    let reason = details.error_info().map(|info| info.reason.clone());
    (fields.unwrap_or_default(), reason.unwrap_or_default())
}

#[tokio::test]
async fn a_request_id_asked_twice_is_one_measurement() {
    let daemon = Daemon::start(CELLAR);
    let client = daemon.connect().await;
    let request = MeasureRequest {
        request_id: "0192f0c1-7a3e-7000-8000-000000000001".into(),
        links: vec!["all".into()],
        ..request("all", "latency", &[])
    };
    let first = client.ask(request.clone()).await.unwrap();
    let names: Vec<_> = first.iter().map(|m| m.name.clone()).collect();
    let again = client.ask(request.clone()).await.unwrap();
    assert_eq!(
        names,
        again.iter().map(|m| m.name.clone()).collect::<Vec<_>>()
    );
    for name in &names {
        assert_eq!(client.end_of(name).await.state(), State::Succeeded);
    }
    let later = client.ask(request).await.unwrap();
    assert_eq!(
        names,
        later.iter().map(|m| m.name.clone()).collect::<Vec<_>>()
    );
    assert_eq!(
        list(&client, ListMeasurementsRequest::default())
            .await
            .len(),
        2
    );
}

#[tokio::test]
async fn all_wrong_fields_are_named_at_once_with_a_stable_reason() {
    let daemon = Daemon::start(CELLAR);
    let client = daemon.connect().await;
    let wrong = [
        ("colour", "red"),
        ("repeats", "many"),
        ("start_hz", "-5"),
        ("level_dbfs", "nan"),
    ];
    let status = client
        .ask(request("lectren", "response", &wrong))
        .await
        .unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument);
    let (fields, reason) = told(&status);
    assert_eq!(reason, "INVALID_FIELDS");
    assert!(fields.iter().any(|f| f == "links"), "{fields:?}");
    assert!(
        status.message().contains("lectern"),
        "the nearest name: {}",
        status.message()
    );
    let status = client
        .ask(request("lectern", "response", &wrong))
        .await
        .unwrap_err();
    let (fields, _) = told(&status);
    for name in ["colour", "repeats", "start_hz", "level_dbfs"] {
        assert!(
            fields.iter().any(|f| f == &format!("parameters.{name}")),
            "{name}: {fields:?}"
        );
    }
    let status = client
        .ask(request("nobody", "horoscope", &[]))
        .await
        .unwrap_err();
    let (fields, _) = told(&status);
    assert!(
        fields.contains(&"links".into()) && fields.contains(&"analysis".into()),
        "{fields:?}"
    );
}

#[tokio::test]
async fn a_level_above_the_ceiling_is_refused_naming_both_numbers() {
    let low = CELLAR.replace("[reference]", "[safety]\nmax_send_dbfs = -25\n[reference]");
    let daemon = Daemon::start(&low);
    let client = daemon.connect().await;
    let loud = request("lectern", "response", &[("level_dbfs", "-12.5")]);
    let status = client.ask(loud).await.unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument);
    let text = status.message();
    assert!(text.contains("-12.5") && text.contains("-25"), "{text}");
    let lowered = client.measure("lectern", "response", &[]).await;
    assert_eq!(lowered.state(), State::Succeeded);
    assert!(
        lowered.notes.iter().any(|n| n.id == "level-lowered"),
        "{:?}",
        lowered.notes
    );
}

#[tokio::test]
async fn what_does_not_exist_is_not_found() {
    let daemon = Daemon::start(CELLAR);
    let mut client = daemon.connect().await;
    let name = "measurements/none".to_owned();
    let status = client
        .measurements
        .get_measurement(GetMeasurementRequest { name })
        .await;
    let status = status.unwrap_err();
    assert_eq!(status.code(), Code::NotFound);
    assert!(status.message().contains("none"), "{}", status.message());
    assert_eq!(told(&status).1, "NOT_FOUND");
}

#[tokio::test]
async fn lists_come_in_pages_newest_first_and_by_filter() {
    let daemon = Daemon::start(CELLAR);
    let client = daemon.connect().await;
    for _ in 0..3 {
        client.measure("lectern", "latency", &[]).await;
    }
    client.measure("drum-riser", "level", &[]).await;
    let all = list(
        &client,
        ListMeasurementsRequest {
            page_size: 3,
            ..Default::default()
        },
    )
    .await;
    assert_eq!(all.len(), 4, "3 and then 1");
    assert!(
        all.is_sorted_by(|newer, older| newer > older),
        "names are UUIDv7, newest first"
    );
    for (link, analysis, count) in [
        ("lectern", "", 3),
        ("links/drum-riser", "", 1),
        ("", "latency", 3),
        ("lectern", "level", 0),
    ] {
        let filter = ListMeasurementsRequest {
            link: link.into(),
            analysis: analysis.into(),
            ..Default::default()
        };
        assert_eq!(
            list(&client, filter).await.len(),
            count,
            "{link} {analysis}"
        );
    }
    let negative = ListMeasurementsRequest {
        page_size: -1,
        ..Default::default()
    };
    let status = client
        .measurements
        .clone()
        .list_measurements(negative)
        .await
        .unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument);
    let forged = ListMeasurementsRequest {
        page_token: "forged".into(),
        ..Default::default()
    };
    let status = client
        .measurements
        .clone()
        .list_measurements(forged)
        .await
        .unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument);
    let first = ListLinksRequest {
        page_size: 1,
        ..Default::default()
    };
    let mut rig = client.rig.clone();
    let links = rig.list_links(first).await.unwrap().into_inner();
    assert!(links.links.len() == 1 && !links.next_page_token.is_empty());
}

/// The names of all measurements that a filter lets through, page by page.
async fn list(client: &Client, mut request: ListMeasurementsRequest) -> Vec<String> {
    let mut names = Vec::new();
    loop {
        let page = client
            .measurements
            .clone()
            .list_measurements(request.clone())
            .await;
        let page = page.unwrap().into_inner();
        assert!(
            page.measurements.iter().all(|m| m.curves.is_empty()),
            "lists have no curves"
        );
        names.extend(page.measurements.into_iter().map(|m| m.name));
        if page.next_page_token.is_empty() {
            return names;
        }
        request.page_token = page.next_page_token;
    }
}

#[tokio::test]
async fn two_measurements_stand_side_by_side() {
    let daemon = Daemon::start(CELLAR);
    let mut client = daemon.connect().await;
    let first = client.measure("lectern", "level", &[]).await;
    let second = client.measure("drum-riser", "level", &[]).await;
    let names = vec![first.name, second.name];
    let compared = client
        .measurements
        .compare_measurements(CompareMeasurementsRequest { names });
    let compared = compared.await.unwrap().into_inner();
    let gain = compared
        .rows
        .iter()
        .find(|row| row.figure == "gain")
        .expect("a row for the gain");
    assert_eq!(gain.unit, "dB");
    assert!(gain.cells[0].difference.is_none());
    let difference = gain.cells[1].difference.unwrap();
    assert!((difference - 3.0).abs() < 0.1, "{difference} dB");
    assert_eq!(compared.setup_differences, ["channel"]);
}
