//! The faults.

/// A setting of a link that differs from the healthy venue's: link, key, value as TOML.
pub type Change = (&'static str, &'static str, &'static str);

/// One fault.
pub struct Fault {
    pub name: &'static str,
    /// What the round measures, as in the configuration.
    pub checks: &'static [&'static str],
    /// What is changed, one list a night.
    pub nights: &'static [&'static [Change]],
    /// More TOML about the interface.
    pub rig: &'static str,
    /// All findings of the last night, each as `link id`.
    pub expected: &'static [&'static str],
}

const LATENCY: &str = "\"latency\"";
pub const LEVEL: &str =
    r#"{ analysis = "level", set = { min_dbfs = -42, max_dbfs = 0, step_db = 3 } }"#;
pub const RESPONSE: &str = r#"{ analysis = "response", set = { duration_s = 2 } }"#;
pub const NOISE: &str = r#"{ analysis = "noise", set = { duration_s = 3 } }"#;
pub const CROSSTALK: &str = r#"{ analysis = "crosstalk", set = { duration_s = 2 } }"#;
pub const DISTORTION: &str =
    r#"{ analysis = "distortion", set = { freqs_hz = "1000", level_dbfs = -10 } }"#;
/// What the baselines are made of.
pub const ALL: &[&str] = &[LATENCY, LEVEL, RESPONSE, NOISE, CROSSTALK, DISTORTION];

const fn fault(
    name: &'static str,
    checks: &'static [&'static str],
    nights: &'static [&'static [Change]],
    expected: &'static [&'static str],
) -> Fault {
    Fault {
        name,
        checks,
        nights,
        rig: "",
        expected,
    }
}

const fn rig_fault(
    name: &'static str,
    checks: &'static [&'static str],
    rig: &'static str,
    expected: &'static [&'static str],
) -> Fault {
    Fault {
        rig,
        ..fault(name, checks, &[&[]], expected)
    }
}

/// Lectern and riser hear each other's send, and their own 100 dB below it.
const EXCHANGED: &[&[Change]] = &[&[
    ("lectern", "gain_db", "-100.0"),
    ("lectern", "hears", "\"riser\""),
    ("lectern", "hears_db", "100.0"),
    ("riser", "gain_db", "-100.0"),
    ("riser", "hears", "\"lectern\""),
    ("riser", "hears_db", "100.0"),
]];

