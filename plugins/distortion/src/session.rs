//! One measurement of `distortion`.

use goodwire_dsp::align::{AlignError, Recordings, align};
use goodwire_dsp::stimulus::Stimulus;
use goodwire_dsp::tone::{Heard, Sequence, ToneFitter, refuse_backwards};
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::{OpenRequest, Plan, SessionResult};
use goodwire_plugin_sdk::take::{Take, Taking, plan_of_one_step};
use goodwire_plugin_sdk::{Block, Failure, Fed, Session};

use crate::figures::{Pair, result};
use crate::reading::reading;
use crate::settings::{SETTLE_S, Settings};

/// Plays one tone after the other and reads each.
pub struct DistortionSession {
    request: OpenRequest,
    settings: Settings,
    stimulus: Stimulus<Sequence>,
    taking: Taking,
}

impl DistortionSession {
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

    /// Reads every tone of the take.
    fn pairs(&self, take: &mut Take) -> Result<Vec<Pair>, Failure> {
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
        let heard = |samples, track| {
            let start = layout.body.start;
            Heard::new(samples, rate_hz, track, start, self.settings.rate_hz)
        };
        let link = heard(&take.returned, &alignment.link);
        let reference = (take.reference.as_ref().zip(alignment.reference.as_ref()))
            .map(|(samples, track)| heard(samples, track));
        let mut fitter = ToneFitter::new();
        let mut read = |heard: &Heard<'_>, index: usize| {
            reading(
                &mut fitter,
                heard.tone(self.stimulus.body(), index, SETTLE_S),
                heard.rate_hz(),
                &self.settings.tones[index],
                self.settings.bandwidth_hz,
            )
        };
        let pairs: Vec<Pair> = (0..self.settings.tones.len())
            .map(|index| Pair {
                tone: self.settings.tones[index],
                link: read(&link, index),
                reference: reference.and_then(|reference| read(&reference, index)),
            })
            .collect();
        self.refuse_wrong_order(&pairs, &link, &mut fitter)?;
        Ok(pairs)
    }

    /// Refuses a recording in which a tone is missing from its place and stands in that of another
    /// one that is missing too. Hum at a test frequency is heard at its own place as well.
    fn refuse_wrong_order(
        &self,
        pairs: &[Pair],
        heard: &Heard<'_>,
        fitter: &mut ToneFitter,
    ) -> Result<(), Failure> {
        let missing = || (0..pairs.len()).filter(|&index| pairs[index].link.is_none());
        for place in missing() {
            let samples = heard.tone(self.stimulus.body(), place, SETTLE_S);
            for other in missing().filter(|&other| other != place) {
                let tone = pairs[other].tone;
                let fit = fitter.fit(samples, tone.played_hz / heard.rate_hz());
                if fit.is_some_and(|fit| fit.stands()) {
                    return Err(Failure::new(
                        "unrelated",
                        format!(
                            "in the link's return {} Hz is heard in the place of {} Hz: it is a \
                             recording of something else",
                            tone.freq_hz, pairs[place].tone.freq_hz
                        ),
                    ));
                }
            }
        }
        Ok(())
    }
}

fn refused(error: &AlignError) -> Failure {
    Failure::new(error.id(), error.to_string())
}

impl Session for DistortionSession {
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
        let has_reference = take.reference.is_some();
        let pairs = self.pairs(&mut take)?;
        result(&pairs, &self.settings, &self.request, has_reference)
    }
}
