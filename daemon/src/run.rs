//! The daemon's life: from a configuration and listeners to the last sound ramped down.

use std::{path::PathBuf, sync::Arc, time::Duration};

use tokio_util::sync::CancellationToken;

use crate::{
    audio::engine::{Engine, Opener},
    clock::SharedClock,
    config::Config,
    interface,
    measure::{
        complete::Desk, conductor::Conductor, job::Ending, queue::Queue, recorded::Recorded,
        watch::Watchers, watches::Watches, without_audio,
    },
    page::{self, PageListener},
    plugins::Registry,
    rounds::{self, Rounds},
    serve::{self, Listener, Services},
    status,
    store::Store,
};

/// How long what runs may take to ramp down and settle at the end.
const SETTLE: Duration = Duration::from_secs(2);

/// How long the first opening of the interface is waited for, so that the first client that asks
/// is told how it went. A device that takes longer does not keep the daemon from being ready.
const FIRST_OPENING: Duration = Duration::from_secs(1);
/// How often it is looked whether that opening is over.
const OPENING_LOOK: Duration = Duration::from_millis(1);

/// How often it is looked for curves that are older than they are kept.
const CURVES_LOOK: Duration = Duration::from_secs(6 * 3600);

/// How often the disk's health is looked at.
const DISK_LOOK: Duration = Duration::from_millis(500);

/// What the daemon is started with.
pub struct Start {
    /// The configuration.
    pub config: Config,
    /// The opened store.
    pub store: Store,
    /// The plugins that were found.
    pub registry: Registry,
    /// Where uploads are kept until they are read.
    pub spool_dir: PathBuf,
    /// Where clients reach the daemon.
    pub listeners: Vec<Listener>,
    /// Where the page and the metrics are served; `None`: nowhere.
    pub page: Option<PageListener>,
    /// The wall clock.
    pub clock: SharedClock,
}

/// Runs the daemon until `ending` is cancelled. `ready` is called once every listener is served.
///
/// # Errors
/// Where a listener cannot be used.
pub async fn run(
    start: Start,
    ending: CancellationToken,
    ready: impl FnOnce(),
) -> anyhow::Result<()> {
    let opener: Opener = interface::opener(&start.config);
    let ceilings = interface::ceilings(&start.config);
    let desk = Arc::new(Desk {
        config: Arc::new(start.config),
        store: start.store,
        registry: Arc::new(start.registry),
        watchers: Watchers::default(),
        queue: Queue::default(),
        watches: Watches::default(),
        spool_dir: start.spool_dir,
        clock: start.clock,
        message_counts: rounds::MessageCounts::default(),
    });
    for text in status::limits_without_analysis(&desk) {
        tracing::warn!("{text}");
    }
    let engine = Arc::new(Engine::start(opener, ceilings));
    let conductor = Conductor::start(Arc::clone(&desk), Arc::clone(&engine));
    let recorded = Arc::new(Recorded::start(&desk));
    let without_audio = without_audio::start(&desk);
    tokio::spawn(drop_old_curves(Arc::clone(&desk), ending.clone()));
    tokio::spawn(end_with_the_disk(desk.store.clone(), ending.clone()));
    let interrupted = tokio::spawn(end_what_runs(Arc::clone(&desk), ending.clone()));
    wait_for_first_opening(&engine).await;
    let taking_up = Arc::clone(&desk);
    if let Err(error) = tokio::task::spawn_blocking(move || taking_up.take_up_watches()).await? {
        tracing::error!(%error, "watches from before this start are left as they are");
    }
    let rounds = Rounds::new(&desk);
    tokio::spawn(rounds::keep(Arc::clone(&rounds), ending.clone()));
    tokio::spawn(rounds::send_messages(Arc::clone(&desk), ending.clone()));
    if let Some(listener) = start.page {
        let served = page::serve(
            listener,
            Arc::clone(&desk),
            Arc::clone(&engine),
            ending.clone(),
        );
        tokio::spawn(async move {
            if let Err(error) = served.await {
                tracing::error!(%error, "the page is not served any more");
            }
        });
    }
    let services = Services {
        desk: Arc::clone(&desk),
        engine,
        recorded,
        rounds,
        ending: ending.clone(),
    };
    let served = serve::serve(services, start.listeners, ready).await;
    // Also where serving ended by a fault of a listener.
    ending.cancel();
    interrupted.await?;
    let threads = without_audio.into_iter().chain([conductor]);
    // A panic was logged by its thread.
    let join = move || threads.for_each(|thread| drop(thread.join()));
    let settled = tokio::task::spawn_blocking(join);
    if tokio::time::timeout(SETTLE, settled).await.is_err() {
        tracing::warn!("a measurement did not settle in time; the next start marks it interrupted");
    }
    if !desk.store.is_healthy() {
        anyhow::bail!(
            "the disk with the state folder failed: check it, then start goodwired again"
        );
    }
    served
}

/// Waits until the interface was opened or could not be, but no longer than a second.
async fn wait_for_first_opening(engine: &Engine) {
    let tried = async {
        while !engine.status().tried {
            tokio::time::sleep(OPENING_LOOK).await;
        }
    };
    // Where it takes longer, the status says that the interface is being opened.
    let _ = tokio::time::timeout(FIRST_OPENING, tried).await;
}

/// Ends all that waits and runs as soon as the daemon is to end: those who watch are told of it
/// while they are still served, and their streams end by themselves.
async fn end_what_runs(desk: Arc<Desk>, ending: CancellationToken) {
    ending.cancelled().await;
    desk.queue.close();
    let settled = tokio::task::spawn_blocking(move || desk.end_all(&Ending::DaemonEnds));
    if let Err(error) = settled.await {
        tracing::error!(%error, "what waited is not settled; the next start marks it interrupted");
    }
}

/// Drops curves that are older than the configuration keeps them; figures stay for ever.
async fn drop_old_curves(desk: Arc<Desk>, ending: CancellationToken) {
    let Some(days) = desk.config.keep_curves_days else {
        return;
    };
    let mut interval = tokio::time::interval(CURVES_LOOK);
    interval.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    while ending.run_until_cancelled(interval.tick()).await.is_some() {
        let store = desk.store.clone();
        let dropped = tokio::task::spawn_blocking(move || store.drop_curves(days)).await;
        match dropped {
            Ok(Ok(0)) => {}
            Ok(Ok(count)) => tracing::info!(count, days, "measurements lost their curves by age"),
            Ok(Err(error)) => tracing::error!(%error, "old curves cannot be dropped"),
            Err(error) => tracing::error!(%error, "a bug of the daemon"),
        }
    }
}

/// Ends the daemon once its disk has failed: nothing that it measured would be kept any more.
async fn end_with_the_disk(store: Store, ending: CancellationToken) {
    let mut interval = tokio::time::interval(DISK_LOOK);
    interval.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    while ending.run_until_cancelled(interval.tick()).await.is_some() {
        if !store.is_healthy() {
            tracing::error!("the disk with the state folder failed");
            ending.cancel();
        }
    }
}
