//! Rounds: by the clock, on demand, without a permit, with a link that is away.

use std::time::{Duration, SystemTime};

use goodwire_proto::v1::{
    CancelRunRequest, ExcuseLinkRequest, GetRunRequest, ListRoundsRequest, ListRunsRequest,
    PermitRequest, Run, RunRoundRequest, WatchRunRequest, WithdrawPermitRequest, run::State,
    verdict::Outcome,
};
use goodwire_tests::{
    client::Client,
    command_line::goodwire,
    daemon::Daemon,
    eventually::eventually,
    rig::{CELLAR, NIGHTLY, cellar_in_real_time},
};
use tonic::Code;

fn with(more: &str) -> String {
    format!("{CELLAR}{NIGHTLY}{more}")
}

async fn begin(client: &Client) -> Run {
    let request = RunRoundRequest {
        name: "nightly".into(),
        ..RunRoundRequest::default()
    };
    client
        .rounds
        .clone()
        .run_round(request)
        .await
        .unwrap()
        .into_inner()
}

/// Follows a run to its end.
async fn end_of(client: &Client, name: &str) -> Run {
    let request = WatchRunRequest { name: name.into() };
    let mut news = client
        .rounds
        .clone()
        .watch_run(request)
        .await
        .unwrap()
        .into_inner();
    let mut last = None;
    while let Some(message) = news.message().await.unwrap() {
        last = message.run;
    }
    last.expect("the present state comes at once")
}

fn reason(run: &Run) -> &str {
    run.reason.as_ref().map_or("", |reason| &reason.id)
}

#[tokio::test]
async fn a_round_checks_every_link_and_its_worst_verdict_counts() {
    let daemon = Daemon::start(&with(""));
    let client = daemon.connect().await;
    let run = end_of(&client, &begin(&client).await.name).await;
    assert_eq!((run.state(), run.outcome()), (State::Ended, Outcome::Fail));
    assert!(run.simulated && run.due_time.is_none());
    let checks: Vec<_> = run
        .checks
        .iter()
        .map(|check| (check.link.as_str(), check.outcome()))
        .collect();
    let want = [
        ("links/lectern", Outcome::Fail),
        ("links/drum-riser", Outcome::Unspecified),
    ];
    assert_eq!(checks, want);
    assert!(
        run.checks[0].text.contains("above the limit of 2 ms"),
        "{}",
        run.checks[0].text
    );
    // One batch: both measurements began together.
    let said = goodwire(&daemon, &["rounds", "run", "nightly", "--json"]);
    assert_eq!(
        said.code,
        Some(2),
        "a failing round exits with 2: {}",
        said.err
    );
    assert_eq!(said.json()["outcome"], "FAIL");
    let shown = goodwire(&daemon, &["rounds", "show", &run.name]);
    assert_eq!(shown.code, Some(2));
}

#[tokio::test]
async fn a_due_date_runs_once_and_the_same_run_is_there_after_a_kill() {
    let from = SystemTime::now() + Duration::from_secs(2);
    let from = prost_types::Timestamp::from(from);
    let from = prost_types::Timestamp { nanos: 0, ..from }.to_string();
    let from = from.trim_end_matches('Z');
    let by_clock = format!("every = \"1 day\"\nfrom = \"{from}\"\nzone = \"UTC\"\n");
    let daemon = Daemon::start(&with(&by_clock));
    let client = daemon.connect().await;
    let listed = async || {
        let request = ListRunsRequest::default();
        client
            .rounds
            .clone()
            .list_runs(request)
            .await
            .unwrap()
            .into_inner()
            .runs
    };
    let ended = eventually("the round has run", Duration::from_secs(30), || async {
        let runs = listed().await;
        runs.into_iter().find(|run| run.state() == State::Ended)
    })
    .await;
    assert!(ended.due_time.is_some());
    assert_eq!(ended.outcome(), Outcome::Fail);
    drop(client);
    let daemon = daemon.kill_and_start_again();
    let client = daemon.connect().await;
    let rounds = client
        .rounds
        .clone()
        .list_rounds(ListRoundsRequest {})
        .await;
    let rounds = rounds.unwrap().into_inner().rounds;
    let last = rounds[0].last_run.as_ref().expect("it has run");
    assert_eq!(last.name, ended.name);
    let runs = client
        .rounds
        .clone()
        .list_runs(ListRunsRequest::default())
        .await;
    assert_eq!(runs.unwrap().into_inner().runs.len(), 1);
}

