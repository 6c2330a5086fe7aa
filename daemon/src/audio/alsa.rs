//! The ALSA back end, over cpal: two devices by their stable ids, two streams, two starts.
//!
//! Sends and returns have no common frame count here: between frame n played and frame n heard
//! lies an offset that nobody knows and that is another one after every start. Delay is therefore
//! known only through a reference in the same capture, and [`Shape::locked`] is false.

mod format;
mod hardware;
mod stream;

use std::{
    sync::{Arc, atomic::Ordering},
    thread,
    time::{Duration, Instant},
};

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};

use self::{
    format::{Wanted, choose},
    stream::Side,
};
use super::{
    Heard, Interface, InterfaceError, Mute, Shape, TimeSource, closing,
    open::OpenConfig,
    queue::{Device, Queue},
    scheduling,
    shared::Shared,
};

pub use self::hardware::is_transparent;

/// What must be told with every delay that was measured through ALSA.
pub const DELAY_NOTE: &str = "ALSA starts sends and returns apart: delay is only known through a \
                              reference in the same capture";

/// Priority that is asked for: below that of an audio server, above all ordinary work.
const FIFO_PRIORITY: i32 = 10;
/// How long the first frames may take.
const OPENING_LIMIT: Duration = Duration::from_secs(3);

/// A pair of ALSA devices (or one with both directions).
pub struct AlsaInterface {
    shape: Shape,
    shared: Arc<Shared>,
    queue: Queue,
    streams: Option<[cpal::Stream; 2]>,
}

impl AlsaInterface {
    /// Opens the two devices that the configuration names.
    ///
    /// # Errors
    /// `Gone` where a device does not exist, `Waiting` where another program has it, `Unfit` where
    /// it lacks the rate, the channels or a clock, `Stalled` where it brings no frames.
    pub fn open(config: &OpenConfig) -> Result<Self, InterfaceError> {
        // libasound would print to standard error; kept for the thread that opens.
        let chatter = alsa::Output::local_error_handler().ok();
        let opened = Self::open_quietly(config);
        if let Some(chatter) = chatter {
            let text = chatter.borrow().to_string();
            tracing::debug!(text = text.trim(), "what libasound said while opening");
        }
        opened
    }

    fn open_quietly(config: &OpenConfig) -> Result<Self, InterfaceError> {
        let play = Wanted::new(&config.playback, config.rate_hz, config.send_count, "sends");
        let hear = Wanted::new(
            &config.capture,
            config.rate_hz,
            config.return_count,
            "returns",
        );
        let (play_device, hear_device) = (find(&play)?, find(&hear)?);
        let offered = play_device.supported_output_configs();
        let play_choice = choose(&play, offered.map_err(|error| refused(&play.id, &error))?)?;
        let offered = hear_device.supported_input_configs();
        let hear_choice = choose(&hear, offered.map_err(|error| refused(&hear.id, &error))?)?;

        let shared = Arc::new(Shared::new(play_choice.channel_count()));
        // Nobody but us connects an ALSA device to anything.
        shared.gate.open(shared.gate.ticket());
        let device = Device {
            name: device_name(config),
            rate_hz: config.rate_hz,
            send_count: play_choice.channel_count(),
            return_count: hear_choice.channel_count(),
            period_frames: play_choice.period_frames.max(hear_choice.period_frames),
            locked: false,
        };
        let (queue, play_callback, hear_callback) = Queue::new(device, Arc::clone(&shared));
        let play_side = Side {
            device: &play_device,
            choice: &play_choice,
            shared: &shared,
        };
        let hear_side = Side {
            device: &hear_device,
            choice: &hear_choice,
            shared: &shared,
        };
        let play_stream = play_side
            .play(play_callback)
            .map_err(|error| refused(&play.id, &error))?;
        let hear_stream = hear_side
            .hear(hear_callback)
            .map_err(|error| refused(&hear.id, &error))?;
        let streams = [play_stream, hear_stream];
        let shape = shape(config, &streams);
        let mut interface = Self {
            shape,
            shared,
            queue,
            streams: Some(streams),
        };
        interface.begin()?;
        interface.check_read_back(config)?;
        Ok(interface)
    }

    /// Starts both streams and waits for frames from both.
    fn begin(&mut self) -> Result<(), InterfaceError> {
        for stream in self.streams.iter().flatten() {
            stream
                .play()
                .map_err(|error| refused(&self.shape.device, &error))?;
        }
        let begun = Instant::now();
        while self.frames().min() == 0 {
            if let Some(text) = self.shared.gone.get() {
                let device = self.shape.device.clone();
                return Err(InterfaceError::Gone {
                    device,
                    text: text.clone(),
                });
            }
            if begun.elapsed() > OPENING_LIMIT {
                let silent_ms = begun.elapsed().as_millis() as u64;
                return Err(InterfaceError::Stalled {
                    device: self.shape.device.clone(),
                    silent_ms,
                });
            }
            thread::sleep(Duration::from_millis(2));
        }
        self.check_clock()
    }

    fn frames(&self) -> Frames {
        Frames {
            played: self.shared.played_frame.load(Ordering::Acquire),
            heard: self.shared.heard_frame.load(Ordering::Acquire),
        }
    }

