//! What goes back to a browser: pages, refusals in plain words, and the headers of both.

use axum::{
    extract::Request,
    http::{HeaderValue, Method, StatusCode, Uri, header},
    middleware::Next,
    response::{Html, IntoResponse, Response},
};

use crate::{
    refusal::Refusal,
    report::{
        html::Safe,
        sheet::{self, Sheet},
        words,
    },
    store::StoreError,
};

/// A page needs nothing but its own styles, and nothing else is to run in it, or around it.
const NO_SCRIPTS: &str = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; \
     form-action 'none'; frame-ancestors 'none'";

/// The ways between the pages.
pub(super) const WAYS: &str = "<a href=\"/\">Front page</a> <a href=\"/runs\">All runs</a>";

/// Why there is no page.
#[derive(Debug)]
pub(super) struct Trouble {
    status: StatusCode,
    /// What is wrong and what would be right, as plain text.
    text: String,
}

impl Trouble {
    pub(super) fn new(status: StatusCode, text: impl Into<String>) -> Self {
        let text = text.into();
        Self { status, text }
    }
}

impl From<Refusal> for Trouble {
    fn from(refusal: Refusal) -> Self {
        match refusal {
            Refusal::Store(error) => error.into(),
            other => Self::new(StatusCode::NOT_FOUND, other.to_string()),
        }
    }
}

impl From<StoreError> for Trouble {
    fn from(error: StoreError) -> Self {
        let status = match error {
            StoreError::NotFound { .. } => StatusCode::NOT_FOUND,
            StoreError::PageToken | StoreError::PageSize { .. } => StatusCode::BAD_REQUEST,
            _ => StatusCode::SERVICE_UNAVAILABLE,
        };
        Self::new(status, error.to_string())
    }
}

impl IntoResponse for Trouble {
    fn into_response(self) -> Response {
        let name = self.status.canonical_reason().unwrap_or("No page");
        let sheet = Sheet {
            title: name.to_owned(),
            site: format!("goodwire, {}", self.status.as_u16()),
            ways: WAYS.to_owned(),
            main: format!(
                "<p class=\"answer\">{}</p>\n",
                Safe(&words::sentence(&self.text))
            ),
            end: sheet::version(),
            ..Sheet::default()
        };
        (self.status, Html(sheet.render())).into_response()
    }
}

/// Makes a page where blocking is allowed.
pub(super) async fn page<F>(make: F) -> Response
where
    F: FnOnce() -> Result<String, Trouble> + Send + 'static,
{
    match tokio::task::spawn_blocking(make).await {
        Ok(Ok(page)) => Html(page).into_response(),
        Ok(Err(trouble)) => trouble.into_response(),
        Err(error) => {
            let text = format!("a bug of the daemon: {error}");
            Trouble::new(StatusCode::INTERNAL_SERVER_ERROR, text).into_response()
        }
    }
}

/// Where nothing is.
pub(super) async fn nothing_there(uri: Uri) -> Trouble {
    let text = format!(
        "there is nothing at '{}'; there are /, /links/NAME, /runs, /runs/RUN, /metrics, /healthz \
         and /readyz",
        uri.path()
    );
    Trouble::new(StatusCode::NOT_FOUND, text)
}

/// What is asked for in another way than to be read.
pub(super) async fn read_only(method: Method) -> Trouble {
    let text = format!(
        "{method} is not taken here: these pages can be read and change nothing; everything else \
         is done with `goodwire`"
    );
    Trouble::new(StatusCode::METHOD_NOT_ALLOWED, text)
}

/// A page of a stranger must not read ours through a name that it points at loopback.
pub(super) async fn only_for_loopback(request: Request, next: Next) -> Response {
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

/// Nothing is kept by the browser, guessed at, or run in it.
pub(super) async fn with_headers(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let headers = [
        (header::CONTENT_SECURITY_POLICY, NO_SCRIPTS),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::CACHE_CONTROL, "no-store"),
    ];
    for (name, value) in headers {
        let value = HeaderValue::from_static(value);
        response.headers_mut().insert(name, value);
    }
    response
}
