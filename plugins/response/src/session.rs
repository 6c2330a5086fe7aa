//! One measurement: what is played, what is heard, what comes of it.

use goodwire_dsp::response::SweepTrain;
use goodwire_dsp::stimulus::Stimulus;
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::{OpenRequest, Plan, SessionResult};
use goodwire_plugin_sdk::take::{Taking, plan_of_one_step};
use goodwire_plugin_sdk::{Block, Failure, Fed, Session};

use crate::heard::Heard;
use crate::result::Measured;
use crate::settings::Settings;
use crate::steps;
use crate::waking::{self, Waking};

/// Longest body in seconds that may be played again: what was heard of it has to be judged before
/// the next play.
const AGAIN_BODY_S_MAX: f64 = 60.0;

/// A session of `response`. Step 0 is the stimulus; live, step 1 is the same from the top down,
/// which is only played where the first leaves doubts about a waking link.
pub struct ResponseSession {
    request: OpenRequest,
    settings: Settings,
    plays: Vec<Play>,
    first: Option<Result<Heard, Failure>>,
}

struct Play {
    stimulus: Stimulus<SweepTrain>,
    taking: Taking,
}

impl ResponseSession {
    /// Prepares the stimuli.
    pub fn new(request: &OpenRequest, settings: Settings) -> Self {
        let (rate_hz, seed) = (
            f64::from(request.rate_hz),
            u64::from(request.seed.unsigned_abs()),
        );
        let mut stimuli = vec![settings.stimulus(rate_hz, seed)];
        let is_live = request.mode() == Mode::Live && !request.is_match;
        if is_live && settings.body_s() <= AGAIN_BODY_S_MAX {
            stimuli.push(settings.stimulus_top_down(rate_hz, seed));
        }
        let play = |stimulus| Play {
            stimulus,
            taking: Taking::new(request),
        };
        Self {
            plays: stimuli.into_iter().map(play).collect(),
            request: request.clone(),
            settings,
            first: None,
        }
    }

    fn heard(&mut self, step: usize) -> Result<Heard, Failure> {
        let play = &mut self.plays[step];
        Heard::of(&self.request, &play.stimulus, play.taking.finish())
    }
}

impl Session for ResponseSession {
    fn plan(&mut self) -> Result<Plan, Failure> {
        let of_play = |play: &Play| {
            let layout = play.stimulus.layout();
            plan_of_one_step(
                layout.frame_count(),
                layout.tail_frame_count(),
                play.stimulus.peak_dbfs(),
            )
        };
        let mut plan = of_play(&self.plays[0]);
        let further = self.plays[1..].iter().flat_map(|play| of_play(play).steps);
        plan.steps.extend(further);
        Ok(plan)
    }

    fn render(&mut self, step: u32, first_frame: u64, samples: &mut [f32]) -> Result<(), Failure> {
        match self.plays.get(step as usize) {
            Some(play) => play.stimulus.render(first_frame, samples),
            None => samples.fill(0.0),
        }
        Ok(())
    }

    fn begin(&mut self, step: u32, _repeat: u32, retry: bool) -> Result<(), Failure> {
        if let Some(play) = self.plays.get_mut(step as usize) {
            play.taking.begin(retry);
        }
        Ok(())
    }

    fn feed(&mut self, block: &Block<'_>) -> Result<Fed, Failure> {
        let step = block.step as usize;
        let Some(play) = self.plays.get_mut(step) else {
            return Ok(Fed::Enough);
        };
        play.taking.feed(block)?;
        if !block.last || step + 1 == self.plays.len() {
            return Ok(Fed::More);
        }
        let heard = self.heard(step);
        let doubts = |heard: &Heard| waking::asks_again(&self.settings, heard);
        let fed = if heard.as_ref().is_ok_and(doubts) {
            Fed::More
        } else {
            Fed::Enough
        };
        self.first = Some(heard);
        Ok(fed)
    }

    fn finish(&mut self, _ended_early: bool) -> Result<SessionResult, Failure> {
        let first = match self.first.take() {
            Some(heard) => heard?,
            None => self.heard(0)?,
        };
        // A further play that was not made, or not heard, is none.
        let again = (1..self.plays.len()).find_map(|step| self.heard(step).ok());
        let waking = Waking::judge(&self.request, &self.settings, &first, again.as_ref());
        let measured = Measured::new(&self.request, &self.settings, &first, &waking);
        let mut result = measured.result();
        steps::tell(&self.settings, &first, &waking, &mut result);
        result.notes.extend(waking.notes);
        Ok(result)
    }
}
