//! Runs a round: asks for its measurements, waits for them, and says how it went.

use std::{sync::Arc, time::Duration};

use goodwire_proto::v1::{
    Excuse, MeasureRequest, Measurement, Reason, Round, Run, run::State, verdict::Outcome,
};
use jiff::Timestamp;
use tokio::sync::Mutex;
use tokio_util::sync::CancellationToken;

use super::{
    keeper::{instant, stamp},
    outcome, recovered,
    schedule::Due,
    trends,
    watch::RunWatchers,
    window::{self, Ask, Checks},
};
use crate::{
    config::{CheckConfig, MessagesWhen, RoundConfig},
    judge::{self, Seen},
    measure::{
        ask::measure,
        complete::Desk,
        job::{Ending, bare},
    },
    refusal::Refusal,
    store::{StoreError, new_run_name},
};

/// How a run was asked for.
#[derive(Debug, Clone, Default)]
pub struct Asked {
    /// The due date; `None`: somebody asked.
    pub due: Option<Due>,
    /// UUID of the request; empty where there is none.
    pub request_id: String,
    /// Somebody is in the room.
    pub present: bool,
}

/// Runs rounds, one at a time.
pub struct Rounds {
    desk: Arc<Desk>,
    watchers: RunWatchers,
    turn: Mutex<()>,
}

/// One run while it is made.
pub(super) struct Performance {
    /// What is known so far.
    pub run: Run,
    /// What is checked.
    pub round: RoundConfig,
    /// How it was asked for.
    pub asked: Asked,
    /// Cancelled once it is to end.
    pub cancel: CancellationToken,
}

impl Rounds {
    /// Prepares to run the rounds of a desk's configuration.
    #[must_use]
    pub fn new(desk: &Arc<Desk>) -> Arc<Self> {
        Arc::new(Self {
            desk: Arc::clone(desk),
            watchers: RunWatchers::default(),
            turn: Mutex::default(),
        })
    }

    /// Where its measurements are made.
    #[must_use]
    pub fn desk(&self) -> Arc<Desk> {
        Arc::clone(&self.desk)
    }

    /// Begins a run and gives it; a due date or a request that has one already gives that.
    ///
    /// # Errors
    /// What the store can meet.
    pub async fn begin(
        self: &Arc<Self>,
        round: &RoundConfig,
        asked: Asked,
    ) -> Result<Run, StoreError> {
        let run = Run {
            name: new_run_name(&*self.desk.clock),
            round: format!("rounds/{}", round.name),
            state: State::Running.into(),
            due_time: asked.due.map(|due| stamp(due.at)),
            start_time: Some(self.desk.clock.timestamp()),
            simulated: self.desk.config.interface.backend.is_simulated(),
            ..Run::default()
        };
        let cancel = self.watchers.begin(&run);
        let (desk, wanted, id) = (self.desk(), run.clone(), asked.request_id.clone());
        let begun = tokio::task::spawn_blocking(move || desk.store.begin_run(&wanted, &id)).await;
        let begun = begun.map_err(|error| StoreError::Internal {
            text: error.to_string(),
        })?;
        if !begun.as_ref().is_ok_and(|begun| begun.name == run.name) {
            self.watchers.end(&run);
            return begun;
        }
        let performance = Performance {
            run,
            round: round.clone(),
            asked,
            cancel,
        };
        let rounds = Arc::clone(self);
        tokio::spawn(async move { rounds.perform(performance).await });
        begun
    }

    /// Follows a run; `None` where it has ended or never was.
    #[must_use]
    pub fn follow(&self, name: &str) -> Option<tokio::sync::watch::Receiver<Run>> {
        self.watchers.follow(name)
    }

    /// Asks a run to end; false where it has ended or never was.
    #[must_use]
    pub fn cancel(&self, name: &str) -> bool {
        self.watchers.cancel(name)
    }

    async fn perform(self: Arc<Self>, mut one: Performance) {
        let _turn = self.turn.lock().await;
        let links = self.links(&mut one);
        match one.asked.due.and_then(|due| due.until) {
            Some(until) => window::perform(&*self, &mut one, &links, until).await,
            None => {
                let round = &one.round;
                let asks = round.checks.iter().map(|check| {
                    let meant = links.iter();
                    let meant = meant.filter(|link| self.takes(round, check, link));
                    Ask {
                        check: check.clone(),
                        links: meant.cloned().collect(),
                    }
                });
                let asks = asks.filter(|ask| !ask.links.is_empty()).collect();
                self.check(&mut one, asks).await;
            }
        }
        self.finish(one).await;
    }

