//! Plays a known sound through an interface, as the engine would, and checks what comes back.

use std::time::{Duration, Instant};

use goodwired::audio::{Heard, Interface, InterfaceError, JackInterface, OpenConfig};

use super::{clients::GAIN, server::RATE_HZ};

/// Frames that the player hands over at once; no divisor of the period, so that edges wander.
const BLOCK_FRAMES: usize = 700;

/// The configuration that fits the device under test.
pub fn config(channel_count: usize) -> OpenConfig {
    let names = |stem: &str| {
        (1..=channel_count)
            .map(|k| format!("dut:{stem}_{k}"))
            .collect()
    };
    OpenConfig {
        backend: String::from("jack"),
        rate_hz: RATE_HZ,
        send_count: channel_count,
        return_count: channel_count,
        jack_sends: names("in"),
        jack_returns: names("out"),
        ..OpenConfig::default()
    }
}

/// Opens and allows full scale.
pub fn open(channel_count: usize) -> Result<JackInterface, InterfaceError> {
    let mut interface = JackInterface::open(&config(channel_count))?;
    interface.set_ceilings(&vec![1.0; channel_count]);
    Ok(interface)
}

/// Sound that never repeats: white, between -0.5 and 0.5, a function of frame and channel.
pub fn noise(frame: u64, channel: usize) -> f32 {
    // The finaliser of splitmix64 (Steele, Lea, Flood 2014), from memory.
    let mut bits = (frame ^ ((channel as u64) << 56)).wrapping_add(0x9e37_79b9_7f4a_7c15);
    bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((bits ^ (bits >> 31)) >> 40) as f32 / (1u64 << 24) as f32 - 0.5
}

/// Plays and checks.
pub struct Player {
    next_frame: u64,
    epoch: u64,
    epoch_begins: Option<u64>,
    sound: fn(u64, usize) -> f32,
    /// False where a test changes the sound on its way, by muting it.
    pub checks_samples: bool,
    /// Frames that came back exactly as they must.
    pub exact_count: u64,
    /// Epochs that ended with a loss.
    pub loss_count: u64,
}

impl Player {
    /// A player of `sound`, a function of stream frame and channel.
    pub fn new(sound: fn(u64, usize) -> f32) -> Self {
        Self {
            next_frame: 0,
            epoch: 0,
            epoch_begins: None,
            sound,
            checks_samples: true,
            exact_count: 0,
            loss_count: 0,
        }
    }

    /// Plays for `time`, checking every frame that is heard.
    pub fn play(
        &mut self,
        interface: &mut dyn Interface,
        time: Duration,
    ) -> Result<(), InterfaceError> {
        let begun = Instant::now();
        while begun.elapsed() < time {
            self.step(interface)?;
        }
        Ok(())
    }

    /// Plays until `holds`, at most half a minute.
    pub fn play_until(
        &mut self,
        interface: &mut dyn Interface,
        what: &str,
        holds: impl Fn(&Self, &dyn Interface) -> bool,
    ) {
        let begun = Instant::now();
        while !holds(self, interface) {
            assert!(begun.elapsed() < Duration::from_secs(30), "never: {what}");
            self.step(interface).unwrap();
        }
    }

    /// Plays until so many more samples came back exactly.
    pub fn play_exactly(&mut self, interface: &mut dyn Interface, sample_count: u64) {
        let goal = self.exact_count + sample_count;
        self.play_until(interface, "enough came back exactly", |player, _| {
            player.exact_count >= goal
        });
    }

    /// Plays until one more loss was told.
    pub fn play_to_a_loss(&mut self, interface: &mut dyn Interface) {
        let losses = self.loss_count;
        self.play_until(interface, "a loss is told", |player, _| {
            player.loss_count > losses
        });
    }

    /// Exchanges one block.
    pub fn step(&mut self, interface: &mut dyn Interface) -> Result<Heard, InterfaceError> {
        let block: Vec<Vec<f32>> = (0..interface.shape().send_count)
            .map(|send| {
                let frames = self.next_frame..self.next_frame + BLOCK_FRAMES as u64;
                frames.map(|frame| (self.sound)(frame, send)).collect()
            })
            .collect();
        let block: Vec<&[f32]> = block.iter().map(Vec::as_slice).collect();
        let mut heard = vec![Vec::new(); interface.shape().return_count];
        let got = interface.exchange(
            self.next_frame,
            &block,
            &mut heard,
            Duration::from_millis(200),
        )?;
        self.next_frame += BLOCK_FRAMES as u64;
        self.check(&got, &heard);
        Ok(got)
    }

    fn check(&mut self, got: &Heard, heard: &[Vec<f32>]) {
        if got.epoch != self.epoch {
            assert!(
                self.epoch == 0 || got.lost.is_some(),
                "a new epoch names its loss"
            );
            self.loss_count += u64::from(got.lost.is_some());
            self.epoch = got.epoch;
            self.epoch_begins = None;
            self.next_frame = self
                .next_frame
                .max(got.first_frame + got.frame_count as u64);
        } else {
            assert_eq!(got.lost, None, "no loss is told without a new epoch");
        }
        assert!(heard.iter().all(|samples| samples.len() == got.frame_count));
        if !self.checks_samples {
            return;
        }
        let epoch_begins = *self.epoch_begins.get_or_insert(got.first_frame);
        for (channel, samples) in heard.iter().enumerate() {
            for (frame, &sample) in (got.first_frame..).zip(samples) {
                // The first 10 ms of an epoch are ramped.
                if frame >= epoch_begins + u64::from(RATE_HZ) / 100 {
                    let want = GAIN * (self.sound)(frame, channel);
                    assert_eq!(sample, want, "frame {frame} of channel {channel}");
                    self.exact_count += 1;
                }
            }
        }
    }
}
