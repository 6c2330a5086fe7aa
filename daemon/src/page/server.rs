//! The HTTP server: which path is answered by what.

use std::{net::TcpListener, sync::Arc};

use axum::{
    Router,
    extract::{Path, RawQuery, State},
    http::{StatusCode, header},
    middleware,
    response::{IntoResponse, Response},
    routing::get,
};
use tokio_util::sync::CancellationToken;

use super::{
    answer::{Trouble, WAYS, nothing_there, only_for_loopback, page, read_only, with_headers},
    front::Front,
    link::{LinkPage, Span},
    metrics::metrics,
    runs,
};
use crate::{audio::engine::Engine, measure::complete::Desk, report};

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
        .route("/", get(show_front))
        .route("/links/{link}", get(show_link))
        .route("/runs", get(show_runs))
        .route("/runs/{run}", get(show_run))
        .route("/metrics", get(show_metrics))
        .route("/healthz", get(async || "alive\n"))
        .route("/readyz", get(show_ready))
        .fallback(nothing_there)
        .method_not_allowed_fallback(read_only)
        .layer(middleware::from_fn(only_for_loopback))
        .layer(middleware::from_fn(with_headers))
        .with_state(Sources { desk, engine });
    let listener = tokio::net::TcpListener::from_std(listener.0)?;
    axum::serve(listener, routes)
        .with_graceful_shutdown(ending.cancelled_owned())
        .await?;
    Ok(())
}

/// The page with which everything begins; with `?still` it does not load itself anew.
async fn show_front(State(sources): State<Sources>, RawQuery(query): RawQuery) -> Response {
    let is_still = query.as_deref() == Some("still");
    page(move || {
        let front = Front::gather(&sources.desk, &sources.engine.status())?;
        Ok(front.render(is_still))
    })
    .await
}

/// The history of a link; with `?weeks=13` or `?all` more or less of it.
async fn show_link(
    State(sources): State<Sources>,
    Path(name): Path<String>,
    RawQuery(query): RawQuery,
) -> Response {
    page(move || {
        let Some(span) = Span::parse(query.as_deref()) else {
            let text = "how much is shown is said as ?weeks=13 (1 to 5200) or ?all";
            return Err(Trouble::new(StatusCode::BAD_REQUEST, text));
        };
        Ok(LinkPage::gather(&sources.desk, &name, span)?.render())
    })
    .await
}

/// Runs, newest first; with `?before=RUN` those before that one.
async fn show_runs(State(sources): State<Sources>, RawQuery(query): RawQuery) -> Response {
    let before = query
        .as_deref()
        .and_then(|query| query.strip_prefix("before="));
    let before = before.unwrap_or_default().to_owned();
    page(move || runs::list(&sources.desk, before)).await
}

/// The report of one run.
async fn show_run(State(sources): State<Sources>, Path(name): Path<String>) -> Response {
    page(move || {
        let report = report::gather(&sources.desk, &[format!("runs/{name}")])?;
        Ok(report::render_among(&report, WAYS))
    })
    .await
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
