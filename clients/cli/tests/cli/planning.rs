//! `channels` against a server whose answers the test decides.

use std::{
    fs,
    os::unix::fs::PermissionsExt,
    path::Path,
    process::Output,
    time::{Duration, SystemTime},
};

use crate::mock::{Mock, Script, Watch, ended};
use goodwire_proto::v1::{
    ChannelPlan, Link, Measurement, PlannedLink, RadioChannel, radio_survey::Form, verdict::Outcome,
};
use prost_types::{Struct, value::Kind};
use serde_json::Value;
use tonic::{Code, Status};
use tonic_types::{ErrorDetails, StatusExt};

/// A rig of two links with one table, and a third with another where it is asked for.
fn links(tables: &[(&str, &str)]) -> Vec<Link> {
    let link = |(name, table): &(&str, &str)| Link {
        name: format!("links/{name}"),
        channel_table: (*table).into(),
        ..Link::default()
    };
    tables.iter().map(link).collect()
}

fn planned() -> Measurement {
    let channel = RadioChannel {
        name: "7".into(),
        low_mhz: 2474.0,
        high_mhz: 2476.0,
    };
    let link = PlannedLink {
        link: "links/lectern".into(),
        channel: "7".into(),
        low_mhz: Some(2474.0),
        high_mhz: Some(2476.0),
        channel_now: "1".into(),
        is_fixed: false,
    };
    Measurement {
        analysis: "channels".into(),
        channel_plan: Some(ChannelPlan {
            channels: vec![channel],
            links: vec![link],
            ..ChannelPlan::default()
        }),
        ..ended("lectern", Outcome::Drift)
    }
}

fn planning(tables: &[(&str, &str)]) -> Mock {
    Mock::start(Script {
        links: links(tables),
        watches: vec![(
            "measurements/of-lectern".into(),
            Watch::Ends(Box::new(planned())),
        )],
        ..Script::default()
    })
}