#[tokio::test]
async fn without_a_permit_a_run_is_unmeasured_and_never_fail() {
    let daemon =
        Daemon::start(&with("").replace("[reference]", "[safety]\npermit_hours = 2\n[reference]"));
    let client = daemon.connect().await;
    let run = end_of(&client, &begin(&client).await.name).await;
    assert_eq!(
        (run.outcome(), reason(&run)),
        (Outcome::Unmeasured, "no-permit")
    );
    assert!(run.checks.is_empty());
    let permit = client.rig.clone().permit(PermitRequest::default()).await;
    let permit = permit.unwrap().into_inner();
    let given = permit.create_time.unwrap().seconds;
    assert_eq!(permit.until_time.unwrap().seconds - given, 7200);
    let run = end_of(&client, &begin(&client).await.name).await;
    assert_eq!(run.outcome(), Outcome::Fail, "it was measured: {run:?}");
    let withdrawn = client
        .rig
        .clone()
        .withdraw_permit(WithdrawPermitRequest {})
        .await;
    assert!(withdrawn.unwrap().into_inner().was_permitted);
    let run = end_of(&client, &begin(&client).await.name).await;
    assert_eq!(reason(&run), "no-permit");
}

#[tokio::test]
async fn a_hold_beats_a_permit() {
    let daemon =
        Daemon::start(&with("").replace("[reference]", "[safety]\npermit_hours = 2\n[reference]"));
    let client = daemon.connect().await;
    client
        .rig
        .clone()
        .permit(PermitRequest::default())
        .await
        .unwrap();
    assert_eq!(
        goodwire(&daemon, &["hold", "--reason", "rehearsal"]).code,
        Some(0)
    );
    let run = end_of(&client, &begin(&client).await.name).await;
    assert_eq!((run.outcome(), reason(&run)), (Outcome::Unmeasured, "hold"));
}

#[tokio::test]
async fn a_link_that_is_away_is_left_out_and_comes_back() {
    let daemon = Daemon::start(&with(""));
    let client = daemon.connect().await;
    let excuse = |until: Option<SystemTime>| ExcuseLinkRequest {
        name: "lectern".into(),
        until_time: until.map(Into::into),
        text: "at the workshop".into(),
    };
    let tomorrow = SystemTime::now() + Duration::from_secs(86_400);
    client
        .rig
        .clone()
        .excuse_link(excuse(Some(tomorrow)))
        .await
        .unwrap();
    let run = end_of(&client, &begin(&client).await.name).await;
    assert_eq!(run.checks.len(), 1);
    assert_eq!(run.excuses[0].link, "links/lectern");
    client.rig.clone().excuse_link(excuse(None)).await.unwrap();
    let run = end_of(&client, &begin(&client).await.name).await;
    assert_eq!((run.checks.len(), run.excuses.len()), (2, 0));
    let past = SystemTime::now() - Duration::from_secs(60);
    let refused = client
        .rig
        .clone()
        .excuse_link(excuse(Some(past)))
        .await
        .unwrap_err();
    assert_eq!(refused.code(), Code::InvalidArgument);
}

#[tokio::test]
async fn a_run_can_be_cancelled_and_a_request_made_twice_is_one_run() {
    let slow = NIGHTLY.replace(
        "\"latency\"]",
        "{ analysis = \"latency\", set = { repeats = 30 } }]",
    );
    let daemon = Daemon::start(&(cellar_in_real_time() + &slow));
    let client = daemon.connect().await;
    let request = RunRoundRequest {
        name: "rounds/nightly".into(),
        request_id: "019ab0c3-0000-7000-8000-000000000001".into(),
        ..RunRoundRequest::default()
    };
    let ask = || client.clone();
    let first = ask()
        .rounds
        .run_round(request.clone())
        .await
        .unwrap()
        .into_inner();
    let again = ask().rounds.run_round(request).await.unwrap().into_inner();
    assert_eq!(first.name, again.name);
    let cancel = CancelRunRequest {
        name: first.name.clone(),
    };
    ask().rounds.cancel_run(cancel).await.unwrap();
    let run = end_of(&client, &first.name).await;
    assert_eq!(
        (run.outcome(), reason(&run)),
        (Outcome::Unmeasured, "cancelled")
    );
}

#[tokio::test]
async fn unknown_rounds_and_runs_are_named() {
    let daemon = Daemon::start(&with(""));
    let mut client = daemon.connect().await;
    let request = RunRoundRequest {
        name: "nightli".into(),
        ..RunRoundRequest::default()
    };
    let unknown = client.rounds.run_round(request).await.unwrap_err();
    assert_eq!(unknown.code(), Code::NotFound);
    assert!(
        unknown.message().contains("nightly"),
        "{}",
        unknown.message()
    );
    let request = GetRunRequest {
        name: "runs/none".into(),
    };
    let unknown = client.rounds.get_run(request).await.unwrap_err();
    assert_eq!(unknown.code(), Code::NotFound);
}
