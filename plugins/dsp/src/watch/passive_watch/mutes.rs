//! Silence that sets in abruptly within programme.
//!
//! Before it the programme stood at a level, 20 ms long and up to the last 2 ms; within 2.5 ms it
//! fell by 35 dB. A voice or an instrument that stops decays: a formant of 80 Hz width by 2 dB in a
//! ms, one of 200 Hz by 5 dB (`8.7 π B`; common practice for the widths, no source), 35 dB in 2.5 ms
//! and the 1 to 2 ms of the windows would take 350 Hz.

use super::{Grid, Lapse, LapseKind, Track};

/// Length of the window that is looked at, in seconds.
const NOW_S: f64 = 0.001;
/// So long the fall may take, in seconds.
const FALL_S: f64 = 0.0025;
/// Just before the fall there was sound, for so long, in seconds.
const JUST_BEFORE_S: f64 = 0.002;
/// And so long before, in seconds.
const BEFORE_S: f64 = 0.02;
/// Sound that began less than this before the fall was short itself: a stop, a stroke, in seconds.
const EARLIER_S: f64 = 0.012;
/// So little of the level is silence, without a cable: -35 dB.
const SILENT_ALONE: f64 = 3.2e-4;
/// And beside a cable that goes on: -25 dB.
const SILENT_BESIDE: f64 = 3.2e-3;
/// The sound is back at twice that.
const BACK: f64 = 2.0;
/// Sound goes on where it has so much of its level: -15 dB; of a cable, which is looked at as long as
/// the link is silent, -20 dB.
const SUSTAINED: f64 = 0.03;
const GOES_ON: f64 = 0.01;
/// The delay may be off by so much, in seconds.
const DELAY_OFF_S: f64 = 0.0005;
/// While the link is silent, the cable pauses where it has less than this of its level for so long,
/// in seconds: -30 dB.
const PAUSES: f64 = 1e-3;
const PAUSE_S: f64 = 0.03;
/// Power of sound that can be lost: -80 dBFS, bass taken out.
const SOUND_LEAST: f64 = 1e-8;
/// Shorter is a click; shorter than the second number, nothing. In seconds.
const SHORTEST_S: (f64, f64) = (0.0015, 0.0005);

/// The link is silent.
#[derive(Debug, Clone, Copy)]
struct Silence {
    /// Level of the link and of the cable before.
    level: f64,
    cable_level: f64,
    silent: f64,
    /// Where it began.
    start: f64,
    /// Where what is lost of it began; `None` while the cable pauses.
    lost: Option<f64>,
}

/// What a step brought.
#[derive(Debug, Clone, Copy, Default)]
pub struct Step {
    /// A lapse that is over.
    pub lapse: Option<Lapse>,
    /// True where a mute would have been seen.
    pub is_judged: bool,
    /// True where the link carried sound.
    pub is_good: bool,
}

/// Looks for mutes.
#[derive(Debug, Clone)]
pub struct Mutes {
    grid: Grid,
    silence: Option<Silence>,
    /// Begin and end of the last silence.
    last: (i64, i64),
}

impl Mutes {
    /// On a grid of frames.
    pub fn new(grid: Grid) -> Self {
        Self {
            grid,
            silence: None,
            last: (i64::MIN, i64::MIN),
        }
    }

    /// Begins anew: what was silent is forgotten.
    pub fn begin(&mut self, frame: i64) {
        self.silence = None;
        self.last = (frame, frame);
    }

    /// Where the silence began that has no end yet.
    pub fn silent_since(&self) -> Option<f64> {
        self.silence.map(|silence| silence.start)
    }

    /// True where frames `from..to` touch a silence.
    pub fn touches(&self, from: i64, to: i64) -> bool {
        let open = self.silence.is_some_and(|open| (open.start as i64) < to);
        open || (self.last.0 < to && from <= self.last.1)
    }

    /// Decides on the frames up to `frame`. `beside` is the cable, and by how many frames the link
    /// is later.
    pub fn step(&mut self, frame: i64, link: &Track, beside: Option<(&Track, i64)>) -> Step {
        match self.silence {
            Some(silence) => self.go_on(frame, silence, link, beside),
            None => self.look(frame, link, beside),
        }
    }

    /// What is lost at the moment, up to `frame`.
    pub fn pending(&self, frame: i64) -> Option<Lapse> {
        self.lapse(self.silence?.lost?, frame as f64)
    }

    /// No more is to come: what is lost up to `frame` is told.
    pub fn close(&mut self, frame: i64, beside: (&Track, i64)) -> Option<Lapse> {
        let silence = self.silence.take()?;
        let (lost, end) = (silence.lost?, frame as f64);
        let is_links = self.is_links(lost, end, &silence, Some(beside));
        is_links.then(|| self.lapse(lost, end))?
    }

