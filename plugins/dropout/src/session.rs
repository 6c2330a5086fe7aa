//! One measurement of `dropout`.

use goodwire_dsp::stimulus::Stimulus;
use goodwire_dsp::watch::level_curve::LevelCurve;
use goodwire_dsp::watch::marks::{BadMark, Mark, Marks};
use goodwire_dsp::watch::{Heard, Lapse, NoiseWatch, Watch};
use goodwire_plugin_sdk::api::Figure;
use goodwire_plugin_sdk::figures::figure;
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::session_note::Note;
use goodwire_plugin_sdk::payload::{
    OpenRequest, Plan, Readings, SessionNote, SessionResult, Step, step,
};
use goodwire_plugin_sdk::take::{Taking, plan_of_one_step};
use goodwire_plugin_sdk::{Block, Failure, Fed, Session};

use crate::pilot::PilotBody;
use crate::recorded;
use crate::result::{Seen, result};
use crate::settings::Settings;
use crate::tally::Tally;

/// Frames that the watch is handed at a time.
const BLOCK: usize = 1 << 14;

/// Plays noise that never repeats, and watches.
pub struct DropoutSession {
    request: OpenRequest,
    settings: Settings,
    stimulus: Stimulus<PilotBody>,
    /// Of recordings alone: the pilot has to be found in them first.
    taking: Taking,
    watch: NoiseWatch,
    tally: Tally,
    level: LevelCurve,
    marks: Marks,
    heard_frames: u64,
}

impl DropoutSession {
    /// Starts one.
    pub fn new(request: &OpenRequest, settings: Settings) -> Self {
        let rate_hz = f64::from(request.returned_rate_hz);
        Self {
            stimulus: settings.stimulus(request.rate_hz, u64::from(request.seed.unsigned_abs())),
            taking: Taking::new(request),
            watch: NoiseWatch::new(rate_hz),
            tally: Tally::default(),
            level: LevelCurve::new(rate_hz),
            marks: Marks::default(),
            heard_frames: 0,
            request: request.clone(),
            settings,
        }
    }

    fn rate_hz(&self) -> f64 {
        f64::from(self.request.returned_rate_hz)
    }

    /// Hands the pilot's frames of a live block to the watch.
    fn watch_live(&mut self, block: &Block<'_>) {
        let channel = |index: usize| block.channels.get(index).copied().flatten();
        let Some(link) = channel(0) else { return };
        self.level.hear(block.first_frame, link);
        let own;
        let cable = if let Some(cable) = channel(1) {
            cable
        } else {
            own = self.rendered(block.first_frame, link.len());
            &own
        };
        let begin = self.stimulus.layout().body.start as u64;
        let skip = begin.saturating_sub(block.first_frame) as usize;
        let end = (self.stimulus.layout().body.end as u64).saturating_sub(block.first_frame);
        let until = usize::try_from(end).unwrap_or(usize::MAX).min(link.len());
        if skip < until {
            self.watch.hear(&Heard {
                first_frame: block.first_frame + skip as u64,
                link: &link[skip..until],
                reference: Some(&cable[skip..until]),
            });
        }
        self.collect(0.0, 1.0);
    }

    /// What is played, for a rig that has no cable.
    fn rendered(&self, first_frame: u64, count: usize) -> Vec<f32> {
        let mut samples = vec![0.0; count];
        self.stimulus.render(first_frame, &mut samples);
        samples
    }

    /// Watches recordings as a whole.
    fn watch_recorded(&mut self) -> Result<(), Failure> {
        let take = self.taking.finish();
        self.level.hear(0, &take.returned);
        let compared = recorded::compared(&take, &self.stimulus, self.rate_hz())
            .map_err(|error| Failure::new(error.id(), error.to_string()).about(error.channel()))?;
        let blocks = compared
            .link
            .chunks(BLOCK)
            .zip(compared.cable.chunks(BLOCK));
        for (number, (link, cable)) in (0..).zip(blocks) {
            self.watch.hear(&Heard {
                first_frame: number * BLOCK as u64,
                link,
                reference: Some(cable),
            });
        }
        self.watch.close();
        self.collect(compared.first_frame, compared.stretch);
        Ok(())
    }

    /// Counts the lapses that are certain, on the frames of the return.
    fn collect(&mut self, first_frame: f64, stretch: f64) {
        let merge_frames = self.settings.merge_s * self.rate_hz();
        for lapse in self.watch.take_lapses() {
            let placed = Lapse {
                start_frame: first_frame + stretch * lapse.start_frame,
                frame_count: stretch * lapse.frame_count,
                ..lapse
            };
            self.tally.take(placed, merge_frames);
        }
    }

