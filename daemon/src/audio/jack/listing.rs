//! The server that can be reached, and what could be connected to it.

use jack::{Client, ClientOptions, PortFlags};

use super::{super::devices::DeviceInfo, device_name, ports::AUDIO};

/// The server that `JACK_DEFAULT_SERVER` names, with the ports that a configuration may list.
///
/// # Errors
/// Says so where no server answers.
pub fn list() -> Result<Vec<DeviceInfo>, String> {
    let _turn = super::turn()?;
    jack::set_logger(jack::LoggerType::None);
    let (client, _) = Client::new("goodwire-devices", ClientOptions::NO_START_SERVER)
        .map_err(|_| format!("no server answers as {}", device_name()))?;
    let ports = |flags| client.ports(None, Some(AUDIO), flags);
    // Where sound goes in is where a send may lead.
    let (sends, returns) = (ports(PortFlags::IS_INPUT), ports(PortFlags::IS_OUTPUT));
    Ok(vec![DeviceInfo {
        backend: "jack",
        id: device_name(),
        title: format!(
            "JACK server, {} Hz, {} frames a period",
            client.sample_rate(),
            client.buffer_size()
        ),
        send_count: Some(sends.len()),
        return_count: Some(returns.len()),
        transparent: true,
        text: format!(
            "sends may lead to {}; returns may come from {}",
            one_line(&sends),
            one_line(&returns)
        ),
    }])
}

fn one_line(ports: &[String]) -> String {
    if ports.is_empty() {
        String::from("nothing")
    } else {
        ports.join(", ")
    }
}
