//! Looks at the clock and begins what is due.

use std::{sync::Arc, time::Duration};

use goodwire_proto::v1::{Reason, Run, run::State, verdict::Outcome};
use jiff::Timestamp;
use tokio_util::sync::CancellationToken;

use super::{
    calendar::decide,
    runner::{Asked, Rounds},
    schedule::{Due, Schedule},
};
use crate::{
    clock::SharedClock,
    config::RoundConfig,
    store::{Store, StoreError, new_run_name},
};

/// The clock is looked at least so often: it may have been set.
const LOOK_MAX: Duration = Duration::from_secs(20);
/// And no more often than this.
const LOOK_MIN: Duration = Duration::from_millis(200);

/// Keeps the due dates of one round.
pub struct Keeper {
    round: RoundConfig,
    /// Since when the schedule is known.
    since: Timestamp,
    /// Whether a message of what was missed goes out.
    tells: bool,
    store: Store,
    clock: SharedClock,
}

/// What was found at one look.
#[derive(Debug, Default)]
pub struct Look {
    /// What is to be run now.
    pub run: Option<Due>,
    /// The next due date.
    pub next: Option<Timestamp>,
}

impl Keeper {
    /// Begins to keep the due dates of a round.
    ///
    /// # Errors
    /// What the store can meet.
    pub fn new(
        round: &RoundConfig,
        store: &Store,
        clock: &SharedClock,
        tells: bool,
    ) -> Result<Self, StoreError> {
        let schedule = round.schedule.to_string();
        let since = store.scheduled_since(&round.name, &schedule, &clock.timestamp())?;
        Ok(Self {
            round: round.clone(),
            since: instant(&since),
            tells,
            store: store.clone(),
            clock: Arc::clone(clock),
        })
    }

    /// Looks at the clock: enters what was missed, and gives what is to be run now.
    ///
    /// # Errors
    /// What the store can meet.
    pub fn look(&self) -> Result<Look, StoreError> {
        let now = instant(&self.clock.timestamp());
        let past = self.store.past(
            &self.round.name,
            &stamp(now),
            &stamp(now.checked_sub(REMEMBERED).unwrap_or(self.since)),
        )?;
        let run_times: Vec<Timestamp> = past.run_times.iter().map(instant).collect();
        let handled = past.handled_time.as_ref().map_or(self.since, instant);
        let decision = decide(
            &self.round.schedule,
            self.round.catch_up,
            handled.max(self.since),
            now,
            |at| at <= self.since || run_times.contains(&at),
        );
        if !decision.missed.is_empty() {
            let missed = decision.missed.iter().map(|at| self.missed(*at));
            self.store.miss_runs(missed.collect(), self.tells)?;
        }
        Ok(Look {
            run: decision.run,
            next: decision.next,
        })
    }

    /// The entry of a due date that was missed.
    fn missed(&self, at: Timestamp) -> Run {
        let hours = self.round.catch_up.as_secs_f64() / 3600.0;
        Run {
            name: new_run_name(&*self.clock),
            round: format!("rounds/{}", self.round.name),
            state: State::Missed.into(),
            due_time: Some(stamp(at)),
            outcome: Outcome::Unmeasured.into(),
            reason: Some(Reason {
                id: "missed".into(),
                text: format!(
                    "nothing ran at that time, and it was more than {hours} h ago when the daemon \
                     looked again"
                ),
                ..Reason::default()
            }),
            ..Run::default()
        }
    }
}

/// Runs older than this are of no matter for what is due now: a catch-up is a week at most.
const REMEMBERED: jiff::SignedDuration = jiff::SignedDuration::from_hours(24 * 9);

/// Begins every round at its due dates, until `ending`.
pub async fn keep(rounds: Arc<Rounds>, ending: CancellationToken) {
    let desk = rounds.desk();
    let rounds_of = desk.config.rounds.iter();
    let scheduled = rounds_of.filter(|round| round.schedule != Schedule::OnDemand);
    let mut keepers = Vec::new();
    for round in scheduled {
        match Keeper::new(
            round,
            &desk.store,
            &desk.clock,
            desk.config.messages.is_some(),
        ) {
            Ok(keeper) => keepers.push(Arc::new(keeper)),
            Err(error) => tracing::error!(round = round.name, %error, "is not kept"),
        }
    }
    while !keepers.is_empty() {
        let mut wait = LOOK_MAX;
        for keeper in &keepers {
            let next = look(&rounds, keeper).await;
            let left = next.map(|next| next.duration_since(instant(&desk.clock.timestamp())));
            let left = left.and_then(|left| Duration::try_from(left).ok());
            wait = wait.min(left.unwrap_or(LOOK_MAX));
        }
        tokio::select! {
            () = tokio::time::sleep(wait.max(LOOK_MIN)) => {}
            () = ending.cancelled() => return,
        }
    }
}

/// Begins what is due; gives the next due date.
async fn look(rounds: &Arc<Rounds>, keeper: &Arc<Keeper>) -> Option<Timestamp> {
    let looking = Arc::clone(keeper);
    let looked = tokio::task::spawn_blocking(move || looking.look()).await;
    let look = match looked {
        Ok(Ok(look)) => look,
        Ok(Err(error)) => {
            tracing::error!(round = keeper.round.name, %error, "its due dates cannot be read");
            return None;
        }
        Err(error) => {
            tracing::error!(%error, "a bug of the daemon");
            return None;
        }
    };
    if let Some(due) = look.run {
        let asked = Asked {
            due: Some(due),
            ..Asked::default()
        };
        if let Err(error) = rounds.begin(&keeper.round, asked).await {
            tracing::error!(round = keeper.round.name, %error, "cannot begin");
        }
    }
    look.next
}

/// A time of the API as an instant.
pub(super) fn instant(time: &prost_types::Timestamp) -> Timestamp {
    Timestamp::new(time.seconds, time.nanos).unwrap_or_default()
}

/// An instant as the API has it.
pub(super) fn stamp(at: Timestamp) -> prost_types::Timestamp {
    prost_types::Timestamp {
        seconds: at.as_second(),
        nanos: at.subsec_nanosecond(),
    }
}
