//! What can be set, and the stimulus that follows from it.

use goodwire_dsp::stimulus::Stimulus;
use goodwire_dsp::watch::{
    NoiseWatch, PassiveWatch, Pilot, PilotBody, PlayerWatch, TonePilot, ToneWatch, Watch, poisson,
};
use goodwire_plugin_sdk::api::Parameter;
use goodwire_plugin_sdk::parameters::{
    self, Narrow, Parameters, choice, number, switch, violation,
};
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::{FieldViolation, OpenRequest};

use crate::body::Played;

/// Seed of the pilot: one for all, so that a carried player's file is known.
const PILOT_SEED: u64 = 0x60_0D;
/// The longest watch in seconds: a day.
const LIVE_MOST_S: f64 = 86_400.0;
/// The longest stimulus file in seconds, a carried player's too: recordings of it are compared as a whole.
const FILE_MOST_S: f64 = 1_800.0;

/// How the link is watched.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// The send plays noise, and link and cable are compared.
    Noise,
    /// The send plays a tone, for links that cannot take noise.
    Tone,
    /// Nothing is played: whatever programme there is.
    Passive,
    /// A carried player plays the noise.
    Player,
}

/// Settings of one measurement.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Length of the pilot in seconds.
    pub duration_s: f64,
    /// True where somebody is to end it, and `duration_s` is the longest.
    pub open_end: bool,
    /// Dropouts closer than this are one, in seconds.
    pub merge_s: f64,
    /// How the link is watched.
    pub way: Way,
    /// What is to be shown, an hour; 0: nothing.
    fewer_than_per_hour: f64,
    freq_hz: f64,
    level_dbfs: f64,
    wake_s: f64,
}

/// The parameters of the analysis.
pub fn declared() -> Vec<Parameter> {
    vec![
        number("duration_s", "s", 60.0, "How long the link is watched.").within(2.0, LIVE_MOST_S),
        switch(
            "open_end",
            false,
            "The watch is whole whenever somebody ends it, after duration_s at the latest; else one \
             that was ended early has seen too little to keep a limit.",
        ),
        choice(
            "pilot",
            &["noise", "tone", "none"],
            "What is played: noise that never repeats; a tone, for links that cannot take noise, \
             which shows less; or nothing, so that programme is watched, also during a hold.",
        ),
        choice(
            "source",
            &["send", "external"],
            "Who plays: the send, or a player that is carried with the transmitter and plays the \
             stimulus file, written at the rate of the interface, on its own clock.",
        ),
        number(
            "freq_hz",
            "Hz",
            997.0,
            "Frequency of the tone, with pilot=tone.",
        )
        .within(300.0, 6_000.0),
        goodwire_watching::merge_s(),
        number(
            "fewer_than_per_hour",
            "",
            0.0,
            "Refuse a watch that is too short to show fewer dropouts an hour than this with 95 % \
             confidence, were there none; 0: any length will do.",
        )
        .within(0.0, 3_600.0),
        parameters::level_dbfs(-20.0),
        parameters::wake_s(),
    ]
}

impl Settings {
    /// Reads them from a request whose parameters are within their bounds.
    pub fn read(request: &OpenRequest) -> Self {
        let read = Parameters::of(request);
        Self {
            duration_s: read.number("duration_s"),
            open_end: read.switch("open_end"),
            merge_s: read.number("merge_s"),
            way: match (read.choice("pilot"), read.choice("source")) {
                ("none", _) => Way::Passive,
                ("tone", _) => Way::Tone,
                (_, "external") => Way::Player,
                _ => Way::Noise,
            },
            fewer_than_per_hour: read.number("fewer_than_per_hour"),
            freq_hz: read.number("freq_hz"),
            level_dbfs: read.number("level_dbfs"),
            wake_s: read.number("wake_s"),
        }
    }

    /// What does not go with what else is asked for.
    pub fn wrong(&self, request: &OpenRequest) -> Vec<FieldViolation> {
        let mut wrong = Vec::new();
        let wanted = self.fewer_than_per_hour;
        let needed_s = poisson::seconds_for_fewer_than(wanted).ceil();
        if wanted > 0.0 && self.duration_s < needed_s {
            let text = format!(
                "fewer than {wanted} an hour with 95 % confidence takes at least {needed_s} s \
                 without a dropout, {:.1} h; {} s cannot show it",
                needed_s / 3_600.0,
                self.duration_s
            );
            wrong.push(violation("duration_s", text));
        }
        if self.duration_s > FILE_MOST_S && request.mode() != Mode::Live {
            let text = format!(
                "stimulus files and recordings have at most {FILE_MOST_S} s, not {} s: watch live \
                 for longer",
                self.duration_s
            );
            wrong.push(violation("duration_s", text));
        }
        let is_external = Parameters::of(request).choice("source") == "external";
        if is_external && self.way == Way::Passive {
            let text = "pilot=none watches programme, whoever plays it, and a carried player plays \
                        the pilot: leave source out, or set pilot=noise";
            wrong.push(violation("source", text));
        }
        if is_external && self.way == Way::Tone {
            let text = "a tone does not say when it began, so a carried player cannot be found by \
                        it: set pilot=noise, or let the send play";
            wrong.push(violation("source", text));
        }
        if self.way == Way::Passive && request.mode() == Mode::Stimulus {
            let text = "with pilot=none nothing is played, so there is no stimulus: analyse needs no \
                        --sent then";
            wrong.push(violation("pilot", text));
        }
        wrong
    }

    /// The stimulus at `rate_hz`; `seed` decides the wake-up noise alone.
    pub fn stimulus(&self, rate_hz: i32, seed: u64) -> Stimulus<Played> {
        let rate_hz = f64::from(rate_hz);
        let frame_count = (self.duration_s * rate_hz).round() as usize;
        let level_dbfs = self.level_dbfs;
        let body = match self.way {
            Way::Tone => Played::Tone(TonePilot::new(
                rate_hz,
                self.freq_hz,
                level_dbfs,
                frame_count,
            )),
            Way::Noise | Way::Passive | Way::Player => {
                let pilot = PilotBody::new(rate_hz, level_dbfs, PILOT_SEED, frame_count);
                Played::Noise(Box::new(pilot))
            }
        };
        Stimulus::new(
            rate_hz,
            self.wake_s,
            seed,
            self.level_dbfs,
            self.level_dbfs,
            body,
        )
    }

    /// The watch at `rate_hz`, of recordings and live alike. The noise of a player is found only
    /// where the rate is the one that its file was written at.
    pub fn watch(&self, rate_hz: f64, has_reference: bool) -> Box<dyn Watch> {
        match self.way {
            Way::Noise => Box::new(NoiseWatch::new(rate_hz)),
            Way::Tone => Box::new(ToneWatch::new(rate_hz, self.freq_hz)),
            Way::Passive => Box::new(PassiveWatch::new(rate_hz, has_reference)),
            Way::Player => {
                let mut pilot = Pilot::new(rate_hz, self.level_dbfs, PILOT_SEED);
                let render = move |first, samples: &mut [f32]| pilot.render(first, samples);
                let most = (FILE_MOST_S * rate_hz) as u64;
                Box::new(PlayerWatch::new(rate_hz, Box::new(render), most))
            }
        }
    }
}