fn said(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

fn text(parameters: &Option<Struct>, name: &str) -> Option<String> {
    match &parameters.as_ref()?.fields.get(name)?.kind {
        Some(Kind::StringValue(text)) => Some(text.clone()),
        _ => None,
    }
}

/// Puts a program into a folder in place of `iw`.
fn program(folder: &Path, script: &str) {
    let path = folder.join("iw");
    fs::write(&path, format!("#!/bin/sh\n{script}\n")).unwrap();
    fs::set_permissions(&path, fs::Permissions::from_mode(0o755)).unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plan_for_6_links_with_a_survey_of_an_hour_ago_is_asked_for_and_drawn_to_a_file() {
    let mock = planning(&[("cable", ""), ("lectern", "belt"), ("choir", "belt")]);
    let survey = mock.folder().join("tonight.txt");
    fs::write(&survey, "6 20 office\n").unwrap();
    let hour_ago = SystemTime::now() - Duration::from_secs(3600);
    let file = fs::File::options().append(true).open(&survey).unwrap();
    file.set_modified(hour_ago).unwrap();
    let arguments =
        "--json channels --links 6 --keep --survey tonight.txt --form typed --out p.svg";
    let output = mock.run(&arguments.split(' ').collect::<Vec<_>>());
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    let document: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(document["channelPlan"]["links"][0]["channel"], "7");
    assert_eq!(document["channelPlan"]["links"][0]["lowMhz"], 2474.0);
    mock.asked(|script| {
        let request = &script.measured[0];
        assert_eq!(
            (request.links.as_slice(), request.analysis.as_str()),
            (&["lectern".to_owned()][..], "channels")
        );
        assert_eq!(
            text(&request.parameters, "link_count").as_deref(),
            Some("6")
        );
        assert_eq!(text(&request.parameters, "keep").as_deref(), Some("true"));
        let sent = request.survey.as_ref().unwrap();
        assert_eq!(
            (sent.text.as_str(), sent.form()),
            ("6 20 office\n", Form::Typed)
        );
        assert_eq!(
            (sent.origin.as_str(), sent.end_time),
            ("tonight.txt", Some(hour_ago.into()))
        );
    });
    let drawn = fs::read_to_string(mock.folder().join("p.svg")).unwrap();
    assert_eq!(drawn, "<svg><title>measurements/of-lectern</title></svg>");
    assert!(said(&output).contains("the picture is in p.svg"));
}

#[tokio::test(flavor = "multi_thread")]
async fn people_read_what_to_set_and_see_the_bands() {
    let mock = planning(&[]);
    let output = mock.run(&["channels", "lectern"]);
    let shown = String::from_utf8(output.stdout).unwrap();
    for wanted in [
        "lectern  1    7",
        "nothing known",
        "Bands over frequency",
        "2474",
        "2476 MHz",
    ] {
        assert!(shown.contains(wanted), "{wanted:?} is not in\n{shown}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn two_tables_want_a_link_and_nothing_is_measured() {
    let mock = planning(&[("lectern", "belt"), ("ears", "in-ear")]);
    let output = mock.run(&["channels"]);
    assert_eq!(output.status.code(), Some(3));
    assert!(
        said(&output).contains("belt: lectern\n  in-ear: ears"),
        "{output:?}"
    );
    mock.asked(|script| assert!(script.measured.is_empty()));
    assert_eq!(mock.run(&["channels", "all"]).status.code(), Some(3));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_survey_that_is_typed_wrongly_is_told_with_its_line() {
    let mut details = ErrorDetails::with_error_info("INVALID_FIELDS", "goodwire", []);
    let wrong = "line 3: `15 20` is Wi-Fi channel 15, which does not exist";
    details.add_bad_request_violation("survey.text", wrong);
    let message = format!("survey.text: {wrong}");
    let mock = Mock::start(Script {
        refusal: Some(Status::with_error_details(
            Code::InvalidArgument,
            message,
            details,
        )),
        ..Script::default()
    });
    fs::write(mock.folder().join("air.txt"), "1 20\n6 20\n15 20\n").unwrap();
    let output = mock.run(&["channels", "lectern", "--survey", "air.txt"]);
    assert_eq!(output.status.code(), Some(3));
    let want = format!("goodwire: survey.text: {wrong}\n  reason: INVALID_FIELDS\n");
    assert_eq!(said(&output), want);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_scan_runs_iw_and_sends_what_it_printed() {
    let mock = planning(&[]);
    program(mock.folder(), "echo \"BSS of $*\"");
    let mut command = mock.command(&["channels", "lectern", "--scan", "wlan0"]);
    let output = command.env("PATH", mock.folder()).output().unwrap();
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    mock.asked(|script| {
        let sent = script.measured[0].survey.as_ref().unwrap();
        assert_eq!(
            (sent.text.as_str(), sent.form()),
            ("BSS of dev wlan0 scan\n", Form::Scan)
        );
        assert_eq!(sent.origin, "iw dev wlan0 scan");
        assert!(sent.end_time.is_some());
    });
}

#[tokio::test(flavor = "multi_thread")]
async fn without_iw_or_without_root_nothing_is_measured_and_what_to_do_is_told() {
    let mock = planning(&[]);
    let scan = || {
        let mut command = mock.command(&["channels", "lectern", "--scan", "wlan0"]);
        command.env("PATH", mock.folder()).output().unwrap()
    };
    let without = scan();
    assert_eq!(without.status.code(), Some(3));
    assert!(
        said(&without).contains("install it (on Debian the package `iw`)"),
        "{without:?}"
    );
    program(
        mock.folder(),
        "echo 'command failed: Operation not permitted (-1)' >&2; exit 255",
    );
    let forbidden = scan();
    assert_eq!(forbidden.status.code(), Some(3));
    assert!(
        said(&forbidden).contains("a scan wants root: run `sudo iw dev wlan0 scan > scan.txt`")
    );
    mock.asked(|script| assert!(script.measured.is_empty()));
}
