//! Keeps our ports connected to what the configuration lists and to nothing else.
//!
//! A thread looks at the graph after every change that the server tells of, and every 100 ms
//! besides. It opens the gate only after two looks, two periods apart, that found nothing to mend:
//! the server takes changes over at the start of a cycle, so that one look alone might miss what
//! is on its way.

use std::{
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
        mpsc::Receiver,
    },
    thread::{self, JoinHandle},
    time::{Duration, Instant},
};

use super::{super::shared::Shared, control::Control, ports::Ports};

/// A connection that the configuration asks for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pair {
    /// The port that gives the sound.
    pub source: String,
    /// The port that takes it.
    pub target: String,
}

impl Pair {
    /// The connection from `source` to `target`.
    pub fn new(source: &str, target: &str) -> Self {
        Self {
            source: source.to_owned(),
            target: target.to_owned(),
        }
    }
}

/// The thread that keeps the wiring up. Dropping it ends it.
pub struct Wiring {
    ending: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

/// Wakes the thread where the server told of nothing.
const LOOK_INTERVAL: Duration = Duration::from_millis(100);
/// How long connections may take until the interface is given up.
const SETTLING_LIMIT: Duration = Duration::from_secs(2);

impl Wiring {
    /// Takes off what cpal connected, connects `pairs` and keeps them up.
    pub fn begin(
        control: Arc<Control>,
        ours: Ports,
        pairs: Vec<Pair>,
        shared: Arc<Shared>,
    ) -> Self {
        control.set_wanted(pairs.clone());
        let ending = Arc::new(AtomicBool::new(false));
        let changes = control.take_changes();
        let keeper = Keeper {
            control,
            ours,
            pairs,
            shared,
            ending: Arc::clone(&ending),
        };
        let thread = changes.and_then(|changes| {
            let name = String::from("jack-wiring");
            thread::Builder::new()
                .name(name)
                .spawn(move || keeper.run(&changes))
                .ok()
        });
        Self { ending, thread }
    }
}

impl Drop for Wiring {
    fn drop(&mut self) {
        self.ending.store(true, Ordering::Release);
        if let Some(thread) = self.thread.take() {
            // A panic there was printed; the gate stays closed or the interface is gone.
            let _ = thread.join();
        }
    }
}

struct Keeper {
    control: Arc<Control>,
    ours: Ports,
    pairs: Vec<Pair>,
    shared: Arc<Shared>,
    ending: Arc<AtomicBool>,
}

/// What a look at the graph found.
enum Look {
    Right,
    Mended,
}

impl Keeper {
    fn run(&self, changes: &Receiver<()>) {
        let mut unsettled_since = Some(Instant::now());
        self.disconnect_all();
        while !self.ending.load(Ordering::Acquire) && self.shared.gone.get().is_none() {
            match self.settle() {
                Ok(true) => unsettled_since = None,
                Ok(false) => {
                    let since = *unsettled_since.get_or_insert_with(Instant::now);
                    if since.elapsed() > SETTLING_LIMIT {
                        let text = String::from("its ports could not be connected as configured");
                        let _ = self.shared.gone.set(text);
                    }
                    continue;
                }
                Err(text) => {
                    self.shared.gate.close();
                    let _ = self.shared.gone.set(text);
                }
            }
            // A change, the interval or the end of the control client: all are looked into.
            let _ = changes.recv_timeout(LOOK_INTERVAL);
        }
    }

    /// Looks twice, two periods apart; opens the gate when both looks found all right.
    fn settle(&self) -> Result<bool, String> {
        let ticket = self.shared.gate.ticket();
        if self.shared.gate.is_open() && matches!(self.look()?, Look::Right) {
            return Ok(true);
        }
        let first = self.look()?;
        thread::sleep(self.two_periods());
        let second = self.look()?;
        match (first, second) {
            (Look::Right, Look::Right) => Ok(self.shared.gate.open(ticket)),
            _ => Ok(false),
        }
    }

    fn two_periods(&self) -> Duration {
        let frames = 2.0 * self.control.period_frames() as f64;
        Duration::from_secs_f64(frames / f64::from(self.control.rate_hz()))
    }

    /// What cpal connected may not be in effect yet, and so not be seen; this takes it back all
    /// the same, because the server serves requests in their order.
    fn disconnect_all(&self) {
        let client = self.control.client();
        for port in self
            .ours
            .names()
            .filter_map(|name| client.port_by_name(name))
        {
            // What could not be disconnected, the next look sees.
            let _ = client.disconnect(&port);
        }
    }

    /// Compares the graph with the configuration and mends what differs.
    fn look(&self) -> Result<Look, String> {
        self.check_period()?;
        let stray = self.stray_connections()?;
        let missing = self.missing_connections()?;
        if stray.is_empty() && missing.is_empty() {
            return Ok(Look::Right);
        }
        if !stray.is_empty() {
            self.shared.gate.close();
        }
        let client = self.control.client();
        for pair in &stray {
            tracing::debug!(pair.source, pair.target, "disconnecting");
            let _ = client.disconnect_ports_by_name(&pair.source, &pair.target);
        }
        for pair in &missing {
            tracing::debug!(pair.source, pair.target, "connecting");
            // The port may have gone meanwhile: the next look tells.
            let _ = client.connect_ports_by_name(&pair.source, &pair.target);
        }
        Ok(Look::Mended)
    }

    fn check_period(&self) -> Result<(), String> {
        let (was, is) = (
            self.control.period_frames(),
            self.control.client().buffer_size() as usize,
        );
        if was == is {
            return Ok(());
        }
        Err(format!(
            "the server's period changed from {was} to {is} frames"
        ))
    }

    fn stray_connections(&self) -> Result<Vec<Pair>, String> {
        let mut stray = Vec::new();
        for name in &self.ours.outputs {
            stray.extend(
                self.connections(name)?
                    .iter()
                    .map(|target| Pair::new(name, target)),
            );
        }
        for name in &self.ours.inputs {
            stray.extend(
                self.connections(name)?
                    .iter()
                    .map(|source| Pair::new(source, name)),
            );
        }
        stray.retain(|pair| !self.pairs.contains(pair));
        Ok(stray)
    }

    fn missing_connections(&self) -> Result<Vec<Pair>, String> {
        let client = self.control.client();
        let mut missing = Vec::new();
        for pair in &self.pairs {
            let source = client
                .port_by_name(&pair.source)
                .ok_or_else(|| left(&pair.source))?;
            client
                .port_by_name(&pair.target)
                .ok_or_else(|| left(&pair.target))?;
            if !source.is_connected_to(&pair.target).unwrap_or(false) {
                missing.push(pair.clone());
            }
        }
        Ok(missing)
    }

    fn connections(&self, name: &str) -> Result<Vec<String>, String> {
        let port = self
            .control
            .client()
            .port_by_name(name)
            .ok_or_else(|| left(name))?;
        Ok(port.get_connections())
    }
}

fn left(port: &str) -> String {
    format!("the port {port} is no more")
}
