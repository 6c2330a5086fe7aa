//! `[interface]` with what belongs to its back ends.

use std::collections::BTreeMap;

use super::{
    section::{CHANNEL_MAX, Section},
    simulated,
    types::{AlsaConfig, Backend, JackConfig, SimulatedConfig, SimulatedTime},
};

/// What `[interface]` says, before it is held against the links.
pub(super) struct InterfaceDraft<'t> {
    pub(super) section: Section<'t>,
    /// `None` where the back end itself is wrong.
    pub(super) backend: Option<Backend>,
    pub(super) rate_hz: u32,
    pub(super) stated_send_count: Option<usize>,
    pub(super) stated_return_count: Option<usize>,
}

/// The least that `[interface]` has to say.
pub(super) const LEAST: &str =
    "[interface]\nbackend = \"simulated\"\ntime = \"virtual\"\nrate = 48000";

const BACKENDS: [&str; 3] = ["simulated", "jack", "alsa"];

/// Used while the stated rate is wrong.
const RATE_DEFAULT_HZ: u64 = 48_000;

const DEVICE: &str = "the id of a device, as `goodwire devices` prints it";

/// Reads `[interface]`; `None` where there is none.
pub(super) fn read<'t>(file: &Section<'t>) -> Option<InterfaceDraft<'t>> {
    let section = file.need("interface", file.section("interface", "[interface]"), LEAST)?;
    let name = section.choice("backend", &BACKENDS);
    let name = section.need(
        "backend",
        name,
        "backend = \"simulated\", or \"jack\", or \"alsa\"",
    );
    let rate = section.whole("rate", 44_100..=192_000);
    let rate = section
        .need("rate", rate, "rate = 48000 (Hz)")
        .unwrap_or(RATE_DEFAULT_HZ);
    let rate_hz = u32::try_from(rate).expect("the range ends at 192000");
    let count = |key| {
        section
            .whole(key, 1..=CHANNEL_MAX)
            .and_then(|n| usize::try_from(n).ok())
    };
    let stated_send_count = count("sends");
    let stated_return_count = count("returns");
    let simulated = read_simulated(&section, rate_hz);
    let jack = read_jack(&section);
    let alsa = read_alsa(&section, name == Some("alsa"));
    refuse_other_backends(&section, name);
    let backend = match name {
        Some("simulated") => Some(Backend::Simulated(simulated)),
        Some("jack") => Some(Backend::Jack(jack)),
        Some("alsa") => Some(Backend::Alsa(alsa)),
        _ => None,
    };
    section.close();
    Some(InterfaceDraft {
        section,
        backend,
        rate_hz,
        stated_send_count,
        stated_return_count,
    })
}

fn read_simulated(interface: &Section<'_>, rate_hz: u32) -> SimulatedConfig {
    let time = match interface.choice("time", &["virtual", "real"]) {
        Some("real") => SimulatedTime::Real,
        _ => SimulatedTime::Virtual,
    };
    let (mut rig, mut sends, mut returns) = Default::default();
    if let Some(section) = interface.section("simulated", "[interface.simulated]") {
        rig = simulated::read_rig(&section);
        sends = read_paths(&section, "send", "[[interface.simulated.send]]", rate_hz);
        returns = read_paths(
            &section,
            "return",
            "[[interface.simulated.return]]",
            rate_hz,
        );
        section.close();
    }
    SimulatedConfig {
        time,
        rig,
        sends,
        returns,
    }
}

fn read_paths(
    section: &Section<'_>,
    key: &'static str,
    title: &str,
    rate_hz: u32,
) -> BTreeMap<usize, crate::simulated::settings::PathSettings> {
    let mut paths = BTreeMap::new();
    for path in section.sections(key, title) {
        let right = format!("number = 1 (the number of the {key}, from 1)");
        let number = path.need("number", path.channel("number"), &right);
        let settings = simulated::read_path(&path, rate_hz);
        path.close();
        let Some(number) = number else { continue };
        if paths.insert(number, settings).is_some() {
            let wrong = format!("{key} {number} is described twice");
            path.wrong("number", wrong, format!("one {title} for each {key}"));
        }
    }
    paths
}

fn read_jack(interface: &Section<'_>) -> JackConfig {
    let Some(section) = interface.section("jack", "[interface.jack]") else {
        return JackConfig::default();
    };
    let right = "a list of port names such as [\"dut:in_1\", \"dut:in_2\"]";
    let sends = section.texts("sends", right).unwrap_or_default();
    let returns = section.texts("returns", right).unwrap_or_default();
    section.close();
    JackConfig { sends, returns }
}

fn read_alsa(interface: &Section<'_>, needed: bool) -> AlsaConfig {
    let device = |key: &'static str| {
        let text = interface.text(key, DEVICE);
        let text = if needed {
            interface.need(key, text, DEVICE)
        } else {
            text
        };
        text.unwrap_or_default().to_owned()
    };
    AlsaConfig {
        playback: device("playback"),
        capture: device("capture"),
    }
}

/// What belongs to one back end means nothing with another: it was probably meant otherwise.
fn refuse_other_backends(interface: &Section<'_>, name: Option<&str>) {
    let Some(name) = name else { return };
    let owners = [
        ("time", "simulated"),
        ("simulated", "simulated"),
        ("jack", "jack"),
        ("playback", "alsa"),
        ("capture", "alsa"),
    ];
    for (key, owner) in owners {
        if interface.has(key) && owner != name {
            let wrong = format!("`{key}` belongs to the back end \"{owner}\", not to \"{name}\"");
            interface.wrong(
                key,
                wrong,
                format!("without it, or with backend = \"{owner}\""),
            );
        }
    }
}
