//! What the daemon says to whoever started it, and how it is told to end.

use std::io::{IsTerminal, Write};

use tokio::signal::unix::{SignalKind, signal};
use tokio_util::sync::CancellationToken;
use tracing_subscriber::EnvFilter;

/// Begins to log: human lines on a terminal, JSON elsewhere; `RUST_LOG` chooses what is said.
pub fn start_tracing() {
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new("info"));
    let lines = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr);
    if std::io::stderr().is_terminal() {
        lines.with_target(false).init();
    } else {
        lines.json().init();
    }
}

/// Says where the daemon listens, a line each.
pub fn announce(urls: &[String], page: Option<&str>) {
    let mut out = std::io::stdout().lock();
    for url in urls {
        // Whoever started the daemon may not listen to it.
        let _ = writeln!(out, "listening {url}");
    }
    if let Some(url) = page {
        let _ = writeln!(out, "page {url}");
    }
    let _ = out.flush();
}

/// Lets SIGTERM and SIGINT end the daemon.
///
/// # Errors
/// Where the system refuses to tell of signals.
pub fn end_on_signals(ending: CancellationToken) -> std::io::Result<()> {
    let mut terminate = signal(SignalKind::terminate())?;
    let mut interrupt = signal(SignalKind::interrupt())?;
    tokio::spawn(async move {
        tokio::select! {
            _ = terminate.recv() => {}
            _ = interrupt.recv() => {}
        }
        tracing::info!("ending");
        ending.cancel();
    });
    Ok(())
}
