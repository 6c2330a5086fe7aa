//! Asking a plugin once what it is.

use std::{fs, io, os::unix::fs::MetadataExt, path::Path};

use goodwire_proto::{pipe::CallKind, plugin::v1::Description};
use prost::Message;

use super::{
    super::{
        conversation::{Answer, Conversation},
        description,
        limits::Limits,
    },
    PluginEntry,
};

/// What changes when a file does.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Stamp {
    device: u64,
    inode: u64,
    byte_count: u64,
    modified_s: i64,
    modified_ns: i64,
}

impl Stamp {
    /// The stamp of the file at `path`.
    pub fn of(path: &Path) -> io::Result<Self> {
        let about = fs::metadata(path)?;
        Ok(Self {
            device: about.dev(),
            inode: about.ino(),
            byte_count: about.size(),
            modified_s: about.mtime(),
            modified_ns: about.mtime_nsec(),
        })
    }
}

/// Loads the library at `path` in a child of `host`, asks what it is, and checks the answer.
///
/// # Errors
/// Why it cannot be used, in a sentence.
pub(super) fn probe(host: &Path, path: &Path) -> Result<PluginEntry, String> {
    let hash = hash(path).map_err(|error| format!("the library cannot be read: {error}"))?;
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let mut conversation =
        Conversation::start(host, path, &name).map_err(|error| error.to_string())?;
    let limit = Limits::default().describe;
    let answer = conversation
        .call(CallKind::Describe, Vec::new(), limit)
        .map_err(|error| error.to_string())?;
    let Answer::Done(payload) = answer else {
        return Err("it answered describe with what is no description".into());
    };
    let description = Description::decode(&payload[..])
        .map_err(|error| format!("its description cannot be read: {error}"))?;
    description::check(&description)?;
    Ok(PluginEntry {
        path: path.to_owned(),
        host: host.to_owned(),
        hash,
        description,
    })
}

fn hash(path: &Path) -> io::Result<String> {
    let mut hasher = blake3::Hasher::new();
    hasher.update_reader(fs::File::open(path)?)?;
    Ok(hasher.finalize().to_hex().to_string())
}
