//! Which plugins there are, and which of them may be used.

mod file;
mod found;
mod probe;

use std::{
    collections::HashMap,
    env, fs,
    path::{Path, PathBuf},
    sync::{Arc, Mutex, MutexGuard, PoisonError},
    thread,
};

use goodwire_proto::{
    plugin::v1::Description,
    v1::{Analysis, FigureDescription, Note, Plugin, note},
};

use crate::{config::nearest, dbu::id_in_dbu};
use file::{FAILURE_COUNT_MAX, PluginFile, all, first_of_each, libraries};
use probe::{Stamp, probe};

pub use found::{FindError, Found};

/// Plugins that are probed at the same time.
const PROBE_COUNT_MAX: usize = 8;

/// A plugin that was probed and can be started.
#[derive(Debug, Clone, PartialEq)]
pub struct PluginEntry {
    /// Absolute path of the library.
    pub path: PathBuf,
    /// Path of the host that runs it.
    pub host: PathBuf,
    /// BLAKE3 hash of the library, in hexadecimal.
    pub hash: String,
    /// What the plugin says of itself, checked.
    pub description: Description,
}

impl PluginEntry {
    /// The plugin, as `plugin version`.
    #[must_use]
    pub fn label(&self) -> String {
        format!("{} {}", self.description.plugin, self.description.version)
    }
}

/// All plugins of some folders. Shared between threads; methods block for as long as a probe takes.
#[derive(Debug)]
pub struct Registry {
    dirs: Vec<PathBuf>,
    host: PathBuf,
    files: Mutex<Vec<PluginFile>>,
}

impl Registry {
    /// Finds the libraries in `dirs` and probes each in a child of `host`, several at a time.
    #[must_use]
    pub fn scan(dirs: &[PathBuf], host: &Path) -> Self {
        let registry = Self {
            dirs: dirs.to_vec(),
            host: host.to_owned(),
            files: Mutex::new(Vec::new()),
        };
        registry.rescan();
        registry
    }

    /// Looks again: probes what is new or has changed, forgets what is gone. Cheap where nothing
    /// has changed.
    pub fn rescan(&self) {
        let mut files = self.files();
        let mut known: HashMap<PathBuf, PluginFile> = files
            .drain(..)
            .map(|file| (file.path.clone(), file))
            .collect();
        let mut fresh = Vec::new();
        for path in libraries(&self.dirs) {
            // A file that vanishes just now is not there.
            let Ok(stamp) = Stamp::of(&path) else {
                continue;
            };
            match known.remove(&path) {
                Some(file) if file.stamp == stamp => files.push(file),
                _ => fresh.push((path, stamp)),
            }
        }
        for batch in fresh.chunks(PROBE_COUNT_MAX) {
            files.extend(self.probe_all(batch));
        }
        files.sort_by(|a, b| a.path.cmp(&b.path));
    }

