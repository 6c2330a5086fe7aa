//! The JACK back end: cpal's JACK host for the samples, a control client for the wiring.
//!
//! cpal makes one client for the sends and one for the returns. Both callbacks read the server's
//! own frame time, the same for all clients within one cycle, so that frame n played is frame n
//! heard. cpal connects its ports to the system's outputs by itself, which may be loudspeakers:
//! the gate stays closed until the control client has put that right (see [`wiring`]).

mod control;
mod listing;
mod ports;
mod wiring;

pub use self::listing::list;

use std::{
    sync::{
        Arc, Mutex, MutexGuard, PoisonError,
        atomic::{AtomicUsize, Ordering},
    },
    thread,
    time::{Duration, Instant},
};

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};

use self::{
    control::{Control, FrameTime},
    ports::{Ports, check_named_ports},
    wiring::{Pair, Wiring},
};
use super::{
    Heard, Interface, InterfaceError, Mute, Shape, TimeSource, closing,
    open::OpenConfig,
    queue::{Device, Queue},
    scheduling,
    shared::Shared,
};

/// An open JACK server: its sends and returns are ports of ours.
pub struct JackInterface {
    shape: Shape,
    shared: Arc<Shared>,
    queue: Queue,
    running: Option<Running>,
}

/// What runs while the interface is open, in the order in which it must end.
struct Running {
    wiring: Wiring,
    streams: [cpal::Stream; 2],
    control: Arc<Control>,
}

/// Two openings at once could not tell their ports apart.
static OPENING: Mutex<()> = Mutex::new(());
/// How many interfaces are being closed.
static CLOSING_COUNT: AtomicUsize = AtomicUsize::new(0);

/// Counts one interface that is being closed, as long as it lives.
struct Closing;

impl Closing {
    fn begin() -> Self {
        CLOSING_COUNT.fetch_add(1, Ordering::AcqRel);
        Self
    }
}

impl Drop for Closing {
    fn drop(&mut self) {
        CLOSING_COUNT.fetch_sub(1, Ordering::AcqRel);
    }
}

/// Waits for the turn to make clients of the server.
///
/// libjack maps one server's memory for the whole process: a client of a new server beside one
/// of an old server that hangs while closing ends in a segmentation fault (seen).
fn turn() -> Result<MutexGuard<'static, ()>, String> {
    let turn = OPENING.lock().unwrap_or_else(PoisonError::into_inner);
    if CLOSING_COUNT.load(Ordering::Acquire) > 0 {
        return Err(String::from(
            "the server does not let go of the last connection",
        ));
    }
    Ok(turn)
}

impl JackInterface {
    /// Opens the server that `JACK_DEFAULT_SERVER` names (`default` where it is not set).
    ///
    /// # Errors
    /// `Gone` where no server answers, `Unfit` where its rate or a port's direction is not what
    /// the configuration says, `Waiting` where ports that it names do not exist yet, `Stalled`
    /// where the server brings no frames.
    pub fn open(config: &OpenConfig) -> Result<Self, InterfaceError> {
        let name = device_name();
        let _turn = turn().map_err(|text| gone(&name, &text))?;
        let shared = Arc::new(Shared::new(config.send_count));
        let control = Arc::new(Control::open(&name, Arc::clone(&shared))?);
        check_rate(&name, config.rate_hz, control.rate_hz())?;
        check_named_ports(control.client(), config)?;

        let device = Device {
            name: name.clone(),
            rate_hz: config.rate_hz,
            send_count: config.send_count,
            return_count: config.return_count,
            period_frames: control.period_frames(),
            locked: true,
        };
        let (queue, play, hear) = Queue::new(device, Arc::clone(&shared));
        let before = Ports::list(control.client());
        let streams = build_streams(&name, config, &control, (play, hear))?;
        let ours = Ports::list(control.client()).without(&before);
        let pairs = pairs(&ours, config)?;
        let running = Running {
            wiring: Wiring::begin(Arc::clone(&control), ours, pairs, Arc::clone(&shared)),
            streams,
            control,
        };
        let mut interface = Self {
            shape: shape(&name, config, &running.control),
            shared,
            queue,
            running: None,
        };
        let opened = interface.wait_for_sound(&running);
        interface.running = Some(running);
        opened?;
        let thread = interface.shared.play_thread.load(Ordering::Acquire);
        interface.shape.scheduling = scheduling::read_back(thread);
        Ok(interface)
    }

    /// Waits until both callbacks run and the wiring is right.
    fn wait_for_sound(&self, running: &Running) -> Result<(), InterfaceError> {
        for stream in &running.streams {
            stream
                .play()
                .map_err(|error| gone(&self.shape.device, &error.to_string()))?;
        }
        let begun = Instant::now();
        let is_ready = || {
            self.shared.played_frame.load(Ordering::Acquire) > 0
                && self.shared.heard_frame.load(Ordering::Acquire) > 0
                && self.shared.gate.is_open()
        };
        while !is_ready() {
            if let Some(text) = self.shared.gone.get() {
                return Err(gone(&self.shape.device, text));
            }
            if begun.elapsed() > OPENING_LIMIT {
                return Err(InterfaceError::Stalled {
                    device: self.shape.device.clone(),
                    silent_ms: begun.elapsed().as_millis() as u64,
                });
            }
            thread::sleep(Duration::from_millis(2));
        }
        Ok(())
    }
}

