//! Channel plans: against a brute force, without an interface, during a hold and beside a watch,
//! of surveys, judged, in rounds, and what is refused.

mod faults;
mod surveys;
mod venue;

use std::time::Duration;

use goodwire_proto::v1::{
    ChannelPlan, GetMeasurementRequest, HoldRequest, ListMeasurementsRequest, Measurement,
    RunRoundRequest, WatchRunRequest, channel_plan::Certainty, measurement::State,
    watch_service_client::WatchServiceClient,
};
use goodwire_tests::{
    client::{Client, has_note, request},
    command_line::goodwire,
    daemon::{Daemon, Start},
    eventually::eventually,
};
use tonic::Code;

use crate::telling::{get, page};

/// Rows of the table that a plan gives to links.
fn rows(plan: &ChannelPlan) -> Vec<usize> {
    let named = |channel: &str| {
        let mut all = 0..venue::CENTRES_KHZ.len();
        all.find(|row| venue::name(*row) == channel)
            .expect("every channel is of the table")
    };
    let mut rows: Vec<usize> = plan.links.iter().map(|link| named(&link.channel)).collect();
    rows.sort_unstable();
    rows
}

fn plan(measurement: &Measurement) -> &ChannelPlan {
    assert_eq!(
        measurement.state(),
        State::Succeeded,
        "{:?}",
        measurement.reason
    );
    let plan = measurement.channel_plan.as_ref();
    plan.expect("a channel plan")
}

fn figure(measurement: &Measurement, id: &str, channel: &str) -> f64 {
    let is_it = |figure: &&goodwire_proto::v1::Figure| {
        figure.id == id && format!("{:?}", figure.at).contains(&format!("\"{channel}\""))
    };
    let found = measurement.figures.iter().find(is_it);
    found
        .and_then(|figure| figure.value)
        .expect("such a figure")
}

#[tokio::test]
async fn six_links_beside_three_wifi_channels_get_a_plan_that_no_brute_force_betters() {
    let daemon = Daemon::start(&venue::simulated());
    let client = daemon.connect().await;
    let measured = client.measure("lectern", "channels", &[]).await;
    let plan = plan(&measured);
    assert_eq!(plan.certainty(), Certainty::Exact);
    assert_eq!((plan.fitting_count, plan.wanted_count), (6, 6));
    assert!(plan.flaws.is_empty(), "{:?}", plan.flaws);
    let chosen = rows(plan);
    // 12376 choices of six rows: none is cleaner, and none is further from the Wi-Fi.
    assert_eq!(venue::badness(&chosen), venue::least_bad(6));
    assert_eq!(venue::badness(&chosen).0, [0; 3]);
    let links: Vec<&str> = plan.links.iter().map(|link| link.link.as_str()).collect();
    assert_eq!(links, venue::LINKS.map(|link| format!("links/{link}")));
    let least_khz = chosen
        .iter()
        .map(|row| venue::separation_khz(*row))
        .min()
        .unwrap();
    let least_mhz = plan.separation_mhz_least.unwrap();
    assert!(
        (least_mhz - least_khz as f64 / 1e3).abs() < 1e-6,
        "{least_mhz}"
    );
    for row in 0..venue::CENTRES_KHZ.len() {
        let got_mhz = figure(&measured, "separation", &venue::name(row));
        let want_mhz = venue::separation_khz(row) as f64 / 1e3;
        assert!((got_mhz - want_mhz).abs() < 1e-6, "{row}: {got_mhz}");
    }
    assert_eq!(figure(&measured, "overlap", "K6"), 100.0);
    assert!(measured.simulated && has_note(&measured, "law-of-the-place"));
    assert!(measured.findings.is_empty() && measured.verdict.is_none());
}

#[tokio::test]
async fn where_more_links_are_wanted_than_fit_the_plan_says_how_many_and_is_the_least_bad() {
    let daemon = Daemon::start(&venue::simulated());
    let client = daemon.connect().await;
    let fitting = venue::most_that_fit();
    let wanted = fitting + 1;
    let settings = [("link_count", wanted.to_string())];
    let settings = settings.each_ref().map(|(id, count)| (*id, count.as_str()));
    let measured = client.measure("lectern", "channels", &settings).await;
    let plan = plan(&measured);
    assert_eq!(
        (plan.fitting_count, plan.wanted_count),
        (fitting as i32, wanted as i32)
    );
    assert_eq!(plan.fitting_certainty(), Certainty::Exact);
    assert_eq!(venue::badness(&rows(plan)), venue::least_bad(wanted));
    assert!(!plan.flaws.is_empty());
    let told = measured
        .notes
        .iter()
        .find(|note| note.id == "not-all-fit")
        .unwrap();
    assert!(
        told.text
            .starts_with(&format!("{fitting} of {wanted} links fit")),
        "{}",
        told.text
    );
}

