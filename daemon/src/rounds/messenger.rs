//! Sends the messages of runs, by a program, a webhook and mail, each on its own pace.
//!
//! What has to go out is in the store, so a message outlives a restart. One that fails is tried
//! again, for a day, under the same id. Nothing here is waited for by a round.

mod body;
mod command;
mod mail;
mod webhook;

use std::{
    collections::HashMap,
    sync::{
        Arc,
        atomic::{AtomicU64, Ordering},
    },
    time::{Duration, Instant},
};

use goodwire_proto::v1::Run;
use prost_types::Timestamp;
use tokio_util::sync::CancellationToken;

use super::{message::message, recovered};
use crate::{
    config::{MessagesConfig, Secret, WAY_NAMES},
    measure::{complete::Desk, job::bare},
    store::{StoreError, Waiting},
};

/// A message older than this helps nobody any more.
const STALE_S: i64 = 86_400;

/// How often is looked and tried.
#[derive(Debug, Clone, Copy)]
struct Pace {
    /// How often it is looked whether a message has to go out.
    look: Duration,
    /// Pauses before a message that failed is tried again; the last one again and again.
    pauses: [Duration; 4],
}

const PACE: Pace = Pace {
    look: Duration::from_secs(2),
    pauses: [
        Duration::from_secs(5),
        Duration::from_secs(30),
        Duration::from_secs(120),
        Duration::from_secs(900),
    ],
};

/// What became of messages since the daemon began: sent, failed, given up, for each way.
#[derive(Debug, Default)]
pub struct MessageCounts([[AtomicU64; 3]; WAY_NAMES.len()]);

impl MessageCounts {
    /// Messages sent, tries that failed, and messages given up, by a way.
    #[must_use]
    pub fn of(&self, way: &str) -> [u64; 3] {
        let index = WAY_NAMES.iter().position(|name| *name == way);
        let counts = index.map(|index| &self.0[index]);
        counts.map_or([0; 3], |counts| {
            counts.each_ref().map(|count| count.load(Ordering::Relaxed))
        })
    }

    fn add(&self, way: &str, event: Event) {
        if let Some(index) = WAY_NAMES.iter().position(|name| *name == way) {
            self.0[index][event as usize].fetch_add(1, Ordering::Relaxed);
        }
    }
}

/// What became of a message, in the order of [`MessageCounts::of`].
#[derive(Clone, Copy)]
enum Event {
    Sent,
    Failed,
    GivenUp,
}

/// What goes out of a run; the same in every try.
struct Letter<'a> {
    site: &'a str,
    run: &'a Run,
    /// Names of the links that need no attention any more.
    recovered: Vec<String>,
    text: String,
}

impl Letter<'_> {
    /// The run's UUID, by which receivers know a message that they have already.
    fn id(&self) -> &str {
        bare(&self.run.name)
    }

    /// All that must be known, in a line.
    fn headline(&self) -> &str {
        self.text.lines().next().unwrap_or_default()
    }
}

/// When a message is tried again.
struct Again {
    at: Instant,
    tries: usize,
}

/// Sends what has to go out, until `ending`.
pub async fn send_messages(desk: Arc<Desk>, ending: CancellationToken) {
    let messages = desk.config.messages.as_ref();
    let ways = messages.map_or_else(Vec::new, MessagesConfig::ways);
    messages
        .map_or_else(Vec::new, secrets)
        .iter()
        .for_each(|secret| {
            if secret.is_exposed {
                let file = secret.file.display();
                tracing::warn!(%file, "others may read this secret: chmod o= would be right");
            }
        });
    let (settling, all) = (Arc::clone(&desk), ways.clone());
    let settled = tokio::task::spawn_blocking(move || settling.store.settle_outbox(&all)).await;
    if let Ok(Err(error)) = settled {
        tracing::error!(%error, "the outbox cannot be settled");
    }
    for way in ways {
        tokio::spawn(keep_sending(Arc::clone(&desk), way, PACE, ending.clone()));
    }
}

fn secrets(messages: &MessagesConfig) -> Vec<&Secret> {
    let webhook = messages.webhook.iter().map(|webhook| &webhook.secret);
    let login = messages.mail.iter().filter_map(|mail| mail.login.as_ref());
    webhook.chain(login.map(|(_, password)| password)).collect()
}

/// Sends what has to go out by one way, until `ending`.
async fn keep_sending(desk: Arc<Desk>, way: &'static str, pace: Pace, ending: CancellationToken) {
    let mut again: HashMap<String, Again> = HashMap::new();
    loop {
        let desk = Arc::clone(&desk);
        let sent = tokio::task::spawn_blocking(move || {
            if let Err(error) = send_all(&desk, way, pace, &mut again) {
                tracing::error!(way, %error, "the messages to be sent cannot be read");
            }
            again
        });
        match sent.await {
            Ok(left) => again = left,
            Err(error) => return tracing::error!(way, %error, "no messages are sent any more"),
        }
        tokio::select! {
            () = tokio::time::sleep(pace.look) => {}
            () = ending.cancelled() => return,
        }
    }
}

fn send_all(
    desk: &Desk,
    way: &'static str,
    pace: Pace,
    again: &mut HashMap<String, Again>,
) -> Result<(), StoreError> {
    let Some(messages) = &desk.config.messages else {
        return Ok(());
    };
    desk.store.address_messages(&messages.ways())?;
    for waiting in desk.store.outbox(way)? {
        let name = waiting.run.name.clone();
        let known = again.get(&name);
        if known.is_some_and(|again| Instant::now() < again.at) {
            continue;
        }
        let tries = known.map_or(0, |again| again.tries);
        if is_over(desk, messages, way, &waiting) {
            desk.store.take_message(way, &name)?;
            again.remove(&name);
            continue;
        }
        let at = Instant::now() + pace.pauses[tries.min(pace.pauses.len() - 1)];
        let tries = tries + 1;
        again.insert(name, Again { at, tries });
    }
    Ok(())
}

/// Tries once; true where nothing is left to be done: it is there, or given up.
fn is_over(desk: &Desk, messages: &MessagesConfig, way: &'static str, waiting: &Waiting) -> bool {
    let run = &waiting.run;
    let counts = &desk.message_counts;
    let Err(text) = send(desk, messages, way, run) else {
        counts.add(way, Event::Sent);
        return true;
    };
    counts.add(way, Event::Failed);
    tracing::warn!(run = run.name, way, "its message was not sent: {text}");
    let is_stale = desk.clock.timestamp().seconds - waiting.since.seconds > STALE_S;
    if is_stale {
        counts.add(way, Event::GivenUp);
        tracing::error!(run = run.name, way, "its message is given up after a day");
    }
    is_stale
}

fn send(desk: &Desk, messages: &MessagesConfig, way: &str, run: &Run) -> Result<(), String> {
    let site = desk.config.site.as_str();
    let recovered = recovered::or_none(&desk.store, run);
    let letter = Letter {
        site,
        run,
        text: message(site, run, &recovered),
        recovered,
    };
    let now: Timestamp = desk.clock.timestamp();
    match (way, &messages.command, &messages.webhook, &messages.mail) {
        ("command", Some(command), _, _) => command::run(command, &letter),
        ("webhook", _, Some(webhook), _) => webhook::post(webhook, &letter, now.seconds),
        ("mail", _, _, Some(mail)) => mail::send(mail, &letter, desk.clock.now()),
        _ => Err(format!("there is no way `{way}` in the configuration")),
    }
}

#[cfg(test)]
mod tests;
