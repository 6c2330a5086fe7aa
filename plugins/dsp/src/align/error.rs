//! What can be wrong with recordings.

use std::fmt;

/// Why recordings could not be put on the stimulus' frames. Each has a stable id.
#[derive(Debug, Clone, PartialEq)]
pub enum AlignError {
    /// There is no sound at all.
    NoSignal {
        /// `link` or `reference`.
        which: &'static str,
        /// Largest absolute sample.
        peak: f64,
    },
    /// Neither burst was found.
    Unrelated {
        /// `link` or `reference`.
        which: &'static str,
        /// Best likeness, 0 to 1, of any place.
        likeness: f64,
    },
    /// The recording is shorter than the stimulus.
    TooShort {
        /// `link` or `reference`.
        which: &'static str,
        /// Its length in seconds.
        got_s: f64,
        /// The least length in seconds.
        needed_s: f64,
    },
    /// One end of the stimulus is missing.
    CutOff {
        /// `link` or `reference`.
        which: &'static str,
        /// `beginning` or `end`.
        end: &'static str,
    },
    /// Both bursts are there, but not as far apart as in this stimulus.
    OtherStimulus {
        /// `link` or `reference`.
        which: &'static str,
    },
    /// The recording was turned round: its bursts are in place, what lies between them is not.
    Backwards {
        /// `link` or `reference`.
        which: &'static str,
    },
    /// What was sent is not the stimulus of these parameters.
    SentMismatch,
    /// The wave is cut off at its crests.
    Clipped {
        /// `link` or `reference`.
        which: &'static str,
        /// Number of flat tops.
        count: usize,
    },
    /// A sample is NaN or infinite.
    NotFinite {
        /// `link` or `reference`.
        which: &'static str,
        /// Its index, from 0.
        index: usize,
    },
}

impl AlignError {
    /// Stable id in kebab-case.
    #[must_use]
    pub fn id(&self) -> &'static str {
        match self {
            Self::NoSignal { .. } => "no-signal",
            Self::Unrelated { .. } | Self::Backwards { .. } => "unrelated",
            Self::TooShort { .. } => "too-short",
            Self::CutOff { .. } => "cut-off",
            Self::OtherStimulus { .. } | Self::SentMismatch => "sent-mismatch",
            Self::Clipped { .. } => "clipped",
            Self::NotFinite { .. } => "not-finite",
        }
    }
}

impl AlignError {
    /// Whose sound it is about: `link` or `reference`; empty where it is about what was sent.
    #[must_use]
    pub fn channel(&self) -> &'static str {
        match self {
            Self::NoSignal { which, .. }
            | Self::Unrelated { which, .. }
            | Self::TooShort { which, .. }
            | Self::CutOff { which, .. }
            | Self::OtherStimulus { which }
            | Self::Backwards { which }
            | Self::Clipped { which, .. }
            | Self::NotFinite { which, .. } => which,
            Self::SentMismatch => "",
        }
    }
}

impl fmt::Display for AlignError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoSignal { which, .. } => write!(
                f,
                "the {which}'s return is silent: check that the link is on and its return connected"
            ),
            Self::Unrelated { which, likeness } => write!(
                f,
                "nothing in the {which}'s return resembles the stimulus (likeness {likeness:.2}, at \
                 least {:.2} is needed): it is a recording of something else, or the link is down",
                super::LIKENESS_MIN
            ),
            Self::TooShort {
                which,
                got_s,
                needed_s,
            } => write!(
                f,
                "the {which}'s return is {got_s:.2} s long, the stimulus needs {needed_s:.2} s: \
                 record until it has ended"
            ),
            Self::CutOff { which, end } => write!(
                f,
                "the {which}'s return does not hold the {end} of the stimulus: record from before \
                 it starts until after it has ended"
            ),
            Self::OtherStimulus { which } => write!(
                f,
                "the {which}'s return is of another stimulus, or not of the rate that its file \
                 claims: its bursts are not as far apart as those that were sent"
            ),
            Self::Backwards { which } => write!(
                f,
                "the {which}'s return is the stimulus played backwards: give the recording as it \
                 was made"
            ),
            Self::SentMismatch => write!(
                f,
                "what was sent is not the stimulus of these parameters: give the parameters that \
                 the stimulus was made with"
            ),
            Self::Clipped { which, count } => write!(
                f,
                "the {which}'s return is cut off at its crests ({count} flat tops): lower the level \
                 of the stimulus, or the gain of the link or of the return"
            ),
            Self::NotFinite { which, index } => write!(
                f,
                "sample {index} of the {which}'s return is not a finite number: the file is damaged"
            ),
        }
    }
}

impl std::error::Error for AlignError {}
