//! The HTTP server: `/metrics`, `/healthz`, `/readyz`.

use std::{net::TcpListener, sync::Arc};

use axum::{
    Router,
    extract::{Request, State},
    http::{StatusCode, header},
    middleware::{self, Next},
    response::{IntoResponse, Response},
    routing::get,
};
use tokio_util::sync::CancellationToken;

use super::metrics::metrics;
use crate::{audio::engine::Engine, measure::complete::Desk};

/// What Prometheus expects of its text format.
const METRICS_TYPE: &str = "text/plain; version=0.0.4; charset=utf-8";

/// A bound place to serve at.
#[derive(Debug)]
pub struct PageListener(TcpListener);

/// Why the page cannot be served.
#[derive(Debug, thiserror::Error)]
#[error("the page cannot be served on {place}: {error}")]
pub struct PageError {
    place: String,
    error: std::io::Error,
}

impl PageListener {
    /// Binds `HOST:PORT`, which the configuration has found to be on loopback.
    ///
    /// # Errors
    /// Where the system refuses, as where something else listens there.
    pub fn bind(place: &str) -> Result<Self, PageError> {
        let bound = TcpListener::bind(place).and_then(|listener| {
            listener.set_nonblocking(true)?;
            Ok(listener)
        });
        bound.map(Self).map_err(|error| PageError {
            place: place.to_owned(),
            error,
        })
    }

    /// Where it is, with the real port.
    #[must_use]
    pub fn url(&self) -> String {
        let address = self.0.local_addr();
        address.map_or_else(|_| String::new(), |address| format!("http://{address}/"))
    }
}

/// What the handlers read.
#[derive(Clone)]
struct Sources {
    desk: Arc<Desk>,
    engine: Arc<Engine>,
}

/// Serves until `ending`.
///
/// # Errors
/// Where the listener cannot be used.
pub async fn serve(
    listener: PageListener,
    desk: Arc<Desk>,
    engine: Arc<Engine>,
    ending: CancellationToken,
) -> anyhow::Result<()> {
    let routes = Router::new()
        .route("/metrics", get(show_metrics))
        .route("/healthz", get(async || "alive\n"))
        .route("/readyz", get(show_ready))
        .layer(middleware::from_fn(only_for_loopback))
        .with_state(Sources { desk, engine });
    let listener = tokio::net::TcpListener::from_std(listener.0)?;
    axum::serve(listener, routes)
        .with_graceful_shutdown(ending.cancelled_owned())
        .await?;
    Ok(())
}

/// A page of a stranger must not read ours through a name that it points at loopback.
async fn only_for_loopback(request: Request, next: Next) -> Response {
    let host = request.headers().get(header::HOST);
    let host = host.and_then(|host| host.to_str().ok()).unwrap_or_default();
    let name = host.rsplit_once(':').map_or(host, |(name, port)| {
        if port.bytes().all(|byte| byte.is_ascii_digit()) {
            name
        } else {
            host
        }
    });
    if !matches!(name, "localhost" | "127.0.0.1" | "[::1]" | "") {
        let text = "this is served to localhost alone\n";
        return (StatusCode::MISDIRECTED_REQUEST, text).into_response();
    }
    next.run(request).await
}

async fn show_metrics(State(sources): State<Sources>) -> Response {
    let read = tokio::task::spawn_blocking(move || {
        metrics(&sources.desk, &sources.engine.status()).map_err(|error| error.to_string())
    });
    match read.await {
        Ok(Ok(text)) => ([(header::CONTENT_TYPE, METRICS_TYPE)], text).into_response(),
        Ok(Err(error)) => (StatusCode::SERVICE_UNAVAILABLE, error).into_response(),
        Err(error) => (StatusCode::INTERNAL_SERVER_ERROR, error.to_string()).into_response(),
    }
}

/// Ready: the interface is open and results can be stored.
async fn show_ready(State(sources): State<Sources>) -> Response {
    let engine = sources.engine.status();
    if engine.shape.is_none() {
        let text = format!("no interface: {}\n", engine.text);
        return (StatusCode::SERVICE_UNAVAILABLE, text).into_response();
    }
    if !sources.desk.store.is_healthy() {
        let text = "results cannot be stored\n";
        return (StatusCode::SERVICE_UNAVAILABLE, text).into_response();
    }
    "ready\n".into_response()
}
