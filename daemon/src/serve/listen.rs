//! Where clients reach the daemon: Unix sockets, and TCP on loopback.

use std::{
    io,
    net::{SocketAddr, TcpListener as StdTcpListener, ToSocketAddrs},
    os::unix::{
        fs::{FileTypeExt, PermissionsExt},
        net::{UnixListener as StdUnixListener, UnixStream},
    },
    path::{Path, PathBuf},
};

/// Who may use a Unix socket: owner and group.
const SOCKET_MODE: u32 = 0o660;

/// A place where the daemon listens, bound.
#[derive(Debug)]
pub enum Listener {
    /// A Unix socket; the file is removed when it is dropped.
    Unix(StdUnixListener, PathBuf),
    /// TCP on loopback.
    Tcp(StdTcpListener, SocketAddr),
}

/// Why the daemon cannot listen somewhere.
#[derive(Debug, thiserror::Error)]
pub enum ListenError {
    /// The text is neither `unix:PATH` nor `HOST:PORT`.
    #[error("'{0}' is no place to listen: write unix:PATH or HOST:PORT")]
    Text(String),
    /// TCP beyond loopback.
    #[error(
        "'{0}' is not on loopback: TCP is only served on 127.0.0.1 or [::1] until it can be \
         protected; other machines reach it through an SSH tunnel"
    )]
    NotLoopback(String),
    /// Another daemon answers there.
    #[error("{0} is in use: another daemon listens there; end it or choose another place")]
    InUse(String),
    /// Something that is no socket stands in the way.
    #[error("{0} exists and is no socket: remove it or choose another place")]
    InTheWay(String),
    /// The system refuses.
    #[error("cannot listen on {place}: {error}")]
    System {
        /// Where.
        place: String,
        /// What the system said.
        error: io::Error,
    },
}

impl Listener {
    /// Binds every place, or none.
    ///
    /// # Errors
    /// As [`Listener::bind`].
    pub fn bind_all(places: &[String]) -> Result<Vec<Self>, ListenError> {
        places.iter().map(|place| Self::bind(place)).collect()
    }

    /// Binds `unix:PATH` or `HOST:PORT`.
    ///
    /// # Errors
    /// A sentence that says what would be right.
    pub fn bind(place: &str) -> Result<Self, ListenError> {
        match place.strip_prefix("unix:") {
            Some("") => Err(ListenError::Text(place.into())),
            Some(path) => unix(Path::new(path)),
            None => tcp(place.strip_prefix("http://").unwrap_or(place)),
        }
    }

    /// The place as a client names it, with the real port.
    #[must_use]
    pub fn url(&self) -> String {
        match self {
            Self::Unix(_, path) => format!("unix:{}", path.display()),
            Self::Tcp(_, address) => format!("http://{address}"),
        }
    }
}

impl Drop for Listener {
    fn drop(&mut self) {
        if let Self::Unix(_, path) = self {
            // Should it be gone already, so much the better.
            let _ = std::fs::remove_file(path);
        }
    }
}

fn unix(path: &Path) -> Result<Listener, ListenError> {
    let place = format!("unix:{}", path.display());
    let system = |error: io::Error| ListenError::System {
        place: place.clone(),
        error,
    };
    if let Ok(metadata) = path.symlink_metadata() {
        if !metadata.file_type().is_socket() {
            return Err(ListenError::InTheWay(place));
        }
        if UnixStream::connect(path).is_ok() {
            return Err(ListenError::InUse(place));
        }
        // Nobody answers: a daemon was killed and left it behind.
        std::fs::remove_file(path).map_err(system)?;
    }
    let listener = StdUnixListener::bind(path).map_err(system)?;
    std::fs::set_permissions(path, PermissionsExt::from_mode(SOCKET_MODE)).map_err(system)?;
    listener.set_nonblocking(true).map_err(system)?;
    Ok(Listener::Unix(listener, path.to_owned()))
}

fn tcp(place: &str) -> Result<Listener, ListenError> {
    let system = |error: io::Error| match error.kind() {
        io::ErrorKind::AddrInUse => ListenError::InUse(place.into()),
        _ => ListenError::System {
            place: place.into(),
            error,
        },
    };
    let mut addresses = place
        .to_socket_addrs()
        .map_err(|_| ListenError::Text(place.into()))?;
    let address = addresses
        .next()
        .ok_or_else(|| ListenError::Text(place.into()))?;
    if !address.ip().is_loopback() {
        return Err(ListenError::NotLoopback(place.into()));
    }
    let listener = StdTcpListener::bind(address).map_err(system)?;
    listener.set_nonblocking(true).map_err(system)?;
    let address = listener.local_addr().map_err(system)?;
    Ok(Listener::Tcp(listener, address))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tcp_beyond_loopback_is_refused() {
        assert!(matches!(
            Listener::bind("0.0.0.0:0"),
            Err(ListenError::NotLoopback(_))
        ));
    }

    #[test]
    fn port_0_tells_the_real_port() {
        let listener = Listener::bind("127.0.0.1:0").expect("loopback");
        assert!(!listener.url().ends_with(":0"), "{}", listener.url());
    }

    #[test]
    fn a_socket_of_mode_660_is_refused_while_it_is_in_use_and_taken_over_afterwards() {
        let folder = tempfile::tempdir().expect("a folder");
        let place = format!("unix:{}", folder.path().join("s").display());
        let first = Listener::bind(&place).expect("free");
        let mode = folder
            .path()
            .join("s")
            .metadata()
            .expect("there")
            .permissions()
            .mode();
        assert_eq!(mode & 0o777, 0o660);
        assert!(matches!(Listener::bind(&place), Err(ListenError::InUse(_))));
        let Listener::Unix(socket, _) = &first else {
            unreachable!("bound as unix")
        };
        let left_behind = socket.try_clone().expect("a descriptor");
        std::mem::forget(first);
        drop(left_behind);
        assert!(Listener::bind("nonsense").is_err());
    }
}
