//! Files that are whole or not there at all.

use std::{fs, io::Write, path::Path};

use anyhow::Context;

/// Writes a file beside its place and moves it there when all of it is on disk.
///
/// `fill` gets the open file. A file that was there before stays until the last moment.
///
/// # Errors
/// Whatever keeps the file from being written, with its path.
pub fn write_whole(
    path: &Path,
    fill: impl FnOnce(&mut fs::File) -> anyhow::Result<()>,
) -> anyhow::Result<()> {
    let folder = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let cannot = || format!("{} cannot be written", path.display());
    let mut file = tempfile::Builder::new()
        .prefix(".goodwire-")
        .permissions(permissions())
        .tempfile_in(folder)
        .with_context(cannot)?;
    fill(file.as_file_mut()).with_context(cannot)?;
    file.as_file().sync_all().with_context(cannot)?;
    file.persist(path)
        .map_err(|error| error.error)
        .with_context(cannot)?;
    Ok(())
}

/// Writes a text file; see [`write_whole`].
///
/// # Errors
/// As of [`write_whole`].
pub fn write_text(path: &Path, text: &str) -> anyhow::Result<()> {
    write_whole(path, |file| Ok(file.write_all(text.as_bytes())?))
}

/// Temporary files are private by default; what we write is for everybody the umask allows.
fn permissions() -> fs::Permissions {
    use std::os::unix::fs::PermissionsExt;
    fs::Permissions::from_mode(0o666)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_failure_half_way_leaves_the_old_file_and_nothing_beside_it() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("out.txt");
        write_text(&path, "old").unwrap();
        let broken = write_whole(&path, |file| {
            file.write_all(b"half")?;
            anyhow::bail!("the stream ended")
        });
        assert!(format!("{:#}", broken.unwrap_err()).contains("out.txt"));
        assert_eq!(fs::read_to_string(&path).unwrap(), "old");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_missing_folder_is_named() {
        let error = write_text(Path::new("/nowhere/at/all.csv"), "").unwrap_err();
        assert!(format!("{error:#}").contains("/nowhere/at/all.csv"));
    }
}
