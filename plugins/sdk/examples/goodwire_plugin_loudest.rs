//! The analysis `loudest`: plays a tone of one second and says how loud the link gave it back.

use goodwire_plugin_sdk::{
    Block, Failure, Fed, OpenError, Plugin, Session, Value, api, export_plugin, payload,
    payload::plan::{Capture, capture::Kind},
};

struct Loudest;

struct Run {
    rate_hz: i32,
    level_dbfs: f64,
    peak: f32,
}

impl Plugin for Loudest {
    fn describe() -> payload::Description {
        let level = api::Parameter {
            id: "level_dbfs".into(),
            kind: api::parameter::Kind::Number.into(),
            unit: "dBFS".into(),
            text: "Peak of the tone.".into(),
            default_value: Some(Value::from(-30.0)),
            min: Some(-80.0),
            max: Some(0.0),
            level: true,
            ..Default::default()
        };
        payload::Description {
            plugin: "loudest".into(),
            version: "1.0.0".into(),
            analyses: vec![payload::AnalysisDescription {
                id: "loudest".into(),
                title: "Loudest sample".into(),
                summary: "Says how loud a tone of 1 kHz comes back.".into(),
                parameters: vec![level],
                plays: true,
            }],
        }
    }

    fn open(request: &payload::OpenRequest) -> Result<Box<dyn Session>, OpenError> {
        let given = request.parameters.clone().unwrap_or_default();
        let level = given
            .fields
            .get("level_dbfs")
            .and_then(|value| value.kind.clone());
        let Some(goodwire_plugin_sdk::Kind::NumberValue(level_dbfs)) = level else {
            return Err(Failure::new("bad-call", "level_dbfs is missing").into());
        };
        Ok(Box::new(Run {
            rate_hz: request.rate_hz,
            level_dbfs,
            peak: 0.0,
        }))
    }
}

impl Session for Run {
    fn plan(&mut self) -> Result<payload::Plan, Failure> {
        Ok(payload::Plan {
            captures: vec![Capture {
                kind: Kind::Link.into(),
            }],
            steps: vec![payload::Step {
                frame_count: self.rate_hz,
                tail_frame_count: self.rate_hz / 10,
                repeat_count: 1,
                peak_dbfs: self.level_dbfs,
                loss: payload::step::Loss::Retry.into(),
            }],
        })
    }

    fn render(&mut self, _step: u32, first: u64, samples: &mut [f32]) -> Result<(), Failure> {
        let amplitude = 10_f64.powf(self.level_dbfs / 20.0);
        for (frame, sample) in (first..self.rate_hz as u64).zip(samples) {
            let turns = 1000.0 * frame as f64 / f64::from(self.rate_hz);
            *sample = (amplitude * (std::f64::consts::TAU * turns.fract()).sin()) as f32;
        }
        Ok(())
    }

    fn begin(&mut self, _step: u32, _repeat: u32, _retry: bool) -> Result<(), Failure> {
        self.peak = 0.0;
        Ok(())
    }

    fn feed(&mut self, block: &Block<'_>) -> Result<Fed, Failure> {
        let link = block.channels[0].unwrap_or_default();
        self.peak = link
            .iter()
            .fold(self.peak, |peak, sample| peak.max(sample.abs()));
        Ok(Fed::More)
    }

    fn finish(&mut self, _ended_early: bool) -> Result<payload::SessionResult, Failure> {
        if self.peak == 0.0 {
            return Err(Failure::new("no-signal", "the link returned silence"));
        }
        let figure = api::Figure {
            id: "peak".into(),
            value: Some(20.0 * f64::from(self.peak).log10()),
            unit: "dBFS".into(),
            ..Default::default()
        };
        Ok(payload::SessionResult {
            figures: vec![figure],
            ..Default::default()
        })
    }
}

export_plugin!(Loudest);