    /// The links to check, in the rig's order; who is excused is noted.
    fn links(&self, one: &mut Performance) -> Vec<String> {
        let now = self.desk.clock.timestamp();
        let excuses = self.desk.store.excuses(&now).unwrap_or_else(|error| {
            tracing::error!(%error, "who is excused cannot be read");
            Vec::new()
        });
        let names = round_links(&self.desk, &one.round);
        let is_excused = |excuse: &Excuse| names.iter().any(|name| name == bare(&excuse.link));
        one.run.excuses = excuses.into_iter().filter(is_excused).collect();
        let away = |name: &String| one.run.excuses.iter().any(|one| bare(&one.link) == name);
        names.iter().filter(|name| !away(name)).cloned().collect()
    }

    async fn ask(
        &self,
        one: &Performance,
        check: &CheckConfig,
        links: &[String],
    ) -> Result<Vec<Measurement>, Refusal> {
        let request = MeasureRequest {
            links: links.to_vec(),
            analysis: check.analysis.clone(),
            parameters: Some(check.parameters.clone()),
            present: one.asked.present,
            ..MeasureRequest::default()
        };
        let desk = self.desk();
        let asked = tokio::task::spawn_blocking(move || measure(&desk, &request)).await;
        asked.unwrap_or_else(|error| {
            let text = format!("a bug of the daemon: {error}");
            Err(StoreError::Internal { text }.into())
        })
    }

    /// Waits for the end of a measurement, which a cancelled run brings about.
    async fn wait(&self, measurement: &Measurement, cancel: &CancellationToken) -> Measurement {
        if let Some(mut news) = self.desk.watchers.follow(&measurement.name) {
            let ended = async { while news.changed().await.is_ok() {} };
            tokio::pin!(ended);
            tokio::select! {
                () = &mut ended => {}
                () = cancel.cancelled() => {
                    self.end_measurement(measurement).await;
                    ended.await;
                }
            }
        }
        let (desk, name) = (self.desk(), measurement.name.clone());
        let got = tokio::task::spawn_blocking(move || desk.store.get(&name)).await;
        match got {
            Ok(Ok(ended)) => ended,
            // Nothing is known of its result, so it has none.
            _ => measurement.clone(),
        }
    }

    async fn end_measurement(&self, measurement: &Measurement) {
        let (desk, name) = (self.desk(), measurement.name.clone());
        let ending = Ending::Cancelled("its round was cancelled".into());
        let ended = tokio::task::spawn_blocking(move || desk.end(bare(&name), ending));
        if let Err(error) = ended.await {
            tracing::error!(%error, "a bug of the daemon");
        }
    }

    async fn finish(&self, one: Performance) {
        let mut run = one.run;
        if one.cancel.is_cancelled() && run.reason.is_none() {
            run.reason = Some(Reason {
                id: "cancelled".into(),
                text: "somebody ended the run".into(),
                ..Reason::default()
            });
        }
        outcome::conclude(
            &mut run,
            &round_links(&self.desk, &one.round),
            &one.round.checks,
        );
        self.find_causes(&mut run).await;
        // After the causes, which take the place of what was found before.
        let mut run = self.with_trends(run).await;
        run.end_time = Some(self.desk.clock.timestamp());
        let (desk, ended) = (self.desk(), run.clone());
        let storing = tokio::task::spawn_blocking(move || {
            desk.store.end_run(&ended, wants_message(&desk, &ended))
        });
        match storing.await {
            Ok(Ok(())) => {}
            Ok(Err(error)) => tracing::error!(run = run.name, %error, "is not stored"),
            Err(error) => tracing::error!(%error, "a bug of the daemon"),
        }
        self.watchers.end(&run);
    }

    /// Adds what the histories of the run's figures are heading for.
    async fn with_trends(&self, run: Run) -> Run {
        let (desk, mut told) = (self.desk(), run.clone());
        let adding = tokio::task::spawn_blocking(move || {
            trends::add(&desk, &mut told);
            told
        });
        adding.await.unwrap_or_else(|error| {
            tracing::error!(%error, "a bug of the daemon");
            run
        })
    }

