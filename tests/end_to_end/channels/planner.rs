//! The analysis `planner`: without audio, and of a bad character if asked to, for the tests.

use std::{process, thread, time::Duration};

use goodwire_plugin_sdk::{
    Block, Failure, Fed, OpenError, Plugin, Session, describe, export_plugin,
    parameters::{Parameters, choice},
    payload::{
        AnalysisDescription, Description, OpenRequest, Plan, SessionResult, Step, step::Loss,
    },
};

struct Planner(String);

impl Plugin for Planner {
    fn describe() -> Description {
        let analysis = AnalysisDescription {
            parameters: vec![choice(
                "does",
                &["rest", "sleep", "crash", "play"],
                "What it does.",
            )],
            without_audio: true,
            ..describe::listener("planner", "Planner", "Plans nothing.")
        };
        describe::plugin("planner", "1.0.0", [analysis])
    }

    fn open(request: &OpenRequest) -> Result<Box<dyn Session>, OpenError> {
        Ok(Box::new(Self(
            Parameters::of(request).choice("does").to_owned(),
        )))
    }
}

impl Session for Planner {
    fn plan(&mut self) -> Result<Plan, Failure> {
        let step = Step {
            frame_count: 48,
            repeat_count: 1,
            peak_dbfs: -60.0,
            loss: Loss::Retry.into(),
            ..Step::default()
        };
        Ok(Plan {
            steps: if self.0 == "play" {
                vec![step]
            } else {
                Vec::new()
            },
            ..Plan::default()
        })
    }

    fn begin(&mut self, _step: u32, _repeat: u32, _retry: bool) -> Result<(), Failure> {
        Ok(())
    }

    fn feed(&mut self, _block: &Block<'_>) -> Result<Fed, Failure> {
        Ok(Fed::More)
    }

    fn finish(&mut self, _ended_early: bool) -> Result<SessionResult, Failure> {
        match self.0.as_str() {
            "sleep" => thread::sleep(Duration::from_secs(50)),
            "crash" => process::abort(),
            _ => {}
        }
        Ok(SessionResult::default())
    }
}

export_plugin!(Planner);
