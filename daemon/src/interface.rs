//! From the configuration to an interface that the engine can open, and open again.

use crate::{
    audio::{
        self, Interface, InterfaceError, OpenConfig,
        engine::Opener,
        paced::Paced,
    },
    config::{Backend, Config, SimulatedConfig, SimulatedTime},
    simulated::{RigLink, RigSpec, SimulatedInterface, SimulatedSite},
};

/// Highest peak of each send as a factor of full scale.
#[must_use]
pub fn ceilings(config: &Config) -> Vec<f32> {
    let ceiling = |send: usize| 10_f64.powf(config.send_ceiling_dbfs(send) / 20.0) as f32;
    (1..=config.interface.send_count).map(ceiling).collect()
}
