//! Watches a link that carries programme and no pilot: nothing is played.
//!
//! What is known is the programme itself, and the cable's beside it where there is one. So this
//! finds what no programme does by itself: silence that sets in within some 3 ms, a lone click,
//! tops cut flat. With a cable each of them counts only where the cable has it not, less deep
//! silence is told, and so is a link that lost level. Without one a programme that is cut off
//! abruptly is not to be told from a mute.

mod balance;
mod clicks;
mod flat_tops;
mod mutes;
mod track;

use super::{Heard, Lapse, LapseKind, Watch};
use balance::Balance;
use clicks::Clicks;
use flat_tops::FlatTops;
use mutes::Mutes;
use track::Track;

/// Decisions are made so often, in seconds.
const HOP_S: f64 = 0.000_25;
/// So much of both channels is kept, in seconds: the longest delay, and what a decision looks at.
const KEPT_S: f64 = 1.1;
/// A click so near to the edge of a mute is that edge, in seconds.
const EDGE_S: f64 = 0.005;
/// Powers of 100 ms that differ by more than this are programme, not hiss: 6 dB.
const LIVELY: f64 = 4.0;
/// Length of the stretches that are held against each other for that, in seconds.
const STRETCH_S: f64 = 0.1;

/// Frames at which decisions are made.
#[derive(Debug, Clone, Copy)]
struct Grid {
    rate_hz: f64,
}

impl Grid {
    fn frames(self, seconds: f64) -> i64 {
        (seconds * self.rate_hz).round() as i64
    }

    fn hop(self) -> i64 {
        self.frames(HOP_S).max(1)
    }
}

/// Watches programme.
#[derive(Debug)]
pub struct PassiveWatch {
    grid: Grid,
    link: Track,
    cable: Option<Track>,
    balance: Balance,
    mutes: Mutes,
    clicks: [Clicks; 2],
    flat_tops: [FlatTops; 2],
    next_frame: Option<u64>,
    /// The next frame up to which is decided.
    next: i64,
    /// Least and largest power of 100 ms so far.
    powers: Option<(f64, f64)>,
    lapses: Vec<Lapse>,
    judged_hops: u64,
    last_good: Option<u64>,
}

impl PassiveWatch {
    /// Watches at `rate_hz`, beside a cable or without one.
    #[must_use]
    pub fn new(rate_hz: f64, has_reference: bool) -> Self {
        let grid = Grid { rate_hz };
        Self {
            grid,
            link: Track::new(rate_hz),
            cable: has_reference.then(|| Track::new(rate_hz)),
            balance: Balance::new(rate_hz),
            mutes: Mutes::new(grid),
            clicks: [Clicks::new(grid), Clicks::new(grid)],
            flat_tops: [FlatTops::new(rate_hz), FlatTops::new(rate_hz)],
            next_frame: None,
            next: 0,
            powers: None,
            lapses: Vec::new(),
            judged_hops: 0,
            last_good: None,
        }
    }

    fn begin(&mut self, frame: u64) {
        let frame = frame as i64;
        self.link.begin(frame);
        if let Some(cable) = &mut self.cable {
            cable.begin(frame);
        }
        self.next = frame + self.grid.hop();
        self.balance.begin(frame);
        self.mutes.begin(frame);
        self.clicks.iter_mut().for_each(|one| one.begin(frame));
        self.flat_tops.iter_mut().for_each(FlatTops::begin);
    }

    fn decide(&mut self, frame: i64) {
        self.follow_power(frame);
        let delay = self.balance.delay_frames();
        let beside = match (&self.cable, delay) {
            (Some(cable), Some(delay)) => Some((cable, delay)),
            (Some(_), None) => return,
            (None, _) => None,
        };
        let step = self.mutes.step(frame, &self.link, beside);
        self.lapses.extend(step.lapse);
        self.judged_hops += u64::from(step.is_judged);
        if step.is_good && self.is_programme() {
            self.last_good = Some(frame.max(0) as u64);
        }
        let edge = self.grid.frames(EDGE_S);
        if let Some(click) = self.clicks[0].lone(frame) {
            let is_cables = delay.is_some_and(|delay| self.clicks[1].stands_out(click - delay));
            if !is_cables && !self.mutes.touches(click - edge, click + edge) {
                self.lapses.push(Lapse {
                    kind: LapseKind::Click,
                    start_frame: click as f64,
                    frame_count: self.grid.hop() as f64,
                });
            }
        }
    }

    fn follow_power(&mut self, frame: i64) {
        let stretch = self.grid.frames(STRETCH_S);
        if frame % stretch >= self.grid.hop() || frame - self.link.first() < stretch {
            return;
        }
        let power = self.link.power(frame - stretch, frame);
        let (least, most) = self.powers.unwrap_or((power, power));
        self.powers = Some((least.min(power), most.max(power)));
    }

    fn is_programme(&self) -> bool {
        self.powers
            .is_some_and(|(least, most)| most > LIVELY * least)
    }

    fn tell_clipped(&mut self, ended: bool) {
        let cables = self.flat_tops[1].latest();
        let own = self.flat_tops[0].take(ended);
        let second = self.grid.rate_hz;
        // The programme came clipped where the cable's was, a second of delay at most before.
        let is_own = |one: &Lapse| cables.is_none_or(|frame| frame + second < one.start_frame);
        self.lapses.extend(own.into_iter().filter(is_own));
    }
}

impl Watch for PassiveWatch {
    fn hear(&mut self, heard: &Heard<'_>) {
        if self.next_frame != Some(heard.first_frame) {
            self.begin(heard.first_frame);
        }
        self.next_frame = Some(heard.first_frame + heard.link.len() as u64);
        self.link.take(heard.link);
        self.clicks[0].take(heard.link);
        self.flat_tops[0].hear(heard.first_frame, heard.link);
        if let (Some(cable), Some(samples)) = (&mut self.cable, heard.reference) {
            cable.take(samples);
            self.clicks[1].take(samples);
            self.flat_tops[1].hear(heard.first_frame, samples);
            let is_silent = self.mutes.silent_since().is_some();
            let faint = self.balance.hear(heard.link, samples, is_silent);
            self.lapses.extend(faint);
        }
        while self.next <= self.link.end() {
            self.decide(self.next);
            self.next += self.grid.hop();
        }
        self.tell_clipped(false);
        let kept = self.grid.frames(KEPT_S);
        self.link.forget(kept);
        self.cable.iter_mut().for_each(|cable| cable.forget(kept));
        self.clicks.iter_mut().for_each(|one| one.forget(kept));
    }

    fn close(&mut self) {
        self.tell_clipped(true);
        self.lapses.extend(self.balance.close());
        if let (Some(cable), Some(delay)) = (&self.cable, self.balance.delay_frames()) {
            let end = self.link.end();
            self.lapses.extend(self.mutes.close(end, (cable, delay)));
        }
    }

    fn take_lapses(&mut self) -> Vec<Lapse> {
        self.lapses
            .sort_by(|a, b| a.start_frame.total_cmp(&b.start_frame));
        std::mem::take(&mut self.lapses)
    }

    fn pending(&self) -> Option<Lapse> {
        self.cable.as_ref()?;
        self.mutes.pending(self.link.end())
    }

    fn stopped_at(&self) -> Option<f64> {
        let is_alone = self.cable.is_none();
        self.mutes.silent_since().filter(|_| is_alone)
    }

    fn judged_frame_count(&self) -> u64 {
        self.judged_hops * self.grid.hop() as u64
    }

    fn last_good_frame(&self) -> Option<u64> {
        self.last_good
    }
}
