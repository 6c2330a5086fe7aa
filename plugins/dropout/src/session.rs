//! One measurement of `dropout`.

use std::ops::Range;

use goodwire_dsp::align::AlignError;
use goodwire_dsp::stimulus::Stimulus;
use goodwire_dsp::watch::{Heard, Log, NoiseWatch, Watch};
use goodwire_plugin_sdk::figures::figure;
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::session_note::Note;
use goodwire_plugin_sdk::payload::{OpenRequest, Plan, Readings, SessionNote, SessionResult};
use goodwire_plugin_sdk::take::{Taking, plan_of_one_step};
use goodwire_plugin_sdk::{Block, Failure, Fed, Session};
use goodwire_watching as watching;
use goodwire_watching::{Keeper, Part};

use crate::body::Played;
use crate::recorded;
use crate::result::{Seen, result};
use crate::settings::{Settings, Way};

/// Frames that the watch is handed at a time.
const BLOCK: usize = 1 << 14;

/// Peak that is declared where nothing is played, in dBFS.
const SILENT_DBFS: f64 = -200.0;

/// Watches a link, and plays what the way of watching asks for.
pub struct DropoutSession {
    request: OpenRequest,
    settings: Settings,
    stimulus: Stimulus<Played>,
    /// Of recordings alone: the pilot has to be found in them first.
    taking: Taking,
    watch: Box<dyn Watch>,
    log: Log,
    keeper: Keeper,
}

impl DropoutSession {
    /// Starts one, or goes on from the state of an earlier one.
    ///
    /// # Errors
    /// `state-unreadable` where the state is none of this request's.
    pub fn new(request: &OpenRequest, settings: Settings) -> Result<Self, Failure> {
        let rate_hz = f64::from(request.returned_rate_hz);
        let before: Option<Log> = watching::read_back(request)?;
        Ok(Self {
            stimulus: settings.stimulus(request.rate_hz, u64::from(request.seed.unsigned_abs())),
            taking: Taking::new(request),
            watch: settings.watch(rate_hz, request.has_reference),
            log: before.map_or_else(|| Log::new(rate_hz, settings.merge_s), Log::go_on),
            keeper: Keeper::new(request),
            request: request.clone(),
            settings,
        })
    }

    fn rate_hz(&self) -> f64 {
        f64::from(self.request.returned_rate_hz)
    }

    /// True where the send plays nothing.
    fn is_silent(&self) -> bool {
        matches!(self.settings.way, Way::Passive | Way::Player)
    }

    /// The frames of a live capture that are watched.
    fn watched(&self) -> Range<u64> {
        if self.is_silent() {
            return 0..(self.settings.duration_s * self.rate_hz()).round() as u64;
        }
        let body = &self.stimulus.layout().body;
        body.start as u64..body.end as u64
    }

    /// Hands the frames of a live block to the watch.
    fn watch_live(&mut self, block: &Block<'_>) {
        let channel = |index: usize| block.channels.get(index).copied().flatten();
        let Some(link) = channel(0) else { return };
        self.log.hear(block.first_frame, link);
        let own;
        let cable = if channel(1).is_some() || self.is_silent() {
            channel(1)
        } else {
            own = self.rendered(block.first_frame, link.len());
            Some(&own[..])
        };
        let watched = self.watched();
        let place = |frame: u64| {
            let place = usize::try_from(frame.saturating_sub(block.first_frame));
            place.map_or(link.len(), |place| place.min(link.len()))
        };
        let (from, to) = (place(watched.start), place(watched.end));
        if from < to {
            self.watch.hear(&Heard {
                first_frame: block.first_frame + from as u64,
                link: &link[from..to],
                reference: cable.map(|cable| &cable[from..to]),
            });
        }
        self.log.collect(self.watch.as_mut());
    }

    /// What is played, for a rig that has no cable.
    fn rendered(&self, first_frame: u64, count: usize) -> Vec<f32> {
        let mut samples = vec![0.0; count];
        self.stimulus.render(first_frame, &mut samples);
        samples
    }

    /// Watches recordings as a whole.
    fn watch_recorded(&mut self) -> Result<(), Failure> {
        let mut take = self.taking.finish();
        self.log.hear(0, &take.returned);
        self.check_marks()?;
        if self.settings.way == Way::Passive {
            self.watch_whole(&take.returned, take.reference.as_deref());
            self.log.collect(self.watch.as_mut());
            return Ok(());
        }
        let is_player = self.settings.way == Way::Player;
        if is_player {
            // No cable carries what the player plays.
            take.reference = None;
        }
        let compared = match recorded::compared(&take, &self.stimulus, self.rate_hz()) {
            Ok(compared) => compared,
            // The recording holds a part of what the player played: found as it would be live.
            Err(error) if self.is_found_anywhere(&error) => {
                self.watch_whole(&take.returned, None);
                self.log.collect(self.watch.as_mut());
                return Ok(());
            }
            Err(error) => return Err(failed(&error)),
        };
        if is_player {
            // It is on the stimulus' clock now, and the stimulus beside it.
            self.watch = Box::new(NoiseWatch::new(self.rate_hz()));
        }
        self.watch_whole(&compared.link, Some(&compared.cable));
        let place = |frame: f64| compared.first_frame + compared.stretch * frame;
        self.log
            .collect_placed(self.watch.as_mut(), place, compared.stretch);
        Ok(())
    }