#[tokio::test]
async fn a_plan_needs_no_interface_no_reference_nobody_present_and_no_release() {
    // Nobody runs this JACK server, and nobody said that sound may be played.
    let start = Start::new().variable("JACK_DEFAULT_SERVER", "goodwire-tests-none");
    let start = start.variable("JACK_NO_START_SERVER", "1");
    let daemon = start.run(&venue::configured(
        "[interface]\nbackend = \"jack\"\nrate = 48000",
    ));
    let mut client = daemon.connect().await;
    let text = "a reading".to_owned();
    client.rig.hold(HoldRequest { text }).await.unwrap();
    let mut asked = request("lectern", "channels", &[]);
    asked.present = false;
    let asked = client.ask(asked).await.expect("it is not refused");
    let measured = client.end_of(&asked[0].name).await;
    assert_eq!(rows(plan(&measured)).len(), 6);
    assert!(!measured.simulated);
    let sound = client.ask(request("lectern", "latency", &[])).await;
    assert_eq!(sound.unwrap_err().code(), Code::FailedPrecondition);
}

#[tokio::test]
async fn a_plan_is_there_while_a_watch_holds_the_rig() {
    let in_real_time = venue::simulated().replace("\"virtual\"", "\"real\"");
    let daemon = Daemon::start(&in_real_time);
    let client = daemon.connect().await;
    let watch = client
        .ask(request("choir", "dropout", &[("duration_s", "600")]))
        .await;
    let watch = watch.unwrap().remove(0).name;
    eventually("it watches", Duration::from_secs(20), || async {
        let mut rig = client.rig.clone();
        let status = rig.get_status(goodwire_proto::v1::GetStatusRequest {});
        let running = status.await.unwrap().into_inner().running;
        running.iter().any(|one| one.name == watch).then_some(())
    })
    .await;
    let measured = client.measure("lectern", "channels", &[]).await;
    assert_eq!(rows(plan(&measured)).len(), 6);
    let request = GetMeasurementRequest {
        name: watch.clone(),
    };
    let mut measurements = client.measurements.clone();
    let watch = measurements.get_measurement(request).await.unwrap();
    assert_eq!(watch.into_inner().state(), State::Running);
}

/// A limit on the separation of a channel.
fn limit(channel: &str, min_mhz: f64) -> String {
    format!(
        "[[limit]]\nanalysis = \"channels\"\nfigure = \"separation\"\n\
         at = {{ channel = \"{channel}\" }}\nmin = {min_mhz:?}\n"
    )
}

#[test]
fn the_page_of_a_link_follows_the_reach_and_the_one_channel_of_17_that_is_limited() {
    let (port, section) = page();
    let daemon = Daemon::start(&(venue::simulated() + &limit("K8", 1.0) + &section));
    for _ in 0..2 {
        let said = goodwire(&daemon, &["measure", "choir", "channels"]);
        assert_eq!(said.code, Some(0), "{}", said.err);
    }
    let shown = get(port, "localhost", "/links/choir");
    assert!(
        shown.contains("K8") && shown.contains("Reach (m)"),
        "{shown}"
    );
    for other in ["K7", "K9", "K17"] {
        assert!(!shown.contains(other), "{other}: {shown}");
    }
}

