//! What can be set, and the stimulus that follows from it.

use goodwire_dsp::stimulus::Stimulus;
use goodwire_dsp::watch::{PilotBody, poisson};
use goodwire_plugin_sdk::api::Parameter;
use goodwire_plugin_sdk::parameters::{self, Narrow, Parameters, choice, number, violation};
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::{FieldViolation, OpenRequest};

/// Seed of the pilot: one for all, so that a carried player's file is known.
const PILOT_SEED: u64 = 0x60_0D;

/// The longest watch in seconds: a day.
const LIVE_MOST_S: f64 = 86_400.0;
/// The longest stimulus file in seconds: recordings of it are compared as a whole.
const FILE_MOST_S: f64 = 1_800.0;

/// Settings of one measurement.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Length of the pilot in seconds.
    pub duration_s: f64,
    /// Dropouts closer than this are one, in seconds.
    pub merge_s: f64,
    /// True where the pilot is played by something carried with the transmitter.
    pub is_external: bool,
    /// What is to be shown, an hour; 0: nothing.
    fewer_than_per_hour: f64,
    level_dbfs: f64,
    wake_s: f64,
}

/// The parameters of the analysis.
pub fn declared() -> Vec<Parameter> {
    vec![
        number("duration_s", "s", 60.0, "How long the link is watched.").within(2.0, LIVE_MOST_S),
        choice(
            "pilot",
            &["noise"],
            "What is played: noise that never repeats.",
        ),
        choice(
            "source",
            &["send", "external"],
            "Who plays: the send, or a player that is carried with the transmitter and plays the \
             stimulus file on its own clock (from recordings).",
        ),
        number(
            "merge_s",
            "s",
            0.1,
            "Lost pieces closer than this count as one dropout.",
        )
        .within(0.0, 10.0),
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
            merge_s: read.number("merge_s"),
            is_external: read.choice("source") == "external",
            fewer_than_per_hour: read.number("fewer_than_per_hour"),
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
        if self.is_external && request.mode() == Mode::Live {
            let text = "what a carried player plays is told from a recording: record the receiver \
                        and use analyse, with the file of `stimulus dropout` as what was sent";
            wrong.push(violation("source", text));
        }
        wrong
    }

    /// The stimulus at `rate_hz`; `seed` decides the wake-up noise alone.
    pub fn stimulus(&self, rate_hz: i32, seed: u64) -> Stimulus<PilotBody> {
        let rate_hz = f64::from(rate_hz);
        let frame_count = (self.duration_s * rate_hz).round() as usize;
        let body = PilotBody::new(rate_hz, self.level_dbfs, PILOT_SEED, frame_count);
        Stimulus::new(
            rate_hz,
            self.wake_s,
            seed,
            self.level_dbfs,
            self.level_dbfs,
            body,
        )
    }
}
