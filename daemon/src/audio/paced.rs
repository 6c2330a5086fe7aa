//! Real-time pacing for an interface of virtual time: the simulated rig with `time = "real"`.

use std::{
    sync::Arc,
    thread,
    time::{Duration, Instant},
};

use super::{Heard, Interface, InterfaceError, Mute, Shape, TimeSource};

/// An interface of virtual time whose frames take as long as a device's would.
pub struct Paced<Inner> {
    inner: Inner,
    shape: Shape,
    /// When the frames so far are over, by the machine's clock.
    due: Option<Instant>,
}

/// A caller that is later than this has paused; the clock then starts anew instead of rushing.
const PATIENCE: Duration = Duration::from_millis(100);

impl<Inner: Interface> Paced<Inner> {
    /// Paces `inner`.
    #[must_use]
    pub fn new(inner: Inner) -> Self {
        let shape = Shape {
            time: TimeSource::Paced,
            ..inner.shape().clone()
        };
        Self {
            inner,
            shape,
            due: None,
        }
    }

    /// Waits until `frame_count` more frames are over.
    fn pace(&mut self, frame_count: usize) {
        let now = Instant::now();
        let begun = self.due.filter(|&due| due + PATIENCE > now).unwrap_or(now);
        let block_s = frame_count as f64 / f64::from(self.shape.rate_hz);
        let due = begun + Duration::from_secs_f64(block_s);
        thread::sleep(due.saturating_duration_since(now));
        self.due = Some(due);
    }
}

impl<Inner: Interface> Interface for Paced<Inner> {
    fn shape(&self) -> &Shape {
        &self.shape
    }

    fn mute(&self) -> Arc<Mute> {
        self.inner.mute()
    }

    fn set_ceilings(&mut self, peak: &[f32]) {
        self.inner.set_ceilings(peak);
    }

    fn xrun_count(&self) -> u64 {
        self.inner.xrun_count()
    }

    fn plug_cables(&mut self, return_indices: &[usize]) {
        self.inner.plug_cables(return_indices);
    }

    fn exchange(
        &mut self,
        at_frame: u64,
        play: &[&[f32]],
        heard: &mut [Vec<f32>],
        wait: Duration,
    ) -> Result<Heard, InterfaceError> {
        let frame_count = play.first().map_or(0, |samples| samples.len());
        let got = self.inner.exchange(at_frame, play, heard, wait)?;
        self.pace(frame_count);
        Ok(got)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A wire of virtual time.
    struct Wire {
        shape: Shape,
        mute: Arc<Mute>,
    }

    impl Wire {
        fn new() -> Self {
            let shape = Shape {
                backend: "simulated",
                device: String::from("wire"),
                rate_hz: 48_000,
                send_count: 1,
                return_count: 1,
                period_frames: 480,
                locked: true,
                simulated: true,
                time: TimeSource::Virtual,
                output_latency_ms: None,
                scheduling: String::new(),
            };
            Self {
                shape,
                mute: Arc::default(),
            }
        }
    }

    impl Interface for Wire {
        fn shape(&self) -> &Shape {
            &self.shape
        }

        fn mute(&self) -> Arc<Mute> {
            Arc::clone(&self.mute)
        }

        fn set_ceilings(&mut self, _: &[f32]) {}

        fn xrun_count(&self) -> u64 {
            0
        }

        fn exchange(
            &mut self,
            at_frame: u64,
            play: &[&[f32]],
            heard: &mut [Vec<f32>],
            _: Duration,
        ) -> Result<Heard, InterfaceError> {
            heard[0].extend_from_slice(play[0]);
            Ok(Heard {
                epoch: 1,
                first_frame: at_frame,
                frame_count: play[0].len(),
                lost: None,
            })
        }
    }

    #[test]
    fn half_a_second_of_frames_takes_half_a_second_and_says_paced() {
        let mut paced = Paced::new(Wire::new());
        assert_eq!(paced.shape().time, TimeSource::Paced);
        let (block, mut heard) = ([0.25; 480], vec![Vec::new()]);
        let begun = Instant::now();
        for index in 0..50 {
            let got = paced.exchange(
                480 * index,
                &[&block],
                &mut heard,
                Duration::from_millis(20),
            );
            assert_eq!(got.unwrap().frame_count, 480);
        }
        let took_ms = begun.elapsed().as_millis();
        assert_eq!(heard[0].len(), 24_000);
        // Late wake-ups of a busy machine are caught up; a pause above 100 ms is not.
        assert!((500..2000).contains(&took_ms), "{took_ms} ms");
    }

    #[test]
    fn caller_that_paused_is_not_rushed_through_what_it_missed() {
        let mut paced = Paced::new(Wire::new());
        let (block, mut heard) = ([0.0; 4800], vec![Vec::new()]);
        let mut step = || {
            let begun = Instant::now();
            paced
                .exchange(0, &[&block], &mut heard, Duration::ZERO)
                .unwrap();
            begun.elapsed()
        };
        step();
        thread::sleep(Duration::from_millis(250));
        assert!(step() >= Duration::from_millis(99));
    }
}
