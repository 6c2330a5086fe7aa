//! One measurement of `crosstalk`.

use goodwire_dsp::align::{AlignError, Alignment, Recordings, align};
use goodwire_dsp::response::SweepTrain;
use goodwire_dsp::stimulus::Stimulus;
use goodwire_plugin_sdk::api::Note;
use goodwire_plugin_sdk::figures::info;
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::{OpenRequest, Plan, SessionResult};
use goodwire_plugin_sdk::take::{Take, plan_of_one_step};
use goodwire_plugin_sdk::{Block, Failure, Fed, Session};

use crate::heard::{Hearing, with_others};
use crate::result::{Other, result};
use crate::settings::Settings;

/// Plays one sweep and listens to everybody else.
pub struct CrosstalkSession {
    request: OpenRequest,
    stimulus: Stimulus<SweepTrain>,
    hearing: Hearing,
}

impl CrosstalkSession {
    /// Starts one.
    pub fn new(request: &OpenRequest, settings: Settings) -> Self {
        let seed = u64::from(request.seed.unsigned_abs());
        Self {
            stimulus: settings.stimulus(f64::from(request.rate_hz), seed),
            hearing: Hearing::new(request),
            request: request.clone(),
        }
    }

    /// The other returns. Of recordings the returned one is what another link's return heard.
    fn others(&self, take: &mut Take, others: Vec<Vec<f32>>) -> Result<Vec<Other>, Failure> {
        if self.request.mode() != Mode::Live {
            return Ok(vec![Other {
                link: None,
                samples: std::mem::take(&mut take.returned),
            }]);
        }
        if others.is_empty() {
            return Err(Failure::new(
                "no-other-links",
                "the rig has no other link, so there is nothing that could hear this one",
            ));
        }
        let named = self.request.other_links.iter().zip(others);
        let other = |(link, samples): (&String, Vec<f32>)| Other {
            link: Some(link.clone()),
            samples,
        };
        Ok(named.map(other).collect())
    }

    /// Puts what surely heard the sweep on its frames: the reference, or live the link itself.
    fn anchor(&self, take: &mut Take) -> Result<(Alignment, bool), Failure> {
        if self.request.mode() == Mode::Live {
            take.sent = self.stimulus.whole();
        } else if !self.stimulus.is_what_was_sent(&take.sent) {
            return Err(refused(&AlignError::SentMismatch, false));
        }
        let has_reference = take.reference.is_some();
        if !has_reference && self.request.mode() != Mode::Live {
            return Err(Failure::new(
                "no-reference",
                "crosstalk in recordings is told against a reference that was recorded beside: \
                 give the cable's channel as --reference, what another link's return heard as \
                 --returned",
            ));
        }
        let anchor = take.reference.as_deref().unwrap_or(&take.returned);
        let alignment = align(&Recordings {
            sent: &take.sent,
            layout: self.stimulus.layout(),
            returned: anchor,
            reference: None,
            returned_rate_hz: f64::from(self.request.returned_rate_hz),
        });
        let alignment = alignment.map_err(|error| refused(&error, has_reference))?;
        Ok((alignment, has_reference))
    }
}

fn refused(error: &AlignError, has_reference: bool) -> Failure {
    let which = "the recording that the others are placed by: ";
    let failure = Failure::new(error.id(), format!("{which}{error}"));
    match has_reference {
        true => failure.about("reference"),
        false => failure.about(error.channel()),
    }
}

impl Session for CrosstalkSession {
    fn plan(&mut self) -> Result<Plan, Failure> {
        let layout = self.stimulus.layout();
        let plan = plan_of_one_step(
            layout.frame_count(),
            layout.tail_frame_count(),
            self.stimulus.peak_dbfs(),
        );
        Ok(with_others(plan, &self.request))
    }

    fn render(&mut self, _: u32, first_frame: u64, samples: &mut [f32]) -> Result<(), Failure> {
        self.stimulus.render(first_frame, samples);
        Ok(())
    }

    fn begin(&mut self, _: u32, _: u32, retry: bool) -> Result<(), Failure> {
        self.hearing.begin(retry);
        Ok(())
    }

    fn feed(&mut self, block: &Block<'_>) -> Result<Fed, Failure> {
        self.hearing.feed(block)
    }

    fn finish(&mut self, _: bool) -> Result<SessionResult, Failure> {
        let (mut take, others) = self.hearing.finish();
        let (alignment, has_reference) = self.anchor(&mut take)?;
        let others = self.others(&mut take, others)?;
        let body = self.stimulus.body();
        let mut found = result(alignment, has_reference, body, &others)?;
        found.notes.extend(shared(&self.request.shared_send_links));
        Ok(found)
    }
}

/// Says which of the others hear this link's send through a cable, and not by leakage.
fn shared(links: &[String]) -> Option<Note> {
    let text = format!(
        "{} shares this link's send: what it hears is the sound that it is sent, no crosstalk",
        links.join(", ")
    );
    (!links.is_empty()).then(|| info("shared-send", text))
}
