//! The pipes to the daemon, moved out of a plugin's way.

use std::{
    fs::{File, OpenOptions},
    io::{self, BufReader, Read, Write},
    os::fd::{AsRawFd, FromRawFd, RawFd},
    thread,
};

/// Frames from and to the daemon.
pub struct Protocol {
    input: BufReader<File>,
    output: File,
}

impl Protocol {
    /// Moves the protocol to descriptors that no child of a plugin inherits, points 0 at nothing
    /// and 1 at the log on 2, closes what the daemon may have left open, and ends the process as
    /// soon as the daemon is gone, even while a plugin computes.
    ///
    /// # Errors
    /// Whatever the system gives; nothing can be served then.
    pub fn take() -> io::Result<Self> {
        let input = duplicate(libc::STDIN_FILENO)?;
        let output = duplicate(libc::STDOUT_FILENO)?;
        let nothing = OpenOptions::new().read(true).open("/dev/null")?;
        redirect(nothing.as_raw_fd(), libc::STDIN_FILENO)?;
        redirect(libc::STDERR_FILENO, libc::STDOUT_FILENO)?;
        drop(nothing);
        close_all_but(input.as_raw_fd(), output.as_raw_fd());
        watch_for_end(input.as_raw_fd())?;
        Ok(Self {
            input: BufReader::new(input),
            output,
        })
    }
}

impl Read for Protocol {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        self.input.read(buffer)
    }
}

impl Write for Protocol {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.output.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.output.flush()
    }
}

/// A close-on-exec duplicate of `descriptor`, above the standard three.
fn duplicate(descriptor: RawFd) -> io::Result<File> {
    // SAFETY: a plain call; a bad descriptor gives an error.
    let copy = unsafe { libc::fcntl(descriptor, libc::F_DUPFD_CLOEXEC, 3) };
    if copy < 0 {
        return Err(io::Error::last_os_error());
    }
    // SAFETY: the descriptor is new and nobody else's.
    Ok(unsafe { File::from_raw_fd(copy) })
}

/// Makes `to` another name of `from`.
fn redirect(from: RawFd, to: RawFd) -> io::Result<()> {
    // SAFETY: a plain call; nothing here owns what `to` named before.
    match unsafe { libc::dup2(from, to) } {
        -1 => Err(io::Error::last_os_error()),
        _ => Ok(()),
    }
}

/// Closes every descriptor above the standard three but these two. Libraries of the daemon may have
/// opened some without close-on-exec; a kernel without the call leaves them open.
fn close_all_but(one: RawFd, other: RawFd) {
    let (low, high) = (one.min(other), one.max(other));
    for (first, last) in [(3, low - 1), (low + 1, high - 1), (high + 1, RawFd::MAX)] {
        if first <= last {
            // SAFETY: nothing in this process owns a descriptor but those of the protocol yet.
            unsafe { libc::syscall(libc::SYS_close_range, first, last, 0) };
        }
    }
}

/// Ends the process when the other end of `input` is closed.
fn watch_for_end(input: RawFd) -> io::Result<()> {
    let watch = move || {
        let mut descriptor = libc::pollfd {
            fd: input,
            events: 0,
            revents: 0,
        };
        loop {
            // SAFETY: one valid pollfd. Without events it wakes for a hang-up or an error only.
            let woken = unsafe { libc::poll(&raw mut descriptor, 1, -1) };
            if woken > 0 {
                // SAFETY: _exit has no preconditions.
                unsafe { libc::_exit(0) };
            }
        }
    };
    thread::Builder::new()
        .stack_size(64 << 10)
        .spawn(watch)
        .map(drop)
}
