//! What a person does by hand, and is asked: on standard input, so that it can be scripted too.

use std::io::{self, BufRead};

use anyhow::{Context, bail};

use crate::output;

/// Says what is to be done, and waits until somebody has done it and pressed Enter.
///
/// # Errors
/// Where standard input has ended: nobody did it.
pub async fn done(what: &str) -> anyhow::Result<()> {
    output::say(&format!("{what}, then press Enter"));
    line().await.map(drop)
}

/// Asks a question; true for a yes.
///
/// # Errors
/// Where standard input has ended: nobody answered.
pub async fn agreed(question: &str) -> anyhow::Result<bool> {
    output::say(&format!("{question} [y/N]"));
    let answer = line().await?;
    Ok(matches!(answer.trim(), "y" | "Y" | "yes" | "Yes"))
}

async fn line() -> anyhow::Result<String> {
    let read = tokio::task::spawn_blocking(|| {
        let mut line = String::new();
        io::stdin()
            .lock()
            .read_line(&mut line)
            .map(|count| (count, line))
    });
    match read.await.context("the question could not be asked")?? {
        (0, _) => bail!("nobody answered: standard input has ended"),
        (_, line) => Ok(line),
    }
}
