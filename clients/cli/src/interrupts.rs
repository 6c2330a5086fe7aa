//! SIGINT and SIGTERM: the first may be handled by the command itself, the next one ends it.

use std::{
    io,
    sync::{
        Arc,
        atomic::{AtomicU32, Ordering},
    },
};

use tokio::{
    signal::unix::{SignalKind, signal},
    sync::watch,
};

use crate::exit::Exit;

/// How many signals have come, and the number of the last.
#[derive(Debug, Clone, Copy, Default)]
struct Heard {
    count: u32,
    signal: i32,
}

/// Tells of signals.
#[derive(Debug, Clone)]
pub struct Interrupts {
    heard: watch::Receiver<Heard>,
    /// Signals that the command takes care of itself.
    allowance: Arc<AtomicU32>,
}

impl Interrupts {
    /// Begins to listen, on a task of its own.
    ///
    /// # Errors
    /// Where the process cannot have signal handlers.
    pub fn listen() -> io::Result<Self> {
        let mut interrupt = signal(SignalKind::interrupt())?;
        let mut terminate = signal(SignalKind::terminate())?;
        let (tell, heard) = watch::channel(Heard::default());
        tokio::spawn(async move {
            loop {
                let signal = tokio::select! {
                    _ = interrupt.recv() => SignalKind::interrupt(),
                    _ = terminate.recv() => SignalKind::terminate(),
                };
                tell.send_modify(|heard| {
                    heard.count += 1;
                    heard.signal = signal.as_raw_value();
                });
            }
        });
        Ok(Self {
            heard,
            allowance: Arc::default(),
        })
    }

    /// From now on the first signal is the command's own business.
    pub fn handle_first(&self) {
        self.allowance.store(1, Ordering::Relaxed);
    }

    /// Waits for the first signal; gives how to exit after it.
    pub async fn first(&self) -> Exit {
        self.after(0).await
    }

    /// Waits for a signal that the command does not handle itself; gives how to exit.
    pub async fn quit(&self) -> Exit {
        loop {
            let allowance = self.allowance.load(Ordering::Relaxed);
            let exit = self.after(allowance).await;
            // The allowance may have been raised while we waited.
            if self.heard.borrow().count > self.allowance.load(Ordering::Relaxed) {
                return exit;
            }
        }
    }

    async fn after(&self, count: u32) -> Exit {
        let mut heard = self.heard.clone();
        match heard.wait_for(|heard| heard.count > count).await {
            Ok(heard) => Exit::Signal(heard.signal),
            // The listening task lives as long as the runtime; without it no signal ever comes.
            Err(_) => std::future::pending().await,
        }
    }
}
