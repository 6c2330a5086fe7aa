//! One measurement of `level`.

use goodwire_dsp::align::{AlignError, Recordings, align};
use goodwire_dsp::stimulus::Stimulus;
use goodwire_dsp::tone::{Heard, Sequence, ToneFitter, refuse_backwards};
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::{OpenRequest, Plan, SessionResult};
use goodwire_plugin_sdk::take::{Take, Taking, plan_of_one_step};
use goodwire_plugin_sdk::{Block, Failure, Fed, Session};

use crate::figures::{Context, result};
use crate::order::refuse_wrong_order;
use crate::reading::{Step, readings};
use crate::settings::Settings;

/// Plays a sequence of rising levels and reads each.
pub struct LevelSession {
    request: OpenRequest,
    settings: Settings,
    stimulus: Stimulus<Sequence>,
    taking: Taking,
}

impl LevelSession {
    /// Starts one.
    pub fn new(request: &OpenRequest, settings: Settings) -> Self {
        Self {
            stimulus: settings.stimulus(),
            taking: Taking::new(request),
            request: request.clone(),
            settings,
        }
    }

    /// What was sent: live the stimulus itself, else the file, which has to be this stimulus.
    fn sent(&self, take: &mut Take) -> Result<Vec<f32>, Failure> {
        if self.request.mode() == Mode::Live {
            return Ok(self.stimulus.whole());
        }
        if self.stimulus.is_what_was_sent(&take.sent) {
            return Ok(std::mem::take(&mut take.sent));
        }
        Err(refused(&AlignError::SentMismatch))
    }

    /// Reads every step of the take, and the polarity.
    fn steps(&self, take: &mut Take) -> Result<(Vec<Step>, f64), Failure> {
        let sent = self.sent(take)?;
        let layout = self.stimulus.layout();
        let rate_hz = f64::from(self.request.returned_rate_hz);
        let alignment = align(&Recordings {
            sent: &sent,
            layout,
            returned: &take.returned,
            reference: take.reference.as_deref(),
            returned_rate_hz: rate_hz,
        })
        .map_err(|error| refused(&error))?;
        refuse_backwards(&alignment).map_err(|error| refused(&error))?;
        let sequence = self.stimulus.body();
        let mut fitter = ToneFitter::new();
        let mut read = |samples: &[f32], track| {
            let start = layout.body.start;
            let heard = Heard::new(samples, rate_hz, track, start, self.settings.rate_hz);
            readings(&mut fitter, &heard, sequence)
        };
        let link = read(&take.returned, &alignment.link);
        let reference = match (&take.reference, &alignment.reference) {
            (Some(samples), Some(track)) => read(samples, track),
            _ => vec![None; link.len()],
        };
        let steps = (self.settings.levels_dbfs.iter().zip(link).zip(reference))
            .map(|((&level_dbfs, link), reference)| Step {
                level_dbfs,
                link,
                reference,
            })
            .collect::<Vec<_>>();
        refuse_wrong_order(&steps)?;
        let straight = alignment.reference.map_or(1.0, |track| track.polarity);
        Ok((steps, alignment.link.polarity * straight))
    }
}

fn refused(error: &AlignError) -> Failure {
    Failure::new(error.id(), error.to_string()).about(error.channel())
}

impl Session for LevelSession {
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
        let (steps, polarity) = self.steps(&mut take)?;
        let context = Context {
            request: &self.request,
            settings: &self.settings,
            has_reference: take.reference.is_some(),
        };
        result(steps, polarity, &context)
    }
}
