//! Follows the tone in one channel and tells where it was not what was expected.

use std::f64::consts::TAU;

use super::history::History;
use super::lock::{BLOCK_S, Lock};
use crate::watch::{Lapse, LapseKind};

/// Decisions are made so often, in seconds.
const HOP_S: f64 = 0.000_25;
/// Windows hold whole cycles of the tone, about so long, in seconds: nothing of twice its frequency
/// is left over.
const WINDOW_S: f64 = 0.002;
/// Less of the tone than this is lost: the -6 dB points of the edges.
const LOST_BELOW: f64 = 0.5;
/// So little has to be left somewhere in it: -9 dB.
const LEFT_MOST: f64 = 0.35;
/// Two lost stretches with less than this between them are one, in seconds.
const JOIN_S: f64 = 0.003;
/// Longer is a dropout, shorter a click; shorter than the second number, nothing. In seconds.
const SHORTEST_S: (f64, f64) = (0.0015, 0.0005);
/// Less than this of the tone's power is silence: -10 dB. More than the second is something added.
const SILENT: f64 = 0.1;
const LOUDER: f64 = 4.0;
/// Where there is so much more beside the tone in a window, it is hidden, not lost: 3 dB. Noise in
/// the tone's place is as loud as it was.
const HIDES: f64 = 2.0;
/// Disturbed is what has so many times the usual power beside the tone, and this share of the tone's.
const DISTURBED: (f64, f64) = (16.0, 0.1);
/// What is told of a disturbance waits so long: it may be the edge of something else. In seconds.
const WAIT_S: f64 = 0.08;
/// It is where it is no further from there than this, in seconds.
const EDGE_S: f64 = 0.005;
/// The phase is followed in blocks of so long, in seconds.
const FOLLOW_S: f64 = 0.02;
/// A phase that stepped by more than this twice in a row has stepped: 24 µs at 997 Hz.
const STEP_RAD: f64 = 0.15;
const STEP_AGREES_RAD: f64 = 0.1;
/// Two clocks are known to each other to this, while the tone is away.
const CLOCK_DOUBT: f64 = 5e-6;
/// Blocks that tell of a tone at first, and of one that came back.
const BLOCKS: (i64, i64) = (10, 5);
/// A tone that came back has so much of its amplitude, after the time below less, in seconds.
const BACK_LEAST: (f64, f64) = (0.5, 0.1);
const PATIENCE_S: f64 = 2.0;
/// So much is kept, in seconds.
const KEPT_S: f64 = 1.0;
/// A lost stretch that is cut off is told where it is longer than this, in seconds.
const CUT_OFF_LEAST_S: f64 = 0.1;

/// A stretch in which the tone was lost, by the middles of the windows.
#[derive(Debug, Clone, Copy)]
struct Lost {
    first: i64,
    last: i64,
    least_left: f64,
}

/// Follows the tone in one channel.
#[derive(Debug)]
pub struct Ear {
    rates_hz: [f64; 2],
    window: i64,
    hop: i64,
    history: History,
    next: i64,
    lock: Option<Lock>,
    locked_at: Option<i64>,
    look_at: i64,
    lost: Option<Lost>,
    /// Edges of what was told last: a disturbance there is none.
    edges: Vec<i64>,
    disturbed: Option<(i64, i64)>,
    waiting: Vec<(i64, i64)>,
    follow_at: i64,
    doubtful: Option<f64>,
    last_good: Option<i64>,
    lapses: Vec<Lapse>,
}

impl Ear {
    /// For a tone of `freq_hz`.
    pub fn new(rate_hz: f64, freq_hz: f64) -> Self {
        let cycles = (WINDOW_S * freq_hz).round().max(1.0);
        Self {
            rates_hz: [rate_hz, freq_hz],
            window: (cycles * rate_hz / freq_hz).round() as i64,
            hop: ((HOP_S * rate_hz).round() as i64).max(1),
            history: History::new(rate_hz, freq_hz),
            next: 0,
            lock: None,
            locked_at: None,
            look_at: 0,
            lost: None,
            edges: Vec::new(),
            disturbed: None,
            waiting: Vec::new(),
            follow_at: 0,
            doubtful: None,
            last_good: None,
            lapses: Vec::new(),
        }
    }

    /// Begins anew at a frame; the tone goes on as if nothing had been missed.
    pub fn begin(&mut self, frame: i64) {
        self.lapses.extend(self.pending());
        self.history.begin(frame);
        self.next = frame + self.window;
        self.look_at = frame;
        self.follow_at = frame + self.window;
        self.lost = None;
        self.disturbed = None;
        self.doubtful = None;
        self.waiting.clear();
        self.edges.clear();
    }

