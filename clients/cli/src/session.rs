//! What every command shares: which server to ask, how to print, and the signals.

use std::{ops::Deref, path::Path};

use anyhow::anyhow;
use serde_json::Value;

use crate::{
    arguments::Arguments,
    connect::{Address, Connection},
    interrupts::Interrupts,
    json, output,
    private_daemon::PrivateDaemon,
    show::Look,
};

/// What every command shares.
#[derive(Debug)]
pub struct Session {
    server: Option<Address>,
    /// Whether standard output gets one JSON document instead of text for people.
    pub json: bool,
    /// How text for people looks.
    pub look: Look,
    /// Signals.
    pub interrupts: Interrupts,
}

/// A server that answers, and the daemon behind it where it is our own.
#[derive(Debug)]
pub struct Server {
    // Before the daemon, so that it is dropped first: an idle connection delays a shutdown.
    connection: Connection,
    private: Option<PrivateDaemon>,
}

impl Server {
    /// True where the daemon was started for this command alone, and forgets all with it.
    pub fn is_private(&self) -> bool {
        self.private.is_some()
    }
}

impl Deref for Server {
    type Target = Connection;

    fn deref(&self) -> &Connection {
        &self.connection
    }
}

impl Session {
    /// The session that the arguments ask for.
    pub fn new(arguments: &Arguments, interrupts: Interrupts) -> Self {
        Self {
            server: arguments.server.clone(),
            json: arguments.json,
            look: Look::of_terminal(),
            interrupts,
        }
    }

    /// Connects to the server that was asked for, else to the first default socket that answers.
    ///
    /// # Errors
    /// That nobody answers, and how to start somebody.
    pub async fn connect(&self) -> anyhow::Result<Server> {
        let tried = match &self.server {
            Some(address) => vec![address.clone()],
            None => Address::defaults(),
        };
        let mut why = Vec::new();
        for address in tried {
            match address.open().await {
                Ok(channel) => {
                    return Ok(Server {
                        connection: Connection::new(channel),
                        private: None,
                    });
                }
                Err(error) => why.push(format!("{address} ({})", root_cause(&error))),
            }
        }
        Err(anyhow!(
            "no goodwired answers at {}\n  start one with `goodwired --config FILE`, \
             or say where it listens with --server or GOODWIRE_SERVER",
            why.join(" nor at ")
        ))
    }

    /// Connects like [`Session::connect`]; where no server was asked for and none is reachable,
    /// starts a private one.
    ///
    /// # Errors
    /// As of [`Session::connect`], or why a private daemon does not start.
    pub async fn connect_or_start(&self) -> anyhow::Result<Server> {
        match self.connect().await {
            Err(_) if self.server.is_none() => Self::start(PRIVATE_RIG, None).await,
            outcome => outcome,
        }
    }

    /// Starts a private daemon with the given configuration and connects to it. What it finds
    /// outlives it in the folder `state`, where one is given.
    ///
    /// # Errors
    /// Why it does not start.
    pub async fn start(configuration: &str, state: Option<&Path>) -> anyhow::Result<Server> {
        let private = PrivateDaemon::start(configuration, state).await?;
        let channel = private.address().open().await?;
        Ok(Server {
            connection: Connection::new(channel),
            private: Some(private),
        })
    }

    /// Prints a JSON document where JSON was asked for, else the text.
    ///
    /// # Errors
    /// Where either cannot be made or written.
    pub fn print(
        &self,
        document: impl FnOnce() -> anyhow::Result<Value>,
        text: impl FnOnce(&Look) -> String,
    ) -> anyhow::Result<()> {
        if self.json {
            output::print(&json::document(&document()?))
        } else {
            output::print(&self.look.spell(&text(&self.look)))
        }
    }
}

/// The least configuration that works: a daemon for stimuli and recordings needs no rig.
const PRIVATE_RIG: &str = r#"site = "private"
[interface]
backend = "simulated"
time = "virtual"
rate = 48000
[reference]
send = 2
return = 2
[[link]]
name = "private"
send = 1
return = 1
"#;

/// The innermost cause: "no such file or directory" says more than "transport error".
fn root_cause(error: &(dyn std::error::Error + 'static)) -> String {
    let mut cause = error;
    while let Some(deeper) = cause.source() {
        cause = deeper;
    }
    cause.to_string()
}
