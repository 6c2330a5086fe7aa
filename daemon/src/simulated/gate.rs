//! Links that mute when idle and need time to wake up.
//!
//! A link is asleep at the start of the stream. A sample at or above the threshold at its input
//! wakes it: from `wake_s` later on it is heard. When the last such sample is `idle_after_s` ago,
//! it sleeps again. Asleep and waking it carries nothing; it goes silent and opens at once.

use super::{factor_of_db, frames_of_s, settings::LinkSettings};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    Asleep,
    /// Awake from this frame on.
    Waking(u64),
    /// Last loud sample at this frame.
    Awake(u64),
}

/// The gate of one link.
#[derive(Debug, Clone)]
pub struct Gate {
    threshold: f64,
    idle_frames: u64,
    wake_frames: u64,
    state: State,
    /// The chunk followed last: true where the link is awake.
    open: Vec<bool>,
    /// Frames of that chunk at which it woke.
    woken: Vec<u64>,
}

impl Gate {
    /// The gate of a link; `None` where it never mutes.
    pub fn new(settings: &LinkSettings, rate_hz: f64) -> Option<Self> {
        settings.idle_below_dbfs.map(|idle_below_dbfs| Self {
            threshold: factor_of_db(idle_below_dbfs),
            idle_frames: frames_of_s(settings.idle_after_s, rate_hz).max(1),
            wake_frames: frames_of_s(settings.wake_s, rate_hz),
            state: State::Asleep,
            open: Vec::new(),
            woken: Vec::new(),
        })
    }

    /// Follows the link's input.
    pub fn follow(&mut self, first_frame: u64, input: &[f64]) {
        self.open.clear();
        self.woken.clear();
        for (sample, frame) in input.iter().zip(first_frame..) {
            self.step(frame, sample.abs() >= self.threshold);
            self.open.push(matches!(self.state, State::Awake(_)));
        }
    }

    fn step(&mut self, frame: u64, loud: bool) {
        if loud && self.state == State::Asleep {
            self.state = State::Waking(frame + self.wake_frames);
        }
        if let State::Waking(until) = self.state
            && frame >= until
        {
            self.woken.push(frame);
            self.state = State::Awake(frame);
        }
        if let State::Awake(last) = self.state {
            if loud {
                self.state = State::Awake(frame);
            } else if frame - last >= self.idle_frames {
                self.state = State::Asleep;
            }
        }
    }

    /// True where the link woke at this frame of the chunk followed last.
    pub fn woke_at(&self, frame: u64) -> bool {
        self.woken.contains(&frame)
    }

    /// Silences what was not carried in the chunk followed last.
    pub fn apply(&self, block: &mut [f64]) {
        for (sample, open) in block.iter_mut().zip(&self.open) {
            if !open {
                *sample = 0.0;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_link_wakes_300_frames_after_a_sound_and_sleeps_after_1000_quiet_ones() {
        let settings = LinkSettings {
            idle_below_dbfs: Some(-60.0),
            idle_after_s: 1.0,
            wake_s: 0.3,
            ..LinkSettings::default()
        };
        let mut gate = Gate::new(&settings, 1000.0).expect("it mutes");
        // Sound just at the threshold, from frame 100 to 599; then 1 dB too quiet.
        let input: Vec<f64> = (0..3000)
            .map(|n| {
                if (100..600).contains(&n) {
                    0.001_000_1
                } else {
                    0.000_9
                }
            })
            .collect();
        let mut block = vec![1.0; 3000];
        gate.follow(0, &input);
        gate.apply(&mut block);
        let heard: Vec<usize> = (0..3000).filter(|&n| block[n] == 1.0).collect();
        assert_eq!((heard[0], heard.len()), (400, 599 + 1000 - 400));
        assert!(gate.woke_at(400));
        assert!(!gate.woke_at(401));
    }
}
