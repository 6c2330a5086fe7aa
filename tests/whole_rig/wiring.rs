//! What is plugged in where, on JACK.

use goodwire_proto::v1::{CheckWiringRequest, Wiring, wiring_service_client::WiringServiceClient};
use goodwire_tests::daemon::Daemon;
use tonic::{Code, Status};

use crate::{
    dut::{DELAY_FRAMES, Dut, GAIN_DB},
    server::{Server, Turn, daemon, daemon_into},
};

async fn check(daemon: &Daemon, present: bool) -> Result<Wiring, Status> {
    let client = daemon.connect().await;
    let mut wiring = WiringServiceClient::new(client.channel);
    let answer = wiring.check_wiring(CheckWiringRequest { present }).await?;
    Ok(answer.into_inner())
}

#[tokio::test]
async fn a_link_6_db_down_and_10_ms_late_is_all_right_and_nobody_absent_may_ask() {
    let Some(_turn) = Turn::take() else { return };
    let _server = Server::start();
    let dut = Dut::start();
    let daemon = daemon("");
    let status = check(&daemon, false).await.unwrap_err();
    assert_eq!(status.code(), Code::FailedPrecondition, "{status:?}");
    assert!(dut.knobs.peak_dbfs() < -200.0, "nothing was played");
    let wiring = check(&daemon, true).await.unwrap();
    assert!(wiring.faults.is_empty() && !wiring.simulated, "{wiring:?}");
    let [link, cable] = &wiring.pairs[..] else {
        panic!("two pairs: {:?}", wiring.pairs)
    };
    assert!((link.gain_db.unwrap() - GAIN_DB).abs() < 0.2, "{link:?}");
    assert!(cable.gain_db.unwrap().abs() < 0.2, "{cable:?}");
    let late_ms = link.delay_ms.unwrap() - cable.delay_ms.unwrap();
    assert!(
        (late_ms - DELAY_FRAMES as f64 / 48.0).abs() < 0.05,
        "{late_ms} ms"
    );
    // Told at -80 dBFS, and once more at -70 dBFS to see that nothing new appears.
    assert_eq!(
        (link.level_dbfs, cable.level_dbfs),
        (Some(-80.0), Some(-80.0))
    );
    assert!(
        dut.knobs.peak_dbfs() <= -69.99,
        "{} dBFS",
        dut.knobs.peak_dbfs()
    );
}

#[tokio::test]
async fn crossed_ports_are_told_as_a_crossed_pair() {
    let Some(_turn) = Turn::take() else { return };
    let _server = Server::start();
    let _dut = Dut::start();
    let daemon = daemon_into(["dut:in_2", "dut:in_1"], "");
    let wiring = check(&daemon, true).await.unwrap();
    let ids: Vec<_> = wiring
        .faults
        .iter()
        .map(|fault| fault.id.as_str())
        .collect();
    assert_eq!(ids, ["crossed"]);
    let text = &wiring.faults[0].text;
    assert!(
        text.contains("lectern") && text.contains("Swap the plugs"),
        "{text}"
    );
}
