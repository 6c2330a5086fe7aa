//! Dropouts: when they happen, and what they sound like.
//!
//! From the end of one to the start of the next it takes an exponentially distributed time, of such
//! a mean that there are as many in a minute as asked for; a walk (see `walk`) adds its own. A dropout lasts 2 ms and an
//! exponentially distributed time on top, of such a mean that the mean length is as asked for.
//! Where the settings list dropouts, these come, and none by chance.

use super::{
    frames_of_s,
    random::Chance,
    settings::{DropoutKind, LinkSettings, SHORTEST_MS},
    walk::Walk,
};

/// A fade out or in.
const FADE_MS: f64 = 5.0;
/// What is repeated.
const REPEATED_MS: f64 = 10.0;
/// The shortest mean time between two dropouts, should they be asked to overlap.
const LEAST_GAP_S: f64 = 0.01;

/// One dropout, in stream frames as its link's return hears them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Dropout {
    /// First frame.
    pub first_frame: u64,
    /// How many frames it lasts, fades included.
    pub frame_count: u64,
}

impl Dropout {
    /// First frame after it.
    #[must_use]
    pub fn end_frame(&self) -> u64 {
        self.first_frame + self.frame_count
    }
}

/// All dropouts of a link, in order of time.
#[derive(Debug, Clone)]
pub enum Schedule {
    /// As the settings list them.
    Listed(std::vec::IntoIter<Dropout>),
    /// By chance.
    Drawn(Drawn),
}

impl Schedule {
    /// The dropouts of a link; `None` where there are none.
    pub fn new(settings: &LinkSettings, rate_hz: f64, chance: Chance) -> Option<Self> {
        if settings.dropouts_at.is_empty() {
            return Drawn::new(settings, rate_hz, chance).map(Self::Drawn);
        }
        let listed = settings.dropouts_at.iter().map(|(at_s, ms)| Dropout {
            first_frame: frames_of_s(*at_s, rate_hz),
            frame_count: frames_of_s(ms / 1000.0, rate_hz),
        });
        Some(Self::Listed(listed.collect::<Vec<_>>().into_iter()))
    }
}

impl Iterator for Schedule {
    type Item = Dropout;

    fn next(&mut self) -> Option<Dropout> {
        match self {
            Self::Listed(listed) => listed.next(),
            Self::Drawn(drawn) => drawn.next(),
        }
    }
}

/// Dropouts by chance.
#[derive(Debug, Clone)]
pub struct Drawn {
    chance: Chance,
    count: u64,
    rate_hz: f64,
    /// Mean number in a second between dropouts, wherever the transmitter is.
    always_per_s: f64,
    walk: Walk,
    mean_length_ms: f64,
    /// End of the last one given.
    end: u64,
}

impl Drawn {
    fn new(settings: &LinkSettings, rate_hz: f64, chance: Chance) -> Option<Self> {
        let mean_length_ms = settings.dropout_ms.max(SHORTEST_MS);
        let mean_gap_s = 60.0 / settings.dropouts_per_minute - mean_length_ms / 1000.0;
        let has_some = settings.dropouts_per_minute > 0.0 || !settings.walk.is_empty();
        has_some.then(|| Self {
            chance,
            count: 0,
            rate_hz,
            // None a minute are infinitely far apart: none a second.
            always_per_s: mean_gap_s.max(LEAST_GAP_S).recip(),
            walk: Walk::new(&settings.walk, settings.holds_to_m),
            mean_length_ms,
            end: 0,
        })
    }
}

impl Iterator for Drawn {
    type Item = Dropout;

    /// Ends only after a walk that ends near by.
    fn next(&mut self) -> Option<Dropout> {
        let expected = self.chance.exponential(2 * self.count, 1.0);
        let end_s = self.end as f64 / self.rate_hz;
        let gap_s = self.walk.gap_s(end_s, expected, self.always_per_s)?;
        let above_ms = self
            .chance
            .exponential(2 * self.count + 1, self.mean_length_ms - SHORTEST_MS);
        let dropout = Dropout {
            first_frame: self.end + frames_of_s(gap_s, self.rate_hz).max(1),
            frame_count: frames_of_s((SHORTEST_MS + above_ms) / 1000.0, self.rate_hz).max(1),
        };
        self.count += 1;
        self.end = dropout.end_frame();
        Some(dropout)
    }
}

/// The dropouts of one link, as they come.
#[derive(Debug, Clone)]
pub struct Dropouts {
    schedule: Schedule,
    /// The one that is on or comes next; `None` when none comes any more.
    present: Option<Dropout>,
    kind: DropoutKind,
    fade_frames: f64,
    /// What was carried before the present dropout, a ring; empty where nothing is repeated.
    last: Vec<f64>,
    /// Where the oldest of it is.
    oldest: usize,
}

impl Dropouts {
    /// The dropouts of a link; `None` where there are none.
    pub fn new(settings: &LinkSettings, rate_hz: f64, chance: Chance) -> Option<Self> {
        let mut schedule = Schedule::new(settings, rate_hz, chance)?;
        let present = schedule.next();
        let kind = settings.dropout_kind;
        let repeated = frames_of_s(REPEATED_MS / 1000.0, rate_hz) as usize;
        let last = vec![
            0.0;
            if kind == DropoutKind::Repeat {
                repeated
            } else {
                0
            }
        ];
        let fade_frames = FADE_MS / 1000.0 * rate_hz;
        Some(Self {
            schedule,
            present,
            kind,
            fade_frames,
            last,
            oldest: 0,
        })
    }

