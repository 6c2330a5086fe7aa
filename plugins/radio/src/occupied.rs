//! What is known to be occupied, by the channel numbers of open standards.

mod personal;
mod wifi;

pub use personal::{bluetooth_hopping, bluetooth_le, ieee802154};
pub use wifi::{Dsss, Secondary, Width5, wifi_2g4, wifi_5g};

use crate::band::{Band, BandError};

/// Somebody else's transmission.
#[derive(Debug, Clone, PartialEq)]
pub struct Occupant {
    /// What it is, for people: `Wi-Fi channel 6, 20 MHz`.
    pub name: String,
    /// Where it is.
    pub band: Band,
}

/// A channel that does not exist, and those that do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{what} does not exist: {right}")]
pub struct ChannelError {
    /// What was asked for.
    pub what: String,
    /// What would be right.
    pub right: String,
}

impl Occupant {
    /// A band that the user adds by its edges in MHz: another link, a television channel.
    ///
    /// # Errors
    ///
    /// Edges that are no band.
    pub fn between(name: &str, low_mhz: f64, high_mhz: f64) -> Result<Self, BandError> {
        let band = Band::from_edges(low_mhz, high_mhz)?;
        let name = name.to_owned();
        Ok(Self { name, band })
    }

    /// A channel of a standard: its numbers are small, so that its band always exists.
    fn of_standard(name: String, centre_mhz: f64, width_mhz: f64) -> Self {
        let band = Band::around(centre_mhz, width_mhz)
            .expect("centres of standards lie above 2 GHz and widths below 200 MHz");
        Self { name, band }
    }
}
