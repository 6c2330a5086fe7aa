//! Watches a link whose sound is played by something carried with the transmitter: it starts at an
//! unknown time, and its clock is not the interface's.
//!
//! First the place of a short piece of the link is looked for in all that the player may play, a
//! few seconds of that for every block that is heard. From there on the same sound is rendered
//! beside the link as if a cable brought it, half a second early, and a [`NoiseWatch`] compares the
//! two. Where the clocks drift apart the rendered sound is slid along by whole samples of the watch,
//! so that the link stays within the second in which the watch looks for it: 300 ppm are 0.3 s in 17
//! minutes. A link that was lost for more than 20 minutes on such a clock is not found again.

mod search;

use super::{Heard, Lapse, NoiseWatch, Watch};
use search::{Found, Search};

/// The rendered sound is this much early, in seconds: the middle of what the watch can follow.
const EARLY_S: f64 = 0.5;
/// It is slid along where the link is further from there than this, in seconds.
const SLIDE_AT_S: f64 = 0.1;
/// Length of the piece whose place is looked for, in seconds: over 2 x 0.25 s x 6.8 kHz = 3400
/// degrees of freedom, noise is as like as 0.017, and 300 ppm smear the piece by 75 µs.
const PIECE_S: f64 = 0.25;
/// Mean power below this is no pilot: -90 dBFS.
const POWER_LEAST: f32 = 1e-9;
/// The first search goes through so many seconds of what is played, each further one through twice
/// as many: most players are started just before or after the watch, with a wake-up that is nowhere.
const REACH_FIRST_S: f64 = 16.0;
/// Time between searches, which doubles up to the second number once they go through all, in seconds.
const SEARCH_EVERY_S: (f64, f64) = (0.5, 30.0);
/// A step of a search for every so many frames that are heard, at 48 kHz: half a core at most.
const STEP_EVERY_S: f64 = 0.085;

/// What the player plays: fills the samples from a frame on, the same whenever it is asked.
pub type Render = Box<dyn FnMut(u64, &mut [f32]) + Send>;

/// Compares a link with what a carried player plays.
pub struct PlayerWatch {
    rate_hz: f64,
    render: Render,
    frame_count: u64,
    inner: NoiseWatch,
    /// Frame of the player's sound that is rendered at frame 0 of the capture; `None` until found.
    lead: Option<i64>,
    /// Frames of the player's sound that the watch has already, after it was slid to a later place.
    held: usize,
    /// The latest of the link, a piece long.
    piece: Vec<f32>,
    next_frame: Option<u64>,
    /// A search under way, and the capture's frame at which its piece begins.
    search: Option<(Search, i64)>,
    search_at: u64,
    /// So many frames of the player's sound the next search goes through.
    reach: u64,
    search_pause_s: f64,
    /// Frames that were heard since the last step of a search.
    unsearched: i64,
    stopped_at: Option<f64>,
}

impl PlayerWatch {
    /// Watches at `rate_hz`, of capture and `render` alike. The player plays at most `frame_count`
    /// frames.
    #[must_use]
    pub fn new(rate_hz: f64, render: Render, frame_count: u64) -> Self {
        Self {
            rate_hz,
            render,
            frame_count,
            inner: NoiseWatch::new(rate_hz),
            lead: None,
            held: 0,
            piece: Vec::new(),
            next_frame: None,
            search: None,
            search_at: 0,
            reach: ((REACH_FIRST_S * rate_hz) as u64).min(frame_count),
            search_pause_s: SEARCH_EVERY_S.0,
            unsearched: 0,
            stopped_at: None,
        }
    }

    fn frames(&self, seconds: f64) -> i64 {
        (seconds * self.rate_hz).round() as i64
    }