    /// Some devices take frames as fast as they are given: nothing can be measured through them.
    fn check_clock(&self) -> Result<(), InterfaceError> {
        let (before, begun) = (self.frames(), Instant::now());
        thread::sleep(Duration::from_millis(100));
        let (after, elapsed_s) = (self.frames(), begun.elapsed().as_secs_f64());
        let moved = (after.played - before.played).max(after.heard - before.heard);
        let most =
            2.0 * elapsed_s * f64::from(self.shape.rate_hz) + 4.0 * self.shape.period_frames as f64;
        if moved as f64 <= most {
            return Ok(());
        }
        let text = format!(
            "the device {} has no clock: it took {moved} frames in {:.0} ms; name a hw: device",
            self.shape.device,
            1000.0 * elapsed_s
        );
        Err(InterfaceError::Unfit { text })
    }

    /// Compares what the kernel says with what was asked for, and takes the priorities.
    fn check_read_back(&mut self, config: &OpenConfig) -> Result<(), InterfaceError> {
        for (id, direction) in [(&config.playback, 'p'), (&config.capture, 'c')] {
            let Some(actual) = hardware::read_back(id, direction) else {
                continue;
            };
            tracing::info!(
                device = id,
                rate_hz = actual.rate_hz,
                format = actual.format,
                channels = actual.channel_count,
                period_frames = actual.period_frames,
                "read back"
            );
            if actual.rate_hz != config.rate_hz {
                let text = format!(
                    "the device {id} runs at {} Hz though {} Hz were asked for",
                    actual.rate_hz, config.rate_hz
                );
                return Err(InterfaceError::Unfit { text });
            }
        }
        if is_transparent(&config.playback) && is_transparent(&config.capture) {
            // Others may spin without a clock, which real-time priority would turn into a hang.
            for thread in [&self.shared.play_thread, &self.shared.hear_thread] {
                scheduling::ask_for_fifo(thread.load(Ordering::Acquire), FIFO_PRIORITY);
            }
        }
        self.shape.scheduling =
            scheduling::read_back(self.shared.play_thread.load(Ordering::Acquire));
        Ok(())
    }
}

struct Frames {
    played: u64,
    heard: u64,
}

impl Frames {
    fn min(&self) -> u64 {
        self.played.min(self.heard)
    }
}

impl Interface for AlsaInterface {
    fn shape(&self) -> &Shape {
        &self.shape
    }

    fn mute(&self) -> Arc<Mute> {
        Arc::clone(&self.shared.mute)
    }

    fn set_ceilings(&mut self, peak: &[f32]) {
        self.shared.set_ceilings(peak);
    }

    fn xrun_count(&self) -> u64 {
        self.shared.xrun_count.load(Ordering::Acquire)
    }

    fn exchange(
        &mut self,
        at_frame: u64,
        play: &[&[f32]],
        heard: &mut [Vec<f32>],
        wait: Duration,
    ) -> Result<Heard, InterfaceError> {
        self.queue.exchange(at_frame, play, heard, wait)
    }
}

impl Drop for AlsaInterface {
    fn drop(&mut self) {
        closing::fade_out(&self.shared);
        self.shared.gate.close();
        let streams = self.streams.take();
        closing::close("alsa", move || drop(streams));
    }
}

fn device_name(config: &OpenConfig) -> String {
    if config.playback == config.capture {
        config.playback.clone()
    } else {
        format!("{} and {}", config.playback, config.capture)
    }
}

fn find(wanted: &Wanted) -> Result<cpal::Device, InterfaceError> {
    let host =
        cpal::host_from_id(cpal::HostId::Alsa).map_err(|error| refused(&wanted.id, &error))?;
    let id = cpal::DeviceId::new(cpal::HostId::Alsa, &wanted.id);
    host.device_by_id(&id).ok_or_else(|| InterfaceError::Gone {
        device: wanted.id.clone(),
        text: String::from("there is no such ALSA device; `goodwire devices` lists those that are"),
    })
}

/// What it means that a device could not be opened.
fn refused(id: &str, error: &cpal::Error) -> InterfaceError {
    use cpal::ErrorKind;
    match error.kind() {
        ErrorKind::DeviceBusy => InterfaceError::Waiting {
            text: format!(
                "waiting for the device {id}, which another program has open; a desktop's sound \
                 server lets go of it when a WirePlumber rule disables its card"
            ),
        },
        ErrorKind::UnsupportedConfig | ErrorKind::UnsupportedOperation => InterfaceError::Unfit {
            text: format!("the device {id} cannot be used so: {error}"),
        },
        ErrorKind::PermissionDenied => InterfaceError::Unfit {
            text: format!("no permission to open {id}: add the daemon's user to the group audio"),
        },
        _ => InterfaceError::Gone {
            device: id.to_owned(),
            text: error.to_string(),
        },
    }
}

fn shape(config: &OpenConfig, streams: &[cpal::Stream; 2]) -> Shape {
    let periods = streams
        .iter()
        .map(|stream| stream.buffer_size().unwrap_or(0) as usize);
    let play_period = streams[0].buffer_size().unwrap_or(0);
    Shape {
        backend: "alsa",
        device: device_name(config),
        rate_hz: config.rate_hz,
        send_count: config.send_count,
        return_count: config.return_count,
        period_frames: periods.max().unwrap_or(0),
        locked: false,
        simulated: false,
        time: TimeSource::Device,
        // cpal keeps two periods in the device's buffer.
        output_latency_ms: Some(2000.0 * f64::from(play_period) / f64::from(config.rate_hz)),
        scheduling: String::new(),
    }
}

#[cfg(test)]
mod tests;
