//! `measure` and `match` against a server whose answers the test decides.

use std::{
    io::Write,
    process::{Child, Output, Stdio},
    time::{Duration, Instant},
};

use crate::mock::{Mock, Script, Watch, ended, in_state};
use goodwire_proto::v1::{measurement::State, verdict::Outcome};
use rustix::process::{Pid, Signal, kill_process};
use serde_json::{Value, json};
use tonic::{Code, Status};
use tonic_types::{ErrorDetails, StatusExt};

fn watching(watches: &[(&str, Watch)]) -> Mock {
    Mock::start(Script {
        watches: watches
            .iter()
            .map(|(link, watch)| (format!("measurements/of-{link}"), watch.clone()))
            .collect(),
        ..Script::default()
    })
}

fn refusing(details: ErrorDetails, code: Code, message: &str) -> Mock {
    Mock::start(Script {
        refusal: Some(Status::with_error_details(code, message, details)),
        ..Script::default()
    })
}

fn document(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{error}: {output:?}"))
}

fn said(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn one_link_is_one_document_and_settings_are_sent_as_text() {
    let mock = watching(&[(
        "lectern",
        Watch::Ends(Box::new(ended("lectern", Outcome::Drift))),
    )]);
    let output = mock.run(&[
        "--json",
        "measure",
        "lectern",
        "response",
        "--set",
        "repeats=2",
    ]);
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    assert_eq!(document(&output)["name"], "measurements/of-lectern");
    assert_eq!(document(&output)["verdict"], json!({"outcome": "DRIFT"}));
    mock.asked(|script| {
        let request = &script.measured[0];
        assert_eq!(request.links, ["lectern"]);
        assert!(!request.present);
        assert_eq!(
            uuid::Uuid::parse_str(&request.request_id)
                .unwrap()
                .get_version_num(),
            7
        );
        let repeats = &request.parameters.as_ref().unwrap().fields["repeats"];
        let text = prost_types::value::Kind::StringValue("2".into());
        assert_eq!(repeats.kind, Some(text));
    });
}

#[tokio::test(flavor = "multi_thread")]
async fn several_links_are_a_list_in_the_order_asked_and_exit_with_the_worst() {
    let mock = watching(&[
        (
            "foyer",
            Watch::Ends(Box::new(ended("foyer", Outcome::Fail))),
        ),
        (
            "lectern",
            Watch::Ends(Box::new(ended("lectern", Outcome::Unmeasured))),
        ),
    ]);
    let output = mock.run(&["--json", "measure", "lectern,foyer", "response"]);
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    let links = document(&output)["measurements"]
        .as_array()
        .unwrap()
        .clone();
    let names: Vec<_> = links.iter().map(|m| m["link"].as_str().unwrap()).collect();
    assert_eq!(names, ["links/lectern", "links/foyer"]);
}

#[tokio::test(flavor = "multi_thread")]
async fn without_waiting_the_queued_measurement_is_told_and_exits_with_0() {
    let mock = watching(&[]);
    let output = mock.run(&["--json", "measure", "lectern", "response", "--no-wait"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert_eq!(document(&output)["state"], "QUEUED");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_measurement_that_failed_exits_with_3_and_is_still_printed() {
    let mock = watching(&[(
        "lectern",
        Watch::Ends(Box::new(in_state("lectern", State::Failed))),
    )]);
    let output = mock.run(&["--json", "measure", "lectern", "response"]);
    assert_eq!(output.status.code(), Some(3), "{output:?}");
    assert_eq!(document(&output)["state"], "FAILED");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_watch_that_breaks_off_is_taken_up_again_twice() {
    let mock = watching(&[
        ("lectern", Watch::Breaks),
        ("lectern", Watch::Breaks),
        (
            "lectern",
            Watch::Ends(Box::new(ended("lectern", Outcome::Pass))),
        ),
    ]);
    let output = mock.run(&["--json", "measure", "lectern", "response"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert_eq!(document(&output)["state"], "SUCCEEDED");
    assert!(said(&output).contains("trying again"), "{output:?}");
    mock.asked(|script| assert_eq!(script.measured.len(), 1, "asked twice, played twice"));
}

#[tokio::test(flavor = "multi_thread")]
async fn every_wrong_field_is_told_on_a_line_and_standard_output_stays_empty() {
    let mut details = ErrorDetails::new();
    details.add_bad_request_violation("parameters.colour", "no parameter `colour`");
    details.add_bad_request_violation("links", "no link `nobody`; nearest: `lectern`");
    let mock = refusing(details, Code::InvalidArgument, "2 fields are wrong");
    let output = mock.run(&[
        "--json",
        "measure",
        "nobody",
        "response",
        "--set",
        "colour=red",
    ]);
    assert_eq!(output.status.code(), Some(3));
    assert!(output.stdout.is_empty());
    let lines: Vec<_> = said(&output).lines().map(str::to_owned).collect();
    assert_eq!(
        lines,
        [
            "goodwire: 2 fields are wrong",
            "  parameters.colour: no parameter `colour`",
            "  links: no link `nobody`; nearest: `lectern`",
        ]
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn where_somebody_must_be_present_and_nobody_can_be_asked_the_flag_is_named() {
    let details = ErrorDetails::with_error_info("PRESENCE_REQUIRED", "goodwire", []);
    let mock = refusing(
        details,
        Code::FailedPrecondition,
        "somebody must be in the room",
    );
    let output = mock.run(&["measure", "lectern", "response"]);
    assert_eq!(output.status.code(), Some(3));
    assert!(said(&output).contains("--present"), "{output:?}");
    mock.run(&["match", "lectern", "--present"]);
    mock.asked(|script| {
        let present: Vec<_> = script
            .measured
            .iter()
            .map(|r| (r.present, r.r#match))
            .collect();
        assert_eq!(present, [(false, false), (true, true)]);
    });
}

fn wait(child: Child, within: Duration) -> Output {
    let started = Instant::now();
    let output = tokio::task::block_in_place(|| child.wait_with_output().unwrap());
    assert!(started.elapsed() < within, "took {:?}", started.elapsed());
    output
}

fn interrupt(child: &Child) {
    let pid = Pid::from_raw(i32::try_from(child.id()).unwrap()).unwrap();
    kill_process(pid, Signal::INT).unwrap();
}

async fn eventually(mut holds: impl FnMut() -> bool) {
    for _ in 0..500 {
        if holds() {
            return;
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    panic!("it did not happen within 10 s");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_first_interrupt_cancels_what_was_asked_for_and_exits_with_130() {
    let mock = watching(&[("lectern", Watch::UntilCancelled)]);
    let child = mock
        .command(&["--json", "measure", "lectern", "response"])
        .spawn()
        .unwrap();
    eventually(|| mock.asked(|script| script.watches.is_empty())).await;
    interrupt(&child);
    let output = wait(child, Duration::from_secs(4));
    assert_eq!(output.status.code(), Some(130), "{output:?}");
    assert_eq!(document(&output)["state"], "CANCELLED");
    mock.asked(|script| assert_eq!(script.cancelled, ["measurements/of-lectern"]));
}

#[tokio::test(flavor = "multi_thread")]
async fn the_second_interrupt_does_not_wait_for_the_server() {
    let mock = watching(&[("lectern", Watch::Hangs)]);
    let child = mock
        .command(&["measure", "lectern", "response"])
        .spawn()
        .unwrap();
    eventually(|| mock.asked(|script| script.watches.is_empty())).await;
    interrupt(&child);
    eventually(|| mock.asked(|script| !script.cancelled.is_empty())).await;
    interrupt(&child);
    let output = wait(child, Duration::from_secs(4));
    assert_eq!(output.status.code(), Some(130), "{output:?}");
}

/// `positions` of two, with what somebody types at its standard input.
fn positions(typed: &[u8]) -> (Mock, Output) {
    let ends = || {
        let ended = Watch::Ends(Box::new(ended("lectern", Outcome::Pass)));
        ("measurements/of-lectern".to_owned(), ended)
    };
    let mock = Mock::start(Script {
        watches: vec![ends(), ends()],
        ..Script::default()
    });
    let mut command = mock.command(&[
        "positions",
        "lectern",
        "input=line,mic",
        "--source-dbfs=-20",
    ]);
    let mut child = command.stdin(Stdio::piped()).spawn().unwrap();
    child.stdin.take().unwrap().write_all(typed).unwrap();
    let output = tokio::task::block_in_place(|| child.wait_with_output().unwrap());
    (mock, output)
}

#[tokio::test(flavor = "multi_thread")]
async fn each_position_is_asked_for_measured_with_its_setup_and_put_beside_the_other() {
    let (mock, output) = positions(b"\n\n");
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let asked = String::from_utf8(output.stderr).unwrap();
    assert!(
        asked.contains("set `input` of lectern to `line`, then press Enter"),
        "{asked}"
    );
    assert!(
        asked.contains("set `input` of lectern to `mic`, then press Enter"),
        "{asked}"
    );
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(
        said.contains("Which position") && said.contains("- line: "),
        "{said}"
    );
    mock.asked(|script| {
        let inputs: Vec<_> = script
            .measured
            .iter()
            .map(|one| &one.setup["input"])
            .collect();
        assert_eq!(inputs, ["line", "mic"]);
        assert!(script.measured.iter().all(|one| one.analysis == "level"));
    });
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_is_measured_while_nobody_has_moved_the_switch() {
    let (mock, output) = positions(b"\n");
    assert_eq!(output.status.code(), Some(3), "{output:?}");
    mock.asked(|script| assert_eq!(script.measured.len(), 1));
    let (mock, output) = positions(b"");
    assert_eq!(output.status.code(), Some(3), "{output:?}");
    mock.asked(|script| assert_eq!(script.measured.len(), 0));
}
