//! From the configuration to an interface that the engine can open, and open again.

use crate::{
    audio::{Interface, InterfaceError, OpenConfig, Paced, engine::Opener, open},
    config::{Backend, Config, LinkConfig, SimulatedConfig, SimulatedTime},
    simulated::{LinkSpec, RigSpec, SimulatedRig, settings::PathSettings},
};

/// Frames in one period of the simulated interface.
const SIMULATED_PERIOD_FRAMES: usize = 256;

/// Highest peak of each send as a factor of full scale.
#[must_use]
pub fn ceilings(config: &Config) -> Vec<f32> {
    let ceiling = |send: usize| 10_f64.powf(config.send_ceiling_dbfs(send) / 20.0) as f32;
    (1..=config.interface.send_count).map(ceiling).collect()
}

/// What opens the interface of a configuration, as often as it is needed.
#[must_use]
pub fn opener(config: &Config) -> Opener {
    let interface = &config.interface;
    let mut device = OpenConfig {
        backend: interface.backend.name().into(),
        rate_hz: interface.rate_hz,
        send_count: interface.send_count,
        return_count: interface.return_count,
        ..OpenConfig::default()
    };
    match &interface.backend {
        Backend::Simulated(simulated) => return simulated_opener(config, simulated),
        Backend::Jack(jack) => {
            device.jack_sends.clone_from(&jack.sends);
            device.jack_returns.clone_from(&jack.returns);
        }
        Backend::Alsa(alsa) => {
            device.playback.clone_from(&alsa.playback);
            device.capture.clone_from(&alsa.capture);
        }
    }
    Box::new(move || open(&device))
}

fn simulated_opener(config: &Config, simulated: &SimulatedConfig) -> Opener {
    let rig = SimulatedRig::new(rig_spec(config, simulated));
    let time = simulated.time;
    Box::new(move || -> Result<Box<dyn Interface>, InterfaceError> {
        let interface = rig.open()?;
        Ok(match time {
            SimulatedTime::Virtual => Box::new(interface),
            SimulatedTime::Real => Box::new(Paced::new(interface)),
        })
    })
}

fn rig_spec(config: &Config, simulated: &SimulatedConfig) -> RigSpec {
    let link = |link: &LinkConfig| LinkSpec {
        name: link.name.clone(),
        send_index: link.send - 1,
        return_index: link.r#return - 1,
        settings: link.simulated.clone(),
    };
    let paths = |count: usize, by_number: &std::collections::BTreeMap<usize, PathSettings>| {
        (1..=count)
            .map(|number| by_number.get(&number).cloned().unwrap_or_default())
            .collect()
    };
    let interface = &config.interface;
    RigSpec {
        rate_hz: interface.rate_hz,
        send_count: interface.send_count,
        return_count: interface.return_count,
        period_frames: SIMULATED_PERIOD_FRAMES,
        links: config.links.iter().map(link).collect(),
        reference: config
            .reference
            .map(|cable| (cable.send - 1, cable.r#return - 1)),
        sends: paths(interface.send_count, &simulated.sends),
        returns: paths(interface.return_count, &simulated.returns),
        rig: simulated.rig.clone(),
    }
}
