//! Opening a real interface by its configuration.

use std::{
    sync::{Mutex, PoisonError, mpsc},
    thread::{self, JoinHandle},
    time::{Duration, Instant},
};

use super::{Interface, InterfaceError, alsa::AlsaInterface, jack, jack::JackInterface};

/// What to open. The daemon's configuration is mapped onto it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct OpenConfig {
    /// `jack` or `alsa`.
    pub backend: String,
    /// Rate in Hz that the device must have.
    pub rate_hz: u32,
    /// How many sends the rig uses.
    pub send_count: usize,
    /// How many returns the rig uses.
    pub return_count: usize,
    /// JACK: the port that the k-th send is connected to.
    pub jack_sends: Vec<String>,
    /// JACK: the port that the k-th return is connected from.
    pub jack_returns: Vec<String>,
    /// ALSA: the device that plays, as `devices` names it.
    pub playback: String,
    /// ALSA: the device that hears, as `devices` names it.
    pub capture: String,
}

impl OpenConfig {
    /// The device that it names, as errors call it.
    fn device(&self) -> String {
        if self.backend == "jack" {
            jack::device_name()
        } else {
            self.playback.clone()
        }
    }
}

/// A driver or a server that does not answer is given up after this time.
const LIMIT: Duration = Duration::from_secs(8);

/// The last opening, which may hang in a driver.
static LAST: Mutex<Option<JoinHandle<()>>> = Mutex::new(None);

/// Opens a real interface. Nothing sounds until [`Interface::set_ceilings`] allows it.
///
/// # Errors
/// As the back ends say; `Stalled` where one does not answer, `Unfit` for one that is not known.
/// After `Gone`, `Waiting` and `Stalled` trying again makes sense; after `Unfit` the
/// configuration or the device must change first.
pub fn open(config: &OpenConfig) -> Result<Box<dyn Interface>, InterfaceError> {
    let begun = Instant::now();
    let stalled = || InterfaceError::Stalled {
        device: config.device(),
        silent_ms: begun.elapsed().as_millis() as u64,
    };
    let mut last = LAST.lock().unwrap_or_else(PoisonError::into_inner);
    // A second one would hang in the same place.
    while last.as_ref().is_some_and(|thread| !thread.is_finished()) {
        if begun.elapsed() > LIMIT {
            return Err(stalled());
        }
        thread::sleep(Duration::from_millis(5));
    }
    let (opened, result) = mpsc::channel();
    let wanted = config.clone();
    let opener = thread::Builder::new()
        .name(String::from("open-interface"))
        .spawn(move || {
            // Where nobody waits any longer, the interface is dropped here, and so closed.
            let _ = opened.send(open_here(&wanted));
        });
    match opener {
        Ok(thread) => *last = Some(thread),
        Err(error) => {
            let text = format!("no thread to open it with: {error}");
            return Err(InterfaceError::Gone {
                device: config.device(),
                text,
            });
        }
    }
    result
        .recv_timeout(LIMIT)
        .unwrap_or_else(|_| Err(stalled()))
}

fn open_here(config: &OpenConfig) -> Result<Box<dyn Interface>, InterfaceError> {
    match config.backend.as_str() {
        "jack" => Ok(Box::new(JackInterface::open(config)?)),
        "alsa" => Ok(Box::new(AlsaInterface::open(config)?)),
        other => {
            let text = format!("there is no back end {other:?}; jack and alsa are known");
            Err(InterfaceError::Unfit { text })
        }
    }
}
