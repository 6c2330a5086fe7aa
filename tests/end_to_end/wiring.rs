//! What is plugged in where, found out on the simulated rig.

use std::time::{Duration, Instant};

use goodwire_proto::v1::{
    CheckWiringRequest, GetStatusRequest, StopRequest, Wiring, WiringPair,
    wiring_service_client::WiringServiceClient,
};
use goodwire_tests::{
    client::{Client, request},
    command_line::goodwire,
    daemon::Daemon,
    eventually::eventually,
    rig::{CELLAR, cellar_in_real_time, with_links},
};
use tonic::{Code, Status};

async fn check(client: &Client) -> Result<Wiring, Status> {
    let mut wiring = WiringServiceClient::new(client.channel.clone());
    let request = CheckWiringRequest { present: true };
    Ok(wiring.check_wiring(request).await?.into_inner())
}

async fn checked(configuration: &str) -> Wiring {
    let daemon = Daemon::start(configuration);
    let client = daemon.connect().await;
    check(&client).await.expect("it may be played")
}

/// The rig of some links, with settings of simulated ones by number.
fn rig(link_count: usize, settings: &[(usize, &str)]) -> String {
    let mut text = with_links(link_count);
    for (number, setting) in settings {
        let end = format!("name = \"link-{number}\"\nsend = {number}\nreturn = {number}\n");
        let with = format!("{end}[link.simulated]\n{setting}\n");
        assert!(text.contains(&end));
        text = text.replace(&end, &with);
    }
    text
}

fn ids(wiring: &Wiring) -> Vec<&str> {
    wiring
        .faults
        .iter()
        .map(|fault| fault.id.as_str())
        .collect()
}

fn pair(wiring: &Wiring, send: i32, number: i32) -> &WiringPair {
    let of = |pair: &&WiringPair| pair.send == send && pair.r#return == number;
    wiring.pairs.iter().find(of).expect("the pair is told")
}