    /// Keeps the latest of the link, begins a search for its place when it is time, and goes on
    /// with one.
    fn look(&mut self, heard: &Heard<'_>) {
        if self.search.is_some() {
            return self.go_on_looking(heard.link.len() as i64);
        }
        let length = self.frames(PIECE_S) as usize;
        if self.next_frame != Some(heard.first_frame) {
            self.piece.clear();
        }
        self.piece.extend(heard.link);
        let old = self.piece.len().saturating_sub(length);
        self.piece.drain(..old);
        let end = heard.first_frame + heard.link.len() as u64;
        let power = self.piece.iter().map(|x| x * x).sum::<f32>() / length as f32;
        if self.piece.len() < length || end < self.search_at || power < POWER_LEAST {
            return;
        }
        let first = end as i64 - length as i64;
        self.search = Some((Search::new(self.rate_hz, &self.piece), first));
        self.piece.clear();
    }

    fn go_on_looking(&mut self, frames: i64) {
        self.unsearched += frames;
        let every = self.frames(STEP_EVERY_S);
        while self.unsearched >= every {
            self.unsearched -= every;
            let Some((search, first)) = &mut self.search else {
                return;
            };
            match search.step(&mut self.render, self.reach) {
                Found::NotYet => {}
                Found::At(place) => {
                    let lead = place as i64 - *first;
                    self.lead = Some(lead + self.frames(EARLY_S));
                    self.search = None;
                }
                Found::Nowhere => {
                    let end = self.next_frame.unwrap_or_default();
                    self.search_at = end + self.frames(self.search_pause_s) as u64;
                    if self.reach == self.frame_count {
                        self.search_pause_s = (2.0 * self.search_pause_s).min(SEARCH_EVERY_S.1);
                    }
                    self.reach = (2 * self.reach).min(self.frame_count);
                    self.search = None;
                }
            }
        }
    }

    /// The player's sound from a frame on; silence before its first and after its last.
    fn sound(&mut self, first: i64, count: usize) -> Vec<f32> {
        let mut samples = vec![0.0; count];
        let end = (first + count as i64).min(self.frame_count as i64);
        let from = first.max(0);
        if from < end {
            let at = (from - first) as usize;
            let length = (end - from) as usize;
            (self.render)(from as u64, &mut samples[at..at + length]);
        }
        samples
    }

    /// Slides the player's sound back to the middle of what the watch can follow.
    fn slide(&mut self, next_frame: u64) {
        let (Some(lead), Some(delay_s)) = (self.lead, self.inner.delay_s()) else {
            return;
        };
        let off_s = EARLY_S - delay_s;
        // What the watch has already is used up first.
        if off_s.abs() < SLIDE_AT_S || !self.inner.is_whole() || self.held > 0 {
            return;
        }
        let whole = self.inner.decimation() as i64;
        let samples = self.frames(off_s) / whole;
        // Plus: the link comes too soon after its sound, which is then rendered earlier.
        let more = self.sound(next_frame as i64 + lead, (samples * whole).max(0) as usize);
        self.inner.slide(samples, &more);
        self.held = (-samples * whole).max(0) as usize;
        self.lead = Some(lead + samples * whole);
    }
}

impl Watch for PlayerWatch {
    fn hear(&mut self, heard: &Heard<'_>) {
        if self.lead.is_none() {
            self.look(heard);
        }
        if self.next_frame != Some(heard.first_frame) {
            self.held = 0;
        }
        let next_frame = heard.first_frame + heard.link.len() as u64;
        self.next_frame = Some(next_frame);
        let Some(lead) = self.lead else { return };
        let sound = self.sound(heard.first_frame as i64 + lead, heard.link.len());
        let held = self.held.min(sound.len());
        self.held -= held;
        self.inner.hear(&Heard {
            reference: Some(&sound[held..]),
            ..*heard
        });
        self.slide(next_frame);
    }

    fn close(&mut self) {
        self.stopped_at = self.inner.lost_since();
        self.inner.forget_loss();
        self.inner.close();
    }

    fn take_lapses(&mut self) -> Vec<Lapse> {
        self.inner.take_lapses()
    }

    /// What is lost may be the player's end: nothing is told of it before it is over.
    fn pending(&self) -> Option<Lapse> {
        None
    }

    fn stopped_at(&self) -> Option<f64> {
        self.stopped_at.or_else(|| self.inner.lost_since())
    }

    fn judged_frame_count(&self) -> u64 {
        self.inner.judged_before_loss()
    }

    fn last_good_frame(&self) -> Option<u64> {
        self.inner.last_good_frame()
    }
}
