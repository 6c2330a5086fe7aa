//! One measurement of `noise`.

use goodwire_dsp::align::{AlignError, Alignment, Recordings, Track, align};
use goodwire_dsp::stimulus::Stimulus;
use goodwire_dsp::tone::{Heard, Sequence};
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::{OpenRequest, Plan, SessionResult};
use goodwire_plugin_sdk::take::{Take, Taking, plan_of_one_step};
use goodwire_plugin_sdk::{Block, Failure, Fed, Session};

use crate::figures::Context;
use crate::reading::{Pieces, Refused};
use crate::settings::{SETTLES_S, Settings};

/// Plays a faint tone and silence, and listens.
pub struct NoiseSession {
    request: OpenRequest,
    settings: Settings,
    stimulus: Stimulus<Sequence>,
    taking: Taking,
}

impl NoiseSession {
    /// Starts one.
    pub fn new(request: &OpenRequest, settings: Settings) -> Self {
        Self {
            stimulus: settings.stimulus(),
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
        align(&Recordings {
            sent: &take.sent,
            layout: self.stimulus.layout(),
            returned: &take.returned,
            reference: take.reference.as_deref(),
            returned_rate_hz: f64::from(self.request.returned_rate_hz),
        })
    }

    /// What one return held of tone and silence.
    fn pieces<'a>(
        &self,
        samples: &'a [f32],
        track: &Track,
        which: &'static str,
    ) -> Result<Pieces<'a>, Refused> {
        let rate_hz = f64::from(self.request.returned_rate_hz);
        let first = self.stimulus.layout().body.start;
        let heard = Heard::new(samples, rate_hz, track, first, self.settings.rate_hz);
        let piece = |index: usize| heard.tone(self.stimulus.body(), index, SETTLES_S[index]);
        Pieces::new(piece(0), piece(1), heard.rate_hz(), which)
    }
}

impl Session for NoiseSession {
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
        let alignment = self.align(&mut take).map_err(refused)?;
        let link = self.pieces(&take.returned, &alignment.link, "link");
        let link = link.map_err(Refused::into_failure)?;
        let reference = take.reference.as_deref().zip(alignment.reference.as_ref());
        let reference = reference
            .map(|(samples, track)| self.pieces(samples, track, "reference"))
            .transpose()
            .map_err(Refused::into_failure)?;
        let context = Context {
            request: &self.request,
            settings: &self.settings,
        };
        context.result(&link, reference.as_ref())
    }
}

fn refused(error: AlignError) -> Failure {
    Failure::new(error.id(), error.to_string()).about(error.channel())
}
