//! One measurement of `null`.

use goodwire_dsp::align::{AlignError, Alignment, Recordings, align, refuse_clipped};
use goodwire_dsp::stimulus::Stimulus;
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::{OpenRequest, Plan, SessionResult};
use goodwire_plugin_sdk::take::{Take, Taking, plan_of_one_step};
use goodwire_plugin_sdk::{Block, Failure, Fed, Session};

use crate::programme::Programme;
use crate::result::result;
use crate::settings::Settings;

/// Plays noise that comes again every second, and compares.
pub struct NullSession {
    request: OpenRequest,
    settings: Settings,
    stimulus: Stimulus<Programme>,
    taking: Taking,
}

impl NullSession {
    /// Starts one.
    pub fn new(request: &OpenRequest, settings: Settings) -> Self {
        let seed = u64::from(request.seed.unsigned_abs());
        Self {
            stimulus: settings.stimulus(request.rate_hz, seed),
            taking: Taking::new(request),
            request: request.clone(),
            settings,
        }
    }

    fn align(&self, take: &mut Take) -> Result<Alignment, AlignError> {
        if self.request.mode() == Mode::Live {
            take.sent = self.stimulus.whole();
        } else if !self.stimulus.is_what_was_sent(&take.sent) {
            return Err(AlignError::SentMismatch);
        }
        let recordings = Recordings {
            sent: &take.sent,
            layout: self.stimulus.layout(),
            returned: &take.returned,
            reference: take.reference.as_deref(),
            returned_rate_hz: f64::from(self.request.returned_rate_hz),
        };
        let alignment = align(&recordings)?;
        refuse_clipped(&recordings, &alignment)?;
        Ok(alignment)
    }
}

impl Session for NullSession {
    fn plan(&mut self) -> Result<Plan, Failure> {
        let layout = self.stimulus.layout();
        Ok(plan_of_one_step(
            layout.frame_count(),
            layout.tail_frame_count(),
            self.stimulus.peak_dbfs(),
        ))
    }

    fn render(&mut self, _: u32, first_frame: u64, samples: &mut [f32]) -> Result<(), Failure> {
        self.stimulus.render(first_frame, samples);
        Ok(())
    }

    fn begin(&mut self, _: u32, _: u32, retry: bool) -> Result<(), Failure> {
        self.taking.begin(retry);
        Ok(())
    }

    fn feed(&mut self, block: &Block<'_>) -> Result<Fed, Failure> {
        self.taking.feed(block)
    }

    fn finish(&mut self, _: bool) -> Result<SessionResult, Failure> {
        let mut take = self.taking.finish();
        let alignment = self
            .align(&mut take)
            .map_err(|error| Failure::new(error.id(), error.to_string()).about(error.channel()))?;
        result(&alignment, &self.request, &self.settings)
    }
}
