//! Which ports there are, and whether those that the configuration names fit.

use jack::{Client, PortFlags};

use super::super::{InterfaceError, open::OpenConfig};

/// JACK's name for the type of every port that carries sound.
pub const AUDIO: &str = "32 bit float mono audio";

/// What the names of all ports begin with that cpal makes in this process.
pub fn own_prefix() -> String {
    format!("cpal_client_{}_", std::process::id())
}

/// Ports that cpal made in this process.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Ports {
    /// Those that sound leaves through, in the order of the sends.
    pub outputs: Vec<String>,
    /// Those that sound comes in through, in the order of the returns.
    pub inputs: Vec<String>,
}

impl Ports {
    /// Lists them.
    pub fn list(client: &Client) -> Self {
        let pattern = format!("^{}", own_prefix());
        let list = |flags| {
            let mut names = client.ports(Some(&pattern), Some(AUDIO), flags);
            // The server may list them in any order: `out_10` follows `out_9`.
            names.sort_by_key(|name| (client_of(name).to_owned(), number_of(name)));
            names
        };
        Self {
            outputs: list(PortFlags::IS_OUTPUT),
            inputs: list(PortFlags::IS_INPUT),
        }
    }

    /// Those that `other` does not have.
    pub fn without(mut self, other: &Self) -> Self {
        self.outputs.retain(|name| !other.outputs.contains(name));
        self.inputs.retain(|name| !other.inputs.contains(name));
        self
    }

    /// All names.
    pub fn names(&self) -> impl Iterator<Item = &String> {
        self.outputs.iter().chain(&self.inputs)
    }
}

fn client_of(name: &str) -> &str {
    name.split_once(':').map_or(name, |(client, _)| client)
}

fn number_of(name: &str) -> usize {
    name.rsplit('_')
        .next()
        .and_then(|digits| digits.parse().ok())
        .unwrap_or(usize::MAX)
}

/// Checks that every port that the configuration names exists and has the right direction.
///
/// # Errors
/// `Unfit` for a port that cannot be connected so, `Waiting` for ports that do not exist yet.
pub fn check_named_ports(client: &Client, config: &OpenConfig) -> Result<(), InterfaceError> {
    let mut missing = Vec::new();
    let sends = config
        .jack_sends
        .iter()
        .map(|name| (name, PortFlags::IS_INPUT, "send"));
    let returns = config
        .jack_returns
        .iter()
        .map(|name| (name, PortFlags::IS_OUTPUT, "return"));
    for (name, wanted, role) in sends.chain(returns) {
        let port = (!name.contains('\0'))
            .then(|| client.port_by_name(name))
            .flatten();
        let Some(port) = port else {
            missing.push(name.as_str());
            continue;
        };
        if !port.flags().contains(wanted) || port.port_type().as_deref() != Ok(AUDIO) {
            let way = if role == "send" {
                "takes sound in"
            } else {
                "gives sound out"
            };
            let text = format!("the JACK port {name} cannot be a {role}: name a port that {way}");
            return Err(InterfaceError::Unfit { text });
        }
    }
    if missing.is_empty() {
        return Ok(());
    }
    let text = format!(
        "waiting for the JACK ports {}, which do not exist yet",
        missing.join(", ")
    );
    Err(InterfaceError::Waiting { text })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn port_10_sorts_after_port_9() {
        assert!(number_of("cpal_client_1_out:out_10") > number_of("cpal_client_1_out:out_9"));
        assert_eq!(client_of("cpal_client_1_out:out_9"), "cpal_client_1_out");
    }
}