    /// Looks for causes again, now that all that was measured can be seen together.
    async fn find_causes(&self, run: &mut Run) {
        let checks = run.checks.iter();
        let names: Vec<String> = checks
            .map(|check| check.measurement.clone())
            .filter(|name| !name.is_empty())
            .collect();
        let desk = self.desk();
        let found = tokio::task::spawn_blocking(move || {
            let measurements = names.iter().map(|name| desk.store.get(name));
            let seen: Result<Vec<Seen>, StoreError> = measurements
                .map(|measurement| Ok(desk.seen(measurement?)))
                .collect();
            seen.map(|seen| judge::run_findings(&seen))
        });
        match found.await {
            Ok(Ok(findings)) => run.findings = findings,
            // What each measurement tells alone stays.
            Ok(Err(error)) => tracing::error!(run = run.name, %error, "its results cannot be read"),
            Err(error) => tracing::error!(%error, "a bug of the daemon"),
        }
    }

    /// Stores how the run stands, then tells it.
    async fn tell(&self, run: &Run) {
        let (desk, kept) = (self.desk(), run.clone());
        let stored = tokio::task::spawn_blocking(move || desk.store.update_run(&kept)).await;
        match stored {
            Ok(Ok(())) => self.watchers.tell(run),
            Ok(Err(error)) => tracing::error!(run = run.name, %error, "is not stored"),
            Err(error) => tracing::error!(%error, "a bug of the daemon"),
        }
    }
}

impl Checks for Rounds {
    fn now(&self) -> Timestamp {
        instant(&self.desk.clock.timestamp())
    }

    async fn pause(&self, time: Duration) {
        tokio::time::sleep(time).await;
    }

    /// A round of all links plans channels for those that have a table.
    fn takes(&self, round: &RoundConfig, check: &CheckConfig, link: &str) -> bool {
        round.links.is_some() || self.desk.suits(&check.analysis, link)
    }

    /// All are asked for at once, so that the rig is never idle. What forbids sound does not forbid
    /// analyses without audio.
    async fn check(&self, one: &mut Performance, asks: Vec<Ask>) {
        let mut asked = Vec::new();
        for Ask { check, links } in asks {
            if one.cancel.is_cancelled() {
                break;
            }
            let needs_no_audio = self.desk.registry.is_without_audio(&check.analysis);
            if one.run.reason.is_some() && !needs_no_audio {
                continue;
            }
            match self.ask(one, &check, &links).await {
                Ok(measurements) => asked.extend(measurements),
                Err(Refusal::Forbidden { reason, text }) if !needs_no_audio => {
                    one.run.reason = Some(outcome::forbidden(reason, text));
                }
                Err(refusal) => {
                    let text = refusal.to_string();
                    let refused = links
                        .iter()
                        .map(|link| outcome::refused(link, &check, &text));
                    one.run.checks.extend(refused);
                }
            }
        }
        for measurement in asked {
            let ended = self.wait(&measurement, &one.cancel).await;
            outcome::add(&mut one.run, &ended);
            self.tell(&one.run).await;
        }
    }
}

/// Whether a message goes out of a run that has ended.
fn wants_message(desk: &Desk, run: &Run) -> bool {
    let messages = desk.config.messages.as_ref();
    messages.is_some_and(|messages| match messages.when {
        MessagesWhen::Always => true,
        MessagesWhen::Trouble => {
            let is_well = matches!(run.outcome(), Outcome::Pass | Outcome::Unspecified);
            !is_well || !recovered::or_none(&desk.store, run).is_empty()
        }
    })
}

/// Names of the links of a round, in the rig's order.
fn round_links(desk: &Desk, round: &RoundConfig) -> Vec<String> {
    let links = desk.config.links.iter().map(|link| &link.name);
    let is_meant = |name: &&String| {
        let listed = round.links.as_ref();
        listed.is_none_or(|listed| listed.contains(name))
    };
    links.filter(is_meant).cloned().collect()
}

/// A round as the API has it.
///
/// # Errors
/// What the store can meet.
pub fn round_of(desk: &Desk, round: &RoundConfig) -> Result<Round, StoreError> {
    let now = instant(&desk.clock.timestamp());
    let last = desk.store.last_run(&round.name)?;
    let links = round_links(desk, round);
    Ok(Round {
        name: format!("rounds/{}", round.name),
        schedule: round.schedule.to_string(),
        next_time: round.schedule.next_after(now).map(|due| stamp(due.at)),
        links: links.iter().map(|link| format!("links/{link}")).collect(),
        checks: round.checks.iter().map(outcome::check_of).collect(),
        last_run: last.map(|run| Run {
            checks: Vec::new(),
            findings: Vec::new(),
            ..run
        }),
    })
}
