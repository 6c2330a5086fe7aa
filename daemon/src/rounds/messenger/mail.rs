//! A mail of a run: its first line is the subject.

use std::time::{Duration, SystemTime};

use lettre::{
    Message, SmtpTransport, Transport,
    message::header::{ContentType, HeaderName, HeaderValue},
    transport::smtp::authentication::Credentials,
};

use super::Letter;
use crate::config::{MailConfig, MailTls};

/// Each step of the talk with the server may take so long.
const STEP_TIMEOUT: Duration = Duration::from_secs(15);
/// Says that no person wrote this, so that no holiday notice comes back (RFC 3834, section 5).
const AUTOMATIC: HeaderName = HeaderName::new_from_ascii_str("Auto-Submitted");

/// Sends once, to everybody or to nobody.
pub(super) fn send(mail: &MailConfig, letter: &Letter<'_>, now: SystemTime) -> Result<(), String> {
    let message = compose(mail, letter, now).map_err(|error| error.to_string())?;
    let transport = transport(mail).map_err(|error| error.to_string())?;
    let sent = transport.send(&message);
    sent.map(|_| ()).map_err(|error| {
        let host = &mail.host;
        let cause = std::error::Error::source(&error);
        cause.map_or_else(
            || format!("{host}: {error}"),
            |cause| format!("{host}: {error}: {cause}"),
        )
    })
}

/// The mail; its Message-ID is the same in every try, so that a server may drop doubles.
fn compose(
    mail: &MailConfig,
    letter: &Letter<'_>,
    now: SystemTime,
) -> Result<Message, lettre::error::Error> {
    let id = format!("<{}@{}>", letter.id(), mail.from.email.domain());
    let mut message = Message::builder()
        .from(mail.from.clone())
        .subject(letter.headline())
        .date(now)
        .message_id(Some(id))
        .header(ContentType::TEXT_PLAIN)
        .raw_header(HeaderValue::new(AUTOMATIC, "auto-generated".to_owned()));
    for to in &mail.to {
        message = message.to(to.clone());
    }
    message.body(letter.text.clone())
}

fn transport(mail: &MailConfig) -> Result<SmtpTransport, lettre::transport::smtp::Error> {
    let builder = match mail.tls {
        MailTls::StartTls => SmtpTransport::starttls_relay(&mail.host)?,
        MailTls::Tls => SmtpTransport::relay(&mail.host)?,
        MailTls::None => SmtpTransport::builder_dangerous(mail.host.as_str()),
    };
    let mut builder = builder.port(mail.port).timeout(Some(STEP_TIMEOUT));
    if let Some((user, password)) = &mail.login {
        let password = String::from_utf8_lossy(password.value()).into_owned();
        builder = builder.credentials(Credentials::new(user.clone(), password));
    }
    Ok(builder.build())
}
