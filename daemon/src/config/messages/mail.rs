//! `[messages.mail]`: whom a mail is sent to, and through which server.

use lettre::message::Mailbox;

use super::{
    is_this_machine,
    secret::{self, Secret},
};
use crate::config::section::Section;

const SERVER: &str = "the mail server with its port, such as server = \"mail.example.org:587\"";
const FROM: &str = "an address such as from = \"Rack <rack@example.org>\"";
const TO: &str = "a list of addresses, such as to = [\"sound@example.org\"]";
const USER: &str = "the name that the server knows, beside `password_file`";
const PASSWORD: &str = "the full path of a file with the password as its one line, beside `user`";
const TLS: &str = "\"starttls\" or \"tls\"; \"none\" only for this machine, 127.0.0.1 or localhost";

/// Whom a mail is sent to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MailConfig {
    /// Host of the server, without brackets.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// How the way to it is protected.
    pub tls: MailTls,
    /// Who sends.
    pub from: Mailbox,
    /// Who gets it; at least one.
    pub to: Vec<Mailbox>,
    /// User and password; `None`: the server wants none.
    pub login: Option<(String, Secret)>,
}

/// How the way to a mail server is protected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MailTls {
    /// After STARTTLS, which has to succeed.
    StartTls,
    /// From the first byte.
    Tls,
    /// Not at all: on this machine alone.
    None,
}

/// Reads `[messages.mail]`.
pub(super) fn read(messages: &Section<'_>) -> Option<MailConfig> {
    let section = messages.section("mail", "[messages.mail]")?;
    let server = section.need("server", section.text("server", SERVER), SERVER);
    let place = server.and_then(|server| {
        let place = place_of(server);
        if place.is_none() {
            let wrong = format!("\"{server}\" is no host with a port");
            section.wrong("server", wrong, SERVER);
        }
        place
    });
    let tls = match section.choice("tls", &["starttls", "tls", "none"]) {
        Some("tls") => MailTls::Tls,
        Some("none") => MailTls::None,
        _ => MailTls::StartTls,
    };
    if let (MailTls::None, Some((host, _))) = (tls, &place)
        && !is_this_machine(host)
    {
        section.wrong(
            "tls",
            format!("mail to {host} could be read by all on its way"),
            TLS,
        );
    }
    let from = section.need("from", section.text("from", FROM), FROM);
    let from = from.and_then(|from| mailbox(&section, "from", from, FROM));
    let to = section.need("to", section.texts("to", TO), TO);
    let to = to.unwrap_or_default();
    if section.has("to") && to.is_empty() {
        section.wrong("to", "`to` has nobody in it", TO);
    }
    let to = to.iter().filter_map(|to| mailbox(&section, "to", to, TO));
    let to = to.collect();
    let login = read_login(&section);
    section.close();
    let (host, port) = place?;
    Some(MailConfig {
        host,
        port,
        tls,
        from: from?,
        to,
        login,
    })
}

fn read_login(section: &Section<'_>) -> Option<(String, Secret)> {
    let user = section.text("user", USER);
    let password = secret::read(section, "password_file", PASSWORD);
    for (key, other, right) in [
        ("user", "password_file", USER),
        ("password_file", "user", PASSWORD),
    ] {
        if section.has(other) && !section.has(key) {
            section.need::<()>(key, None, right);
        }
    }
    Some((user?.to_owned(), password?))
}

fn mailbox(section: &Section<'_>, key: &str, text: &str, right: &str) -> Option<Mailbox> {
    let mailbox = text.parse();
    if mailbox.is_err() {
        section.wrong(key, format!("\"{text}\" is no address"), right);
    }
    mailbox.ok()
}

/// Host, without the brackets of an IPv6 address, and port.
fn place_of(server: &str) -> Option<(String, u16)> {
    let (host, port) = server.rsplit_once(':')?;
    let bare = host
        .strip_prefix('[')
        .and_then(|host| host.strip_suffix(']'))
        .unwrap_or(host);
    let port = port.parse().ok().filter(|port| *port > 0)?;
    let is_plain = !bare.is_empty() && !bare.contains(['/', '@', ' ']);
    (is_plain && (host != bare || !bare.contains(':'))).then(|| (bare.to_owned(), port))
}
