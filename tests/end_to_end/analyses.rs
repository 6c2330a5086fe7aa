//! Each analysis finds what the simulated link was told to do.

use goodwire_proto::v1::{Figure, Measurement, measurement::State};
use goodwire_tests::{
    client::{figure, value},
    daemon::Daemon,
    rig::{CELLAR, with_links},
};

/// Fails where a figure is not `want` within `tolerance`, all in its own unit.
fn near(measurement: &Measurement, id: &str, want: f64, tolerance: f64) {
    let got = value(measurement, id);
    assert!(
        (got - want).abs() <= tolerance,
        "{id}: {got}, want {want} ± {tolerance}"
    );
}

/// What every result of the simulated rig has to say.
fn is_whole(measurement: &Measurement) {
    assert_eq!(
        measurement.state(),
        State::Succeeded,
        "{:?}",
        measurement.reason
    );
    assert!(measurement.simulated, "it was made on the simulated rig");
    assert!(!measurement.recorded);
    let provenance = measurement.provenance.as_ref().unwrap();
    assert_eq!(provenance.backend, "simulated");
    assert_eq!(provenance.rate_hz, 48000);
    assert!(provenance.plugin_hash.len() == 64 && provenance.config_hash.len() == 64);
    assert!(measurement.progress >= 1.0);
    for time in [
        measurement.create_time,
        measurement.start_time,
        measurement.end_time,
    ] {
        assert!(time.is_some());
    }
    for Figure {
        id, value, unit, ..
    } in &measurement.figures
    {
        assert!(value.unwrap().is_finite(), "{id} in {unit}");
    }
    for curve in &measurement.curves {
        assert_eq!(curve.x.len(), curve.y.len(), "{}", curve.id);
        assert!(
            curve.x.windows(2).all(|pair| pair[0] < pair[1]),
            "{}",
            curve.id
        );
        assert!(curve.y.iter().all(|y| y.is_finite()), "{}", curve.id);
    }
}

#[tokio::test]
async fn level_finds_3_db_of_loss_and_the_clip_at_6_db_below_full_scale() {
    let daemon = Daemon::start(CELLAR);
    let client = daemon.connect().await;
    let healthy = client.measure("drum-riser", "level", &[]).await;
    is_whole(&healthy);
    near(&healthy, "gain", 0.0, 0.05);
    near(&healthy, "polarity", -1.0, 0.0);
    assert!(
        healthy.notes.iter().any(|note| note.id == "no-clip-point"),
        "{:?}",
        healthy.notes
    );
    let clipping = client.measure("lectern", "level", &[]).await;
    is_whole(&clipping);
    // The second-order band limits (30 Hz, 16 kHz) take less than 0.001 dB at 1 kHz.
    near(&clipping, "gain", -3.0, 0.05);
    near(&clipping, "polarity", 1.0, 0.0);
    // A clipped sine has 3 % of harmonics 2 to 10 where its peak is 0.67 dB above the clip
    // (closed form: see tests/reference/closed_forms.py); the cubic term moves it a little.
    near(&clipping, "clip_point", -6.0 + 0.67, 0.5);
}

#[tokio::test]
async fn latency_finds_3_125_ms() {
    let daemon = Daemon::start(CELLAR);
    let found = daemon
        .connect()
        .await
        .measure("lectern", "latency", &[])
        .await;
    is_whole(&found);
    // On top comes the band limits' own delay, by the definition of `latency` (straight line through
    // 0°, 1 to 10 kHz, even over log frequency) from SciPy's response of the same digital filters:
    // closed_forms.latency_frames(butter(2, [30, 16000], fs=48000)) / 48 = 0.009152 ms.
    near(&found, "latency", 3.125 + 0.009_152, 0.000_1);
    near(&found, "air_path", value(&found, "latency") * 0.3432, 1e-3);
    assert!(value(&found, "jitter") < 0.001);
    near(&found, "skew", 0.0, 0.5);
    assert_eq!(figure(&found, "latency").unit, "ms");
}

#[tokio::test]
async fn response_finds_the_corners_at_30_hz_and_16_khz() {
    let daemon = Daemon::start(CELLAR);
    let found = daemon
        .connect()
        .await
        .measure("lectern", "response", &[])
        .await;
    is_whole(&found);
    near(&found, "gain", -3.0, 0.05);
    // A Butterworth filter is 3.01 dB down at its corner.
    near(&found, "corner_low", 30.0, 0.5);
    near(&found, "corner_high", 16000.0, 160.0);
    let deviations: Vec<_> = found
        .figures
        .iter()
        .filter(|f| f.id == "deviation")
        .collect();
    assert_eq!(deviations.len(), 10, "one a band");
    for curve in ["magnitude", "phase", "group_delay"] {
        assert!(found.curves.iter().any(|c| c.id == curve), "{curve}");
    }
    assert!(
        found.notes.iter().any(|note| note.id == "unmatched-paths"),
        "{:?}",
        found.notes
    );
}

#[tokio::test]
async fn distortion_finds_the_cubic_term() {
    let daemon = Daemon::start(CELLAR);
    let settings = [("freqs_hz", "1000"), ("level_dbfs", "-10")];
    let found = daemon
        .connect()
        .await
        .measure("lectern", "distortion", &settings)
        .await;
    is_whole(&found);
    // Third harmonic of x + a3 x³ at peak A: ¼ a3 A² re 1 + ¾ a3 A² (power-reduction identities);
    // A² = 0.1, a3 = 0.05. The 16 kHz low-pass after it takes some of 3 kHz: below 0.01 dB.
    let want = 100.0 * (0.25 * 0.05 * 0.1) / (1.0 + 0.75 * 0.05 * 0.1);
    near(&found, "thd", want, 0.002);
    near(&found, "h3", 20.0 * (want / 100.0).log10(), 0.2);
    assert!(found.figures.iter().any(|f| f.id == "reference_thd"));
}