    /// Drops what of the block is to be dropped.
    pub fn apply(&mut self, first_frame: u64, block: &mut [f64]) {
        let end_frame = first_frame + block.len() as u64;
        let is_before = |present: Dropout| end_frame <= present.first_frame;
        if self.present.is_none_or(is_before) && self.last.is_empty() {
            return;
        }
        for (sample, frame) in block.iter_mut().zip(first_frame..) {
            if self.present.is_some_and(|now| frame >= now.end_frame()) {
                self.present = self.schedule.next();
            }
            *sample = self.step(frame, *sample);
        }
    }

    fn step(&mut self, frame: u64, sample: f64) -> f64 {
        let begun = self.present.filter(|now| now.first_frame <= frame);
        let Some(present) = begun else {
            if let Some(oldest) = self.last.get_mut(self.oldest) {
                *oldest = sample;
                self.oldest = (self.oldest + 1) % self.last.len();
            }
            return sample;
        };
        let passed = frame - present.first_frame;
        match self.kind {
            DropoutKind::Mute => 0.0,
            DropoutKind::Ramp => {
                let left = (present.end_frame() - frame) as f64;
                sample * (1.0 - (passed as f64).min(left) / self.fade_frames).max(0.0)
            }
            DropoutKind::Repeat => {
                let place = passed as usize % self.last.len();
                self.last[(self.oldest + place) % self.last.len()]
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f64 = 48_000.0;

    fn settings(kind: DropoutKind) -> LinkSettings {
        LinkSettings {
            dropouts_per_minute: 20.0,
            dropout_ms: 30.0,
            dropout_kind: kind,
            ..LinkSettings::default()
        }
    }

    /// What becomes of a ramp, whose sample n is n, and the first dropout.
    fn heard(kind: DropoutKind, block_frames: usize) -> (Vec<f64>, Dropout) {
        let chance = Chance::new(5, "dropouts", "x");
        let first = Schedule::new(&settings(kind), RATE_HZ, chance).and_then(|mut s| s.next());
        let first = first.expect("there are some");
        let mut dropouts = Dropouts::new(&settings(kind), RATE_HZ, chance).expect("there are some");
        let mut sound: Vec<f64> = (0..first.end_frame() + 5000).map(|n| n as f64).collect();
        for (k, block) in sound.chunks_mut(block_frames).enumerate() {
            dropouts.apply((k * block_frames) as u64, block);
        }
        (sound, first)
    }

    #[test]
    fn rate_and_length_are_20_a_minute_and_30_ms_within_4_standard_errors() {
        let chance = Chance::new(5, "dropouts", "x");
        let schedule = Schedule::new(&settings(DropoutKind::Mute), RATE_HZ, chance);
        let dropouts: Vec<Dropout> = schedule.expect("there are some").take(10_000).collect();
        let minutes = dropouts[9_999].end_frame() as f64 / RATE_HZ / 60.0;
        let rate = 10_000.0 / minutes;
        assert!(
            (rate - 20.0).abs() < 4.0 * 20.0 / 100.0,
            "got {rate} a minute"
        );
        let frames: u64 = dropouts.iter().map(|d| d.frame_count).sum();
        let mean_ms = frames as f64 / 10_000.0 / 48.0;
        assert!(
            (mean_ms - 30.0).abs() < 4.0 * 28.0 / 100.0,
            "got {mean_ms} ms"
        );
        assert!(dropouts.iter().all(|d| d.frame_count >= 96));
    }

    #[test]
    fn listed_dropouts_come_at_their_frames_and_no_other_does() {
        let listed = LinkSettings {
            dropouts_at: vec![(0.5, 2.0), (1.25, 30.5)],
            ..settings(DropoutKind::Mute)
        };
        let chance = Chance::new(5, "dropouts", "x");
        let schedule = Schedule::new(&listed, RATE_HZ, chance).expect("there are some");
        let frames: Vec<_> = schedule.map(|d| (d.first_frame, d.frame_count)).collect();
        assert_eq!(frames, [(24_000, 96), (60_000, 1_464)]);
        let mut dropouts = Dropouts::new(&listed, RATE_HZ, chance).expect("there are some");
        let mut sound = vec![1.0; 96_000];
        dropouts.apply(0, &mut sound);
        let silent = sound.iter().filter(|sample| **sample == 0.0).count();
        assert_eq!((silent, sound[23_999], sound[24_000]), (1_560, 1.0, 0.0));
    }

    #[test]
    fn a_mute_is_silent_from_its_first_frame_to_its_last_in_blocks_of_any_size() {
        let (sound, first) = heard(DropoutKind::Mute, 100);
        let range = first.first_frame as usize..first.end_frame() as usize;
        for (n, &sample) in sound.iter().enumerate().take(range.end + 100) {
            assert_eq!(
                sample,
                if range.contains(&n) { 0.0 } else { n as f64 },
                "frame {n}"
            );
        }
        for kind in [DropoutKind::Mute, DropoutKind::Ramp, DropoutKind::Repeat] {
            assert_eq!(heard(kind, 1), heard(kind, 256));
        }
    }

    #[test]
    fn a_ramp_is_at_half_2_5_ms_after_its_start_and_before_its_end() {
        let (sound, first) = heard(DropoutKind::Ramp, 256);
        assert!(first.frame_count > 480, "the first one is long enough");
        for frame in [first.first_frame + 120, first.end_frame() - 120] {
            assert_eq!(sound[frame as usize], 0.5 * frame as f64);
        }
        assert_eq!(sound[first.first_frame as usize + 240], 0.0);
    }

    #[test]
    fn a_repeat_says_the_last_10_ms_again_and_again() {
        let (sound, first) = heard(DropoutKind::Repeat, 256);
        for frame in first.first_frame..first.end_frame() {
            let passed = (frame - first.first_frame) % 480;
            assert_eq!(
                sound[frame as usize],
                (first.first_frame - 480 + passed) as f64
            );
        }
    }
}
