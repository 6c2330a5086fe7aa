//! The control client: no ports of its own; hears what happens in the server's graph, and lends
//! its handle for the frame time.

use std::sync::{
    Arc,
    atomic::Ordering,
    mpsc::{Receiver, SyncSender, sync_channel},
};
use std::sync::{Mutex, PoisonError};

use jack::{AsyncClient, Client, ClientOptions, ClientStatus, Frames, LatencyType, PortId};

use super::{super::InterfaceError, super::shared::Shared, wiring::Pair};

/// An active client that watches the server.
pub struct Control {
    client: AsyncClient<Watcher, ()>,
    rate_hz: u32,
    period_frames: usize,
    /// Frame time at opening: both callbacks count on from here.
    first_frame: Frames,
    changes: Mutex<Option<Receiver<()>>>,
    shared: Arc<Shared>,
    wanted: Arc<Mutex<Vec<Pair>>>,
}

impl Control {
    /// Opens and activates the client.
    ///
    /// # Errors
    /// `Gone` where no server answers.
    pub fn open(name: &str, shared: Arc<Shared>) -> Result<Self, InterfaceError> {
        // libjack would print to standard error, some of it from the audio thread.
        jack::set_logger(jack::LoggerType::None);
        let refused = |text: String| InterfaceError::Gone {
            device: name.to_owned(),
            text,
        };
        let (client, _) =
            Client::new("goodwire", ClientOptions::NO_START_SERVER).map_err(|_| {
                refused(String::from(
                    "no JACK server answers; start jackd, or name a running server in \
                     JACK_DEFAULT_SERVER",
                ))
            })?;
        let (changed, changes) = sync_channel(1);
        let wanted = Arc::<Mutex<Vec<Pair>>>::default();
        let watcher = Watcher {
            shared: Arc::clone(&shared),
            wanted: Arc::clone(&wanted),
            changed,
        };
        let client = client
            .activate_async(watcher, ())
            .map_err(|error| refused(format!("the JACK server refused a client: {error}")))?;
        let first_frame = client.as_client().frame_time();
        let control = Self {
            rate_hz: client.as_client().sample_rate(),
            period_frames: client.as_client().buffer_size() as usize,
            first_frame,
            changes: Mutex::new(Some(changes)),
            shared,
            wanted,
            client,
        };
        // The first reading looks the function up in the library; callbacks must not.
        control.frame_time().read();
        Ok(control)
    }

    /// The client itself.
    pub fn client(&self) -> &Client {
        self.client.as_client()
    }

    /// The server's rate in Hz.
    pub fn rate_hz(&self) -> u32 {
        self.rate_hz
    }

    /// Frames in one period of the server.
    pub fn period_frames(&self) -> usize {
        self.period_frames
    }

    /// What the callbacks and the engine share.
    pub fn shared(&self) -> Arc<Shared> {
        Arc::clone(&self.shared)
    }

    /// Takes the receiver that is told of every change of the graph.
    pub fn take_changes(&self) -> Option<Receiver<()>> {
        self.changes
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .take()
    }

    /// Sets which connections are ours to have; every other one of ours closes the gate.
    pub fn set_wanted(&self, pairs: Vec<Pair>) {
        *self.wanted.lock().unwrap_or_else(PoisonError::into_inner) = pairs;
    }

    /// A reader of the server's frame time. It must not outlive the control client.
    pub fn frame_time(&self) -> FrameTime {
        // SAFETY: the scope is used for the frame time only, which is a property of the server.
        let scope = unsafe { jack::ProcessScope::from_raw(0, self.client().raw()) };
        FrameTime {
            scope,
            frame: u64::from(self.first_frame),
        }
    }

    /// The longest way in ms from the start of a cycle to where `targets` lead.
    pub fn output_latency_ms(&self, targets: &[String]) -> Option<f64> {
        let latency = |name: &String| {
            let port = self.client().port_by_name(name)?;
            Some(port.get_latency_range(LatencyType::Playback).1)
        };
        let frames = targets.iter().filter_map(latency).max()?;
        Some(1000.0 * f64::from(frames) / f64::from(self.rate_hz))
    }
}

/// Reads the frame time of the present cycle, widened to 64 bits (32 last a day at 48 kHz).
pub struct FrameTime {
    scope: jack::ProcessScope,
    frame: u64,
}

// SAFETY: the scope holds a pointer to the control client; the one call made through it reads
// the server's shared memory without locks and is made for being called from other threads.
unsafe impl Send for FrameTime {}

impl FrameTime {
    /// The first frame of the present cycle. Thread: audio callback; wait-free.
    pub fn read(&mut self) -> u64 {
        let now = self.scope.last_frame_time();
        // Forwards or backwards, whichever is nearer: opening may lie just after a cycle began.
        let moved = now.wrapping_sub(self.frame as u32) as i32;
        self.frame = self.frame.wrapping_add_signed(i64::from(moved));
        self.frame
    }
}

/// Hears the server's notifications, on a thread of libjack's that is no audio thread.
pub struct Watcher {
    shared: Arc<Shared>,
    wanted: Arc<Mutex<Vec<Pair>>>,
    changed: SyncSender<()>,
}

impl Watcher {
    fn wake(&self) {
        // Full means that it will wake anyway.
        let _ = self.changed.try_send(());
    }

    /// True where a connection that was made or broken may matter to what is heard where.
    fn is_harmful(&self, source: &str, target: &str, are_connected: bool) -> bool {
        let is_ours = is_port_of_this_process(source) || is_port_of_this_process(target);
        let wanted = self.wanted.lock().unwrap_or_else(PoisonError::into_inner);
        let is_wanted = wanted
            .iter()
            .any(|pair| pair.source == source && pair.target == target);
        is_ours && is_wanted != are_connected
    }
}

/// cpal names its clients by the process; two interfaces in one process may close each other's
/// gate for a moment, which harms nobody.
fn is_port_of_this_process(name: &str) -> bool {
    name.starts_with(&super::ports::own_prefix())
}

impl jack::NotificationHandler for Watcher {
    unsafe fn shutdown(&mut self, _status: ClientStatus, reason: &str) {
        let _ = self
            .shared
            .gone
            .set(format!("the JACK server ended: {reason}"));
        self.wake();
    }

    fn ports_connected(
        &mut self,
        client: &Client,
        port_id_a: PortId,
        port_id_b: PortId,
        are_connected: bool,
    ) {
        let name = |id| client.port_by_id(id).and_then(|port| port.name().ok());
        let harmful = match (name(port_id_a), name(port_id_b)) {
            (Some(source), Some(target)) => self.is_harmful(&source, &target, are_connected),
            // A port that is no more cannot be told from one of ours.
            _ => true,
        };
        if harmful {
            self.shared.gate.close();
        }
        self.wake();
    }

    fn graph_reorder(&mut self, _: &Client) -> jack::Control {
        self.wake();
        jack::Control::Continue
    }

    fn xrun(&mut self, _: &Client) -> jack::Control {
        self.shared.xrun_count.fetch_add(1, Ordering::AcqRel);
        jack::Control::Continue
    }
}
