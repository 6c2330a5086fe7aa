//! Waiting for what comes to hold, without guessing how long it takes.

use std::{
    future::Future,
    time::{Duration, Instant},
};

/// How often it is asked again.
const EVERY: Duration = Duration::from_millis(5);

/// Asks until the answer is `Some`, and gives it.
///
/// # Panics
/// Where that does not come to be within `limit`; `what` says what was waited for.
pub async fn eventually<T, F>(what: &str, limit: Duration, mut ask: impl FnMut() -> F) -> T
where
    F: Future<Output = Option<T>>,
{
    let begun = Instant::now();
    loop {
        if let Some(answer) = ask().await {
            return answer;
        }
        assert!(
            begun.elapsed() < limit,
            "{what}: not within {} ms",
            limit.as_millis()
        );
        tokio::time::sleep(EVERY).await;
    }
}
