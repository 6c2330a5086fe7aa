//! Configurations that are right, and what they mean.

use std::collections::BTreeMap;

use super::*;
use crate::simulated::settings::{DropoutKind, LinkSettings, PathSettings, RigSettings};

fn parse(text: &str) -> Config {
    Config::parse(text, "rig.toml", &[]).unwrap_or_else(|error| panic!("{error}"))
}

#[test]
fn the_least_configuration_gives_one_link_beside_its_reference() {
    let text = simulated("[reference]\nsend = 2\nreturn = 2\n") + &link("lectern", 1, 1, "");
    let config = parse(&text);
    assert_eq!(config.site, "lantern-cellar");
    assert_eq!(
        config.reference,
        Some(ReferenceConfig {
            send: 2,
            r#return: 2
        })
    );
    let interface = &config.interface;
    assert_eq!(
        (
            interface.rate_hz,
            interface.send_count,
            interface.return_count
        ),
        (48_000, 2, 2)
    );
    let plain = SimulatedConfig {
        time: SimulatedTime::Virtual,
        rig: RigSettings::default(),
        sends: BTreeMap::new(),
        returns: BTreeMap::new(),
    };
    assert_eq!(interface.backend, Backend::Simulated(plain));
    let link = &config.links[0];
    assert_eq!(
        (link.name.as_str(), link.send, link.r#return),
        ("lectern", 1, 1)
    );
    assert_eq!((link.pad_db, link.max_send_dbfs), (0.0, 0.0));
    assert_eq!(link.simulated, LinkSettings::default());
    assert_eq!(
        config.hash,
        blake3::hash(text.as_bytes()).to_hex().to_string()
    );
}

#[test]
fn the_simulated_rig_may_play_unattended_up_to_0_dbfs_and_real_hardware_only_to_minus_40() {
    let safety = parse(&simulated("")).safety;
    let free = SafetyConfig {
        max_send_dbfs: 0.0,
        unattended: true,
        permit_hours: None,
        quiet_dbfs: -50.0,
    };
    assert_eq!(safety, free);
    let careful = SafetyConfig {
        max_send_dbfs: -40.0,
        unattended: false,
        permit_hours: None,
        quiet_dbfs: -50.0,
    };
    let jack = "site = \"x\"\n[interface]\nbackend = \"jack\"\nrate = 48000\n";
    assert_eq!(parse(jack).safety, careful);
    let alsa = "site = \"x\"\n[interface]\nbackend = \"alsa\"\nrate = 96000\n\
                playback = \"hw:CARD=Two,DEV=0\"\ncapture = \"hw:CARD=Two,DEV=0\"\n";
    let config = parse(alsa);
    assert_eq!(config.safety, careful);
    let device = "hw:CARD=Two,DEV=0".to_owned();
    let devices = AlsaConfig {
        playback: device.clone(),
        capture: device,
    };
    assert_eq!(config.interface.backend, Backend::Alsa(devices));
}

#[test]
fn a_jack_rig_has_as_many_channels_as_ports_are_listed() {
    let text = r#"
        site = "lantern-cellar"
        [interface]
        backend = "jack"
        rate = 48000
        [interface.jack]
        sends = ["dut:in_1", "dut:in_2", "dut:in_3"]
        returns = ["dut:out_1", "dut:out_2"]
        [safety]
        max_send_dbfs = -20
        unattended = true
        [[link]]
        name = "drum-riser"
        send = 1
        return = 2
        pad_db = 40
        max_send_dbfs = -30
        [link.setup]
        transmitter = "belt unit 3"
        serial = ""
        gain = "-10"
    "#;
    let config = parse(text);
    assert_eq!(
        (config.interface.send_count, config.interface.return_count),
        (3, 2)
    );
    assert_eq!(config.interface.backend.name(), "jack");
    let link = config.link("links/drum-riser").unwrap();
    assert_eq!((link.pad_db, link.max_send_dbfs), (40.0, -30.0));
    assert_eq!(link.setup["gain"], "-10");
    assert_eq!(link.setup["serial"], "");
    assert_eq!(config.link("lectern"), None);
}

#[test]
fn a_send_may_play_up_to_the_lowest_ceiling_of_the_links_on_it() {
    let text = simulated("[safety]\nmax_send_dbfs = -10\n")
        + &link("lectern", 1, 1, "max_send_dbfs = -30")
        + &link("drum-riser", 1, 3, "max_send_dbfs = -20")
        + &link("stage-left", 2, 4, "");
    let config = parse(&text);
    let ceilings: Vec<f64> = (1..=3).map(|send| config.send_ceiling_dbfs(send)).collect();
    assert_eq!(ceilings, [-30.0, -10.0, -10.0]);
    let own: Vec<f64> = config.links.iter().map(|link| link.max_send_dbfs).collect();
    assert_eq!(own, [-30.0, -20.0, -10.0]);
}

#[test]
fn links_may_share_a_send_with_each_other_and_with_the_reference() {
    let text = simulated("[reference]\nsend = 1\nreturn = 2\n")
        + &link("lectern", 1, 1, "")
        + &link("drum-riser", 1, 3, "");
    assert_eq!(parse(&text).links.len(), 2);
}

#[test]
fn no_link_at_all_is_allowed() {
    assert_eq!(parse(&simulated("")).links, []);
}

#[test]
fn every_setting_of_a_simulated_link_is_read_by_its_fields_name() {
    let more = r#"
        [link.simulated]
        gain_db = -3
        delay_ms = 2.5
        inverted = true
        low_corner_hz = 50
        high_corner_hz = 15_000
        filter_order = 4
        noise_dbfs = -80.5
        hum_dbfs = -60
        hum_hz = 60
        polynomial = [0.01, 0, -1e-3]
        hard_clip_dbfs = -6
        soft_clip_dbfs = 6
        resync_jitter_ms = 0.5
        resync_every_s = 2
        skew_ppm = -25
        idle_below_dbfs = -70
        idle_after_s = 1
        wake_s = 0.5
        dropouts_per_minute = 12
        dropout_ms = 40
        dropout_kind = "repeat"
        dropouts_at = [[12.5, 30], [60, 2]]
        sway_db = 1.5
        sway_s = 20
        runs_for_s = 3600
        walk = [[0, 1], [60, 20.5]]
        holds_to_m = 12
        fed_by = 2
        heard_at = 0
        hears = "drum-riser"
        hears_db = -30
    "#;
    let text = simulated("") + &link("lectern", 1, 1, more) + &link("drum-riser", 2, 2, "");
    let want = LinkSettings {
        gain_db: -3.0,
        delay_ms: 2.5,
        inverted: true,
        low_corner_hz: 50.0,
        high_corner_hz: 15_000.0,
        filter_order: 4,
        noise_dbfs: Some(-80.5),
        hum_dbfs: Some(-60.0),
        hum_hz: 60.0,
        polynomial: vec![0.01, 0.0, -1e-3],
        hard_clip_dbfs: Some(-6.0),
        soft_clip_dbfs: Some(6.0),
        resync_jitter_ms: 0.5,
        resync_every_s: 2.0,
        skew_ppm: -25.0,
        idle_below_dbfs: Some(-70.0),
        idle_after_s: 1.0,
        wake_s: 0.5,
        dropouts_per_minute: 12.0,
        dropout_ms: 40.0,
        dropout_kind: DropoutKind::Repeat,
        dropouts_at: vec![(12.5, 30.0), (60.0, 2.0)],
        sway_db: 1.5,
        sway_s: 20.0,
        runs_for_s: 3600.0,
        walk: vec![(0.0, 1.0), (60.0, 20.5)],
        holds_to_m: 12.0,
        fed_by: Some(2),
        heard_at: Some(0),
        hears: "drum-riser".to_owned(),
        hears_db: -30.0,
    };
    assert_eq!(parse(&text).links[0].simulated, want);
}

#[test]
fn every_setting_of_the_simulated_interface_is_read_by_its_fields_name() {
    let more = r#"
        [interface.simulated]
        seed = 7
        vanish_at_s = 10
        vanish_for_s = 2.5
        xrun_every_s = 30
        xrun_frames = 64
        xruns_at_s = [5.5, 70]
        programme_dbfs = -30
        [[interface.simulated.send]]
        number = 2
        gain_db = 0.5
        [[interface.simulated.return]]
        number = 5
        low_corner_hz = 3
        high_corner_hz = 22000
        noise_dbfs = -110
    "#;
    let config = parse(&simulated(more));
    let Backend::Simulated(got) = config.interface.backend else {
        panic!("another back end")
    };
    let rig = RigSettings {
        seed: 7,
        vanish_at_s: 10.0,
        vanish_for_s: 2.5,
        xrun_every_s: 30.0,
        xrun_frames: 64,
        xruns_at_s: vec![5.5, 70.0],
        programme_dbfs: Some(-30.0),
    };
    assert_eq!(got.rig, rig);
    let send = PathSettings {
        gain_db: 0.5,
        ..PathSettings::default()
    };
    assert_eq!(got.sends, BTreeMap::from([(2, send)]));
    let path = PathSettings {
        gain_db: 0.0,
        low_corner_hz: 3.0,
        high_corner_hz: 22_000.0,
        noise_dbfs: Some(-110.0),
    };
    assert_eq!(got.returns, BTreeMap::from([(5, path)]));
    assert_eq!(
        (config.interface.send_count, config.interface.return_count),
        (2, 5)
    );
}

#[test]
fn a_level_of_minus_infinity_says_that_there_is_none_of_it() {
    let text = simulated("") + &link("lectern", 1, 1, "[link.simulated]\nnoise_dbfs = -inf");
    assert_eq!(parse(&text).links[0].simulated.noise_dbfs, None);
}

#[test]
fn a_limit_of_a_curve_keeps_its_mask_and_the_links_of_its_group() {
    let more = r#"
        [[limit]]
        group = "foyer"
        analysis = "response"
        curve = "magnitude"
        re = "gain"
        upper = [[20, 3], [20000, 3]]
        lower = [[20, -6], [63, -3], [16000, -3]]
        drift = 1.0
        drift_range = [63, 16000]
    "#;
    let links = link("lectern", 1, 1, "group = \"foyer\"")
        + &link("drum-riser", 2, 2, "")
        + &link("bar", 3, 3, "group = \"foyer\"");
    let limits = parse(&(simulated("") + &links + more)).limits;
    let wanted = LimitConfig {
        group: Some(GroupConfig {
            name: "foyer".to_owned(),
            links: vec!["lectern".to_owned(), "bar".to_owned()],
        }),
        analysis: "response".to_owned(),
        curve: Some(CurveLimit {
            id: "magnitude".to_owned(),
            upper: vec![[20.0, 3.0], [20_000.0, 3.0]],
            lower: vec![[20.0, -6.0], [63.0, -3.0], [16_000.0, -3.0]],
            re: Some("gain".to_owned()),
            drift_range: Some([63.0, 16_000.0]),
        }),
        drift: Some(1.0),
        ..LimitConfig::default()
    };
    assert_eq!(limits, [wanted]);
}

#[test]
fn limits_keep_their_numbers_and_places() {
    let more = r#"
        [[limit]]
        link = "lectern"
        analysis = "response"
        figure = "deviation"
        at = { from_hz = 125, to_hz = 250.0, link = "drum-riser" }
        min = -3
        max = 3.0
        drift = 1.0
        [[limit]]
        analysis = "level"
        figure = "gain"
        drift = 0
    "#;
    let limits = parse(&(simulated("") + &link("lectern", 1, 1, "") + more)).limits;
    assert_eq!(limits.len(), 2);
    let own = &limits[0];
    assert_eq!(own.link.as_deref(), Some("lectern"));
    assert_eq!(
        (own.min, own.max, own.drift),
        (Some(-3.0), Some(3.0), Some(1.0))
    );
    let at = [
        ("from_hz", AtValue::Number(125.0)),
        ("link", AtValue::Text("drum-riser".to_owned())),
        ("to_hz", AtValue::Number(250.0)),
    ];
    assert_eq!(
        own.at,
        at.map(|(key, value)| (key.to_owned(), value))
            .into_iter()
            .collect()
    );
    assert_eq!(
        (limits[1].link.as_deref(), limits[1].drift),
        (None, Some(0.0))
    );
}

#[test]
fn a_file_is_read_as_its_text_is() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("rig.toml");
    let text = simulated("");
    std::fs::write(&file, &text).unwrap();
    assert_eq!(Config::load(&file, &[]).unwrap(), parse(&text));
}
