//! `[messages.webhook]`: where runs are posted, and the secret that signs them.

use base64::{Engine, engine::general_purpose::STANDARD};
use ureq::http::Uri;

use super::{
    is_this_machine,
    secret::{self, Secret},
};
use crate::config::section::Section;

const URL: &str = "an address such as url = \"https://example.org/links\"; http only for this \
                   machine, as in \"http://127.0.0.1:8080/links\"";
const SECRET: &str = "the full path of a file with one line: `whsec_` and 24 to 64 random bytes \
                      in base64, the same that the receiver has";
/// Bytes that a secret may have, by the specification of Standard Webhooks.
const SECRET_BYTES: std::ops::RangeInclusive<usize> = 24..=64;

/// Where runs are posted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WebhookConfig {
    /// The whole address.
    pub url: String,
    /// Its host, for the log: the rest may be known to few.
    pub host: String,
    /// True where that host is this machine.
    pub is_local: bool,
    /// The key of the signatures, decoded.
    pub secret: Secret,
}

/// Reads `[messages.webhook]`.
pub(super) fn read(messages: &Section<'_>) -> Option<WebhookConfig> {
    let section = messages.section("webhook", "[messages.webhook]")?;
    let url = section.need("url", section.text("url", URL), URL);
    let host = url.and_then(|url| match host_of(url) {
        Ok(host) => Some(host),
        Err(wrong) => {
            section.wrong("url", wrong, URL);
            None
        }
    });
    let secret = secret::read(&section, "secret_file", SECRET);
    let secret = section.need("secret_file", secret, SECRET);
    let key = secret.and_then(|secret| {
        let key = key_of(&secret);
        if key.is_none() {
            let wrong = "the file of `secret_file` holds no secret of a webhook";
            section.wrong("secret_file", wrong, SECRET);
        }
        Some(Secret::new(key?, secret.file, secret.is_exposed))
    });
    section.close();
    let host = host?;
    Some(WebhookConfig {
        url: url?.to_owned(),
        is_local: is_this_machine(&host),
        host,
        secret: key?,
    })
}

/// The host of an address that may be posted to.
fn host_of(url: &str) -> Result<String, String> {
    let uri: Uri = url
        .parse()
        .map_err(|error| format!("`url` is no address: {error}"))?;
    let host = uri.host().filter(|host| !host.is_empty());
    let host = host.ok_or("`url` names no host")?;
    if uri
        .authority()
        .is_some_and(|authority| authority.as_str().contains('@'))
    {
        return Err("`url` holds a user or a password, which would be readable here".to_owned());
    }
    match uri.scheme_str() {
        Some("https") => Ok(host.to_owned()),
        Some("http") if is_this_machine(host) => Ok(host.to_owned()),
        Some("http") => Err(format!(
            "`url` is http to {host}: all could read it on its way"
        )),
        _ => Err("`url` is neither https nor http".to_owned()),
    }
}

/// The key in `whsec_` and base64.
fn key_of(secret: &Secret) -> Option<Vec<u8>> {
    let text = std::str::from_utf8(secret.value()).ok()?;
    let key = STANDARD.decode(text.strip_prefix("whsec_")?).ok()?;
    SECRET_BYTES.contains(&key.len()).then_some(key)
}