    /// Takes the next frames.
    pub fn hear(&mut self, samples: &[f32]) {
        self.history.take(samples);
        while self.next <= self.history.end() {
            self.step(self.next);
            self.next += self.hop;
        }
        self.history.forget(self.frames(KEPT_S));
    }

    /// What has become certain.
    pub fn take_lapses(&mut self) -> Vec<Lapse> {
        std::mem::take(&mut self.lapses)
    }

    /// What is lost at the moment.
    pub fn pending(&self) -> Option<Lapse> {
        let lost = self.lost.as_ref()?;
        let is_long = lost.last - lost.first > self.frames(CUT_OFF_LEAST_S);
        is_long.then(|| self.lapse(lost)).flatten()
    }

    /// Where the tone was first heard.
    pub fn locked_at(&self) -> Option<i64> {
        self.locked_at
    }

    /// True where the tone is there.
    pub fn is_whole(&self) -> bool {
        self.lock.is_some() && self.lost.is_none()
    }

    /// The last frame at which the tone was there.
    pub fn last_good(&self) -> Option<u64> {
        self.last_good.map(|frame| frame.max(0) as u64)
    }

    fn frames(&self, seconds: f64) -> i64 {
        (seconds * self.rates_hz[0]).round() as i64
    }

    /// Decides on the window that ends at a frame.
    fn step(&mut self, end: i64) {
        let Some(lock) = self.lock else {
            return self.look(end);
        };
        let middle = end - self.window / 2;
        let tone = self.history.tone(end - self.window, end);
        let left = lock.left(tone, middle as f64);
        let rest = self.history.power(end - self.window, end) - tone.norm_sqr() / 2.0;
        // What is so much louder than the tone hides it: that was added.
        let is_hidden = rest > HIDES * lock.power();
        if left < LOST_BELOW && !is_hidden {
            let lost = self.lost.get_or_insert(Lost {
                first: middle,
                last: middle,
                least_left: left,
            });
            lost.last = middle;
            lost.least_left = lost.least_left.min(left);
            return self.look_again(end, lock);
        }
        let join = self.frames(JOIN_S);
        if self.lost.is_some_and(|lost| middle - lost.last > join) {
            self.tell_lost();
        }
        if self.lost.is_none() && !is_hidden {
            self.last_good = Some(middle);
        }
        let most = (DISTURBED.0 * lock.rest).max(DISTURBED.1 * lock.power());
        self.disturb(end, is_hidden || rest > most);
        self.follow(end);
    }

    /// Looks for the tone that was never heard.
    fn look(&mut self, end: i64) {
        if end < self.look_at {
            return;
        }
        self.look_at = end + self.frames(BLOCK_S);
        let found = Lock::find(&self.history, self.rates_hz, end, BLOCKS.0, None);
        let Some(lock) = found else { return };
        let from = self.since(&lock, end, self.history.first() + self.window);
        self.locked_at.get_or_insert(from);
        self.lock = Some(lock);
        self.follow_at = end;
    }

    /// Looks for a tone that came back with another phase.
    fn look_again(&mut self, end: i64, before: Lock) {
        let Some(lost) = self.lost.filter(|_| end >= self.look_at) else {
            return;
        };
        self.look_at = end + self.frames(BLOCK_S);
        let turn = Some(before.turn());
        let found = Lock::find(&self.history, self.rates_hz, end, BLOCKS.1, turn);
        let is_old = end - lost.first > self.frames(PATIENCE_S);
        let least = if is_old { BACK_LEAST.1 } else { BACK_LEAST.0 };
        let Some(mut lock) = found.filter(|one| one.amplitude() >= least * before.amplitude())
        else {
            return;
        };
        lock.rest = before.rest.max(lock.rest);
        let back = self.since(&lock, end, lost.first);
        let at = end as f64;
        let ahead = before.ahead(lock.expected(at), at);
        let away_s = (back - lost.first) as f64 / self.rates_hz[0];
        let doubt = STEP_RAD + CLOCK_DOUBT * TAU * self.rates_hz[1] * away_s;
        self.edges.extend([lost.first, back]);
        if ahead.abs() > doubt {
            self.lapses.push(shift(lost.first));
        }
        // The windows about a mere step of the phase hold both sides of it.
        let is_step = ahead.abs() > doubt && back - lost.first < self.window;
        self.lost = (!is_step).then_some(Lost { last: back, ..lost });
        self.tell_lost();
        self.lock = Some(lock);
        self.follow_at = end;
        self.doubtful = None;
    }

    /// The middle of the first window from which on the tone was there until `end`; not before
    /// `first`.
    fn since(&self, lock: &Lock, end: i64, first: i64) -> i64 {
        let mut middle = end - self.window / 2;
        while middle > first {
            let from = middle - self.window / 2;
            let tone = self.history.tone(from, from + self.window);
            if lock.left(tone, middle as f64) < LOST_BELOW {
                break;
            }
            middle -= self.hop;
        }
        middle
    }

