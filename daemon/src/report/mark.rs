//! What is said of a measurement or a link, as a word and a shape.

use goodwire_proto::v1::{
    LinkCheck, Measurement, Run, RunCheck, measurement::State, run, verdict::Outcome,
};

/// What is said, best first: the worst of several is the largest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Mark {
    /// Measured, and no limit says anything.
    NoLimit,
    /// Every limit is kept.
    Pass,
    /// Within limits, but moved from the baseline.
    Drift,
    /// Waits, or is being measured.
    Unfinished,
    /// Nothing can be said.
    Unmeasured,
    /// A limit is broken.
    Fail,
}

/// All marks, worst first, as a page lists them.
pub(crate) const WORST_FIRST: [Mark; 6] = [
    Mark::Fail,
    Mark::Unmeasured,
    Mark::Unfinished,
    Mark::Drift,
    Mark::Pass,
    Mark::NoLimit,
];

impl Mark {
    /// What is said of a measurement.
    pub(crate) fn of(measurement: &Measurement) -> Self {
        let outcome = measurement
            .verdict
            .as_ref()
            .map(|verdict| verdict.outcome());
        Self::new(measurement.state(), outcome.unwrap_or_default())
    }

    /// What is said of a check of a run.
    pub(crate) fn of_check(check: &RunCheck) -> Self {
        Self::new(check.state(), check.outcome())
    }

    /// What was last said of a link by an analysis.
    pub(crate) fn of_last(check: &LinkCheck) -> Self {
        Self::new(check.state(), check.outcome())
    }

    /// What is said of a run.
    pub(crate) fn of_run(run: &Run) -> Self {
        match run.state() {
            run::State::Running => Self::Unfinished,
            run::State::Missed => Self::Unmeasured,
            _ => Self::of_outcome(run.outcome()),
        }
    }

    pub(crate) fn new(state: State, outcome: Outcome) -> Self {
        match (state, outcome) {
            (State::Queued | State::Running, _) => Self::Unfinished,
            (_, Outcome::Fail) => Self::Fail,
            (State::Succeeded, other) => Self::of_outcome(other),
            _ => Self::Unmeasured,
        }
    }

    /// What a verdict says.
    pub(crate) fn of_outcome(outcome: Outcome) -> Self {
        match outcome {
            Outcome::Unspecified => Self::NoLimit,
            Outcome::Pass => Self::Pass,
            Outcome::Drift => Self::Drift,
            Outcome::Fail => Self::Fail,
            Outcome::Unmeasured => Self::Unmeasured,
        }
    }

    /// The word.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::NoLimit => "No limit",
            Self::Pass => "Pass",
            Self::Drift => "Drift",
            Self::Unfinished => "Not finished",
            Self::Unmeasured => "Unmeasured",
            Self::Fail => "Fail",
        }
    }

    /// What the word means, for the legend.
    pub(crate) fn meaning(self) -> &'static str {
        match self {
            Self::NoLimit => "measured; no limit is set for it",
            Self::Pass => "every limit is kept, uncertainty counted",
            Self::Drift => "within limits, but moved from the baseline further than allowed",
            Self::Unfinished => "waits, or is being measured",
            Self::Unmeasured => "nothing can be said, and the text says why",
            Self::Fail => "a limit is broken, uncertainty counted",
        }
    }

    /// The shape alone, for a line that says the word too.
    pub(crate) fn shape(self) -> String {
        let (class, drawing) = self.drawing();
        format!(
            "<svg class=\"shape {class}\" viewBox=\"0 0 20 20\" aria-hidden=\"true\">{drawing}</svg>"
        )
    }

    /// The class of its colour, and its lines in a square of 20.
    pub(crate) fn drawing(self) -> (&'static str, &'static str) {
        match self {
            Self::NoLimit => ("none", "<path d=\"M3 10H17\"/>"),
            Self::Pass => (
                "pass",
                "<circle cx=\"10\" cy=\"10\" r=\"8\"/><path d=\"M6 10.5L9 13.5L14 7\"/>",
            ),
            Self::Drift => (
                "drift",
                "<path d=\"M10 1.5L18.5 17.5H1.5Z\"/><path d=\"M6.5 13.5H13M11 11.5L13 13.5L11 15.5\"/>",
            ),
            Self::Unfinished => (
                "none",
                "<circle cx=\"10\" cy=\"10\" r=\"8\"/><path d=\"M10 5V10L13.5 12\"/>",
            ),
            Self::Unmeasured => (
                "unmeasured",
                "<circle cx=\"10\" cy=\"10\" r=\"8\" stroke-dasharray=\"3 2\"/>\
                 <path d=\"M7.5 8A2.5 2.5 0 1 1 10 10.5V12M10 14V14.6\"/>",
            ),
            Self::Fail => (
                "fail",
                "<path d=\"M2 2H18V18H2Z\"/><path d=\"M6 6L14 14M14 6L6 14\"/>",
            ),
        }
    }

    /// Shape and word.
    pub(crate) fn show(self) -> String {
        format!(
            "<span class=\"mark\">{} {}</span>",
            self.shape(),
            self.word()
        )
    }
}

/// What the words and shapes mean, as a list.
pub(crate) fn legend() -> String {
    let marks: String = WORST_FIRST
        .iter()
        .map(|mark| format!("<dt>{}</dt><dd>{}</dd>\n", mark.show(), mark.meaning()))
        .collect();
    format!("<dl class=\"legend\">\n{marks}</dl>\n")
}