#[test]
fn limits_at_a_channel_are_judged_and_the_json_carries_the_plan_where_lists_do_not() {
    // K7 lies 0.2 MHz above Wi-Fi channel 6, K8 1.4 MHz.
    let daemon = Daemon::start(&(venue::simulated() + &limit("K7", 0.1) + &limit("K8", 1.0)));
    let said = goodwire(&daemon, &["--json", "measure", "choir", "channels"]);
    assert_eq!(said.code, Some(0), "{}", said.err);
    assert_eq!(said.json()["verdict"]["outcome"], "PASS");
    assert_eq!(
        said.json()["verdict"]["judgements"]
            .as_array()
            .unwrap()
            .len(),
        2
    );
    assert_eq!(said.json()["channelPlan"]["wantedCount"], 6);
    let name = said.json()["name"].as_str().unwrap().to_owned();
    let shown = goodwire(&daemon, &["--json", "show", &name]);
    assert_eq!(shown.json(), said.json());
    let listed = goodwire(&daemon, &["--json", "results"]).json();
    assert_eq!(listed["measurements"][0]["name"], said.json()["name"]);
    assert!(listed["measurements"][0].get("channelPlan").is_none());
    let daemon = Daemon::start(&(venue::simulated() + &limit("K7", 0.1) + &limit("K8", 1.5)));
    let said = goodwire(&daemon, &["--json", "measure", "choir", "channels"]);
    assert_eq!(
        (said.code, &said.json()["verdict"]["outcome"]),
        (Some(2), &"FAIL".into())
    );
}

#[tokio::test]
async fn who_is_on_a_planned_channel_keeps_it_and_a_setup_of_the_request_counts() {
    let set = "name = \"choir\"\nsetup = { channel = \"K17\" }";
    let daemon = Daemon::start(&venue::simulated().replace("name = \"choir\"", set));
    let client = daemon.connect().await;
    let measured = client
        .measure("lectern", "channels", &[("link_count", "6")])
        .await;
    let of = |plan: &ChannelPlan, link: &str| {
        let name = format!("links/{link}");
        plan.links
            .iter()
            .find(|one| one.link == name)
            .unwrap()
            .clone()
    };
    assert!(
        rows(plan(&measured)).contains(&16),
        "the greatest separation is of K17"
    );
    assert_eq!(of(plan(&measured), "choir").channel, "K17");
    let mut asked = request("lectern", "channels", &[("keep", "true")]);
    asked.setup.insert("channel".into(), "K6".into());
    let measured = client.ask(asked.clone()).await.unwrap();
    let measured = client.end_of(&measured[0].name).await;
    let lectern = of(plan(&measured), "lectern");
    assert_eq!((lectern.channel.as_str(), lectern.is_fixed), ("K6", true));
    assert_eq!(plan(&measured).wanted_count, 4);
    assert!(has_note(&measured, "links-that-stay"));
    asked.setup.insert("channel".into(), "KK6".into());
    let refused = client.ask(asked).await.unwrap_err();
    assert_eq!(refused.code(), Code::InvalidArgument);
    assert!(
        refused.message().contains("did you mean 'K6'?"),
        "{}",
        refused.message()
    );
}

#[tokio::test]
async fn the_walked_range_of_the_link_stands_beside_the_reach() {
    let walking = "name = \"lectern\"\nsimulated = { walk = [[0, 1], [40, 40]], holds_to_m = 10 }";
    let text = venue::simulated().replace("name = \"lectern\"", walking);
    let daemon = Daemon::start(&text.replace("\"virtual\"", "\"real\""));
    let client = daemon.connect().await;
    let before = client.measure("lectern", "channels", &[]).await;
    let told = |measured: &Measurement| {
        let note = measured.notes.iter().find(|note| note.id == "reach");
        note.expect("the note").text.clone()
    };
    assert!(
        told(&before).contains("nobody walked it yet"),
        "{}",
        told(&before)
    );
    let walk = client
        .ask(request("lectern", "dropout", &[("duration_s", "30")]))
        .await;
    let walk = walk.unwrap().remove(0).name;
    for (second, metres) in [(3, 3.0), (8, 8.0), (14, 14.0), (20, 20.0)] {
        tokio::time::sleep(Duration::from_secs(if second == 3 { 5 } else { 6 })).await;
        let request = goodwire_proto::v1::MarkMeasurementRequest {
            name: walk.clone(),
            metres: Some(metres),
            ..goodwire_proto::v1::MarkMeasurementRequest::default()
        };
        let mut watches = WatchServiceClient::new(client.channel.clone());
        watches.mark_measurement(request).await.expect("it watches");
    }
    let walked = client.end_of(&walk).await;
    let range = walked.figures.iter().find(|figure| figure.id == "range");
    let range_m = range.and_then(|figure| figure.value).expect("a range");
    let after = client.measure("lectern", "channels", &[]).await;
    let want = format!("held to {range_m:.0} m");
    assert!(told(&after).contains(&want), "{want}: {}", told(&after));
}

