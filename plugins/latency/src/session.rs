//! One measurement: what is played, what is heard, what comes of it.

use goodwire_dsp::align::{AlignError, Recordings, align, refuse_clipped};
use goodwire_dsp::response::{SweepTrain, deconvolve};
use goodwire_dsp::stimulus::Stimulus;
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::{OpenRequest, Plan, SessionResult};
use goodwire_plugin_sdk::take::{Taking, plan_of_one_step};
use goodwire_plugin_sdk::{Block, Failure, Fed, Session};

use crate::result::Timed;
use crate::settings::Settings;

/// A session of `latency`.
pub struct LatencySession {
    request: OpenRequest,
    settings: Settings,
    stimulus: Stimulus<SweepTrain>,
    taking: Taking,
}

impl LatencySession {
    /// Prepares the stimulus.
    pub fn new(request: &OpenRequest, settings: Settings) -> Self {
        let seed = u64::from(request.seed.unsigned_abs());
        Self {
            stimulus: settings.stimulus(f64::from(request.rate_hz), seed),
            taking: Taking::new(request),
            request: request.clone(),
            settings,
        }
    }
}

impl Session for LatencySession {
    fn plan(&mut self) -> Result<Plan, Failure> {
        let layout = self.stimulus.layout();
        Ok(plan_of_one_step(
            layout.frame_count(),
            layout.tail_frame_count(),
            self.stimulus.peak_dbfs(),
        ))
    }

    fn render(&mut self, _step: u32, first_frame: u64, samples: &mut [f32]) -> Result<(), Failure> {
        self.stimulus.render(first_frame, samples);
        Ok(())
    }

    fn begin(&mut self, _step: u32, _repeat: u32, retry: bool) -> Result<(), Failure> {
        self.taking.begin(retry);
        Ok(())
    }

    fn feed(&mut self, block: &Block<'_>) -> Result<Fed, Failure> {
        self.taking.feed(block)
    }

    fn finish(&mut self, _ended_early: bool) -> Result<SessionResult, Failure> {
        let mut take = self.taking.finish();
        if self.request.mode() == Mode::Recorded {
            if !self.stimulus.is_what_was_sent(&take.sent) {
                return Err(refused(&AlignError::SentMismatch));
            }
        } else {
            take.sent = self.stimulus.whole();
        }
        let recordings = Recordings {
            sent: &take.sent,
            layout: self.stimulus.layout(),
            returned: &take.returned,
            reference: take.reference.as_deref(),
            returned_rate_hz: f64::from(self.request.returned_rate_hz),
        };
        let alignment = align(&recordings).map_err(|error| refused(&error))?;
        refuse_clipped(&recordings, &alignment).map_err(|error| refused(&error))?;
        let train = self.stimulus.body();
        let sweeps = deconvolve(&alignment, train)
            .map_err(|error| Failure::new("unrelated", error.to_string()))?;
        let timed = Timed::new(&self.request, &self.settings, &alignment, train, &sweeps);
        let timed = timed.ok_or_else(|| {
            Failure::new(
                "no-phase",
                "the link passes too narrow a band for a delay to be told",
            )
        })?;
        Ok(timed.result())
    }
}

fn refused(error: &AlignError) -> Failure {
    Failure::new(error.id(), error.to_string()).about(error.channel())
}
