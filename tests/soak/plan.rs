//! What happens to the links, drawn from a seed and handed to the simulated rig as lists: the truth.

use std::fmt::Write;

/// The links, in order of their sends and returns. The last one is healthy.
pub const LINKS: [&str; 4] = ["mutes", "fades", "repeats", "healthy"];
/// Receiver noise of all links.
pub const NOISE_DBFS: f64 = -60.0;
/// Frames that an xrun loses, and a period.
pub const XRUN_FRAMES: u64 = 256;
/// Rate of the rig.
pub const RATE_HZ: f64 = 48_000.0;

/// Mean time between two gaps of a link, beside the least, in seconds.
const BETWEEN_S: f64 = 8.0;
/// Least time between two gaps.
const APART_S: f64 = 2.0;
/// Mean time between two xruns.
const XRUN_EVERY_S: f64 = 300.0;
/// Longest gap.
const LONGEST_MS: f64 = 500.0;
/// A fade out or in of the rig's ramps: they are down by 6 dB in its middle. With less than this
/// between these two points a ramp turns before it is silent, and nothing is lost.
const FADE_MS: f64 = 5.0;
/// Clocks of the links against the interface's, in ppm.
const SKEW_PPM: [f64; 4] = [0.0, 20.0, 0.0, 15.0];
/// Drift at which a simulated receiver slips, in seconds.
const SLIP_S: f64 = 0.020;

/// A stretch without the link's sound, between the -6 dB points of its edges.
#[derive(Debug, Clone, Copy)]
pub struct Gap {
    /// Seconds of the stream.
    pub start_s: f64,
    /// Its length in seconds.
    pub length_s: f64,
}

/// All that happens.
pub struct Plan {
    /// Gaps of each link, in order of time.
    pub gaps: [Vec<Gap>; 4],
    /// Moments at which the interface loses frames.
    pub xruns_s: Vec<f64>,
    /// Moments at which each link's delay steps.
    pub slips_s: [Vec<f64>; 4],
}

impl Plan {
    /// Draws what happens within so many seconds of the stream.
    pub fn draw(seed: u64, length_s: f64) -> Self {
        let shortest_ms = [Some(2.0), Some(FADE_MS), Some(2.0), None];
        let gaps = |link: usize| {
            let mut draw = Draw(seed.wrapping_mul(16).wrapping_add(link as u64));
            let mut gaps = Vec::new();
            let Some(shortest_ms) = shortest_ms[link] else {
                return gaps;
            };
            let mut start_s = 5.0 + draw.uniform();
            while start_s < length_s {
                let length_ms = shortest_ms * (LONGEST_MS / shortest_ms).powf(draw.uniform());
                gaps.push(Gap {
                    start_s,
                    length_s: length_ms / 1_000.0,
                });
                start_s += APART_S - BETWEEN_S * draw.uniform().ln();
            }
            gaps
        };
        Self {
            gaps: std::array::from_fn(gaps),
            xruns_s: xruns(seed, length_s),
            slips_s: SKEW_PPM.map(|ppm| slips(ppm, length_s)),
        }
    }

    /// The configuration of the rig on which that happens.
    pub fn configuration(&self) -> String {
        let xruns: Vec<String> = self.xruns_s.iter().map(f64::to_string).collect();
        let mut text = format!(
            "site = \"soak\"\n[interface]\nbackend = \"simulated\"\ntime = \"virtual\"\nrate = 48000\n\
             [interface.simulated]\nxrun_frames = {XRUN_FRAMES}\nxruns_at_s = [{}]\n\
             [reference]\nsend = 5\nreturn = 5\n",
            xruns.join(", ")
        );
        let ways = [
            "dropout_kind = \"mute\"\nhigh_corner_hz = 16000\n",
            "dropout_kind = \"ramp\"\ninverted = true\ndelay_ms = 30\n",
            "dropout_kind = \"repeat\"\nsway_db = 1.5\nsway_s = 45\nlow_corner_hz = 60\n",
            "sway_db = 3\nsway_s = 20\nhigh_corner_hz = 9000\nlow_corner_hz = 80\ndelay_ms = 30\n",
        ];
        for (index, name) in LINKS.iter().enumerate() {
            let number = index + 1;
            let listed: Vec<String> = self.gaps[index]
                .iter()
                .map(|gap| dropout(gap, *name == "fades"))
                .collect();
            write!(
                text,
                "[[link]]\nname = \"{name}\"\nsend = {number}\nreturn = {number}\n\
                 [link.simulated]\nnoise_dbfs = {NOISE_DBFS}\nskew_ppm = {}\n{}dropouts_at = [{}]\n",
                SKEW_PPM[index],
                ways[index],
                listed.join(", ")
            )
            .expect("writing to a string does not fail");
        }
        text
    }
}

/// A gap as the configuration has it. A ramp is down by 6 dB in the middle of its fades.
fn dropout(gap: &Gap, fades: bool) -> String {
    let beyond_ms = if fades { FADE_MS / 2.0 } else { 0.0 };
    let at_s = gap.start_s - beyond_ms / 1_000.0;
    let length_ms = gap.length_s * 1_000.0 + 2.0 * beyond_ms;
    format!("[{at_s:.6}, {length_ms:.3}]")
}

fn xruns(seed: u64, length_s: f64) -> Vec<f64> {
    let mut draw = Draw(seed.wrapping_mul(16).wrapping_add(15));
    let mut moments = Vec::new();
    let mut at_s = 0.0;
    loop {
        at_s += 5.0 - XRUN_EVERY_S * draw.uniform().ln();
        if at_s >= length_s {
            return moments;
        }
        moments.push(at_s);
    }
}

/// A link that brings more samples back grows late by `skew / (1 + skew)`, and is back at its delay
/// at once when that has come to 20 ms.
fn slips(ppm: f64, length_s: f64) -> Vec<f64> {
    if ppm == 0.0 {
        return Vec::new();
    }
    let every_s = SLIP_S * (1.0 + ppm * 1e-6) / (ppm * 1e-6);
    let count = (length_s / every_s) as usize;
    (1..=count).map(|number| number as f64 * every_s).collect()
}

/// Numbers from a seed: splitmix64 (Steele, Lea, Flood, OOPSLA 2014; constants from memory).
struct Draw(u64);

impl Draw {
    /// Between 0, which never comes, and 1.
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let bits = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let bits = (bits ^ (bits >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        (((bits ^ (bits >> 31)) >> 11) + 1) as f64 / (1_u64 << 53) as f64
    }
}
