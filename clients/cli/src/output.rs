//! Standard output and standard error; a pipe that was closed at its other end is no mistake.

use std::io::{self, Write};

/// Writes data to standard output.
///
/// Whoever reads may have seen enough and gone (`goodwire results | head`): that is quiet.
///
/// # Errors
/// Whatever else keeps the bytes from being written, a full disk for example.
pub fn print(text: &str) -> anyhow::Result<()> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            Err(anyhow::Error::new(error).context("standard output cannot be written"))
        }
        _ => Ok(()),
    }
}

/// Writes a line for people to standard error; if nobody hears it, nothing can be done about it.
pub fn say(line: &str) {
    let _ = writeln!(io::stderr().lock(), "{line}");
}
