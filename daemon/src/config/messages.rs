//! `[messages]`: who is told how the nights went, and by which ways.

mod mail;
mod secret;
mod webhook;

use std::net::IpAddr;

pub use mail::{MailConfig, MailTls};
pub use secret::Secret;
pub use webhook::WebhookConfig;

use super::section::Section;

/// The ways, as the configuration, the outbox and the metrics call them.
pub const WAY_NAMES: [&str; 3] = ["command", "webhook", "mail"];

const COMMAND: &str = "a program and its arguments, each a text, such as \
                       command = [\"/usr/bin/mail\", \"-s\", \"links\", \"me@example.org\"]";
const WAYS: &str = "at least one of `command`, [messages.webhook], [messages.mail]; \
                    `command` is a program with its arguments, such as \
                    command = [\"/usr/bin/mail\", \"-s\", \"links\", \"me@example.org\"]";

/// Who is told of runs: at least one way is there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MessagesConfig {
    /// Of which runs a message goes out.
    pub when: MessagesWhen,
    /// The program with its arguments, which gets the message on its standard input.
    pub command: Option<Vec<String>>,
    /// Where the run is posted.
    pub webhook: Option<WebhookConfig>,
    /// Whom a mail is sent to.
    pub mail: Option<MailConfig>,
}

impl MessagesConfig {
    /// Names of the ways that are there: `command`, `webhook`, `mail`.
    #[must_use]
    pub fn ways(&self) -> Vec<&'static str> {
        let all = [
            (WAY_NAMES[0], self.command.is_some()),
            (WAY_NAMES[1], self.webhook.is_some()),
            (WAY_NAMES[2], self.mail.is_some()),
        ];
        let there = all.into_iter().filter(|(_, is_there)| *is_there);
        there.map(|(name, _)| name).collect()
    }
}

/// Of which runs a message goes out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MessagesWhen {
    /// Of those that did not pass, of missed ones, and where a link recovered.
    Trouble,
    /// Of every one.
    Always,
}

/// Reads `[messages]`.
pub(super) fn read(file: &Section<'_>) -> Option<MessagesConfig> {
    let section = file.section("messages", "[messages]")?;
    let command = section.texts("command", COMMAND);
    let first = command.as_ref().and_then(|command| command.first());
    let is_absolute = first.is_some_and(|program| program.starts_with('/'));
    if section.has("command") && !is_absolute {
        let wrong = "`command` does not begin with the full path of a program";
        section.wrong("command", wrong, COMMAND);
    }
    let when = match section.choice("when", &["trouble", "always"]) {
        Some("always") => MessagesWhen::Always,
        _ => MessagesWhen::Trouble,
    };
    let webhook = webhook::read(&section);
    let mail = mail::read(&section);
    if !WAY_NAMES.iter().any(|way| section.has(way)) {
        section.need::<()>("command", None, WAYS);
    }
    section.close();
    Some(MessagesConfig {
        when,
        command,
        webhook,
        mail,
    })
}

/// Whether a host is this machine without a name server being asked: what it answers may change.
fn is_this_machine(host: &str) -> bool {
    let bare = host.trim_start_matches('[').trim_end_matches(']');
    let address = bare.parse::<IpAddr>();
    host == "localhost" || address.is_ok_and(|address| address.is_loopback())
}
