//! An open interface with its frame time: plays one performance after the other, silence between.

use std::{sync::Arc, thread, time::Duration};

use super::super::{
    Heard, Interface, InterfaceError, Loss, TimeSource,
    meters::Meters,
    performance::{Ended, Performance},
    stage::Stage,
};

/// Longest time that one exchange waits for frames.
const EXCHANGE_WAIT: Duration = Duration::from_millis(50);
/// An open-ended performance that goes on after a loss is rendered so long before it sounds.
const LEAD_S: f64 = 0.25;
/// How often it is looked whether those who listen have caught up.
const CATCH_UP_PAUSE: Duration = Duration::from_millis(1);
/// Shortest block of virtual time, so that small periods do not cost speed.
const VIRTUAL_BLOCK_FRAMES: usize = 4096;

/// An open interface with the frame time that the engine has reached.
pub(super) struct Stream {
    pub(super) interface: Box<dyn Interface>,
    next_frame: u64,
    epochs_before: u64,
    pub(super) epoch: u64,
    pub(super) xruns_told: u64,
    block_frames: usize,
    silence: Vec<f32>,
    meters: Meters,
}

impl Stream {
    pub(super) fn new(
        mut interface: Box<dyn Interface>,
        ceilings: &[f32],
        epochs_before: u64,
        meters: Meters,
    ) -> Self {
        interface.set_ceilings(ceilings);
        let shape = interface.shape();
        let block_frames = match shape.time {
            TimeSource::Virtual => shape.period_frames.max(VIRTUAL_BLOCK_FRAMES),
            TimeSource::Device | TimeSource::Paced => shape.period_frames,
        };
        let silence = vec![0.0; block_frames];
        let epoch = epochs_before + 1;
        Self {
            interface,
            next_frame: 0,
            epochs_before,
            epoch,
            xruns_told: 0,
            block_frames,
            silence,
            meters,
        }
    }

    pub(super) fn is_virtual(&self) -> bool {
        self.interface.shape().time == TimeSource::Virtual
    }

    /// Keeps the device running in silence.
    pub(super) fn idle(&mut self) -> Result<(), InterfaceError> {
        let shape = self.interface.shape();
        let mut heard = vec![Vec::new(); shape.return_count];
        let play = vec![&self.silence[..]; shape.send_count];
        let got = self
            .interface
            .exchange(self.next_frame, &play, &mut heard, EXCHANGE_WAIT)?;
        self.meters.hear(&heard);
        self.advance(&got, self.block_frames);
        Ok(())
    }

    /// Lets time go on in silence until the pilot of an open-ended performance is rendered. Gives
    /// the number of the performance's first frame.
    fn lead_in(&mut self, performance: &mut Performance) -> Result<u64, InterfaceError> {
        let Some(open_end) = &mut performance.open_end else {
            return Ok(0);
        };
        let shape = self.interface.shape().clone();
        let block_count = match (shape.time, &open_end.pilot) {
            (TimeSource::Virtual, _) | (_, None) => 0,
            _ => (LEAD_S * f64::from(shape.rate_hz) / self.block_frames as f64).ceil() as u64,
        };
        loop {
            let start_frame = self.next_frame + block_count * self.block_frames as u64;
            let first_frame = open_end.place.map_or(0, |place| {
                place.frame_at(self.epoch, start_frame, shape.rate_hz, shape.time)
            });
            if let Some(pilot) = &mut open_end.pilot {
                pilot.begin(first_frame);
            }
            for _ in 0..block_count {
                self.idle()?;
            }
            // After a recovery the frames count anew.
            if self.next_frame == start_frame {
                return Ok(first_frame);
            }
        }
    }

    /// Waits until those who listen have caught up, where time can wait. False where it cannot,
    /// and frames have to be given up.
    fn catch_up(&self, stage: &mut Stage) -> bool {
        let can_wait = self.interface.shape().time != TimeSource::Device;
        while stage.is_behind() {
            if !can_wait {
                return !stage.may_lose();
            }
            thread::sleep(CATCH_UP_PAUSE);
        }
        true
    }

    pub(super) fn play(&mut self, mut performance: Performance) -> Result<(), InterfaceError> {
        let first_frame = self.lead_in(&mut performance).inspect_err(|error| {
            performance.end(Ended::DeviceLost {
                text: error.to_string(),
            });
        })?;
        let shape = self.interface.shape().clone();
        let mute = self.interface.mute();
        mute.set(performance.cancel.is_set());
        self.interface.plug_cables(&performance.cabled_returns);
        let cancel = Arc::clone(&performance.cancel);
        let mut stage = Stage::new(performance, &shape, self.next_frame, first_frame);
        if cancel.is_set() {
            // Somebody silenced all between the two lines above; the ramp must not be heard.
            mute.set(true);
        }
        loop {
            let frame_count = self.block_frames;
            if !self.catch_up(&mut stage) {
                stage.end(Ended::Lost(Loss::Unknown));
                return Ok(());
            }
            let Some(block) = stage.block(frame_count) else {
                return Ok(());
            };
            let play: Vec<&[f32]> = block.iter().map(Vec::as_slice).collect();
            let mut heard = vec![Vec::new(); shape.return_count];
            let got =
                match self
                    .interface
                    .exchange(self.next_frame, &play, &mut heard, EXCHANGE_WAIT)
                {
                    Ok(got) => got,
                    Err(error) => {
                        stage.end(Ended::DeviceLost {
                            text: error.to_string(),
                        });
                        return Err(error);
                    }
                };
            self.meters.hear(&heard);
            let epoch_before = self.epoch;
            self.advance(&got, frame_count);
            if self.epoch != epoch_before && stage.has_begun() {
                stage.end(Ended::Lost(got.lost.unwrap_or(Loss::Unknown)));
                return Ok(());
            }
            if stage.hear(&got, heard, self.epoch, &mute) {
                return Ok(());
            }
        }
    }

    /// Moves frame time on by what was queued; after a recovery, to where the stream now is.
    fn advance(&mut self, got: &Heard, queued_frames: usize) {
        let epoch = self.epochs_before + got.epoch;
        if epoch == self.epoch {
            self.next_frame += queued_frames as u64;
        } else {
            self.epoch = epoch;
            self.next_frame = got.first_frame + got.frame_count as u64;
        }
    }
}