    fn check_marks(&self) -> Result<(), Failure> {
        let end = self.heard_frames as f64;
        match self.marks.kept().last() {
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

impl Session for DropoutSession {
    fn plan(&mut self) -> Result<Plan, Failure> {
        let layout = self.stimulus.layout();
        let peak_dbfs = self.stimulus.peak_dbfs();
        let whole = plan_of_one_step(layout.frame_count(), layout.tail_frame_count(), peak_dbfs);
        if self.request.mode() != Mode::Live {
            return Ok(whole);
        }
        // Open-ended, so that marks can be set, lost frames be left out, and it can end early.
        let mut captures = whole.captures;
        captures.truncate(2);
        Ok(Plan {
            captures,
            steps: vec![Step {
                repeat_count: 1,
                peak_dbfs,
                loss: step::Loss::Cut.into(),
                expected_frame_count: Some(layout.body.end as f64),
                ..Step::default()
            }],
            ..Plan::default()
        })
    }

    fn render(&mut self, _: u32, first_frame: u64, samples: &mut [f32]) -> Result<(), Failure> {
        self.stimulus.render(first_frame, samples);
        Ok(())
    }

    fn begin(&mut self, _: u32, _: u32, retry: bool) -> Result<(), Failure> {
        if retry {
            *self = Self::new(&self.request, self.settings);
        }
        Ok(())
    }

    fn feed(&mut self, block: &Block<'_>) -> Result<Fed, Failure> {
        if let Some(Some(link)) = block.channels.first() {
            self.heard_frames = block.first_frame + link.len() as u64;
        }
        if self.request.mode() == Mode::Recorded {
            return self.taking.feed(block);
        }
        self.watch_live(block);
        let is_over = self.heard_frames >= self.stimulus.layout().body.end as u64;
        Ok(if is_over { Fed::Enough } else { Fed::More })
    }

    fn note(&mut self, note: &SessionNote) -> Result<(), Failure> {
        let mark = match &note.note {
            Some(Note::Mark(mark)) => mark,
            Some(Note::Lost(lost)) => {
                self.tally.losses += 1;
                self.tally.frames_lost += lost.frame_count.unwrap_or(0.0);
                return Ok(());
            }
            None => return Ok(()),
        };
        let mark = Mark {
            frame: note.at_frame,
            metres: mark.metres,
            label: mark.label.clone(),
        };
        self.marks.put(mark).map_err(|wrong| match wrong {
            BadMark::OutOfOrder => Failure::new(
                "mark-out-of-order",
                "a mark stands before the one before it: marks are in order of time",
            ),
            BadMark::Distance(metres) => Failure::new(
                "mark-distance",
                format!("a mark has the distance {metres} m: distances are 0 or more"),
            ),
        })
    }

    fn readings(&mut self) -> Readings {
        let count = |id: &str, value: u64| figure(id, value as f64, 0.0, "");
        let mut figures: Vec<Figure> = vec![count("dropouts", self.tally.dropouts)];
        let now = self.heard_frames as f64;
        let since = |frame: f64| (now - frame) / self.rate_hz();
        let last_lost = self
            .tally
            .listed
            .iter()
            .rev()
            .find(|one| crate::tally::is_lost(one.kind));
        figures.extend(
            self.level
                .last_dbfs()
                .map(|dbfs| figure("level", dbfs, 0.0, "dBFS")),
        );
        figures
            .extend(last_lost.map(|gap| figure("last_gap_ago", since(gap.start_frame), 0.0, "s")));
        let metres = self.marks.kept().iter().rev().find_map(|mark| mark.metres);
        figures.extend(metres.map(|metres| figure("last_mark", metres, 0.0, "m")));
        Readings {
            figures,
            ..Readings::default()
        }
    }

    fn finish(&mut self, _: bool) -> Result<SessionResult, Failure> {
        self.check_marks()?;
        let is_recorded = self.request.mode() == Mode::Recorded;
        if is_recorded {
            self.watch_recorded()?;
        } else {
            self.watch.close();
            self.collect(0.0, 1.0);
        }
        if self.watch.last_good_frame().is_none() {
            let text = "the link never carried the pilot: see that transmitter and receiver are on, \
                        linked and plugged in; this is no count of dropouts";
            return Err(Failure::new("no-signal", text).about("link"));
        }
        Ok(result(&Seen {
            rate_hz: self.rate_hz(),
            judged_frames: self.watch.judged_frame_count() as f64,
            tally: &self.tally,
            marks: &self.marks,
            level: &self.level,
            has_reference: self.request.has_reference,
            is_external: self.settings.is_external,
        }))
    }
}
