//! The simulated rig: an interface with simulated links, for trying and testing without hardware.
//!
//! It computes in virtual time and is exact in its frames: the same [`RigSpec`] gives the same
//! frames, bit by bit, in whatever blocks they are asked for. One frame goes this way:
//!
//! 1. every **send** clamps to its ceiling and applies its path (gain, roll-off);
//! 2. every **link** takes what its send gives and does to it what [`link`] describes;
//! 3. the **reference** takes what its send gives as it is;
//! 4. every **return** adds up the links (and the reference) that arrive there, applies its path,
//!    then adds its own noise and the programme that is played in the room.
//!
//! Nothing is late but the links: frame n that is played is frame n that a return hears. Returns
//! do not clip, so that a truth is a truth at every level; clipping is a setting of the links.
//!
//! Levels in dBFS are those of a sine unless said otherwise: noise at L dBFS has the RMS of a sine
//! whose peak is 10^(L/20), which is that peak divided by √2 (AES17, full-scale level).

mod battery;
mod clock;
mod delay;
mod dropouts;
mod filters;
mod gate;
mod interface;
pub mod link;
mod losses;
mod noise;
mod path;
pub(crate) mod random;
mod room;
pub mod settings;
mod sounds;
mod sway;
#[cfg(test)]
mod tests;
mod transmitter;
pub mod truth;
mod walk;

use std::{
    sync::{Arc, Mutex, PoisonError},
    time::Instant,
};

use self::settings::{LinkSettings, PathSettings, RigSettings};
pub use self::{dropouts::Dropout, interface::SimulatedInterface};
use crate::audio::InterfaceError;

/// What the simulated device is called in messages and in [`crate::audio::Shape::device`].
pub const DEVICE: &str = "simulated rig";

/// Frames that are computed in one go; also the grid on which filters are cleared of remains too
/// small to matter.
const CHUNK_FRAMES: usize = 256;

/// One simulated link of a [`RigSpec`].
#[derive(Debug, Clone, PartialEq)]
pub struct LinkSpec {
    /// The link's name; what [`LinkSettings::hears`] names, and what its chance events follow from.
    pub name: String,
    /// The send that feeds it, from 0.
    pub send_index: usize,
    /// The return that hears it, from 0.
    pub return_index: usize,
    /// What it does to the sound.
    pub settings: LinkSettings,
}

/// Everything that a simulated rig is made of.
#[derive(Debug, Clone, PartialEq)]
pub struct RigSpec {
    /// Rate in Hz.
    pub rate_hz: u32,
    /// How many sends there are.
    pub send_count: usize,
    /// How many returns there are.
    pub return_count: usize,
    /// Frames in one period: the natural block, and the grid on which xruns happen.
    pub period_frames: usize,
    /// The links.
    pub links: Vec<LinkSpec>,
    /// The plain cable: its send and its return, from 0.
    pub reference: Option<(usize, usize)>,
    /// What each send does to the sound, in order; what is missing has the default.
    pub sends: Vec<PathSettings>,
    /// What each return does to the sound, in order; what is missing has the default.
    pub returns: Vec<PathSettings>,
    /// What happens to the interface as a whole.
    pub rig: RigSettings,
}

impl RigSpec {
    /// A healthy rig of `link_count` links at `rate_hz`: link k (`link-1` and on) goes from send k
    /// to return k, and the cable from the last send to the last return.
    #[must_use]
    pub fn healthy(rate_hz: u32, link_count: usize) -> Self {
        let links = (0..link_count)
            .map(|k| LinkSpec {
                name: format!("link-{}", k + 1),
                send_index: k,
                return_index: k,
                settings: LinkSettings::default(),
            })
            .collect();
        Self {
            rate_hz,
            send_count: link_count + 1,
            return_count: link_count + 1,
            period_frames: 256,
            links,
            reference: Some((link_count, link_count)),
            sends: Vec::new(),
            returns: Vec::new(),
            rig: RigSettings::default(),
        }
    }
}

/// A simulated device, whether it is open or not: what is plugged in, and whether it is there.
///
/// Keep it as long as the configuration lives and [`SimulatedRig::open`] it again whenever an
/// interface was lost. It vanishes at most once in its life.
#[derive(Debug, Clone)]
pub struct SimulatedRig {
    spec: Arc<RigSpec>,
    /// When the device vanished, in wall time.
    vanished: Arc<Mutex<Option<Instant>>>,
}

impl SimulatedRig {
    /// Plugs it in.
    #[must_use]
    pub fn new(spec: RigSpec) -> Self {
        Self {
            spec: Arc::new(spec),
            vanished: Arc::default(),
        }
    }

    /// Opens it: a new stream, in which all that happens begins anew.
    ///
    /// # Errors
    /// [`InterfaceError::Gone`] while the device is away.
    ///
    /// # Panics
    /// Where a link or the reference names a send, return or link that the spec does not have; the
    /// configuration is checked before.
    pub fn open(&self) -> Result<SimulatedInterface, InterfaceError> {
        let vanished = *self.vanished.lock().unwrap_or_else(PoisonError::into_inner);
        let away = vanished.map_or(0.0, |at| {
            self.spec.rig.vanish_for_s - at.elapsed().as_secs_f64()
        });
        if away > 0.0 {
            return Err(InterfaceError::Gone {
                device: DEVICE.into(),
                text: format!("it vanished and stays away for another {away:.1} s"),
            });
        }
        Ok(SimulatedInterface::open(self))
    }

    /// Stream frame at which it vanishes; `None`: never, or it did already.
    fn vanish_frame(&self) -> Option<u64> {
        let at_s = self.spec.rig.vanish_at_s;
        let vanished = self.vanished.lock().unwrap_or_else(PoisonError::into_inner);
        (at_s > 0.0 && vanished.is_none()).then(|| frames_of_s(at_s, f64::from(self.spec.rate_hz)))
    }

    /// Pulls the plug.
    fn vanish(&self) {
        let mut vanished = self.vanished.lock().unwrap_or_else(PoisonError::into_inner);
        *vanished = Some(Instant::now());
    }
}

/// The factor of `gain_db`.
fn factor_of_db(gain_db: f64) -> f64 {
    10_f64.powf(gain_db / 20.0)
}

/// The RMS of a sine at `level_dbfs`.
fn rms_of_dbfs(level_dbfs: f64) -> f64 {
    factor_of_db(level_dbfs) * std::f64::consts::FRAC_1_SQRT_2
}

/// Whole frames in `seconds`; nothing for what is negative.
fn frames_of_s(seconds: f64, rate_hz: f64) -> u64 {
    (seconds * rate_hz).round().max(0.0) as u64
}
