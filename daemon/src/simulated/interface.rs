//! The simulated rig as an audio interface: frames in, frames out, xruns, and the day it vanishes.

use std::{sync::Arc, time::Duration};

use super::{CHUNK_FRAMES, DEVICE, RigSpec, SimulatedRig, losses::Losses, sounds::Sounds};
use crate::audio::{Heard, Interface, InterfaceError, Mute, Shape, TimeSource};

/// A stream starts once, with its opening, and never recovers.
const EPOCH: u64 = 1;

/// An open simulated rig, in virtual time.
///
/// It hears exactly the frames that are played, except for those that an xrun loses: these are
/// missing from what is heard, and counted in [`Heard::lost`] of the exchange that brings the frames
/// after them. Frames that follow an xrun within one block come with the next exchange.
#[derive(Debug)]
pub struct SimulatedInterface {
    rig: SimulatedRig,
    shape: Shape,
    mute: Arc<Mute>,
    ceilings: Vec<f32>,
    clamped_count: u64,
    sounds: Sounds,
    losses: Losses,
    /// Frame number of the first frame of the stream.
    start_frame: Option<u64>,
    /// What was captured and not yet heard, one vector a return.
    captured: Vec<Vec<f32>>,
    /// Stream frame of the first of it.
    captured_frame: u64,
}

impl SimulatedInterface {
    /// Plugs a rig in and opens it.
    ///
    /// Where the device is to vanish and come back, keep a [`SimulatedRig`] and open that: a new
    /// interface knows nothing of one that vanished before.
    ///
    /// # Panics
    /// As [`SimulatedRig::open`].
    #[must_use]
    pub fn new(spec: &RigSpec) -> Self {
        Self::open(&SimulatedRig::new(spec.clone()))
    }

    pub(super) fn open(rig: &SimulatedRig) -> Self {
        let spec = &rig.spec;
        Self {
            rig: rig.clone(),
            shape: Shape {
                backend: "simulated",
                device: DEVICE.into(),
                rate_hz: spec.rate_hz,
                send_count: spec.send_count,
                return_count: spec.return_count,
                period_frames: spec.period_frames,
                locked: true,
                simulated: true,
                time: TimeSource::Virtual,
                output_latency_ms: Some(0.0),
                scheduling: String::new(),
            },
            mute: Arc::default(),
            ceilings: vec![1.0; spec.send_count],
            clamped_count: 0,
            sounds: Sounds::new(spec),
            losses: Losses::new(spec),
            start_frame: None,
            captured: vec![Vec::new(); spec.return_count],
            captured_frame: 0,
        }
    }

    /// Samples that were above their send's ceiling, or no numbers at all, and were clamped.
    #[must_use]
    pub fn clamped_count(&self) -> u64 {
        self.clamped_count
    }

    /// Computes a block and captures what the returns hear of it.
    fn run(&mut self, play: &[&[f32]]) {
        let frame_count = play.first().map_or(0, |send| send.len());
        let silent = self.mute.is_set();
        let mut done = 0;
        while done < frame_count {
            // Up to the next border of the grid, so that what happens there never depends on the
            // blocks.
            let to_border = CHUNK_FRAMES - (self.sounds.frame() % CHUNK_FRAMES as u64) as usize;
            let chunk = done..frame_count.min(done + to_border);
            done = chunk.end;
            for (k, (send, sound)) in play.iter().zip(self.sounds.sends_mut()).enumerate() {
                let ceiling = if silent { 0.0 } else { self.ceilings[k] };
                sound.clear();
                sound.extend(send[chunk.clone()].iter().map(|&x| f64::from(x)));
                let clamped = clamp(sound, f64::from(ceiling));
                self.clamped_count += if silent { 0 } else { clamped };
            }
            self.sounds.process(chunk.len());
            for (captured, sound) in self.captured.iter_mut().zip(self.sounds.returns()) {
                captured.extend(sound.iter().map(|&x| x as f32));
            }
        }
        if silent {
            self.mute.confirm_silence();
        }
    }

    /// Hands over what was captured, up to the next loss.
    fn deliver(&mut self, start_frame: u64, heard: &mut [Vec<f32>]) -> Heard {
        let available = self.captured.first().map_or(0, Vec::len);
        let cut = self.losses.cut(self.captured_frame, available);
        for (captured, heard) in self.captured.iter_mut().zip(heard) {
            captured.drain(..cut.lost_now);
            heard.extend(captured.drain(..cut.heard));
        }
        let first_frame = start_frame + self.captured_frame + cut.lost_now as u64;
        self.captured_frame += (cut.lost_now + cut.heard) as u64;
        Heard {
            epoch: EPOCH,
            first_frame,
            frame_count: cut.heard,
            lost: cut.lost,
        }
    }
}

impl Interface for SimulatedInterface {
    fn shape(&self) -> &Shape {
        &self.shape
    }

    fn mute(&self) -> Arc<Mute> {
        Arc::clone(&self.mute)
    }

    fn set_ceilings(&mut self, peak: &[f32]) {
        self.ceilings.copy_from_slice(peak);
    }

    fn xrun_count(&self) -> u64 {
        self.losses.count()
    }

    fn plug_cables(&mut self, return_indices: &[usize]) {
        self.sounds.plug_cables(return_indices);
    }

    fn exchange(
        &mut self,
        at_frame: u64,
        play: &[&[f32]],
        heard: &mut [Vec<f32>],
        _wait: Duration,
    ) -> Result<Heard, InterfaceError> {
        let frame_count = play.first().map_or(0, |send| send.len());
        let start_frame = *self.start_frame.get_or_insert(at_frame);
        let expected = start_frame + self.sounds.frame();
        if at_frame != expected {
            return Err(InterfaceError::Unfit {
                text: format!("frame {at_frame} was played where frame {expected} comes next"),
            });
        }
        let end_frame = self.sounds.frame() + frame_count as u64;
        if self
            .rig
            .vanish_frame()
            .is_some_and(|vanish| end_frame > vanish)
        {
            self.rig.vanish();
            return Err(InterfaceError::Gone {
                device: DEVICE.into(),
                text: "it vanished, as its configuration wants it".into(),
            });
        }
        self.run(play);
        Ok(self.deliver(start_frame, heard))
    }
}

/// Keeps every sample within ± `ceiling`, makes silence of what is no number, and counts both.
fn clamp(block: &mut [f64], ceiling: f64) -> u64 {
    let mut count = 0;
    for x in block {
        if x.is_nan() || x.abs() > ceiling {
            *x = if x.is_nan() {
                0.0
            } else {
                x.clamp(-ceiling, ceiling)
            };
            count += 1;
        }
    }
    count
}