#[tokio::test]
async fn a_round_of_all_links_plans_for_those_with_a_table_also_during_a_hold() {
    let more = "[[link]]\nname = \"bare\"\nsend = 7\nreturn = 7\n\
                [[round]]\nname = \"nightly\"\nchecks = [\"latency\", \"channels\"]\n";
    let daemon = Daemon::start(&(venue::simulated() + more));
    let mut client = daemon.connect().await;
    let text = "a reading".to_owned();
    client.rig.hold(HoldRequest { text }).await.unwrap();
    let request = RunRoundRequest {
        name: "nightly".into(),
        ..RunRoundRequest::default()
    };
    let run = client.rounds.run_round(request).await.unwrap().into_inner();
    let request = WatchRunRequest { name: run.name };
    let mut news = client.rounds.watch_run(request).await.unwrap().into_inner();
    let mut last = None;
    while let Some(message) = news.message().await.unwrap() {
        last = message.run;
    }
    let run = last.unwrap();
    assert_eq!(run.reason.as_ref().unwrap().id, "hold");
    let checked: Vec<&str> = run.checks.iter().map(|check| check.link.as_str()).collect();
    assert_eq!(checked, venue::LINKS.map(|link| format!("links/{link}")));
    let is_done = |check: &goodwire_proto::v1::RunCheck| {
        check.analysis == "channels" && check.state() == State::Succeeded
    };
    assert!(run.checks.iter().all(is_done), "{:?}", run.checks);
}

async fn refused(client: &Client, link: &str) -> (Code, String) {
    let status = client
        .ask(request(link, "channels", &[]))
        .await
        .unwrap_err();
    (status.code(), status.message().to_owned())
}

#[tokio::test]
async fn links_without_a_table_are_refused_all_takes_the_others_and_none_says_what_to_write() {
    let bare = "[[link]]\nname = \"bare\"\nsend = 7\nreturn = 7\n";
    let daemon = Daemon::start(&(venue::simulated() + bare));
    let client = daemon.connect().await;
    let (code, said) = refused(&client, "bare").await;
    assert_eq!(code, Code::InvalidArgument);
    assert!(said.contains("'bare' has no channel_table"), "{said}");
    let all = client.ask(request("all", "channels", &[])).await.unwrap();
    assert_eq!(all.len(), 6);
    let mut measurements = client.measurements.clone();
    let listed = measurements.list_measurements(ListMeasurementsRequest::default());
    assert_eq!(listed.await.unwrap().into_inner().measurements.len(), 6);
    let daemon = Daemon::start(goodwire_tests::rig::CELLAR);
    let client = daemon.connect().await;
    for link in ["lectern", "all"] {
        let (code, said) = refused(&client, link).await;
        assert_eq!(code, Code::FailedPrecondition);
        assert!(
            said.contains("[[channel_table]]") && said.contains("centre_mhz"),
            "{said}"
        );
    }
}

#[test]
fn recordings_stimuli_matches_and_resume_make_no_sense_without_audio_and_are_refused() {
    let daemon = Daemon::start(&venue::simulated());
    let out = daemon.folder().join("sent.wav");
    let out = out.to_str().unwrap();
    let said = goodwire(
        &daemon,
        &["stimulus", "latency", "--rate", "48000", "--out", out],
    );
    assert_eq!(said.code, Some(0), "{}", said.err);
    for (arguments, right) in [
        (
            &["analyse", "channels", "--sent", out, "--returned", out][..],
            "measure it",
        ),
        (
            &["stimulus", "channels", "--rate", "48000", "--out", out],
            "it plays nothing",
        ),
        (
            &["measure", "lectern", "channels", "--resume"],
            "only a watch",
        ),
    ] {
        let said = goodwire(&daemon, arguments);
        assert_eq!(said.code, Some(3), "{}", said.err);
        assert!(said.err.contains(right), "{}", said.err);
    }
}

#[tokio::test]
async fn a_plan_is_no_match() {
    let daemon = Daemon::start(&venue::simulated());
    let client = daemon.connect().await;
    let mut asked = request("lectern", "channels", &[]);
    asked.r#match = true;
    let refused = client.ask(asked).await.unwrap_err();
    assert_eq!(refused.code(), Code::InvalidArgument);
    assert!(
        refused.message().contains("'response'"),
        "{}",
        refused.message()
    );
}
