//! What all of these tests stand on: built libraries, one plugin at a time, and a census.

use std::{
    env, fs,
    path::{Path, PathBuf},
    process::{self, Command},
    sync::{Mutex, MutexGuard, PoisonError},
};

use goodwire_proto::plugin::v1::OpenRequest;
use goodwired::plugins::{PluginEntry, Registry};

/// The folder of this build, for example `target/release`.
fn build_folder() -> PathBuf {
    let test = env::current_exe().unwrap();
    test.parent().unwrap().parent().unwrap().to_owned()
}

/// The host, which another package builds.
pub fn host() -> PathBuf {
    let host = build_folder().join("goodwire-plugin-host");
    assert!(
        host.exists(),
        "{} is missing: run `cargo build` first",
        host.display()
    );
    host
}

/// A plugin in Rust that is built with these tests.
pub fn rust_plugin(name: &str) -> PathBuf {
    let library = format!("examples/libgoodwire_plugin_{name}.so");
    let library = build_folder().join(library);
    assert!(
        library.exists(),
        "{} is missing: run `cargo build --examples -p goodwire-fault-tests` first",
        library.display()
    );
    library
}

/// Builds a C file of this repository into `folder` as the plugin `name`.
pub fn c_plugin(source: &str, folder: &Path, name: &str, define: &str) -> PathBuf {
    let root = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../.."));
    let library = folder.join(format!("libgoodwire_plugin_{name}.so"));
    let built = Command::new("cc")
        .args([
            "-std=c11",
            "-O1",
            "-Wall",
            "-Wextra",
            "-Wno-infinite-recursion",
        ])
        .args(["-shared", "-fPIC", define, "-I"])
        .arg(root.join("plugins/abi/include"))
        .arg(root.join(source))
        .arg("-o")
        .arg(&library)
        .arg("-lm")
        .output()
        .expect("a C compiler named cc is installed");
    assert!(
        built.status.success(),
        "{}",
        String::from_utf8_lossy(&built.stderr)
    );
    library
}

/// The zoo of bad plugins, built into `folder`.
pub fn zoo(folder: &Path, bad_entry: u32) -> PathBuf {
    let name = format!("zoo_{bad_entry}");
    c_plugin(
        "tests/faults/zoo.c",
        folder,
        &name,
        &format!("-DBAD_ENTRY={bad_entry}"),
    )
}

/// Probes the one plugin in `folder` that provides `analysis`.
pub fn find(folder: &Path, analysis: &str) -> std::sync::Arc<PluginEntry> {
    let registry = Registry::scan(&[folder.to_owned()], &host());
    registry
        .find(analysis, None)
        .unwrap_or_else(|error| panic!("{error}: {registry:?}"))
        .plugin
}

/// A request at 48 kHz under a ceiling of -20 dBFS.
pub fn request(analysis: &str) -> OpenRequest {
    OpenRequest {
        analysis: analysis.into(),
        rate_hz: 48_000,
        returned_rate_hz: 48_000,
        ceiling_dbfs: -20.0,
        ..Default::default()
    }
}

/// Held by every test that starts processes: the census counts those of all.
pub fn alone() -> MutexGuard<'static, ()> {
    static ALONE: Mutex<()> = Mutex::new(());
    ALONE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// What could be left behind: descriptors of this process and its children, zombies included.
#[derive(Debug, PartialEq, Eq)]
pub struct Census {
    descriptor_count: usize,
    children: Vec<String>,
}

impl Census {
    pub fn take() -> Self {
        let descriptor_count = fs::read_dir("/proc/self/fd").unwrap().count();
        let me = process::id().to_string();
        let processes = fs::read_dir("/proc").unwrap().flatten();
        // After the name, which may hold anything, come the state and the parent.
        let children = processes
            .filter_map(|entry| fs::read_to_string(entry.path().join("stat")).ok())
            .filter(|stat| {
                let after_name = stat.rsplit(')').next().unwrap_or_default();
                after_name.split_whitespace().nth(1) == Some(me.as_str())
            })
            .collect();
        Self {
            descriptor_count,
            children,
        }
    }
}
