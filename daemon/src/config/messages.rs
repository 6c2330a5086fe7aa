//! `[messages]` and `[page]`: who is told how the nights went.

use std::net::ToSocketAddrs;

use super::{
    section::Section,
    types::{MessagesConfig, MessagesWhen},
};

const COMMAND: &str = "a program and its arguments, each a text, such as \
                       command = [\"/usr/bin/mail\", \"-s\", \"links\", \"me@example.org\"]";
const LISTEN: &str = "an address on loopback, such as listen = \"127.0.0.1:9480\"; other machines \
                      reach it through an SSH tunnel or a proxy that protects it";

/// Reads `[messages]`.
pub(super) fn read(file: &Section<'_>) -> Option<MessagesConfig> {
    let section = file.section("messages", "[messages]")?;
    let command = section.need("command", section.texts("command", COMMAND), COMMAND);
    let command = command.unwrap_or_default();
    let is_absolute = command
        .first()
        .is_some_and(|program| program.starts_with('/'));
    if section.has("command") && !is_absolute {
        let wrong = "`command` does not begin with the full path of a program";
        section.wrong("command", wrong, COMMAND);
    }
    let when = match section.choice("when", &["trouble", "always"]) {
        Some("always") => MessagesWhen::Always,
        _ => MessagesWhen::Trouble,
    };
    section.close();
    Some(MessagesConfig { command, when })
}

/// Reads `[page]`.
pub(super) fn read_page(file: &Section<'_>) -> Option<String> {
    let section = file.section("page", "[page]")?;
    let listen = section.need("listen", section.text("listen", LISTEN), LISTEN);
    if let Some(wrong) = listen.filter(|listen| !is_loopback(listen)) {
        section.wrong("listen", format!("\"{wrong}\" cannot be served"), LISTEN);
    }
    section.close();
    listen.map(str::to_owned)
}

fn is_loopback(listen: &str) -> bool {
    let addresses = listen.to_socket_addrs();
    addresses.is_ok_and(|mut all| all.all(|address| address.ip().is_loopback()))
}
