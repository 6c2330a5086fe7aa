//! What the audio back ends can see, without opening any device.

use std::time::Duration;

use alsa::Output;
use cpal::{
    DeviceDirection,
    traits::{DeviceTrait, HostTrait},
};

use super::{alsa::is_transparent, closing, jack};

/// One device that a back end can see.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DeviceInfo {
    /// `jack` or `alsa`.
    pub backend: &'static str,
    /// Stable id to put into the configuration.
    pub id: String,
    /// Name for people.
    pub title: String,
    /// Sends that it has; `None` where it is not known without opening it.
    pub send_count: Option<usize>,
    /// Returns that it has; `None` where it is not known without opening it.
    pub return_count: Option<usize>,
    /// False where it may resample, mix or scale.
    pub transparent: bool,
    /// What else is to be known; empty where nothing is.
    pub text: String,
}

/// All that the back ends can see.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct DeviceList {
    /// By back end and id.
    pub devices: Vec<DeviceInfo>,
    /// Back ends that could not be asked, and why.
    pub troubles: Vec<(&'static str, String)>,
}

/// A server that hangs must not hang whoever asks.
const JACK_LIMIT: Duration = Duration::from_secs(2);

/// Lists the devices; with `include_virtual` also those of ALSA that are no hardware.
///
/// Never fails: what could not be asked is told beside what could.
#[must_use]
pub fn list(include_virtual: bool) -> DeviceList {
    let mut list = DeviceList::default();
    match closing::within(JACK_LIMIT, "list-jack", jack::list) {
        Some(Ok(servers)) => list.devices.extend(servers),
        Some(Err(text)) => list.troubles.push(("jack", text)),
        None => list
            .troubles
            .push(("jack", String::from("the server does not answer"))),
    }
    match list_alsa(include_virtual) {
        Ok(devices) => list.devices.extend(devices),
        Err(text) => list.troubles.push(("alsa", text)),
    }
    list.devices
        .sort_by(|a, b| (a.backend, &a.id).cmp(&(b.backend, &b.id)));
    list
}

fn list_alsa(include_virtual: bool) -> Result<Vec<DeviceInfo>, String> {
    // libasound prints to standard error unless it is told where else, thread by thread.
    let _chatter = Output::local_error_handler();
    let host = cpal::host_from_id(cpal::HostId::Alsa).map_err(|error| error.to_string())?;
    let devices = host.devices().map_err(|error| error.to_string())?;
    let infos = devices.filter_map(|device| alsa_info(&device));
    Ok(infos
        .filter(|info| include_virtual || is_stable_hardware(&info.id))
        .collect())
}

fn alsa_info(device: &cpal::Device) -> Option<DeviceInfo> {
    let id = device.id().ok()?.id().to_owned();
    let description = device.description().ok()?;
    let direction = description.direction();
    let transparent = is_transparent(&id);
    let text = if transparent {
        ""
    } else {
        "may resample, mix or scale: not to measure through"
    };
    Some(DeviceInfo {
        backend: "alsa",
        title: description.name().to_owned(),
        send_count: (direction == DeviceDirection::Input).then_some(0),
        return_count: (direction == DeviceDirection::Output).then_some(0),
        transparent,
        text: text.to_owned(),
        id,
    })
}

/// Hardware by its card's id; the card's number, which cpal lists too, changes with the order in
/// which cards are plugged in.
fn is_stable_hardware(id: &str) -> bool {
    let card = id
        .strip_prefix("hw:CARD=")
        .and_then(|rest| rest.split(',').next());
    card.is_some_and(|card| !card.bytes().all(|byte| byte.is_ascii_digit()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn card_numbers_and_virtual_devices_are_hidden() {
        assert!(is_stable_hardware("hw:CARD=Box,DEV=0"));
        for id in [
            "hw:CARD=0,DEV=0",
            "plughw:CARD=Box,DEV=0",
            "default",
            "null",
        ] {
            assert!(!is_stable_hardware(id), "{id}");
        }
    }

    #[test]
    fn listing_without_any_hardware_succeeds_and_names_virtual_devices_when_asked() {
        let hardware = list(false);
        assert!(hardware.devices.iter().all(|device| device.transparent));
        let all = list(true);
        let null = all
            .devices
            .iter()
            .find(|device| device.id == "null")
            .unwrap();
        assert_eq!((null.backend, null.transparent), ("alsa", false));
        assert!(null.text.contains("resample"));
        assert!(all.devices.len() > hardware.devices.len());
    }
}