/// How long a server may take to run the first cycles of new clients.
const OPENING_LIMIT: Duration = Duration::from_secs(4);

impl Interface for JackInterface {
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

impl Drop for JackInterface {
    fn drop(&mut self) {
        closing::fade_out(&self.shared);
        self.shared.gate.close();
        let Some(Running {
            wiring,
            streams,
            control,
        }) = self.running.take()
        else {
            return;
        };
        let closing = Closing::begin();
        closing::close("jack", move || {
            let _closing = closing;
            drop(wiring);
            // The callbacks read the frame time through the control client: it goes last.
            drop(streams);
            drop(control);
        });
    }
}

/// The server as `devices` names it.
pub(super) fn device_name() -> String {
    let server = std::env::var("JACK_DEFAULT_SERVER")
        .ok()
        .filter(|name| !name.is_empty());
    format!("jack:{}", server.as_deref().unwrap_or("default"))
}

fn gone(device: &str, text: &str) -> InterfaceError {
    InterfaceError::Gone {
        device: device.to_owned(),
        text: text.to_owned(),
    }
}

fn check_rate(name: &str, wanted_hz: u32, got_hz: u32) -> Result<(), InterfaceError> {
    if wanted_hz == got_hz {
        return Ok(());
    }
    let text = format!(
        "the server {name} runs at {got_hz} Hz, the configuration asks for {wanted_hz} Hz: set \
         rate = {got_hz}, or start the server with -r {wanted_hz}"
    );
    Err(InterfaceError::Unfit { text })
}

fn shape(name: &str, config: &OpenConfig, control: &Control) -> Shape {
    Shape {
        backend: "jack",
        device: name.to_owned(),
        rate_hz: config.rate_hz,
        send_count: config.send_count,
        return_count: config.return_count,
        period_frames: control.period_frames(),
        locked: true,
        simulated: false,
        time: TimeSource::Device,
        output_latency_ms: control.output_latency_ms(&config.jack_sends),
        scheduling: String::new(),
    }
}

/// Which of our ports belongs to which name of the configuration.
fn pairs(ours: &Ports, config: &OpenConfig) -> Result<Vec<Pair>, InterfaceError> {
    if ours.outputs.len() != config.send_count || ours.inputs.len() != config.return_count {
        let text = format!(
            "cpal made {} sends and {} returns instead of {} and {}",
            ours.outputs.len(),
            ours.inputs.len(),
            config.send_count,
            config.return_count
        );
        return Err(gone(&device_name(), &text));
    }
    let sends = ours.outputs.iter().zip(&config.jack_sends);
    let returns = config.jack_returns.iter().zip(&ours.inputs);
    let pair = |(source, target): (&String, &String)| Pair::new(source, target);
    Ok(sends.map(pair).chain(returns.map(pair)).collect())
}

/// Builds cpal's two streams; both rest until they are told to play.
fn build_streams(
    name: &str,
    config: &OpenConfig,
    control: &Arc<Control>,
    (mut play, mut hear): (super::callback::PlayCallback, super::callback::HearCallback),
) -> Result<[cpal::Stream; 2], InterfaceError> {
    let failed = |error: cpal::Error| gone(name, &error.to_string());
    let host = cpal::host_from_id(cpal::HostId::Jack).map_err(failed)?;
    let no_server = || gone(name, "no JACK server answers");
    let output = host.default_output_device().ok_or_else(no_server)?;
    let input = host.default_input_device().ok_or_else(no_server)?;

    let mut play_time = control.frame_time();
    let shared = control.shared();
    let play_stream = output
        .build_output_stream(
            stream_config(config.rate_hz, config.send_count)?,
            move |samples: &mut [f32], _| {
                let thread = scheduling::this_thread();
                shared.play_thread.store(thread, Ordering::Release);
                play.on_block(FrameTime::read(&mut play_time), samples);
            },
            on_error(control.shared()),
            None,
        )
        .map_err(failed)?;
    let mut hear_time = control.frame_time();
    let hear_stream = input
        .build_input_stream(
            stream_config(config.rate_hz, config.return_count)?,
            move |samples: &[f32], _| hear.on_block(FrameTime::read(&mut hear_time), samples),
            on_error(control.shared()),
            None,
        )
        .map_err(failed)?;
    Ok([play_stream, hear_stream])
}

fn stream_config(rate_hz: u32, count: usize) -> Result<cpal::StreamConfig, InterfaceError> {
    let channels = u16::try_from(count)
        .ok()
        .filter(|&channels| channels > 0)
        .ok_or_else(|| {
            let text = format!("a JACK interface needs 1 to 65535 sends and returns, not {count}");
            InterfaceError::Unfit { text }
        })?;
    Ok(cpal::StreamConfig {
        channels,
        sample_rate: rate_hz,
        buffer_size: cpal::BufferSize::Default,
    })
}

/// cpal reports the server's end and a changed rate here; xruns come to the control client once,
/// here they would come twice.
fn on_error(shared: Arc<Shared>) -> impl FnMut(cpal::Error) + Send + 'static {
    move |error| {
        use cpal::ErrorKind::{DeviceNotAvailable, StreamInvalidated};
        if matches!(error.kind(), DeviceNotAvailable | StreamInvalidated) {
            // The first text is kept.
            let _ = shared.gone.set(error.to_string());
        }
    }
}