#[tokio::test]
async fn eight_links_and_a_cable_are_all_right_and_told_at_minus_80_dbfs() {
    let wiring = checked(&with_links(8)).await;
    assert!(wiring.faults.is_empty(), "{:?}", wiring.faults);
    assert!(wiring.simulated);
    assert_eq!(wiring.pairs.len(), 9, "{:?}", wiring.pairs);
    for (number, pair) in (1..).zip(&wiring.pairs) {
        assert_eq!(
            (pair.send, pair.r#return, pair.heard),
            (number, number, true)
        );
        // The default link is 4 ms late and takes nothing away; the cable is not late.
        let delay_ms = if number == 9 { 0.0 } else { 4.0 };
        assert!((pair.delay_ms.unwrap() - delay_ms).abs() < 0.05, "{pair:?}");
        assert!(pair.gain_db.unwrap().abs() < 0.5, "{pair:?}");
        assert_eq!(pair.level_dbfs, Some(-80.0));
    }
}

#[tokio::test]
async fn no_fault_is_found_on_a_healthy_rig_of_8_links_by_20_seeds() {
    for seed in 1..=20 {
        let seeded = format!("[interface.simulated]\nseed = {seed}\n[reference]");
        let noisy = (1..=8).map(|number| (number, "noise_dbfs = -60\nhum_dbfs = -60"));
        let text = rig(8, &noisy.collect::<Vec<_>>());
        let wiring = checked(&text.replace("[reference]", &seeded)).await;
        assert!(wiring.faults.is_empty(), "seed {seed}: {:?}", wiring.faults);
        assert_eq!(wiring.pairs.len(), 9, "seed {seed}: {:?}", wiring.pairs);
    }
}

#[tokio::test]
async fn links_that_share_a_send_are_no_fault_and_a_swapped_polarity_is() {
    let wiring = checked(CELLAR).await;
    assert_eq!(ids(&wiring), ["polarity"]);
    assert!(wiring.faults[0].text.contains("drum-riser"));
    assert!(pair(&wiring, 1, 3).inverted && !pair(&wiring, 1, 1).inverted);
    assert_eq!(pair(&wiring, 2, 2).name, "reference");
}

#[tokio::test]
async fn a_crossed_pair_is_told_with_the_plugs_to_swap() {
    let wiring = checked(&rig(3, &[(1, "fed_by = 3"), (3, "fed_by = 1")])).await;
    assert_eq!(ids(&wiring), ["crossed"]);
    let text = &wiring.faults[0].text;
    assert!(text.contains("link-1 and link-3 are crossed"), "{text}");
    assert!(text.contains("Swap the plugs of sends 1 and 3"), "{text}");
    assert!(!pair(&wiring, 1, 1).heard && pair(&wiring, 3, 1).heard);
}

#[tokio::test]
async fn an_unplugged_link_is_missing_and_one_in_a_free_return_is_unexpected_there() {
    let wiring = checked(&rig(2, &[(1, "fed_by = 0")])).await;
    assert_eq!(ids(&wiring), ["missing"]);
    // Asked for up to 20 dB below full scale, in vain.
    assert_eq!(wiring.level_dbfs, Some(-20.0));
    assert_eq!(pair(&wiring, 1, 1).gain_db, None);
    let wiring = checked(&rig(2, &[(1, "heard_at = 5")])).await;
    assert_eq!(ids(&wiring), ["missing", "unexpected"]);
}

#[tokio::test]
async fn a_foreign_send_6_db_down_is_shorted_and_40_db_down_is_none() {
    let shorted = "hears = \"link-2\"\nhears_db = -6";
    let wiring = checked(&rig(2, &[(1, shorted)])).await;
    assert_eq!(ids(&wiring), ["shorted"]);
    let gain_db = pair(&wiring, 2, 1).gain_db.unwrap();
    assert!((gain_db + 6.0).abs() < 0.5, "{gain_db} dB");
    let both = [(1, shorted), (2, "hears = \"link-1\"\nhears_db = -6")];
    let wiring = checked(&rig(2, &both)).await;
    assert_eq!(ids(&wiring), ["shorted"]);
    assert!(
        wiring.faults[0]
            .text
            .starts_with("Returns 1 and 2 hear sends 1 and 2")
    );
    let wiring = checked(&rig(2, &[(1, "hears = \"link-2\"\nhears_db = -40")])).await;
    assert!(wiring.faults.is_empty(), "{:?}", wiring.faults);
}

#[tokio::test]
async fn a_link_that_sleeps_below_minus_60_dbfs_is_told_once_it_is_woken() {
    let wiring = checked(&rig(1, &[(1, "idle_below_dbfs = -60\nwake_s = 1")])).await;
    assert!(wiring.faults.is_empty(), "{:?}", wiring.faults);
    let level_dbfs = pair(&wiring, 1, 1).level_dbfs.unwrap();
    assert!((-60.0..=-50.0).contains(&level_dbfs), "{level_dbfs} dBFS");
}

#[tokio::test]
async fn it_waits_for_its_turn_and_obeys_a_hold_a_stop_and_its_clients_leaving() {
    let daemon = Daemon::start(&cellar_in_real_time());
    let client = daemon.connect().await;
    // A client that leaves ends its check: the measurement behind it need not wait for 10 s.
    let leaving = daemon.connect().await;
    let call = tokio::spawn(async move { check(&leaving).await });
    tokio::time::sleep(Duration::from_millis(500)).await;
    call.abort();
    let begun = Instant::now();
    let settings = [("duration_s", "1"), ("repeats", "1")];
    let asked = client.ask(request("lectern", "response", &settings)).await;
    let name = asked.unwrap()[0].name.clone();
    let playing = || async {
        let mut rig = client.rig.clone();
        let status = rig.get_status(GetStatusRequest {}).await.unwrap();
        let running = status.into_inner().running;
        running.iter().any(|one| one.name == name).then_some(())
    };
    eventually("the measurement plays", Duration::from_secs(3), playing).await;
    assert!(begun.elapsed() < Duration::from_secs(3));
    client.end_of(&name).await;

    let waiting = daemon.connect().await;
    let call = tokio::spawn(async move { check(&waiting).await });
    tokio::time::sleep(Duration::from_secs(1)).await;
    let stop = client.rig.clone().stop(StopRequest {}).await;
    let stopped = stop.unwrap().into_inner();
    assert_eq!(stopped.cancelled_count, 1);
    assert!(
        stopped.silent_after_ms < 50.0,
        "{} ms",
        stopped.silent_after_ms
    );
    let status = call.await.unwrap().unwrap_err();
    assert_eq!(status.code(), Code::Cancelled, "{status:?}");

    assert_eq!(goodwire(&daemon, &["hold"]).code, Some(0));
    let status = check(&client).await.unwrap_err();
    assert_eq!(status.code(), Code::FailedPrecondition, "{status:?}");
}

#[tokio::test]
async fn the_command_ends_with_0_where_all_is_right_and_3_where_not() {
    let daemon = Daemon::start(&with_links(2));
    let said = goodwire(&daemon, &["wiring"]);
    assert_eq!(said.code, Some(0), "{}{}", said.out, said.err);
    assert!(said.out.contains("link-2") && said.out.contains("as configured"));
    let json = goodwire(&daemon, &["--json", "wiring"]).json();
    assert_eq!(json["pairs"].as_array().map(Vec::len), Some(3));
    assert_eq!(json["pairs"][0]["heard"], true);

    let daemon = Daemon::start(&rig(2, &[(1, "fed_by = 2"), (2, "fed_by = 1")]));
    let said = goodwire(&daemon, &["wiring"]);
    assert_eq!(said.code, Some(3), "{}", said.out);
    assert!(
        said.out.contains("link-1 and link-2 are crossed"),
        "{}",
        said.out
    );
    let json = goodwire(&daemon, &["--json", "wiring"]);
    assert_eq!(json.code, Some(3));
    assert_eq!(json.json()["faults"][0]["id"], "crossed");
}
