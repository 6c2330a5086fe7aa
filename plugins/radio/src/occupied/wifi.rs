//! Wi-Fi channels at 2.4 and 5 GHz.
//!
//! Source: IEEE 802.11, centres by the channel starting frequency of clauses 15 to 19 and
//! Annex E; the blocks of 40, 80 and 160 MHz from memory of Annex E. Which of them may be used is
//! the law of the place; here it only matters which may be found in the air.

use super::{ChannelError, Occupant};

/// Where the second 20 MHz of a 40 MHz channel lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Secondary {
    /// Four channel numbers above the primary channel.
    Above,
    /// Four channel numbers below it.
    Below,
}

/// Whether a 2.4 GHz network sends with the old spread-spectrum rates, 1 to 11 Mbit/s.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dsss {
    /// It does: 22 MHz wide. Networks that list one of these as a basic rate send their beacons so.
    Sent,
    /// It does not: 20 MHz wide.
    Silent,
}

/// Width of a network at 5 GHz.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Width5 {
    /// 20 MHz.
    Mhz20,
    /// 40 MHz.
    Mhz40,
    /// 80 MHz.
    Mhz80,
    /// 160 MHz in one piece.
    Mhz160,
}

impl Width5 {
    /// The width of `mhz`, 20, 40, 80 or 160.
    #[must_use]
    pub fn of_mhz(mhz: u32) -> Option<Self> {
        Some(match mhz {
            20 => Self::Mhz20,
            40 => Self::Mhz40,
            80 => Self::Mhz80,
            160 => Self::Mhz160,
            _ => return None,
        })
    }

    /// Channels of 20 MHz in a block of this width.
    fn channel_count(self) -> u16 {
        match self {
            Self::Mhz20 => 1,
            Self::Mhz40 => 2,
            Self::Mhz80 => 4,
            Self::Mhz160 => 8,
        }
    }
}

/// First and last number of the runs of 20 MHz channels at 5 GHz, four numbers apart. Blocks begin
/// at the first of a run; a block that would not end within it does not exist.
const RUNS: [[u16; 2]; 3] = [[36, 64], [100, 144], [149, 177]];

/// Wi-Fi `channel` at 2.4 GHz: centre `2407 + 5 n` MHz for 1 to 13, 2484 MHz for 14.
///
/// 20 MHz wide, 22 MHz with [`Dsss::Sent`]; with a `secondary` 40 MHz, centred 10 MHz beside the
/// primary channel's centre.
///
/// # Errors
///
/// Channels other than 1 to 14; a secondary channel that would be none of 1 to 13.
pub fn wifi_2g4(
    channel: u16,
    dsss: Dsss,
    secondary: Option<Secondary>,
) -> Result<Occupant, ChannelError> {
    let centre_mhz = match channel {
        1..=13 => 2407.0 + 5.0 * f64::from(channel),
        14 => 2484.0,
        _ => return Err(none_at_2g4(channel)),
    };
    let Some(secondary) = secondary else {
        let width_mhz = if dsss == Dsss::Sent { 22.0 } else { 20.0 };
        let name = format!("Wi-Fi channel {channel}, {width_mhz} MHz");
        return Ok(Occupant::of_standard(name, centre_mhz, width_mhz));
    };
    let (word, offset_mhz, possible) = match secondary {
        Secondary::Above => ("above", 10.0, 1..=9),
        Secondary::Below => ("below", -10.0, 5..=13),
    };
    if !possible.contains(&channel) {
        let (first, last) = (possible.start(), possible.end());
        return Err(ChannelError {
            what: format!("Wi-Fi channel {channel} with its second 20 MHz {word}"),
            right: format!("channels {first} to {last} have one there"),
        });
    }
    let name = format!("Wi-Fi channel {channel}, 40 MHz, second half {word}");
    Ok(Occupant::of_standard(name, centre_mhz + offset_mhz, 40.0))
}

/// Wi-Fi `channel` at 5 GHz with the block of `width` it belongs to: centres `5000 + 5 n` MHz.
///
/// The blocks are fixed: 36 and 40 make one of 40 MHz, 40 and 44 do not. Any 20 MHz channel of a
/// block may be its primary one, so that each names the same band.
///
/// # Errors
///
/// Channels that are none of 36 to 64, 100 to 144, 149 to 177 in steps of four; those that belong
/// to no block of that width.
pub fn wifi_5g(channel: u16, width: Width5) -> Result<Occupant, ChannelError> {
    let Some([first, last]) = run_of(channel) else {
        return Err(none_at_5g(channel));
    };
    let numbers = 4 * width.channel_count();
    let block_first = channel - (channel - first) % numbers;
    let block_last = block_first + numbers - 4;
    let width_mhz = 5 * numbers;
    if block_last > last {
        let complete = block_first - 4;
        return Err(ChannelError {
            what: format!("a {width_mhz} MHz block with Wi-Fi channel {channel}"),
            right: format!("from {first} on, {complete} is the last channel in such a block"),
        });
    }
    let name = format!("Wi-Fi channel {channel}, {width_mhz} MHz");
    let centre = f64::from(block_first) + f64::from(numbers - 4) / 2.0;
    let centre_mhz = 5000.0 + 5.0 * centre;
    Ok(Occupant::of_standard(name, centre_mhz, width_mhz.into()))
}

fn none_at_2g4(channel: u16) -> ChannelError {
    ChannelError {
        what: format!("Wi-Fi channel {channel} at 2.4 GHz"),
        right: "1 to 14 do".to_owned(),
    }
}

fn none_at_5g(channel: u16) -> ChannelError {
    let beside = [channel.saturating_sub(2), channel + 2];
    let is_middle = beside.iter().all(|&n| run_of(n).is_some());
    ChannelError {
        what: format!("Wi-Fi channel {channel}, 20 MHz wide, at 5 GHz"),
        right: if is_middle {
            let [low, high] = beside;
            format!("{channel} is the middle of a wider block, name its channel {low} or {high}")
        } else {
            "36 to 64, 100 to 144 and 149 to 177 do, in steps of 4".to_owned()
        },
    }
}

/// The run that has `channel`.
fn run_of(channel: u16) -> Option<[u16; 2]> {
    let has = |[first, last]: [u16; 2]| {
        first <= channel && channel <= last && (channel - first).is_multiple_of(4)
    };
    RUNS.into_iter().find(|&run| has(run))
}
