//! Where things are when nobody says where: as a service under `/var` and `/run`, else in the
//! user's own folders (XDG Base Directory).

use std::{env, path::PathBuf};

/// Results of a service.
const SERVICE_STATE: &str = "/var/lib/goodwire";
/// Run-time folder of a service.
const SERVICE_RUN: &str = "/run/goodwire";
/// Plugins of an installed daemon.
const SERVICE_PLUGINS: &str = "/usr/lib/goodwire/plugins";

fn folder(variable: &str) -> Option<PathBuf> {
    env::var_os(variable)
        .filter(|value| !value.is_empty())
        .map(PathBuf::from)
}

/// The folder that keeps the results.
#[must_use]
pub fn state_folder() -> PathBuf {
    // systemd names the state folder of a service.
    if let Some(state) = folder("STATE_DIRECTORY") {
        return state;
    }
    folder("XDG_STATE_HOME")
        .or_else(|| folder("HOME").map(|home| home.join(".local/state")))
        .map_or_else(|| SERVICE_STATE.into(), |state| state.join("goodwire"))
}

/// The socket that clients try first.
#[must_use]
pub fn socket() -> PathBuf {
    match folder("XDG_RUNTIME_DIR") {
        Some(run) => run.join("goodwire.sock"),
        None => PathBuf::from(SERVICE_RUN).join("goodwire.sock"),
    }
}

/// Folders that are searched for plugins: beside the daemon, and where they are installed if
/// somebody did install them.
#[must_use]
pub fn plugin_folders() -> Vec<PathBuf> {
    let beside = env::current_exe()
        .ok()
        .and_then(|exe| exe.parent().map(PathBuf::from));
    beside
        .into_iter()
        .chain(Some(PathBuf::from(SERVICE_PLUGINS)).filter(|installed| installed.is_dir()))
        .collect()
}
