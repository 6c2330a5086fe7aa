//! A run posted over HTTP, signed by the specification of Standard Webhooks 1.0
//! (standardwebhooks.com): `v1,` and the base64 of HMAC-SHA256 over `id.timestamp.body`.

use std::{sync::Arc, time::Duration};

use base64::{Engine, engine::general_purpose::STANDARD};
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;
use ureq::{
    Agent,
    tls::{Certificate, RootCerts, TlsConfig},
};

use super::{Letter, body::body};
use crate::config::WebhookConfig;

/// The receiver may take so long to be connected to, and altogether.
const CONNECT_TIMEOUT: Duration = Duration::from_secs(5);
const WHOLE_TIMEOUT: Duration = Duration::from_secs(15);

/// Posts once. Every 2xx is well; redirects are not followed, so that a run goes nowhere but to
/// the address that was configured.
pub(super) fn post(
    webhook: &WebhookConfig,
    letter: &Letter<'_>,
    time_s: i64,
) -> Result<(), String> {
    let host = &webhook.host;
    let id = format!("msg_{}", letter.id());
    let body = body(letter).to_string();
    let answer = agent(webhook)
        .post(&webhook.url)
        .header("content-type", "application/json")
        .header("webhook-id", &id)
        .header("webhook-timestamp", time_s.to_string())
        .header(
            "webhook-signature",
            sign(webhook.secret.value(), &id, time_s, &body),
        )
        .send(&body);
    match answer {
        Ok(answer) if answer.status().is_success() => Ok(()),
        Ok(answer) => Err(format!("{host} answered {}", answer.status())),
        Err(error) => Err(format!("{host}: {error}")),
    }
}

/// The signature of a message.
fn sign(key: &[u8], id: &str, time_s: i64, body: &str) -> String {
    let mut mac = Hmac::<Sha256>::new_from_slice(key).expect("every length of key is allowed");
    mac.update(format!("{id}.{time_s}.{body}").as_bytes());
    format!("v1,{}", STANDARD.encode(mac.finalize().into_bytes()))
}

/// A client of one request. It trusts what the machine trusts, as it stands at that moment: the
/// box may run for years.
fn agent(webhook: &WebhookConfig) -> Agent {
    let mut config = Agent::config_builder()
        .timeout_connect(Some(CONNECT_TIMEOUT))
        .timeout_global(Some(WHOLE_TIMEOUT))
        .max_redirects(0)
        .max_idle_connections(0)
        .http_status_as_error(false)
        .user_agent(concat!("goodwire/", env!("CARGO_PKG_VERSION")));
    if webhook.is_local {
        config = config.proxy(None);
    }
    if webhook.url.starts_with("http:") {
        return config.build().new_agent();
    }
    let trusted = rustls_native_certs::load_native_certs().certs;
    let roots: Vec<Certificate<'static>> = trusted
        .iter()
        .map(|root| Certificate::from_der(root).to_owned())
        .collect();
    let tls = TlsConfig::builder().root_certs(RootCerts::Specific(Arc::new(roots)));
    config.tls_config(tls.build()).build().new_agent()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The worked example of the specification, from memory; Python's hmac gives the same.
    #[test]
    fn the_signature_is_that_of_the_worked_example() {
        let key = STANDARD.decode("MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw").unwrap();
        let id = "msg_p5jXN8AQM9LWM0D4loKWxJek";
        let signature = sign(&key, id, 1_614_265_330, "{\"test\": 2432232314}");
        let want = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=";
        assert_eq!(signature, want);
    }
}
