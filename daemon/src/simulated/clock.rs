//! How late a link is, frame by frame: its set delay, what resynchronising adds to it, and how its
//! own clock makes it drift.
//!
//! Between two resynchronisations the delay is d(n) = d₀ + (n - n₀) s / (1 + s) at frame n of the
//! interface, where s is the skew: the n - n₀ frames heard are those of (n - n₀) / (1 + s) frames
//! sent, so more come back than were sent where s is above 0. A receiver holds only so much sound
//! back: when the drift has reached [`SLIP_MS`] either way, or the delay has shrunk to where
//! fractions end, the receiver slips, and the delay is d₀ again at once.

use super::{
    delay::{SHORTEST_FRACTION, effective_frames},
    frames_of_s,
    random::Chance,
    settings::LinkSettings,
};

/// Drift at which the receiver slips.
const SLIP_MS: f64 = 20.0;
/// What a receiver whose delay shrinks holds back at least, beside what fractions need.
const RESERVE_MS: f64 = 2.0;

/// The delay in frames with which a link begins: as it is set, but whole below
/// [`SHORTEST_FRACTION`], which links that drift never fall below. Where the delay shrinks, it
/// begins at least [`RESERVE_MS`] above.
pub fn first_delay_frames(settings: &LinkSettings, rate_hz: f64) -> f64 {
    let reserve = if settings.skew_ppm < 0.0 {
        RESERVE_MS * rate_hz / 1000.0
    } else {
        0.0
    };
    let least = if settings.skew_ppm == 0.0 {
        0.0
    } else {
        SHORTEST_FRACTION + reserve
    };
    effective_frames((settings.delay_ms * rate_hz / 1000.0).max(least))
}

/// The delay of a link that resynchronises or drifts.
#[derive(Debug, Clone)]
pub struct Clock {
    chance: Chance,
    /// Delay as set, in frames.
    set: f64,
    /// Largest move of a resynchronisation, in frames.
    jitter: f64,
    /// Frames from one resynchronisation to the next; 0: only at waking.
    every: u64,
    /// Growth of the delay, in frames per frame.
    drift: f64,
    /// Drift at which it slips, in frames.
    slip: f64,
    /// How often it has resynchronised.
    count: u64,
    /// Delay at `since`, in frames.
    base: f64,
    /// Frame from which it drifts.
    since: u64,
    /// Frame of the next resynchronisation by the clock.
    next: u64,
}

impl Clock {
    /// The clock of a link; `None` where its delay never moves.
    pub fn new(settings: &LinkSettings, rate_hz: f64, chance: Chance) -> Option<Self> {
        if settings.resync_jitter_ms == 0.0 && settings.skew_ppm == 0.0 {
            return None;
        }
        let set = first_delay_frames(settings, rate_hz);
        let skew = settings.skew_ppm * 1e-6;
        let every = frames_of_s(settings.resync_every_s, rate_hz);
        let slip = SLIP_MS * rate_hz / 1000.0;
        // Where it drifts, fractions must be possible.
        let set = if skew == 0.0 {
            set
        } else {
            set.max(SHORTEST_FRACTION)
        };
        Some(Self {
            chance,
            set,
            jitter: settings.resync_jitter_ms * rate_hz / 1000.0,
            every,
            drift: skew / (1.0 + skew),
            slip,
            count: 0,
            base: set,
            since: 0,
            next: if every == 0 { u64::MAX } else { every },
        })
    }

    /// The longest delay there can be, in frames.
    pub fn longest(&self) -> f64 {
        self.set + self.jitter + self.slip
    }

    /// The link has woken at `frame`.
    pub fn wake(&mut self, frame: u64) {
        self.resynchronise(frame);
    }

    /// The delay at `frame`; frames come one after the other.
    pub fn delay_at(&mut self, frame: u64) -> f64 {
        if frame >= self.next {
            self.next += self.every;
            self.resynchronise(frame);
        }
        let drifted = self.drift * (frame - self.since) as f64;
        let delay = self.base + drifted;
        if drifted.abs() < self.slip && (drifted >= 0.0 || delay >= SHORTEST_FRACTION) {
            return effective_frames(delay);
        }
        self.since = frame;
        effective_frames(self.base)
    }

    fn resynchronise(&mut self, frame: u64) {
        let place = 2.0 * self.chance.uniform(self.count) - 1.0;
        let least = if self.drift == 0.0 {
            0.0
        } else {
            SHORTEST_FRACTION
        };
        self.base = (self.set + self.jitter * place).max(least);
        self.since = frame;
        self.count += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clock(settings: &LinkSettings) -> Clock {
        Clock::new(settings, 48_000.0, Chance::new(1, "resync", "x")).expect("it moves")
    }

    #[test]
    fn a_link_without_jitter_and_skew_has_no_clock() {
        let chance = Chance::new(1, "resync", "x");
        assert!(Clock::new(&LinkSettings::default(), 48_000.0, chance).is_none());
    }

    #[test]
    fn at_100_ppm_480000_frames_are_heard_of_479952_sent() {
        let mut clock = clock(&LinkSettings {
            skew_ppm: 100.0,
            ..LinkSettings::default()
        });
        let sent = 480_000.0 - (clock.delay_at(480_000) - clock.delay_at(0));
        assert!((480_000.0 / sent - 1.000_1).abs() < 1e-9, "got {sent}");
    }

    #[test]
    fn at_plus_100_ppm_it_slips_after_200_s_and_at_minus_100_ppm_when_empty_after_33_s() {
        // 20 ms at 100 ppm; 192 - 32 frames at 100 ppm.
        for (skew_ppm, want_s) in [(100.0, 200.02), (-100.0, 33.33)] {
            let mut clock = clock(&LinkSettings {
                skew_ppm,
                ..LinkSettings::default()
            });
            let mut last = clock.delay_at(0);
            let slip = (1..20_000_000).find(|&frame| {
                let delay = clock.delay_at(frame);
                (delay - std::mem::replace(&mut last, delay)).abs() > 1.0
            });
            let got_s = slip.expect("it slips") as f64 / 48_000.0;
            assert!(
                (got_s - want_s).abs() < 0.01,
                "got {got_s} s, want {want_s} s"
            );
            assert_eq!(last, 192.0);
        }
    }

    #[test]
    fn a_link_of_no_delay_begins_with_32_frames_and_2_ms_where_it_drifts() {
        for (skew_ppm, want) in [(0.0, 0.0), (10.0, 32.0), (-10.0, 128.0)] {
            let settings = LinkSettings {
                skew_ppm,
                delay_ms: 0.0,
                ..LinkSettings::default()
            };
            assert_eq!(first_delay_frames(&settings, 48_000.0), want);
        }
    }

    #[test]
    fn resynchronising_every_second_moves_the_delay_by_up_to_the_jitter() {
        let settings = LinkSettings {
            resync_jitter_ms: 0.5,
            resync_every_s: 1.0,
            ..LinkSettings::default()
        };
        let mut clock = clock(&settings);
        let delays: Vec<f64> = (0..48_000 * 50_u64)
            .step_by(48_000)
            .map(|frame| clock.delay_at(frame))
            .collect();
        let (low, high) = (168.0, 216.0);
        assert_eq!(delays[0], 192.0);
        assert!(delays.windows(2).all(|pair| pair[0] != pair[1]));
        assert!(delays.iter().all(|&delay| low <= delay && delay <= high));
        let spread = delays.iter().copied().fold(0.0, f64::max)
            - delays.iter().copied().fold(f64::MAX, f64::min);
        assert!(spread > 40.0, "got {spread} frames of at most 48");
    }
}
