//! What each analysis finds of a link that is known.

use goodwire_proto::v1::{Measurement, measurement::State};
use goodwire_tests::client::{figure, value};

use crate::{
    dut::{CLIP_DBFS, DELAY_FRAMES, Dut, GAIN_DB},
    server::{Server, Turn, daemon},
};

fn near(measurement: &Measurement, id: &str, want: f64, tolerance: f64) {
    assert_eq!(
        measurement.state(),
        State::Succeeded,
        "{:?}",
        measurement.reason
    );
    assert!(!measurement.simulated, "nothing here is simulated");
    let got = value(measurement, id);
    println!("{} {id}: {got}, want {want}", measurement.analysis);
    assert!(
        (got - want).abs() <= tolerance,
        "{id}: {got}, want {want} ± {tolerance}"
    );
}

#[tokio::test]
async fn a_link_10_ms_late_6_db_down_and_clipping_at_minus_30_dbfs_is_found_so() {
    let Some(_turn) = Turn::take() else { return };
    let _server = Server::start();
    let dut = Dut::start();
    let daemon = daemon("max_send_dbfs = -20\nunattended = true");
    let client = daemon.connect().await;

    let latency = client
        .measure("lectern", "latency", &[("level_dbfs", "-40")])
        .await;
    // Frame n that is played is frame n that is heard: to a thousandth of a frame.
    near(
        &latency,
        "latency",
        1000.0 * DELAY_FRAMES as f64 / 48000.0,
        0.001 / 48.0,
    );
    near(&latency, "skew", 0.0, 0.1);

    let level = client
        .measure("lectern", "level", &[("step_db", "2")])
        .await;
    near(&level, "gain", GAIN_DB, 0.01);
    near(&level, "polarity", 1.0, 0.0);
    // Closed form of a hard clip: 3 % of harmonics 2 to 10 with the peak 0.670 dB above it.
    near(&level, "clip_point", CLIP_DBFS + 0.67, 0.02);
    assert!(
        figure(&level, "gain").uncertainty.unwrap() >= 0.5,
        "the two inputs were never matched: their knobs may differ"
    );
    assert!(
        level.notes.iter().any(|note| note.id == "unmatched-paths"),
        "{:?}",
        level.notes
    );

    let settings = [("level_dbfs", "-40"), ("duration_s", "2")];
    let response = client.measure("lectern", "response", &settings).await;
    near(&response, "gain", GAIN_DB, 0.01);
    for deviation in response
        .figures
        .iter()
        .filter(|figure| figure.id == "deviation")
    {
        assert!(deviation.value.unwrap().abs() < 0.02, "{deviation:?}");
    }

    let settings = [("level_dbfs", "-40"), ("freqs_hz", "1000")];
    let distortion = client.measure("lectern", "distortion", &settings).await;
    near(&distortion, "thd", 0.0, 0.001);
    assert!(
        dut.knobs.peak_dbfs() <= -19.999,
        "the ceiling was kept: {}",
        dut.knobs.peak_dbfs()
    );
}

#[tokio::test]
async fn a_link_that_is_muted_once_has_one_gap_in_20_s_and_one_that_is_left_alone_none() {
    let Some(_turn) = Turn::take() else { return };
    let _server = Server::start();
    let dut = Dut::start();
    let daemon = daemon("max_send_dbfs = -40\nunattended = true");
    let client = daemon.connect().await;
    let settings = [("duration_s", "20"), ("level_dbfs", "-40")];
    let healthy = client.measure("lectern", "dropout", &settings).await;
    near(&healthy, "dropouts", 0.0, 0.0);
    let mute = async {
        tokio::time::sleep(std::time::Duration::from_secs(12)).await;
        dut.knobs.turn_up(-200.0);
        tokio::time::sleep(std::time::Duration::from_millis(250)).await;
        dut.knobs.turn_up(0.0);
    };
    let (muted, ()) = tokio::join!(client.measure("lectern", "dropout", &settings), mute);
    near(&muted, "dropouts", 1.0, 0.0);
    // The knob is turned between two periods of 21 ms of a busy machine, either way.
    near(&muted, "lost_time", 250.0, 100.0);
}