    fn tell_lost(&mut self) {
        let Some(lost) = self.lost.take() else { return };
        self.edges.extend([lost.first, lost.last]);
        self.lapses.extend(self.lapse(&lost));
    }

    fn lapse(&self, lost: &Lost) -> Option<Lapse> {
        let lock = self.lock.as_ref()?;
        let frame_count = lost.last - lost.first + self.hop;
        let length_s = frame_count as f64 / self.rates_hz[0];
        if length_s < SHORTEST_S.1 || lost.least_left > LEFT_MOST {
            return None;
        }
        // Its edges apart: they are half of the sound.
        let edge = (self.window / 2).min(frame_count / 4);
        let power = self.history.power(lost.first + edge, lost.last - edge);
        let power = power - lock.rest;
        let kind = match () {
            () if power > LOUDER * lock.power() => LapseKind::Burst,
            () if length_s < SHORTEST_S.0 => LapseKind::Click,
            () if power <= SILENT * lock.power() => LapseKind::Gap,
            () => LapseKind::Concealed,
        };
        Some(Lapse {
            kind,
            start_frame: (lost.first - self.hop / 2) as f64,
            frame_count: frame_count as f64,
        })
    }

    /// Gathers what was added to the tone, and tells it once it is the edge of nothing else.
    fn disturb(&mut self, end: i64, is_disturbed: bool) {
        let (join, edge) = (self.frames(JOIN_S), self.frames(EDGE_S));
        match &mut self.disturbed {
            Some(open) if is_disturbed => open.1 = end,
            Some(open) if end - open.1 > join => self.waiting.extend(self.disturbed.take()),
            None if is_disturbed => self.disturbed = Some((end, end)),
            _ => {}
        }
        let wait = self.frames(WAIT_S);
        let Some(&(first, last)) = self.waiting.first() else {
            self.edges.retain(|at| end - at < 4 * wait);
            return;
        };
        if end - last < wait {
            return;
        }
        self.waiting.remove(0);
        // The first window touches it with its end, the last one with its beginning.
        let frame_count = (last - self.window - first).max(0) + self.hop;
        let near = |at: &i64| *at > first - self.window - edge && *at < last + edge;
        if self.edges.iter().any(near) || self.lost.is_some() {
            return;
        }
        let is_short = (frame_count as f64) < SHORTEST_S.0 * self.rates_hz[0];
        self.lapses.push(Lapse {
            kind: if is_short {
                LapseKind::Click
            } else {
                LapseKind::Burst
            },
            start_frame: (first - self.hop) as f64,
            frame_count: frame_count as f64,
        });
    }

    /// Follows amplitude and phase, block by block, where the tone was whole.
    fn follow(&mut self, end: i64) {
        let length = self.frames(FOLLOW_S);
        if self.lost.is_some() {
            self.follow_at = end;
        }
        if end - self.follow_at < length + self.window {
            return;
        }
        self.follow_at = end - self.window;
        let Some(mut lock) = self.lock else { return };
        let from = end - length;
        let middle = end as f64 - length as f64 / 2.0;
        let tone = self.history.tone(from, end);
        let ahead = lock.ahead(tone, middle);
        let rest = self.history.power(from, end) - tone.norm_sqr() / 2.0;
        let is_step = ahead.abs() > STEP_RAD;
        let before = self.doubtful.take();
        if !is_step {
            lock.follow(tone, middle, length as f64, ahead, rest.max(0.0));
        } else if before.is_some_and(|before| (before - ahead).abs() < STEP_AGREES_RAD) {
            let at = self.step_at(&lock, end, ahead);
            self.edges.push(at);
            self.lapses.push(shift(at));
            lock.step(ahead);
        } else {
            self.doubtful = Some(ahead);
        }
        self.lock = Some(lock);
    }

    /// Where the phase stepped by `ahead`: half of it lies before and half behind.
    fn step_at(&self, lock: &Lock, end: i64, ahead: f64) -> i64 {
        let mut middle = end - self.window / 2;
        let first = (end - 4 * self.frames(FOLLOW_S)).max(self.history.first() + self.window);
        while middle > first {
            let from = middle - self.window / 2;
            let tone = self.history.tone(from, from + self.window);
            if lock.ahead(tone, middle as f64) * ahead.signum() < 0.5 * ahead.abs() {
                break;
            }
            middle -= self.hop;
        }
        middle
    }
}

fn shift(frame: i64) -> Lapse {
    Lapse {
        kind: LapseKind::Shift,
        start_frame: frame as f64,
        frame_count: 0.0,
    }
}