    fn probe_all(&self, batch: &[(PathBuf, Stamp)]) -> Vec<PluginFile> {
        let one = |(path, stamp): &(PathBuf, Stamp)| {
            let probed = probe(&self.host, path).map(Arc::new);
            match &probed {
                Ok(entry) => {
                    tracing::info!(plugin = entry.label(), path = %path.display(), "found")
                }
                Err(text) => tracing::warn!(path = %path.display(), "not usable: {text}"),
            }
            PluginFile {
                path: path.clone(),
                stamp: stamp.clone(),
                probed,
                failure_count: 0,
            }
        };
        thread::scope(|scope| {
            let probes: Vec<_> = batch
                .iter()
                .map(|each| scope.spawn(move || one(each)))
                .collect();
            let done = |probe: thread::ScopedJoinHandle<'_, PluginFile>| {
                probe.join().expect("probing does not panic")
            };
            probes.into_iter().map(done).collect()
        })
    }

    /// Finds the plugin of an analysis. A `plugin` is named where a person asked for just that
    /// one; a plugin that was set aside is given only then.
    ///
    /// # Errors
    /// A [`FindError`] says what would be right.
    pub fn find(&self, analysis: &str, plugin: Option<&str>) -> Result<Found, FindError> {
        // A library that was replaced since it was probed is another plugin.
        self.rescan();
        let files = self.files();
        let first = files.iter().find_map(|file| {
            let (entry, found) = file.provides(analysis, plugin)?;
            Some((file, entry, found))
        });
        match first {
            None => Err(unknown(&files, analysis, plugin)),
            Some((file, entry, _)) if file.is_set_aside() && plugin.is_none() => {
                Err(FindError::SetAside {
                    plugin: entry.label(),
                    name: name(entry, analysis),
                })
            }
            Some((_, entry, found)) => Ok(Found {
                plugin: Arc::clone(entry),
                analysis: found.clone(),
            }),
        }
    }

    /// True where an analysis is known to need no audio. Does not look for new plugins.
    #[must_use]
    pub fn is_without_audio(&self, analysis: &str) -> bool {
        // It may stand behind its plugin's name.
        let id = analysis.rsplit('/').next().unwrap_or(analysis);
        let files = self.files();
        first_of_each(&files).any(|(_, one)| one.id == id && one.without_audio)
    }

    /// All analyses, by id.
    #[must_use]
    pub fn analyses(&self) -> Vec<Analysis> {
        let files = self.files();
        let mut analyses: Vec<Analysis> = first_of_each(&files)
            .map(|(entry, one)| Analysis {
                name: format!("analyses/{}", one.id),
                title: one.title.clone(),
                summary: one.summary.clone(),
                plugin: entry.label(),
                parameters: one.parameters.clone(),
                plays: one.plays,
                figures: with_dbu(&one.figures),
                curves: one.curves.clone(),
            })
            .collect();
        analyses.sort_by(|a, b| a.name.cmp(&b.name));
        analyses
    }

    /// All plugins, by path, with their state.
    #[must_use]
    pub fn plugins(&self) -> Vec<Plugin> {
        self.files().iter().map(PluginFile::to_api).collect()
    }

    /// What somebody should know: analyses that two plugins provide, folders that cannot be read.
    #[must_use]
    pub fn notes(&self) -> Vec<Note> {
        let note = |id: &str, text: String| Note {
            level: note::Level::Warning.into(),
            id: id.to_owned(),
            text,
        };
        let unread = self.dirs.iter().filter_map(|dir| {
            let error = fs::read_dir(dir).err()?;
            let text = format!(
                "the plugin folder {} cannot be read: {error}",
                dir.display()
            );
            Some(note("plugin-folder-unreadable", text))
        });
        let files = self.files();
        let mut owners: HashMap<&str, &Path> = HashMap::new();
        let mut notes: Vec<Note> = unread.collect();
        for (entry, analysis) in all(&files) {
            let owner = *owners.entry(&analysis.id).or_insert(&entry.path);
            if owner != entry.path {
                let text = format!(
                    "{} provides {} too; that of {} is used",
                    entry.path.display(),
                    analysis.id,
                    owner.display()
                );
                notes.push(note("duplicate-analysis", text));
            }
        }
        notes
    }

    /// Says that the plugin at `path` crashed, hung or gave nonsense. Three times in a row set it
    /// aside.
    pub fn report_failure(&self, path: &Path) {
        self.report(path, |file| {
            file.failure_count += 1;
            if file.failure_count == FAILURE_COUNT_MAX {
                tracing::error!(path = %path.display(), "set aside after {FAILURE_COUNT_MAX} failures");
            }
        });
    }

    /// Says that the plugin at `path` behaved, whatever its result: it is used again by all.
    pub fn report_success(&self, path: &Path) {
        self.report(path, |file| file.failure_count = 0);
    }

    fn report(&self, path: &Path, change: impl FnOnce(&mut PluginFile)) {
        if let Some(file) = self.files().iter_mut().find(|file| file.path == path) {
            change(file);
        }
    }

    fn files(&self) -> MutexGuard<'_, Vec<PluginFile>> {
        self.files.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The figures that a plugin declares, with those that the daemon adds for calibrated sends.
fn with_dbu(declared: &[FigureDescription]) -> Vec<FigureDescription> {
    let added = declared.iter().filter_map(|figure| {
        Some(FigureDescription {
            id: id_in_dbu(&figure.id)?,
            unit: "dBu".into(),
            ..figure.clone()
        })
    });
    declared.iter().cloned().chain(added).collect()
}

/// What is said of an analysis that no plugin, or not the plugin named, provides.
fn unknown(files: &[PluginFile], analysis: &str, plugin: Option<&str>) -> FindError {
    let known: Vec<String> = match plugin {
        None => first_of_each(files)
            .map(|(_, one)| one.id.clone())
            .collect(),
        Some(_) => all(files)
            .map(|(entry, one)| name(entry, &one.id))
            .collect(),
    };
    let asked = plugin.map_or(analysis.to_owned(), |plugin| format!("{plugin}/{analysis}"));
    FindError::Unknown {
        nearest: nearest(&asked, known.iter().map(String::as_str)).map(str::to_owned),
        analysis: asked,
        known,
    }
}

/// The analysis of just this plugin.
fn name(entry: &PluginEntry, analysis: &str) -> String {
    format!("{}/{analysis}", entry.description.plugin)
}

/// The host that is installed beside the daemon.
///
/// # Errors
/// Where the system does not say which file this process runs.
pub fn host_beside_daemon() -> std::io::Result<PathBuf> {
    Ok(env::current_exe()?.with_file_name("goodwire-plugin-host"))
}
