//! One measurement of `endurance`.

use goodwire_dsp::stimulus::Stimulus;
use goodwire_dsp::watch::{NoiseWatch, PilotBody};
use goodwire_plugin_sdk::figures::figure;
use goodwire_plugin_sdk::payload::session_note::Note;
use goodwire_plugin_sdk::payload::{OpenRequest, Plan, Readings, SessionNote, SessionResult};
use goodwire_plugin_sdk::{Block, Failure, Fed, Session};
use goodwire_watching as watching;
use goodwire_watching::Keeper;

use crate::life::Life;
use crate::result::{Seen, result};
use crate::settings::Settings;

/// A cable with less power than this carried no pilot: -80 dBFS.
const REFERENCE_LEAST: f64 = 1e-8;
/// A link that is silent for less is not told to be, in seconds.
const SILENT_LEAST_S: f64 = 1.0;

/// Plays noise that never repeats until the link is gone.
pub struct EnduranceSession {
    settings: Settings,
    has_reference: bool,
    stimulus: Stimulus<PilotBody>,
    watch: NoiseWatch,
    life: Life,
    /// True until the first frames are heard that follow on a state.
    is_to_look_again: bool,
    keeper: Keeper,
}

impl EnduranceSession {
    /// Starts one, or goes on from the state of an earlier one.
    ///
    /// # Errors
    /// `state-unreadable` where the state is none of this request's.
    pub fn new(request: &OpenRequest, settings: Settings) -> Result<Self, Failure> {
        let rate_hz = f64::from(request.returned_rate_hz);
        let before: Option<Life> = watching::read_back(request)?;
        Ok(Self {
            settings,
            has_reference: request.has_reference,
            stimulus: settings.stimulus(request.rate_hz, u64::from(request.seed.unsigned_abs())),
            watch: NoiseWatch::new(rate_hz),
            is_to_look_again: before.is_some(),
            life: before.map_or_else(|| Life::new(rate_hz, settings.merge_s), Life::go_on),
            keeper: Keeper::new(request),
        })
    }

    fn seconds(&self, frames: f64) -> f64 {
        frames / self.life.log.rate_hz
    }

    /// Whether the link has been lost for so long that it will not come back.
    fn is_gone(&self) -> bool {
        self.seconds(self.life.silent_frames as f64) >= self.settings.lost_after_s
    }

    /// Why there is no run time where the link never was good.
    fn never_good(&self) -> Failure {
        let power = self.life.cable_power.unwrap_or_default();
        if self.has_reference && power < REFERENCE_LEAST {
            let text = "the reference never carried the pilot: see that its cable is plugged in at \
                        both ends; without it nothing is known of the link";
            return Failure::new("no-signal", text).about("reference");
        }
        let text = "the link never carried the pilot: see that transmitter and receiver are \
                    charged, on, linked and plugged in; this is no run time";
        Failure::new("no-signal", text).about("link")
    }
}

impl Session for EnduranceSession {
    fn plan(&mut self) -> Result<Plan, Failure> {
        let (peak_dbfs, layout) = (self.stimulus.peak_dbfs(), self.stimulus.layout());
        Ok(watching::plan_of_a_watch(peak_dbfs, layout.body.end as f64))
    }

    fn render(&mut self, _: u32, first_frame: u64, samples: &mut [f32]) -> Result<(), Failure> {
        self.stimulus.render(first_frame, samples);
        Ok(())
    }

    fn begin(&mut self, _: u32, _: u32, _: bool) -> Result<(), Failure> {
        Ok(())
    }

    fn feed(&mut self, block: &Block<'_>) -> Result<Fed, Failure> {
        let Some(Some(link)) = block.channels.first() else {
            return Ok(Fed::More);
        };
        if std::mem::take(&mut self.is_to_look_again) {
            self.life.look_again(block.first_frame);
        }
        self.life.log.hear(block.first_frame, link);
        let mut own = Vec::new();
        if let Some(heard) = watching::body_of(&self.stimulus, block, &mut own) {
            self.life.hear(&mut self.watch, &heard);
        }
        let is_over = self.life.log.end_frame >= self.stimulus.layout().body.end as u64;
        Ok(if is_over || self.is_gone() {
            Fed::Enough
        } else {
            Fed::More
        })
    }

    fn note(&mut self, note: &SessionNote) -> Result<(), Failure> {
        match &note.note {
            Some(Note::Mark(mark)) => {
                watching::put_mark(&mut self.life.log.marks, note.at_frame, mark)?;
            }
            Some(Note::Lost(lost)) => self.life.log.lose(lost.frame_count),
            None => {}
        }
        self.keeper.hurry();
        Ok(())
    }

    fn readings(&mut self) -> Readings {
        let log = &self.life.log;
        let seconds = |id: &str, frames: u64| figure(id, self.seconds(frames as f64), 0.0, "s");
        let mut figures = Vec::new();
        figures.extend(log.last_good_frame.map(|frame| seconds("run_time", frame)));
        figures.push(watching::dropouts(log));
        figures.extend(watching::level_now(log));
        if self.seconds(self.life.silent_frames as f64) >= SILENT_LEAST_S {
            figures.push(seconds("lost_for", self.life.silent_frames));
        } else {
            figures.extend(watching::last_gap_ago(log));
        }
        Readings {
            figures,
            state: self.keeper.state(log.end_frame, &self.life),
        }
    }

    fn finish(&mut self, _: bool) -> Result<SessionResult, Failure> {
        let is_gone = self.is_gone();
        if is_gone {
            self.life.end();
        } else {
            self.life.close(&mut self.watch);
        }
        let Some(last_good_frame) = self.life.log.last_good_frame else {
            return Err(self.never_good());
        };
        let seen_lost_s = self.life.lost_from.map(|frame| self.seconds(frame));
        let silent_s = self.seconds(self.life.silent_frames as f64);
        Ok(result(&Seen {
            log: &self.life.log,
            ran_s: self.seconds(last_good_frame as f64),
            seen_lost_s: seen_lost_s.filter(|_| is_gone),
            is_gone,
            silent_s: Some(silent_s).filter(|silent_s| *silent_s >= SILENT_LEAST_S),
            needed_hours: self.settings.needed_hours,
            longest_s: 3_600.0 * self.settings.longest_h,
            has_reference: self.has_reference,
        }))
    }
}
