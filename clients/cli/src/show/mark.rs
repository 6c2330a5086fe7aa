//! Verdicts and states as word and shape; colour only adds to both.

use goodwire_proto::v1::{Measurement, measurement::State, verdict::Outcome};

use super::look::{Look, Paint};

/// A word with a shape of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Mark {
    shape: char,
    ascii: char,
    /// The word.
    pub word: &'static str,
    paint: Paint,
}

const fn mark(shape: char, ascii: char, word: &'static str, paint: Paint) -> Mark {
    Mark {
        shape,
        ascii,
        word,
        paint,
    }
}

const PASS: Mark = mark('✓', '+', "pass", Paint::Green);
const DRIFT: Mark = mark('≈', '~', "drift", Paint::Yellow);
const FAIL: Mark = mark('✗', 'X', "fail", Paint::Red);
const UNMEASURED: Mark = mark('?', '?', "unmeasured", Paint::Cyan);
const NO_LIMITS: Mark = mark('·', '.', "no limits", Paint::Dim);
const QUEUED: Mark = mark('…', ',', "queued", Paint::Dim);
const FAILED: Mark = mark('!', '!', "failed", Paint::Cyan);
const CANCELLED: Mark = mark('/', '/', "cancelled", Paint::Dim);

impl Mark {
    /// Under way.
    pub const RUNNING: Self = mark('▸', '>', "running", Paint::Dim);

    /// What a judge said, as the number on the wire.
    pub fn of_outcome(outcome: i32) -> Self {
        match Outcome::try_from(outcome) {
            Ok(Outcome::Unspecified) => NO_LIMITS,
            Ok(Outcome::Pass) => PASS,
            Ok(Outcome::Drift) => DRIFT,
            Ok(Outcome::Fail) => FAIL,
            Ok(Outcome::Unmeasured) | Err(_) => UNMEASURED,
        }
    }

    /// How a measurement stands: its verdict, else its state; both as the numbers on the wire.
    pub fn of_state(state: i32, outcome: i32) -> Self {
        match State::try_from(state) {
            Ok(State::Succeeded) => Self::of_outcome(outcome),
            Ok(State::Queued) => QUEUED,
            Ok(State::Running) => Self::RUNNING,
            Ok(State::Cancelled) => CANCELLED,
            Ok(State::Failed | State::Unspecified) | Err(_) => FAILED,
        }
    }

    /// How a measurement stands.
    pub fn of(measurement: &Measurement) -> Self {
        let verdict = measurement.verdict.as_ref();
        Self::of_state(
            measurement.state,
            verdict.map_or(0, |verdict| verdict.outcome),
        )
    }

    /// How much it matters among several: what is broken most, what is well least.
    pub fn severity(self) -> u8 {
        match self {
            FAIL => 5,
            UNMEASURED | FAILED | CANCELLED => 4,
            DRIFT => 3,
            Self::RUNNING | QUEUED => 2,
            PASS => 1,
            _ => 0,
        }
    }

    /// Shape and word, `✓ pass`.
    pub fn text(self, look: &Look) -> String {
        format!("{} {}", self.shape(look), self.word)
    }

    /// The shape alone, where the word stands nearby.
    pub fn shape(self, look: &Look) -> char {
        look.either(self.shape, self.ascii)
    }

    /// Its colour.
    pub fn paint(self) -> Paint {
        self.paint
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_mark_has_a_word_and_two_shapes_of_its_own() {
        let all = [
            PASS,
            DRIFT,
            FAIL,
            UNMEASURED,
            NO_LIMITS,
            QUEUED,
            Mark::RUNNING,
            FAILED,
            CANCELLED,
        ];
        for (index, one) in all.iter().enumerate() {
            assert!(one.ascii.is_ascii());
            for other in &all[..index] {
                assert_ne!(one.word, other.word);
                assert_ne!(one.shape, other.shape);
                assert_ne!(one.ascii, other.ascii);
            }
        }
    }
}
