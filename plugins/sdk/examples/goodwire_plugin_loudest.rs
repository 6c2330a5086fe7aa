//! The analysis `loudest`: plays a tone of one second and says how loud the link gave it back.

use goodwire_plugin_sdk::figures::figure;
use goodwire_plugin_sdk::parameters::{Parameters, level_dbfs, wake_s};
use goodwire_plugin_sdk::{Block, Failure, Fed, OpenError, Plugin, Session};
use goodwire_plugin_sdk::{describe, export_plugin, payload, take::plan_of_one_step};

struct Loudest {
    rate_hz: f64,
    level_dbfs: f64,
    wake_frame_count: u64,
    peak: f32,
}

impl Plugin for Loudest {
    fn describe() -> payload::Description {
        let loudest = payload::AnalysisDescription {
            id: "loudest".into(),
            title: "Loudest sample".into(),
            summary: "Says how loud a tone of 997 Hz comes back.".into(),
            parameters: vec![level_dbfs(-30.0), wake_s()],
            plays: true,
            figures: vec![describe::figure("peak", "dBFS", &[])],
            ..Default::default()
        };
        payload::Description {
            plugin: "loudest".into(),
            version: "1.0.0".into(),
            analyses: vec![loudest],
        }
    }

    fn open(request: &payload::OpenRequest) -> Result<Box<dyn Session>, OpenError> {
        let given = Parameters::of(request);
        let rate_hz = f64::from(request.rate_hz);
        Ok(Box::new(Self {
            rate_hz,
            level_dbfs: given.number("level_dbfs"),
            wake_frame_count: (given.number("wake_s") * rate_hz) as u64,
            peak: 0.0,
        }))
    }
}

impl Session for Loudest {
    fn plan(&mut self) -> Result<payload::Plan, Failure> {
        let (second, wake) = (self.rate_hz as usize, self.wake_frame_count as usize);
        Ok(plan_of_one_step(wake + second, second, self.level_dbfs))
    }

    fn render(&mut self, _step: u32, first: u64, samples: &mut [f32]) -> Result<(), Failure> {
        let end = self.wake_frame_count + self.rate_hz as u64;
        for (frame, sample) in (first..end).zip(samples) {
            // Links sleep: a softer tone wakes them first.
            let softer_db = if frame < self.wake_frame_count {
                20.0
            } else {
                0.0
            };
            let amplitude = 10_f64.powf((self.level_dbfs - softer_db) / 20.0);
            let turns = 997.0 * frame as f64 / self.rate_hz;
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
        let awake = self.wake_frame_count.saturating_sub(block.first_frame) as usize;
        for sample in link.iter().skip(awake) {
            self.peak = self.peak.max(sample.abs());
        }
        Ok(Fed::More)
    }

    fn finish(&mut self, _ended_early: bool) -> Result<payload::SessionResult, Failure> {
        if self.peak == 0.0 {
            return Err(Failure::new("no-signal", "the link returned silence"));
        }
        let peak_dbfs = 20.0 * f64::from(self.peak).log10();
        // How far the largest sample of a tone may lie below its crest, as a standard deviation.
        let uncertainty_db = 0.01;
        Ok(payload::SessionResult {
            figures: vec![figure("peak", peak_dbfs, uncertainty_db, "dBFS")],
            ..Default::default()
        })
    }
}

export_plugin!(Loudest);
