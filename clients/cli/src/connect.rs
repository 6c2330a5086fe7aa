//! Where a `goodwired` listens, and how to reach it.

use std::{env, fmt, path::PathBuf, str::FromStr, time::Duration};

use goodwire_proto::v1::{
    analysis_service_client::AnalysisServiceClient,
    judgement_service_client::JudgementServiceClient, level_service_client::LevelServiceClient,
    measurement_service_client::MeasurementServiceClient,
    report_service_client::ReportServiceClient, rig_service_client::RigServiceClient,
    round_service_client::RoundServiceClient, watch_service_client::WatchServiceClient,
    wiring_service_client::WiringServiceClient,
};
use hyper_util::rt::TokioIo;
use tokio::net::UnixStream;
use tonic::{
    Request,
    transport::{Channel, Endpoint},
};
use tower::service_fn;

/// How long a connection may take.
const CONNECT_TIMEOUT: Duration = Duration::from_secs(3);
/// Deadline of a call that only asks or tells.
const QUICK: Duration = Duration::from_secs(15);
/// Deadline of a call behind which a device or a plugin may be slow.
const SLOW: Duration = Duration::from_secs(60);
/// Largest answer that is accepted, in bytes: a long watch has long curves.
const ANSWER_BYTES_MAX: usize = 64 << 20;

/// Where a `goodwired` listens.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Address {
    /// A Unix socket.
    Unix(PathBuf),
    /// `http://HOST:PORT`.
    Http(String),
}

impl FromStr for Address {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if let Some(path) = text.strip_prefix("unix:") {
            if path.is_empty() {
                return Err("unix: wants a path, as in unix:/run/goodwire/goodwire.sock".into());
            }
            return Ok(Self::Unix(path.into()));
        }
        if text.starts_with("http://") && Endpoint::from_str(text).is_ok() {
            return Ok(Self::Http(text.to_owned()));
        }
        Err(format!(
            "`{text}` is neither unix:PATH nor http://HOST:PORT"
        ))
    }
}

impl fmt::Display for Address {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unix(path) => write!(f, "unix:{}", path.display()),
            Self::Http(url) => f.write_str(url),
        }
    }
}

impl Address {
    /// The sockets to try where none was asked for: the user's own first, then the service's.
    pub fn defaults() -> Vec<Self> {
        let user = env::var_os("XDG_RUNTIME_DIR").filter(|dir| !dir.is_empty());
        user.map(|dir| PathBuf::from(dir).join("goodwire.sock"))
            .into_iter()
            .chain([PathBuf::from("/run/goodwire/goodwire.sock")])
            .map(Self::Unix)
            .collect()
    }

    /// Opens a connection.
    ///
    /// # Errors
    /// Why nobody can be reached there.
    pub async fn open(&self) -> Result<Channel, tonic::transport::Error> {
        match self {
            Self::Http(url) => {
                Endpoint::from_shared(url.clone())?
                    .connect_timeout(CONNECT_TIMEOUT)
                    .connect()
                    .await
            }
            Self::Unix(path) => {
                let path = path.clone();
                // The URL's host becomes the `:authority`; the path of a socket would be refused.
                Endpoint::from_static("http://localhost")
                    .connect_timeout(CONNECT_TIMEOUT)
                    .connect_with_connector(service_fn(move |_| {
                        let path = path.clone();
                        async move { UnixStream::connect(path).await.map(TokioIo::new) }
                    }))
                    .await
            }
        }
    }
}

/// A connection, as the clients of the services. It opens itself again when it was lost.
#[derive(Debug, Clone)]
pub struct Connection {
    channel: Channel,
}

impl Connection {
    /// Wraps an open channel.
    pub fn new(channel: Channel) -> Self {
        Self { channel }
    }

    /// Status, devices, links, hold, stop.
    pub fn rig(&self) -> RigServiceClient<Channel> {
        RigServiceClient::new(self.channel.clone()).max_decoding_message_size(ANSWER_BYTES_MAX)
    }

    /// What can be measured, and the stimuli.
    pub fn analyses(&self) -> AnalysisServiceClient<Channel> {
        AnalysisServiceClient::new(self.channel.clone()).max_decoding_message_size(ANSWER_BYTES_MAX)
    }

    /// Measurements.
    pub fn measurements(&self) -> MeasurementServiceClient<Channel> {
        MeasurementServiceClient::new(self.channel.clone())
            .max_decoding_message_size(ANSWER_BYTES_MAX)
    }

    /// Rounds and their runs.
    pub fn rounds(&self) -> RoundServiceClient<Channel> {
        RoundServiceClient::new(self.channel.clone()).max_decoding_message_size(ANSWER_BYTES_MAX)
    }

    /// Live levels.
    pub fn levels(&self) -> LevelServiceClient<Channel> {
        LevelServiceClient::new(self.channel.clone())
    }

    /// What is plugged in where.
    pub fn wiring(&self) -> WiringServiceClient<Channel> {
        WiringServiceClient::new(self.channel.clone())
    }

    /// What is said to a watch that runs.
    pub fn watches(&self) -> WatchServiceClient<Channel> {
        WatchServiceClient::new(self.channel.clone()).max_decoding_message_size(ANSWER_BYTES_MAX)
    }

    /// Reports.
    pub fn reports(&self) -> ReportServiceClient<Channel> {
        ReportServiceClient::new(self.channel.clone())
    }

    /// Baselines.
    pub fn judgement(&self) -> JudgementServiceClient<Channel> {
        JudgementServiceClient::new(self.channel.clone())
            .max_decoding_message_size(ANSWER_BYTES_MAX)
    }
}

/// A request with the deadline of a call that only asks or tells.
pub fn quick<M>(message: M) -> Request<M> {
    within(QUICK, message)
}

/// A request with the deadline of a call behind which a device or a plugin may be slow.
pub fn slow<M>(message: M) -> Request<M> {
    within(SLOW, message)
}

/// A request with a deadline.
pub fn within<M>(deadline: Duration, message: M) -> Request<M> {
    let mut request = Request::new(message);
    request.set_timeout(deadline);
    request
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_are_sockets_or_plain_http() {
        assert_eq!(
            "unix:/tmp/a b.sock".parse(),
            Ok(Address::Unix("/tmp/a b.sock".into()))
        );
        assert_eq!(
            "http://127.0.0.1:7000".parse(),
            Ok(Address::Http("http://127.0.0.1:7000".into()))
        );
        for wrong in [
            "",
            "unix:",
            "127.0.0.1:7000",
            "https://a:1",
            "http://",
            "/tmp/x.sock",
        ] {
            assert!(wrong.parse::<Address>().is_err(), "{wrong:?} was taken");
        }
    }
}
