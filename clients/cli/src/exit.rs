//! Exit codes, after the convention of monitoring plugins.

use goodwire_proto::v1::{Measurement, measurement::State, verdict::Outcome};

/// How the program ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// 0: passed, or succeeded without limits; any command that did its work.
    Pass,
    /// 1: within limits, but moved from the baseline.
    Drift,
    /// 2: a limit is broken.
    Fail,
    /// 3: unmeasured, failed, cancelled, refused, wrong usage.
    Unmeasured,
    /// 128 + the number of the signal that ended it: 130 for SIGINT.
    Signal(i32),
}

impl Exit {
    /// The code that the shell sees.
    pub fn code(self) -> i32 {
        match self {
            Self::Pass => 0,
            Self::Drift => 1,
            Self::Fail => 2,
            Self::Unmeasured => 3,
            Self::Signal(number) => 128 + number,
        }
    }

    /// What one measurement says: its verdict, where it succeeded.
    pub fn of(measurement: &Measurement) -> Self {
        if measurement.state() != State::Succeeded {
            return Self::Unmeasured;
        }
        let Some(verdict) = &measurement.verdict else {
            return Self::Pass;
        };
        match Outcome::try_from(verdict.outcome) {
            Ok(Outcome::Unspecified | Outcome::Pass) => Self::Pass,
            Ok(Outcome::Drift) => Self::Drift,
            Ok(Outcome::Fail) => Self::Fail,
            // An outcome that a newer daemon knows and we do not is none that we could vouch for.
            Ok(Outcome::Unmeasured) | Err(_) => Self::Unmeasured,
        }
    }

    /// The worst of several measurements: fail over unmeasured over drift over pass.
    pub fn worst(measurements: &[Measurement]) -> Self {
        measurements
            .iter()
            .map(Self::of)
            .max_by_key(|exit| exit.severity())
            .unwrap_or(Self::Pass)
    }

    /// 0 for a command that did its work, 3 for one that did not: of commands without verdict.
    pub fn done(done: bool) -> Self {
        if done { Self::Pass } else { Self::Unmeasured }
    }

    fn severity(self) -> u8 {
        match self {
            Self::Pass => 0,
            Self::Drift => 1,
            Self::Unmeasured => 2,
            Self::Fail => 3,
            Self::Signal(_) => 4,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use goodwire_proto::v1::Verdict;

    fn measured(outcome: Outcome) -> Measurement {
        Measurement {
            state: State::Succeeded.into(),
            verdict: Some(Verdict {
                outcome: outcome.into(),
                judgements: Vec::new(),
            }),
            ..Measurement::default()
        }
    }

    #[test]
    fn verdicts_exit_with_0_1_2_and_3() {
        for (outcome, code) in [
            (Outcome::Unspecified, 0),
            (Outcome::Pass, 0),
            (Outcome::Drift, 1),
            (Outcome::Fail, 2),
            (Outcome::Unmeasured, 3),
        ] {
            assert_eq!(Exit::of(&measured(outcome)).code(), code, "{outcome:?}");
        }
    }

    #[test]
    fn whatever_did_not_succeed_exits_with_3_even_if_it_once_passed() {
        for state in [
            State::Queued,
            State::Running,
            State::Failed,
            State::Cancelled,
        ] {
            let mut measurement = measured(Outcome::Pass);
            measurement.set_state(state);
            assert_eq!(Exit::of(&measurement).code(), 3, "{state:?}");
        }
    }

    #[test]
    fn of_several_links_fail_counts_over_unmeasured_over_drift_over_pass() {
        let [pass, drift, unmeasured, fail] = [
            Outcome::Pass,
            Outcome::Drift,
            Outcome::Unmeasured,
            Outcome::Fail,
        ]
        .map(measured);
        let worst = |several: &[&Measurement]| {
            Exit::worst(&several.iter().copied().cloned().collect::<Vec<_>>()).code()
        };
        assert_eq!(worst(&[&pass, &drift]), 1);
        assert_eq!(worst(&[&unmeasured, &drift, &pass]), 3);
        assert_eq!(worst(&[&pass, &fail, &unmeasured]), 2);
        assert_eq!(worst(&[]), 0);
    }
}
