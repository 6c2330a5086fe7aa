//! Opening a real interface by its configuration.

use super::{Interface, InterfaceError, jack::JackInterface};

/// What to open. The daemon's configuration is mapped onto it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct OpenConfig {
    /// `jack` or `alsa`.
    pub backend: String,
    /// Rate in Hz that the device must have.
    pub rate_hz: u32,
    /// How many sends the rig uses.
    pub send_count: usize,
    /// How many returns the rig uses.
    pub return_count: usize,
    /// JACK: the port that the k-th send is connected to.
    pub jack_sends: Vec<String>,
    /// JACK: the port that the k-th return is connected from.
    pub jack_returns: Vec<String>,
    /// ALSA: the device that plays, as `devices` names it.
    pub playback: String,
    /// ALSA: the device that hears, as `devices` names it.
    pub capture: String,
}

/// Opens a real interface. Nothing sounds until [`Interface::set_ceilings`] allows it.
///
/// # Errors
/// As the back ends say; `Unfit` for a back end that is not known here. After `Gone`, `Waiting`
/// and `Stalled` trying again makes sense, after `Unfit` the configuration or the device must
/// change first.
pub fn open(config: &OpenConfig) -> Result<Box<dyn Interface>, InterfaceError> {
    match config.backend.as_str() {
        "jack" => Ok(Box::new(JackInterface::open(config)?)),
        other => {
            let text = format!("there is no back end {other:?}; jack and alsa are known");
            Err(InterfaceError::Unfit { text })
        }
    }
}