    /// True where a carried player's sound can be looked for, although it is not there as a whole.
    fn is_found_anywhere(&self, error: &AlignError) -> bool {
        self.settings.way == Way::Player
            && *error != AlignError::SentMismatch
            && self.request.rate_hz == self.request.returned_rate_hz
    }

    /// Hands whole channels to the watch, up to the end of the shorter one.
    fn watch_whole(&mut self, link: &[f32], cable: Option<&[f32]>) {
        let count = cable.map_or(link.len(), |cable| cable.len().min(link.len()));
        for from in (0..count).step_by(BLOCK) {
            let to = (from + BLOCK).min(count);
            self.watch.hear(&Heard {
                first_frame: from as u64,
                link: &link[from..to],
                reference: cable.map(|cable| &cable[from..to]),
            });
        }
        self.watch.close();
    }

    /// That nothing came through the link.
    fn no_signal(&self) -> Failure {
        let text = match self.settings.way {
            Way::Noise | Way::Tone | Way::Player => {
                "the link never carried the pilot: see that transmitter and receiver are on, linked \
                 and plugged in; this is no count of dropouts"
            }
            Way::Passive => {
                "no programme came through the link that could be watched (hiss and hum are none, \
                 and where there is a cable, it has to carry the same): let somebody speak or play, \
                 and see that transmitter and receiver are on, linked and plugged in; this is no \
                 count of dropouts"
            }
        };
        Failure::new("no-signal", text).about("link")
    }

    /// What was seen of what was asked for, where it is too little.
    fn part(&self) -> Option<Part> {
        let log = &self.log;
        let seen_s = if self.settings.way == Way::Passive {
            // Nobody asked for so much programme, but for so much listening.
            (log.end_frame as f64 - log.lost_by_interface) / log.rate_hz
        } else {
            log.judged_s()
        };
        let asked_s = (!self.settings.open_end).then_some(self.settings.duration_s);
        asked_s.and_then(|asked_s| Part::of(seen_s, asked_s))
    }

    fn check_marks(&self) -> Result<(), Failure> {
        let end = self.log.end_frame as f64;
        match self.log.marks.kept().last() {
            Some(last) if last.frame > end => Err(Failure::new(
                "mark-after-end",
                format!(
                    "a mark stands at {:.1} s, and the recording ends at {:.1} s: marks count \
                     from the first frame of the returned recording",
                    last.frame / self.rate_hz(),
                    end / self.rate_hz()
                ),
            )),
            _ => Ok(()),
        }
    }
}

fn failed(error: &AlignError) -> Failure {
    Failure::new(error.id(), error.to_string()).about(error.channel())
}

impl Session for DropoutSession {
    fn plan(&mut self) -> Result<Plan, Failure> {
        let layout = self.stimulus.layout();
        let is_heard = self.request.mode() == Mode::Stimulus || !self.is_silent();
        let peak_dbfs = if is_heard {
            self.stimulus.peak_dbfs()
        } else {
            SILENT_DBFS
        };
        let whole = plan_of_one_step(layout.frame_count(), layout.tail_frame_count(), peak_dbfs);
        if self.request.mode() != Mode::Live {
            return Ok(whole);
        }
        Ok(watching::plan_of_a_watch(
            peak_dbfs,
            self.watched().end as f64,
        ))
    }

    fn render(&mut self, _: u32, first_frame: u64, samples: &mut [f32]) -> Result<(), Failure> {
        self.stimulus.render(first_frame, samples);
        Ok(())
    }

    fn begin(&mut self, _: u32, _: u32, retry: bool) -> Result<(), Failure> {
        if retry {
            *self = Self::new(&self.request, self.settings)?;
        }
        Ok(())
    }

    fn feed(&mut self, block: &Block<'_>) -> Result<Fed, Failure> {
        if self.request.mode() == Mode::Recorded {
            return self.taking.feed(block);
        }
        self.watch_live(block);
        let is_over = self.log.end_frame >= self.watched().end;
        Ok(if is_over { Fed::Enough } else { Fed::More })
    }

    fn note(&mut self, note: &SessionNote) -> Result<(), Failure> {
        match &note.note {
            Some(Note::Mark(mark)) => watching::put_mark(&mut self.log.marks, note.at_frame, mark)?,
            Some(Note::Lost(lost)) => self.log.lose(lost.frame_count),
            None => {}
        }
        self.keeper.hurry();
        Ok(())
    }

    fn readings(&mut self) -> Readings {
        let log = &self.log;
        let mut figures = vec![watching::dropouts(log)];
        figures.extend(watching::level_now(log));
        figures.extend(watching::last_gap_ago(log));
        let metres = log.marks.kept().iter().rev().find_map(|mark| mark.metres);
        figures.extend(metres.map(|metres| figure("last_mark", metres, 0.0, "m")));
        Readings {
            figures,
            state: self.keeper.state(log.end_frame, log),
        }
    }

    fn finish(&mut self, _: bool) -> Result<SessionResult, Failure> {
        let is_recorded = self.request.mode() == Mode::Recorded;
        if is_recorded {
            self.watch_recorded()?;
        } else {
            self.watch.close();
            self.log.collect(self.watch.as_mut());
        }
        if self.log.last_good_frame.is_none() {
            return Err(self.no_signal());
        }
        Ok(result(&Seen {
            log: &self.log,
            has_reference: self.request.has_reference,
            way: self.settings.way,
            part: self.part().filter(|_| !is_recorded),
            stopped_at: self.watch.stopped_at(),
        }))
    }
}
