//! One plugin library, and all of a folder.

use std::{collections::HashSet, env, fs, path::PathBuf, sync::Arc};

use goodwire_proto::{
    plugin::v1::AnalysisDescription,
    v1::{Plugin, plugin::State},
};

use super::{PluginEntry, probe::Stamp};

/// Failures in a row that set a plugin aside.
pub const FAILURE_COUNT_MAX: u32 = 3;
/// What a plugin library's file name holds.
const NAME_PART: &str = "goodwire_plugin_";

/// One library as it was last probed.
#[derive(Debug)]
pub struct PluginFile {
    /// Absolute path.
    pub path: PathBuf,
    /// What the file looked like then.
    pub stamp: Stamp,
    /// What it is, or why it cannot be used.
    pub probed: Result<Arc<PluginEntry>, String>,
    /// Crashes, hangs and nonsense in a row.
    pub failure_count: u32,
}

impl PluginFile {
    /// True once the plugin has failed too often in a row.
    pub fn is_set_aside(&self) -> bool {
        self.failure_count >= FAILURE_COUNT_MAX
    }

    /// The plugin and its `analysis`, where it provides that and, where one is named, is that
    /// `plugin`.
    pub fn provides(
        &self,
        analysis: &str,
        plugin: Option<&str>,
    ) -> Option<(&Arc<PluginEntry>, &AnalysisDescription)> {
        let entry = self.probed.as_ref().ok()?;
        let description = &entry.description;
        if plugin.is_some_and(|plugin| description.plugin != plugin) {
            return None;
        }
        let found = description.analyses.iter().find(|one| one.id == analysis)?;
        Some((entry, found))
    }

    /// The file as the API tells of it.
    pub fn to_api(&self) -> Plugin {
        let path = self.path.display().to_string();
        let (state, text) = match &self.probed {
            Err(text) => (State::Broken, text.clone()),
            Ok(_) if !self.is_set_aside() => (State::Ready, String::new()),
            Ok(_) => {
                let text = format!(
                    "it failed {} times in a row; ask for `plugin/analysis` to try it again",
                    self.failure_count
                );
                (State::SetAside, text)
            }
        };
        let description = self.probed.as_ref().map(|entry| entry.description.clone());
        let description = description.unwrap_or_default();
        Plugin {
            path,
            plugin: description.plugin,
            version: description.version,
            state: state.into(),
            text,
            analyses: description.analyses.into_iter().map(|one| one.id).collect(),
        }
    }
}

/// Every analysis of every usable plugin.
pub fn all(
    files: &[PluginFile],
) -> impl Iterator<Item = (&Arc<PluginEntry>, &AnalysisDescription)> {
    let usable = files.iter().filter_map(|file| file.probed.as_ref().ok());
    usable.flat_map(|entry| {
        entry
            .description
            .analyses
            .iter()
            .map(move |one| (entry, one))
    })
}

/// Like [`all`], but each id once: of several plugins the first by path provides it.
pub fn first_of_each(
    files: &[PluginFile],
) -> impl Iterator<Item = (&Arc<PluginEntry>, &AnalysisDescription)> {
    let mut seen = HashSet::new();
    all(files).filter(move |(_, one)| seen.insert(one.id.as_str()))
}

/// The plugin libraries in `dirs`, each once, by absolute path.
pub fn libraries(dirs: &[PathBuf]) -> Vec<PathBuf> {
    let files = dirs
        .iter()
        .filter_map(|dir| fs::read_dir(dir).ok())
        .flatten()
        .flatten();
    let is_plugin = |path: &PathBuf| {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        name.contains(NAME_PART) && name.ends_with(env::consts::DLL_SUFFIX)
    };
    let mut paths: Vec<PathBuf> = files
        .map(|file| file.path())
        .filter(is_plugin)
        .filter_map(|path| path.canonicalize().ok())
        .collect();
    paths.sort();
    paths.dedup();
    paths
}