#[tokio::test]
async fn noise_finds_the_receiver_s_100_dbfs_under_every_weighting() {
    let daemon = Daemon::start(CELLAR);
    let client = daemon.connect().await;
    let found = client.measure("drum-riser", "noise", &[]).await;
    is_whole(&found);
    // White noise of -100 dBFS to half the rate: 20 Hz to 20 kHz are 19 980 of 24 000 Hz.
    let flat_dbfs = -100.0 + 10.0 * (19_980.0f64 / 24_000.0).log10();
    near(&found, "noise", flat_dbfs, 0.1);
    // Numerical integrals of the analytic curves for white noise (SciPy): see tests/reference.
    near(&found, "noise_a", flat_dbfs - 2.048, 0.1);
    near(&found, "noise_ccir_rms", flat_dbfs + 1.671, 0.1);
    near(&found, "dynamic_range_a", -flat_dbfs + 2.048, 0.15);
    near(&found, "reference_noise", flat_dbfs - 20.0, 0.1);
    assert!(found.figures.iter().all(|figure| figure.id != "hum"));
    assert!(found.curves.iter().any(|c| c.id == "noise_spectrum"));
}

#[tokio::test]
async fn null_of_an_inverted_link_6_db_down_goes_to_its_noise_and_can_be_listened_to() {
    let simulated = "[link.simulated]\nlow_corner_hz = 0.0\ngain_db = -6.0\ninverted = true\n";
    let daemon = Daemon::start(&format!("{}{simulated}", with_links(1)));
    let client = daemon.connect().await;
    let found = client.measure("link-1", "null", &[]).await;
    is_whole(&found);
    // Pink noise of a peak of -20 dBFS is some 10 to 13 dB less loud, the noise lies at -101 dBFS,
    // and 6 dB higher once the link is turned up to the cable.
    let depth_db = value(&found, "null_depth");
    assert!((60.0..68.0).contains(&depth_db), "{depth_db} dB");
    assert!(found.notes.iter().any(|note| note.id == "noise-limited"));
    assert!(found.curves.iter().any(|c| c.id == "residual"));
    let sounds: Vec<_> = found.sounds.iter().map(|s| s.id.as_str()).collect();
    assert_eq!(sounds, ["reference", "link", "difference"]);
}

#[tokio::test]
async fn crosstalk_names_the_neighbour_that_hears_20_db_below_and_bounds_the_deaf_one() {
    let simulated = "[link.simulated]\nhears = \"link-1\"\nhears_db = -20.0\nlow_corner_hz = 0.0\n";
    let daemon = Daemon::start(&format!("{}{simulated}", with_links(3)));
    let client = daemon.connect().await;
    let found = client.measure("link-1", "crosstalk", &[]).await;
    is_whole(&found);
    let of = |link: &str| {
        let is = |figure: &&Figure| {
            figure.id == "crosstalk" && format!("{:?}", figure.at).contains(link)
        };
        let figure = found.figures.iter().find(is);
        figure.and_then(|figure| figure.value).unwrap()
    };
    assert!((of("link-3") + 20.0).abs() < 0.05, "{} dB", of("link-3"));
    assert!(of("link-2") < -70.0, "{} dB", of("link-2"));
    let note = found
        .notes
        .iter()
        .find(|note| note.id == "below-noise")
        .unwrap();
    assert!(note.text.contains("link-2"), "{}", note.text);
}

#[tokio::test]
async fn a_match_divides_out_what_the_returns_differ_by() {
    // The return of the link is 2 dB hotter than the cable's.
    let unequal = CELLAR.replace(
        "[reference]",
        "[[interface.simulated.return]]\nnumber = 1\ngain_db = 2.0\n[reference]",
    );
    let plain = unequal.replace("gain_db = -3.0", "gain_db = 0.0");
    let plain = plain
        .replace("polynomial = [0.0, 0.05]", "")
        .replace("low_corner_hz = 30.0", "");
    let daemon = Daemon::start(&plain);
    let client = daemon.connect().await;
    let before = client.measure("lectern", "response", &[]).await;
    near(&before, "gain", 2.0, 0.05);
    let request = goodwire_proto::v1::MeasureRequest {
        r#match: true,
        ..goodwire_tests::client::request("lectern", "response", &[])
    };
    let asked = client.ask(request).await.unwrap();
    let matched = client.end_of(&asked[0].name).await;
    assert!(
        matched.is_match && matched.state() == State::Succeeded,
        "{:?}",
        matched.reason
    );
    let after = client.measure("lectern", "response", &[]).await;
    assert_eq!(after.r#match, matched.name);
    near(&after, "gain", 0.0, 0.02);
    assert!(after.notes.iter().all(|note| note.id != "unmatched-paths"));
}

#[tokio::test]
async fn same_seed_is_the_same_sound_and_the_same_figures() {
    let mut gains = Vec::new();
    for _ in 0..2 {
        let daemon = Daemon::start(CELLAR);
        let found = daemon
            .connect()
            .await
            .measure("lectern", "latency", &[])
            .await;
        gains.push(value(&found, "latency").to_bits());
    }
    assert_eq!(gains[0], gains[1]);
}