    fn look(&mut self, frame: i64, link: &Track, beside: Option<(&Track, i64)>) -> Step {
        let frames = |seconds: f64| self.grid.frames(seconds);
        let fell = frame - frames(NOW_S) - frames(FALL_S);
        // What stood before the last silence is another matter: only the sound since counts.
        let since = |seconds: f64| (fell - frames(seconds)).max(self.last.1);
        let before = link.power(since(BEFORE_S), fell);
        let is_sound = before >= SOUND_LEAST;
        let done = Step {
            is_judged: is_sound,
            is_good: is_sound,
            ..Step::default()
        };
        if !is_sound {
            return done;
        }
        let now = link.power(frame - frames(NOW_S), frame);
        let just_before = link.power(since(JUST_BEFORE_S), fell);
        let silent = beside.map_or(SILENT_ALONE, |_| SILENT_BESIDE);
        let level = before.min(just_before);
        if now >= silent * level || just_before < SOUND_LEAST {
            return done;
        }
        let earlier = fell - frames(EARLIER_S);
        let is_sustained = earlier < self.last.1
            || link.power(fell - frames(BEFORE_S), earlier) >= SUSTAINED * just_before;
        let cable_level = beside.map_or(0.0, |(cable, delay)| {
            cable.power(fell - frames(BEFORE_S) - delay, fell - delay)
        });
        if is_sustained {
            let start = self.start(frame, link, level);
            self.silence = Some(Silence {
                level,
                cable_level,
                silent,
                start,
                lost: Some(start),
            });
        }
        done
    }

    /// The middle of the fall: between the last frame at half of the level and the last that stands
    /// out from the silence.
    fn start(&self, frame: i64, link: &Track, level: f64) -> f64 {
        let first = frame - self.grid.frames(NOW_S) - 2 * self.grid.frames(FALL_S);
        let last_above = |power: f64| {
            let mut back = (first..frame).rev();
            back.find(|&at| link.power(at, at + 1) > power)
                .unwrap_or(first)
        };
        0.5 * (last_above(0.25 * level) + last_above(0.0025 * level)) as f64 + 1.0
    }

    fn go_on(
        &mut self,
        frame: i64,
        mut silence: Silence,
        link: &Track,
        beside: Option<(&Track, i64)>,
    ) -> Step {
        let now = self.grid.frames(NOW_S);
        let mut done = Step {
            is_judged: true,
            ..Step::default()
        };
        if link.power(frame - now, frame) >= BACK * silence.silent * silence.level {
            let mut window = frame - now..frame;
            let stands_out = |at: &i64| link.power(*at, at + 1) > 0.0025 * silence.level;
            let end = window.find(stands_out).unwrap_or(frame);
            self.silence = None;
            self.last = (silence.start as i64, end);
            let lost = silence
                .lost
                .filter(|lost| self.is_links(*lost, end as f64, &silence, beside));
            done.lapse = lost.and_then(|lost| self.lapse(lost, end as f64));
            return done;
        }
        if let Some((cable, delay)) = beside {
            let at = frame - delay;
            let pause = self.grid.frames(PAUSE_S);
            let is_there = cable.power(at - pause, at) >= PAUSES * silence.cable_level;
            done.is_judged = is_there;
            match (silence.lost, is_there) {
                (Some(lost), false) => {
                    silence.lost = None;
                    let end = (frame - pause) as f64;
                    if self.is_links(lost, end, &silence, beside) {
                        done.lapse = self.lapse(lost, end);
                    }
                }
                (None, true) => silence.lost = Some(frame as f64),
                _ => {}
            }
        }
        self.silence = Some(silence);
        done
    }

    /// True where the cable went on meanwhile, or there is none.
    fn is_links(
        &self,
        start: f64,
        end: f64,
        silence: &Silence,
        beside: Option<(&Track, i64)>,
    ) -> bool {
        beside.is_none_or(|(cable, delay)| {
            let margin = (DELAY_OFF_S * self.grid.rate_hz).min(0.25 * (end - start));
            let from = (start + margin) as i64 - delay;
            let to = (end - margin) as i64 - delay;
            cable.power(from, to) >= GOES_ON * silence.cable_level
        })
    }

    fn lapse(&self, start: f64, end: f64) -> Option<Lapse> {
        let frame_count = end - start;
        let length_s = frame_count / self.grid.rate_hz;
        let kind = match () {
            () if length_s >= SHORTEST_S.0 => LapseKind::Gap,
            () if length_s >= SHORTEST_S.1 => LapseKind::Click,
            () => return None,
        };
        Some(Lapse {
            kind,
            start_frame: start,
            frame_count,
        })
    }
}
