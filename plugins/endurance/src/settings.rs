//! What can be set, and the stimulus that follows from it.

use goodwire_dsp::stimulus::Stimulus;
use goodwire_dsp::watch::PilotBody;
use goodwire_plugin_sdk::api::Parameter;
use goodwire_plugin_sdk::parameters::{self, Narrow, Parameters, number, violation};
use goodwire_plugin_sdk::payload::{FieldViolation, OpenRequest};

/// Seed of the pilot: one for all, so that many links are watched at once.
const PILOT_SEED: u64 = 0xE4D;
/// The longest run that can be asked for, in hours.
const HOURS_MAX: f64 = 72.0;

/// Settings of one measurement.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Lost for so long, a link is lost for good; in seconds.
    pub lost_after_s: f64,
    /// When it ends at the latest, in hours.
    pub longest_h: f64,
    /// What the gig needs, in hours; 0: nobody said.
    pub needed_hours: f64,
    /// Dropouts closer than this are one, in seconds.
    pub merge_s: f64,
    level_dbfs: f64,
    wake_s: f64,
}

/// The parameters of the analysis.
pub fn declared() -> Vec<Parameter> {
    vec![
        number(
            "lost_after_s",
            "s",
            60.0,
            "The link is lost for good when its sound was lost for so long, the cable's there.",
        )
        .within(1.0, 3_600.0),
        number(
            "longest_h",
            "",
            24.0,
            "Hours after which it ends although the link still runs.",
        )
        .within(0.001, HOURS_MAX),
        number(
            "needed_hours",
            "",
            0.0,
            "Hours that the charge has to last; a note says whether it does. 0: nobody said.",
        )
        .within(0.0, HOURS_MAX),
        goodwire_watching::merge_s(),
        parameters::level_dbfs(-20.0),
        parameters::wake_s(),
    ]
}

impl Settings {
    /// Reads them from a request whose parameters are within their bounds.
    pub fn read(request: &OpenRequest) -> Self {
        let read = Parameters::of(request);
        Self {
            lost_after_s: read.number("lost_after_s"),
            longest_h: read.number("longest_h"),
            needed_hours: read.number("needed_hours"),
            merge_s: read.number("merge_s"),
            level_dbfs: read.number("level_dbfs"),
            wake_s: read.number("wake_s"),
        }
    }

    /// What does not go together.
    pub fn wrong(&self) -> Vec<FieldViolation> {
        let mut wrong = Vec::new();
        if self.needed_hours > self.longest_h {
            let text = format!(
                "it would end after {} h, and cannot show the {} h that are needed: give at least \
                 as many",
                self.longest_h, self.needed_hours
            );
            wrong.push(violation("longest_h", text));
        }
        if self.lost_after_s > 3_600.0 * self.longest_h {
            let text = format!(
                "after {} h, when it ends, no link can have been lost for {} s: give fewer",
                self.longest_h, self.lost_after_s
            );
            wrong.push(violation("lost_after_s", text));
        }
        wrong
    }

    /// The stimulus at `rate_hz`; `seed` decides the wake-up noise alone.
    pub fn stimulus(&self, rate_hz: i32, seed: u64) -> Stimulus<PilotBody> {
        let rate_hz = f64::from(rate_hz);
        let level_dbfs = self.level_dbfs;
        let frame_count = (3_600.0 * self.longest_h * rate_hz).round() as usize;
        let body = PilotBody::new(rate_hz, level_dbfs, PILOT_SEED, frame_count);
        Stimulus::new(rate_hz, self.wake_s, seed, level_dbfs, level_dbfs, body)
    }
}
