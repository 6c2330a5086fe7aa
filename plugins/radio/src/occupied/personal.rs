//! Channels of the small radios at 2.4 GHz: IEEE 802.15.4 and Bluetooth.

use super::{ChannelError, Occupant};

/// Width of an IEEE 802.15.4 and of a Bluetooth LE channel in MHz.
const WIDTH_MHZ: f64 = 2.0;

/// IEEE 802.15.4 `channel` at 2.4 GHz: centre `2405 + 5 (k - 11)` MHz, 2 MHz wide.
///
/// Source: IEEE 802.15.4, channel page 0.
///
/// # Errors
///
/// Channels other than 11 to 26.
pub fn ieee802154(channel: u16) -> Result<Occupant, ChannelError> {
    if !(11..=26).contains(&channel) {
        return Err(ChannelError {
            what: format!("802.15.4 channel {channel} at 2.4 GHz"),
            right: "11 to 26 do".to_owned(),
        });
    }
    let centre_mhz = 2405.0 + 5.0 * f64::from(channel - 11);
    let name = format!("802.15.4 channel {channel}");
    Ok(Occupant::of_standard(name, centre_mhz, WIDTH_MHZ))
}

/// Bluetooth LE `channel`, 2 MHz wide: 37, 38 and 39, which advertise, at 2402, 2426 and 2480 MHz,
/// and 0 to 36 between them, 2 MHz apart.
///
/// Source: Bluetooth Core, link layer, channel map (from memory).
///
/// # Errors
///
/// Channels other than 0 to 39.
pub fn bluetooth_le(channel: u16) -> Result<Occupant, ChannelError> {
    let centre_mhz = match channel {
        37 => 2402.0,
        38 => 2426.0,
        39 => 2480.0,
        0..=10 => 2404.0 + 2.0 * f64::from(channel),
        11..=36 => 2428.0 + 2.0 * f64::from(channel - 11),
        _ => {
            return Err(ChannelError {
                what: format!("Bluetooth LE channel {channel}"),
                right: "0 to 39 do, of which 37, 38 and 39 advertise".to_owned(),
            });
        }
    };
    let name = format!("Bluetooth LE channel {channel}");
    Ok(Occupant::of_standard(name, centre_mhz, WIDTH_MHZ))
}

/// The whole band over which Bluetooth hops: centres 2402 to 2480 MHz, edges 2401 to 2481 MHz with
/// the 2 MHz channels of LE.
///
/// A hopping radio is in each place for some hundreds of microseconds and keeps out of places that
/// it finds busy: to count all of this band as occupied leaves a 2.4 GHz link nearly nothing, so
/// the caller decides. Source: Bluetooth Core, 2402 + k MHz for k = 0 to 78 (from memory).
#[must_use]
pub fn bluetooth_hopping() -> Occupant {
    Occupant::of_standard("Bluetooth, hopping".to_owned(), 2441.0, 80.0)
}
