//! What a tone is expected to be: amplitude, phase, and how fast that turns.

use std::f64::consts::TAU;

use super::history::History;
use crate::Complex64;

/// Blocks that have to agree before a tone is believed, in seconds each.
pub const BLOCK_S: f64 = 0.01;
/// Two clocks may differ by this much.
const CLOCKS_MOST: f64 = 400e-6;
/// And noise turns it by this much in so short a time, in radians a second: hum's line at 1 kHz,
/// 3 Hz beside 997 Hz, turns by 19.
const TURN_SPREAD: f64 = 2.0;
/// Blocks are off by no more than this share of the amplitude.
const SPREAD_MOST: f64 = 0.35;
/// A tone has this share of the power at least, and -90 dBFS.
const SHARE_LEAST: f64 = 0.05;
const POWER_LEAST: f64 = 1e-9;
/// Shares of what a block is off that go into phase and frequency: damping 1.06 (`p / (2 √f)`).
const FOLLOW_PHASE: f64 = 0.3;
const FOLLOW_TURN: f64 = 0.02;
/// Share of a new amplitude in the usual one.
const FOLLOW_AMPLITUDE: f64 = 0.1;

/// A tone that is followed.
#[derive(Debug, Clone, Copy)]
pub struct Lock {
    at: f64,
    value: Complex64,
    /// Radians a frame.
    turn: f64,
    turn_most: f64,
    /// Usual power of all that is not the tone.
    pub rest: f64,
}

impl Lock {
    /// The tone in the last `blocks` blocks before `end`, where it is one; `turn` where that is
    /// known.
    pub fn find(
        history: &History,
        [rate_hz, freq_hz]: [f64; 2],
        end: i64,
        blocks: i64,
        turn: Option<f64>,
    ) -> Option<Self> {
        let length = (BLOCK_S * rate_hz).round() as i64;
        let from = end - blocks * length;
        if from < history.first() {
            return None;
        }
        let places = || (0..blocks).map(|block| from + block * length);
        let tones: Vec<Complex64> = places().map(|at| history.tone(at, at + length)).collect();
        let turned: Complex64 = tones.windows(2).map(|two| two[1] * two[0].conj()).sum();
        let turn_most = CLOCKS_MOST * TAU * freq_hz / rate_hz;
        let turn = turn.unwrap_or(turned.arg() / length as f64);
        if turn.abs() > turn_most + TURN_SPREAD / rate_hz {
            return None;
        }
        let middle = |block: usize| (block as f64 + 0.5) * length as f64;
        let back = |block: usize| Complex64::from_polar(1.0, -turn * middle(block));
        let level: Vec<Complex64> = (0..).zip(&tones).map(|(n, tone)| tone * back(n)).collect();
        let value: Complex64 = level.iter().sum::<Complex64>() / blocks as f64;
        let power = history.power(from, end);
        let is_tone = value.norm_sqr() / 2.0 >= (SHARE_LEAST * power).max(POWER_LEAST);
        let agree = |one: &Complex64| (one - value).norm() <= SPREAD_MOST * value.norm();
        (is_tone && level.iter().all(agree)).then(|| Self {
            at: from as f64,
            value,
            turn,
            turn_most,
            rest: (power - value.norm_sqr() / 2.0).max(0.0),
        })
    }

    /// What is expected at a frame.
    pub fn expected(&self, frame: f64) -> Complex64 {
        self.value * Complex64::from_polar(1.0, self.turn * (frame - self.at))
    }

    /// Radians a frame by which it turns.
    pub fn turn(&self) -> f64 {
        self.turn
    }

    /// Power of the tone.
    pub fn power(&self) -> f64 {
        self.value.norm_sqr() / 2.0
    }

    /// Amplitude of the tone.
    pub fn amplitude(&self) -> f64 {
        self.value.norm()
    }

    /// How much of what is expected is left: 1 of a whole tone, 0 of silence.
    pub fn left(&self, tone: Complex64, frame: f64) -> f64 {
        (tone * self.expected(frame).conj()).re / self.value.norm_sqr()
    }

    /// By how many radians a tone is ahead of what is expected.
    pub fn ahead(&self, tone: Complex64, frame: f64) -> f64 {
        (tone * self.expected(frame).conj()).arg()
    }

    /// Follows a block of so many frames about `frame`, which is off by `ahead`; `rest` is its power
    /// beside the tone.
    pub fn follow(&mut self, tone: Complex64, frame: f64, frames: f64, ahead: f64, rest: f64) {
        let off = tone.norm() - self.amplitude();
        let amplitude = self.amplitude() + FOLLOW_AMPLITUDE * off;
        let phase = self.expected(frame).arg() + FOLLOW_PHASE * ahead;
        self.at = frame;
        self.value = Complex64::from_polar(amplitude, phase);
        let most = self.turn_most;
        self.turn = (self.turn + FOLLOW_TURN * ahead / frames).clamp(-most, most);
        // A single loud block is no new usual.
        self.rest += FOLLOW_AMPLITUDE * (rest.min(4.0 * self.rest + 1e-12) - self.rest);
    }

    /// Takes a step of the phase as the new state.
    pub fn step(&mut self, ahead: f64) {
        self.value *= Complex64::from_polar(1.0, ahead);
    }
}
