//! The analysis `offset`: listens for a second and says how far from zero the link's mean lies.

use goodwire_plugin_sdk::take::{Taking, plan_of_one_step};
use goodwire_plugin_sdk::{Block, Failure, Fed, OpenError, Plugin, Session};
use goodwire_plugin_sdk::{describe, export_plugin, figures::figure, payload::*};

struct Offset {
    frame_count: usize,
    taking: Taking,
}

impl Plugin for Offset {
    fn describe() -> Description {
        let summary = "Plays nothing; says how far from zero the mean of a second lies.";
        let analysis = AnalysisDescription {
            figures: vec![describe::figure("offset", "%", &[])],
            ..describe::listener("offset", "Offset", summary)
        };
        describe::plugin("offset", "1.0.0", [analysis])
    }

    fn open(request: &OpenRequest) -> Result<Box<dyn Session>, OpenError> {
        let frame_count = request.rate_hz.unsigned_abs() as usize;
        let taking = Taking::new(request);
        Ok(Box::new(Offset {
            frame_count,
            taking,
        }))
    }
}

impl Session for Offset {
    fn plan(&mut self) -> Result<Plan, Failure> {
        Ok(plan_of_one_step(self.frame_count, 0, -200.0))
    }

    fn begin(&mut self, _step: u32, _repeat: u32, retry: bool) -> Result<(), Failure> {
        self.taking.begin(retry);
        Ok(())
    }

    fn feed(&mut self, block: &Block<'_>) -> Result<Fed, Failure> {
        self.taking.feed(block)
    }

    fn finish(&mut self, _ended_early: bool) -> Result<SessionResult, Failure> {
        let heard: Vec<f64> = self
            .taking
            .finish()
            .returned
            .iter()
            .map(|&x| x.into())
            .collect();
        let (count, sum) = (heard.len() as f64, heard.iter().sum::<f64>());
        let power = heard.iter().map(|x| (x - sum / count).powi(2)).sum::<f64>() / count;
        let figures = vec![figure(
            "offset",
            100.0 * sum / count,
            100.0 * (power / count).sqrt(),
            "%",
        )];
        Ok(SessionResult {
            figures,
            ..SessionResult::default()
        })
    }
}

export_plugin!(Offset);