pub const FAULTS: &[Fault] = &[
    fault("nothing is wrong", ALL, &[&[]], &[]),
    fault(
        "no power",
        &[LATENCY, LEVEL],
        &[&[("lectern", "gain_db", "-120.0")]],
        &["lectern nothing-at-the-return"],
    ),
    fault(
        "not docked",
        &[LATENCY],
        &[&[
            ("lectern", "gain_db", "-120.0"),
            ("riser", "gain_db", "-120.0"),
        ]],
        &["lectern not-docked", "riser not-docked"],
    ),
    fault(
        "all transmitters off",
        &[LATENCY],
        &[&[
            ("lectern", "gain_db", "-120.0"),
            ("riser", "gain_db", "-120.0"),
            ("choir", "gain_db", "-120.0"),
        ]],
        &[
            "choir all-links-silent",
            "lectern all-links-silent",
            "riser all-links-silent",
        ],
    ),
    rig_fault(
        "reference unplugged",
        &[LATENCY],
        "[[interface.simulated.return]]\nnumber = 2\ngain_db = -120.0\nnoise_dbfs = -inf\n",
        &[
            "choir reference-silent",
            "lectern reference-silent",
            "riser reference-silent",
        ],
    ),
    fault(
        "input switch 10 dB too sensitive",
        &[LEVEL, NOISE],
        &[&[
            ("lectern", "gain_db", "10.0"),
            ("lectern", "hard_clip_dbfs", "-16.0"),
        ]],
        &["lectern input-switch"],
    ),
    fault(
        "input switch 10 dB too insensitive",
        &[LEVEL, NOISE],
        &[&[
            ("lectern", "gain_db", "-10.0"),
            ("lectern", "hard_clip_dbfs", "4.0"),
        ]],
        &["lectern input-switch"],
    ),
    fault(
        "transmitter's gain turned up by 6 dB",
        &[LEVEL],
        &[&[
            ("lectern", "gain_db", "6.0"),
            ("lectern", "hard_clip_dbfs", "-12.0"),
        ]],
        &["lectern transmitter-gain"],
    ),
    rig_fault(
        "knob of a link's return",
        &[LEVEL, NOISE],
        "[[interface.simulated.return]]\nnumber = 1\ngain_db = 4.0\n",
        &["lectern return-knob"],
    ),
    rig_fault(
        "knob of the reference's return",
        &[LEVEL],
        "[[interface.simulated.return]]\nnumber = 2\ngain_db = -6.0\n",
        &[
            "choir reference-knob",
            "lectern reference-knob",
            "riser reference-knob",
        ],
    ),
    fault(
        "receiver's output padded",
        &[LEVEL, NOISE],
        &[&[
            ("lectern", "gain_db", "-12.0"),
            ("lectern", "noise_dbfs", "-102.0"),
        ]],
        &["lectern receiver-output"],
    ),
    fault(
        "polarity",
        &[LEVEL, LATENCY],
        &[&[("lectern", "inverted", "true")]],
        &["lectern polarity-swapped"],
    ),
    fault(
        "transmitter overdriven",
        &[LEVEL, DISTORTION],
        &[&[("lectern", "hard_clip_dbfs", "-16.0")]],
        &["lectern clips-early", "lectern link-distorts"],
    ),
    fault(
        "battery fades",
        &[LEVEL],
        &[
            &[("lectern", "gain_db", "-0.7")],
            &[("lectern", "gain_db", "-1.4")],
            &[("lectern", "gain_db", "-2.2")],
        ],
        &["lectern battery-sagging"],
    ),
    fault(
        "interference on two links",
        &[LATENCY],
        &[&[
            ("lectern", "resync_jitter_ms", "3.0"),
            ("lectern", "resync_every_s", "1.0"),
            ("riser", "resync_jitter_ms", "3.0"),
            ("riser", "resync_every_s", "1.0"),
        ]],
        &["lectern interference", "riser interference"],
    ),
    fault(
        "one link resynchronises",
        &[LATENCY],
        &[&[
            ("lectern", "resync_jitter_ms", "3.0"),
            ("lectern", "resync_every_s", "1.0"),
        ]],
        &["lectern resynchronises"],
    ),
    fault(
        "a receiver hears its neighbour",
        &[CROSSTALK],
        &[&[
            ("lectern", "hears", "\"riser\""),
            ("lectern", "hears_db", "-20.0"),
        ]],
        &["lectern neighbours-sound"],
    ),
    fault(
        "a receiver hears its neighbour on top of its own sound",
        &[LATENCY],
        &[&[
            ("lectern", "hears", "\"riser\""),
            ("lectern", "hears_db", "-20.0"),
        ]],
        &["lectern neighbours-sound"],
    ),
    fault(
        "exchanged receivers, timed",
        &[LATENCY],
        EXCHANGED,
        &["lectern neighbours-sound", "riser neighbours-sound"],
    ),
    fault(
        "exchanged receivers, levels and response",
        &[LEVEL, RESPONSE],
        EXCHANGED,
        &["lectern neighbours-sound", "riser neighbours-sound"],
    ),
    fault(
        "hum",
        &[NOISE],
        &[&[("lectern", "hum_dbfs", "-50.0")]],
        &["lectern hum"],
    ),
    fault(
        "another latency mode",
        &[LATENCY, RESPONSE],
        &[&[("lectern", "delay_ms", "20.0")]],
        &["lectern latency-moved"],
    ),
    fault(
        "a loose cable",
        &[LEVEL],
        &[&[
            ("lectern", "dropouts_per_minute", "30.0"),
            ("lectern", "dropout_ms", "20.0"),
        ]],
        &["lectern loose-cable"],
    ),
    fault(
        "the interface's clock",
        &[LATENCY],
        &[&[
            ("lectern", "skew_ppm", "30.0"),
            ("riser", "skew_ppm", "30.0"),
            ("choir", "skew_ppm", "30.0"),
        ]],
        &[
            "choir interface-clock",
            "lectern interface-clock",
            "riser interface-clock",
        ],
    ),
    fault(
        "the clock of one link",
        &[LATENCY],
        &[&[("lectern", "skew_ppm", "30.0")]],
        &["lectern link-clock"],
    ),
    fault(
        "another firmware in the setup",
        &[LATENCY],
        &[&[("choir", "setup.firmware", "\"2.1\"")]],
        &["choir setup-changed"],
    ),
    rig_fault(
        "a machine that does not keep up",
        &[LATENCY],
        "[interface.simulated]\nxrun_every_s = 1.0\n",
        &["choir xruns", "lectern xruns", "riser xruns"],
    ),
    fault(
        "low cut and a mode for speech",
        &[RESPONSE],
        &[&[
            ("lectern", "low_corner_hz", "120.0"),
            ("lectern", "high_corner_hz", "7000.0"),
        ]],
        &["lectern high-end-lost", "lectern low-end-lost"],
    ),
];
