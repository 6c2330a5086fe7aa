//! Secrets of the user's, which stand in files of their own and are never shown.

use std::{fmt, fs, os::unix::fs::PermissionsExt, path::PathBuf};

use crate::config::section::Section;

/// Longest secret file in bytes; no secret is nearly as long.
const BYTES_MAX: u64 = 4096;

/// A secret: in no log, no message and no debug output.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret {
    value: Vec<u8>,
    /// The file that it was read from.
    pub file: PathBuf,
    /// True where users other than the file's own may read it too.
    pub is_exposed: bool,
}

impl Secret {
    /// A secret that was read from a file.
    #[must_use]
    pub fn new(value: Vec<u8>, file: PathBuf, is_exposed: bool) -> Self {
        Self {
            value,
            file,
            is_exposed,
        }
    }

    /// The secret itself.
    #[must_use]
    pub fn value(&self) -> &[u8] {
        &self.value
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "Secret(from {})", self.file.display())
    }
}

/// Reads the file that `key` names: its one line, without white space around it.
pub(super) fn read(section: &Section<'_>, key: &'static str, right: &str) -> Option<Secret> {
    let path = section.text(key, right)?;
    if !path.starts_with('/') {
        section.wrong(key, format!("`{key}` is no full path"), right);
        return None;
    }
    match load(path.into()) {
        Ok(secret) => Some(secret),
        Err(wrong) => {
            section.wrong(key, format!("the file of `{key}` {wrong}"), right);
            None
        }
    }
}

fn load(file: PathBuf) -> Result<Secret, String> {
    let unreadable = |error: std::io::Error| format!("cannot be read: {error}");
    let known = fs::metadata(&file).map_err(unreadable)?;
    if !known.is_file() || known.len() > BYTES_MAX {
        return Err("holds no secret: it is too long, or no plain file".to_owned());
    }
    let text = fs::read_to_string(&file).map_err(unreadable)?;
    let line = text.trim();
    if line.is_empty() || line.contains('\n') {
        return Err("does not have the secret as its one line".to_owned());
    }
    // Write and execute bits of others are as wrong as the bit to read.
    let is_exposed = known.permissions().mode() & 0o007 != 0;
    Ok(Secret::new(line.as_bytes().to_vec(), file, is_exposed))
}
