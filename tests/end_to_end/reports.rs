//! Reports of runs and measurements, through the API and the command line.

use std::fs;

use goodwire_proto::v1::{DrawChannelPlanRequest, RenderReportRequest};
use goodwire_tests::{
    client::Client,
    command_line::goodwire,
    daemon::Daemon,
    rig::{CELLAR, NIGHTLY},
};
use tonic::{Code, Status};
use tonic_types::StatusExt;

async fn render(client: &Client, names: &[&str]) -> Result<String, Status> {
    let request = RenderReportRequest {
        names: names.iter().map(ToString::to_string).collect(),
    };
    let answer = client.reports.clone().render_report(request).await?;
    let (mut pieces, mut page) = (answer.into_inner(), Vec::new());
    while let Some(piece) = pieces.message().await? {
        page.extend(piece.html);
    }
    Ok(String::from_utf8(page).expect("a page is UTF-8"))
}

/// A daemon in which the round has run twice, with the name of the second run and its measurements.
fn after_two_nights() -> (Daemon, String, Vec<String>) {
    let daemon = Daemon::start(&format!("{CELLAR}{NIGHTLY}"));
    let run = || goodwire(&daemon, &["rounds", "run", "nightly", "--json"]).json();
    run();
    let run = run();
    let text = |value: &serde_json::Value| value.as_str().expect("a name").to_owned();
    let checks = run["checks"].as_array().expect("checks");
    let measurements = checks.iter().map(|check| text(&check["measurement"]));
    let measurements = measurements.collect();
    (daemon, text(&run["name"]), measurements)
}

#[tokio::test]
async fn the_page_of_a_run_is_written_and_exits_with_0_though_a_link_fails() {
    let (daemon, run, _) = after_two_nights();
    let out = daemon.folder().join("tonight.html");
    let out_text = out.display().to_string();
    let said = goodwire(&daemon, &["report", &run, "--out", &out_text, "--json"]);
    assert_eq!(said.code, Some(0), "{}", said.err);
    assert_eq!(said.json()["files"][0], out_text);
    let page = fs::read_to_string(&out).expect("the page was written");
    for wanted in [
        "SIMULATED",
        "Of 2 links 1 fails (lectern) and 1 has no limit to be judged by.",
        "above the limit of 2 ms",
        "Since last time",
    ] {
        assert!(page.contains(wanted), "{wanted:?} is not in the page");
    }
    let client = daemon.connect().await;
    let (_, bare) = run.split_once('/').expect("runs/…");
    let again = render(&client, &[bare]).await.expect("a bare id will do");
    assert_eq!(page, again, "the same run is the same page");
}

#[tokio::test]
async fn two_measurements_stand_side_by_side_in_the_order_of_the_request() {
    let (daemon, _, measurements) = after_two_nights();
    let client = daemon.connect().await;
    let names: Vec<&str> = measurements.iter().rev().map(String::as_str).collect();
    let page = render(&client, &names).await.expect("a page");
    assert!(page.contains("Side by side"));
    assert!(page.contains("A: drum-riser") && page.contains("B: lectern"));
}

#[tokio::test]
async fn what_cannot_be_reported_is_refused_with_every_name_that_is_wrong() {
    let (daemon, run, measurements) = after_two_nights();
    let client = daemon.connect().await;
    let names = [measurements[0].as_str(), "measurements/none", "nobody"];
    let missing = render(&client, &names).await.unwrap_err();
    assert_eq!(missing.code(), Code::NotFound);
    for name in ["'measurements/none'", "'nobody'"] {
        assert!(missing.message().contains(name), "{}", missing.message());
    }
    let mixed = render(&client, &[&run, &measurements[0]])
        .await
        .unwrap_err();
    assert_eq!(mixed.code(), Code::InvalidArgument);
    assert!(mixed.message().contains(&run), "{}", mixed.message());
    for wrong in [vec![], vec![measurements[0].as_str(); 101]] {
        let refused = render(&client, &wrong).await.unwrap_err();
        assert_eq!(refused.code(), Code::InvalidArgument);
    }
}

#[test]
fn a_report_that_cannot_be_made_or_written_exits_with_3_and_says_which() {
    let (daemon, run, _) = after_two_nights();
    let out = daemon.folder().join("page.html").display().to_string();
    let missing = goodwire(&daemon, &["report", "measurements/none", "--out", &out]);
    assert_eq!(missing.code, Some(3));
    assert!(missing.err.contains("measurements/none"), "{}", missing.err);
    let nowhere = daemon
        .folder()
        .join("no/such/place.html")
        .display()
        .to_string();
    let unwritten = goodwire(&daemon, &["report", &run, "--out", &nowhere]);
    assert_eq!(unwritten.code, Some(3));
    assert!(unwritten.err.contains(&nowhere), "{}", unwritten.err);
    let folder = daemon.folder().display().to_string();
    let onto_folder = goodwire(&daemon, &["report", &run, "--out", &folder]);
    assert_eq!(onto_folder.code, Some(3), "a folder is no file");
    let without = goodwire(&daemon, &["report", &run]);
    assert_eq!(without.code, Some(3), "wrong usage");
    assert!(!std::path::Path::new(&out).exists());
}

#[tokio::test]
async fn a_measurement_without_a_channel_plan_has_no_picture_of_one() {
    let (daemon, _, measurements) = after_two_nights();
    let mut reports = daemon.connect().await.reports;
    let mut draw = async |name: &str| {
        let name = name.to_owned();
        let request = DrawChannelPlanRequest { name };
        reports.draw_channel_plan(request).await.unwrap_err()
    };
    let latency = draw(&measurements[0]).await;
    assert_eq!(latency.code(), Code::FailedPrecondition);
    let details = latency.get_error_details();
    let reason = details.error_info().map(|info| info.reason.as_str());
    assert_eq!(reason, Some("NO_CHANNEL_PLAN"), "{latency:?}");
    assert_eq!(draw("measurements/none").await.code(), Code::NotFound);
}
