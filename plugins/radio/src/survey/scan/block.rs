//! One network of a scan.

use crate::band::Band;
use crate::occupied::Occupant;
use crate::survey::{Heard, SurveyError, wrong};

/// Rates in Mbit/s that are sent with spread spectrum, 22 MHz wide. Source: IEEE 802.11, clauses
/// 15 and 16.
const DSSS_RATES: [&str; 4] = ["1.0", "2.0", "5.5", "11.0"];

/// What is said of one network.
#[derive(Default)]
pub struct Block {
    /// Line from 1 at which it begins.
    pub line: usize,
    heading: String,
    frequency_mhz: Option<f64>,
    level_dbm: Option<f64>,
    last_heard_s: Option<f64>,
    name: Option<String>,
    has_dsss: bool,
    primary: Option<u16>,
    /// Way in MHz from the primary channel's centre to that of the 40 MHz.
    secondary_mhz: Option<f64>,
    very_high: VeryHigh,
}

/// The heading `VHT operation`: a code of the width and the numbers of two centres, 0 for none.
#[derive(Default)]
struct VeryHigh {
    width: u16,
    centres: [u16; 2],
}

impl Block {
    pub fn begin(line: usize) -> Self {
        Self {
            line,
            ..Self::default()
        }
    }

    /// Reads one line, trimmed.
    pub fn read(&mut self, line: usize, text: &str) -> Result<(), SurveyError> {
        let (key, value) = text.split_once(':').unwrap_or((text, ""));
        let value = value.trim();
        if let Some(key) = key.strip_prefix('*') {
            self.read_below_heading(key.trim(), value);
            return Ok(());
        }
        self.heading = key.to_owned();
        match key {
            "freq" => {
                let number = value.parse().ok().filter(|mhz: &f64| mhz.is_finite());
                let what = || format!("freq: {value:?} is not a frequency in MHz");
                self.frequency_mhz = Some(number.ok_or_else(|| wrong(line, what()))?);
            }
            "signal" => {
                let dbm = value.strip_suffix("dBm");
                self.level_dbm = dbm.and_then(|dbm| dbm.trim().parse().ok());
            }
            "last seen" => {
                // A second line of this name counts from the start of the machine instead.
                let ago = value.strip_suffix("ms ago");
                let ms: Option<f64> = ago.and_then(|ms| ms.trim().parse().ok());
                self.last_heard_s = ms.map(|ms| ms / 1e3).or(self.last_heard_s);
            }
            "SSID" => self.name = Some(value.to_owned()),
            "Supported rates" => self.has_dsss = has_basic_dsss(value),
            _ => {}
        }
        Ok(())
    }

    fn read_below_heading(&mut self, key: &str, value: &str) {
        let code = || value.split_whitespace().next()?.parse().ok();
        match (self.heading.as_str(), key) {
            ("HT operation", "primary channel") => self.primary = code(),
            ("HT operation", "secondary channel offset") => {
                self.secondary_mhz = match value {
                    "above" => Some(10.0),
                    "below" => Some(-10.0),
                    _ => None,
                };
            }
            ("VHT operation", "channel width") => self.very_high.width = code().unwrap_or(0),
            ("VHT operation", "center freq segment 1") => {
                self.very_high.centres[0] = code().unwrap_or(0);
            }
            ("VHT operation", "center freq segment 2") => {
                self.very_high.centres[1] = code().unwrap_or(0);
            }
            _ => {}
        }
    }

    /// What was heard, more than one band for 80 + 80 MHz, with a note about what was taken for
    /// granted; or why it is passed over.
    pub fn heard(self) -> Result<(Vec<Heard>, Option<String>), String> {
        let centre_mhz = self
            .frequency_mhz
            .ok_or("passed over: the network has no line `freq`")?;
        let (channel, region) = channel(centre_mhz).ok_or_else(|| {
            format!("passed over: {centre_mhz} MHz is no Wi-Fi channel at 2.4, 5 or 6 GHz")
        })?;
        let note = if region == Region::Six {
            Some("the width of a 6 GHz network is not read, 20 MHz are taken".to_owned())
        } else {
            self.primary
                .filter(|&primary| primary != channel)
                .map(|primary| {
                    format!("it says channel {primary} but was heard on {channel}, which is taken")
                })
        };
        let name = match self.name.as_deref() {
            None | Some("") => "a hidden network",
            Some(name) if name.starts_with("\\x00") => "a hidden network",
            Some(name) => name,
        };
        let heard = self
            .bands(centre_mhz, region)
            .into_iter()
            .map(|band| Heard {
                occupant: Occupant {
                    name: format!("{name} (Wi-Fi channel {channel}, {} MHz)", band.width_mhz()),
                    band,
                },
                level_dbm: self.level_dbm,
                last_heard_s: self.last_heard_s,
            })
            .collect();
        Ok((heard, note))
    }

    /// Where it sends. Source of the codes: IEEE 802.11-2016, VHT operation element (from memory):
    /// width 1 is 80 MHz around the first centre, 160 MHz around the second if that is 8 numbers
    /// away, two times 80 MHz if farther; 2 and 3 are older words for the same.
    fn bands(&self, centre_mhz: f64, region: Region) -> Vec<Band> {
        let by_number = |number: u16| 5_000.0 + 5.0 * f64::from(number);
        let [first, second] = self.very_high.centres;
        let dsss_mhz = if self.has_dsss { 22.0 } else { 20.0 };
        let bands = match (region, self.very_high.width, self.secondary_mhz) {
            (Region::Five, 2, _) if first > 0 => vec![(by_number(first), 160.0)],
            (Region::Five, 1 | 3, _) if first > 0 => match first.abs_diff(second) {
                _ if second == 0 => vec![(by_number(first), 80.0)],
                8 => vec![(by_number(second), 160.0)],
                _ => [first, second].map(|n| (by_number(n), 80.0)).to_vec(),
            },
            (Region::Six, _, _) => vec![(centre_mhz, 20.0)],
            (_, _, Some(way_mhz)) => vec![(centre_mhz + way_mhz, 40.0)],
            (Region::Two, _, None) => vec![(centre_mhz, dsss_mhz)],
            (Region::Five, _, None) => vec![(centre_mhz, 20.0)],
        };
        let band = |(centre_mhz, width_mhz)| {
            Band::around(centre_mhz, width_mhz).expect("Wi-Fi lies above 2.4 GHz")
        };
        bands.into_iter().map(band).collect()
    }
}

/// The part of the spectrum a network is in: 2.4, 5 or 6 GHz.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Region {
    Two,
    Five,
    Six,
}

/// The number of the channel around `centre_mhz`. Source: IEEE 802.11, Annex E; the starting
/// frequency 5950 MHz of the 6 GHz channels from memory.
fn channel(centre_mhz: f64) -> Option<(u16, Region)> {
    let whole = |start_mhz: f64| ((centre_mhz - start_mhz) / 5.0).round() as u16;
    match centre_mhz {
        2_484.0 => Some((14, Region::Two)),
        2_412.0..=2_472.0 => Some((whole(2_407.0), Region::Two)),
        5_160.0..=5_895.0 => Some((whole(5_000.0), Region::Five)),
        5_935.0..=7_115.0 => Some((whole(5_950.0), Region::Six)),
        _ => None,
    }
}

/// True when one of the basic rates, those with a star, is a spread-spectrum one: then beacons are
/// sent with it.
fn has_basic_dsss(rates: &str) -> bool {
    let mut basic = rates
        .split_whitespace()
        .filter_map(|rate| rate.strip_suffix('*'));
    basic.any(|rate| DSSS_RATES.contains(&rate))
}
