//! Follows measurements to their end, through lost connections and signals.

use std::time::Duration;

use anyhow::Context;
use goodwire_proto::v1::{
    CancelMeasurementRequest, Figure, FinishMeasurementRequest, Measurement,
    WatchMeasurementRequest, measurement::State, watch_measurement_response::News as Wire,
};
use tokio::{task::JoinSet, time::Instant};
use tonic::{Code, Status};

use crate::{
    connect::{Connection, quick},
    exit::Exit,
    failure::Refusal,
    progress::{Board, Line},
    session::Session,
};

/// How long a lost server may stay away.
const PATIENCE: Duration = Duration::from_secs(30);
/// Pause between two tries to reach it.
const PAUSE: Duration = Duration::from_millis(300);
/// How long a cancelled measurement may take to say so.
const CANCEL_TIMEOUT: Duration = Duration::from_secs(5);

/// What is new of a measurement.
#[derive(Debug)]
pub enum News {
    /// The whole measurement.
    State(Box<Measurement>),
    /// Share that is done, from 0 to 1.
    Progress(f64),
    /// The numbers of the moment.
    Readings(Vec<Figure>),
    /// What is waited for.
    Waiting(String),
    /// The connection was lost.
    Away(String),
}

/// How following ended.
#[derive(Debug)]
pub struct Followed {
    /// The measurements in the order in which they were given; those that ended.
    pub measurements: Vec<Measurement>,
    /// Set where a signal cancelled them.
    pub signal: Option<Exit>,
}

/// True where nothing will change any more.
pub fn is_final(measurement: &Measurement) -> bool {
    matches!(
        measurement.state(),
        State::Succeeded | State::Failed | State::Cancelled
    )
}

/// What the first signal does to what is followed.
#[derive(Debug, Clone, Copy)]
pub enum AtSignal {
    /// It is cancelled: no result.
    Cancel,
    /// It ends with what it saw.
    Finish,
}

/// Follows all measurements at once, with progress on standard error. The first signal cancels
/// them and waits for them briefly; the second ends the program.
///
/// # Errors
/// Where the server stays away or refuses.
pub async fn follow_all(
    session: &Session,
    connection: &Connection,
    started: &[Measurement],
) -> anyhow::Result<Followed> {
    let board = Board::new(session.look.unicode);
    follow(session, connection, started, &board, AtSignal::Cancel).await
}

/// Follows as [`follow_all`] does, on a board that others write to as well.
///
/// # Errors
/// Where the server stays away or refuses.
pub async fn follow(
    session: &Session,
    connection: &Connection,
    started: &[Measurement],
    board: &Board,
    at_signal: AtSignal,
) -> anyhow::Result<Followed> {
    session.interrupts.handle_first();
    let mut tasks = JoinSet::new();
    for (index, measurement) in started.iter().enumerate() {
        let line = board.line(label(measurement));
        let (connection, name) = (connection.clone(), measurement.name.clone());
        tasks.spawn(async move { (index, follow_one(&connection, &name, line).await) });
    }
    let mut ended = vec![None; started.len()];
    let mut signal = None;
    while !tasks.is_empty() {
        tokio::select! {
            Some(joined) = tasks.join_next() => match joined {
                Ok((index, outcome)) => ended[index] = Some(outcome?),
                // Given up after a signal, below.
                Err(error) if error.is_cancelled() => {}
                Err(error) => return Err(error).context("following a measurement failed"),
            },
            exit = session.interrupts.first(), if signal.is_none() => {
                signal = Some(exit);
                end_all(connection, started, at_signal).await;
            }
            () = tokio::time::sleep(CANCEL_TIMEOUT), if signal.is_some() => tasks.abort_all(),
        }
    }
    Ok(Followed {
        measurements: ended.into_iter().flatten().collect(),
        signal,
    })
}

/// What stands before the bar: the link, else the analysis.
fn label(measurement: &Measurement) -> &str {
    match measurement.link.strip_prefix("links/") {
        Some(link) => link,
        None => &measurement.analysis,
    }
}

/// Asks to end; what cannot be ended any more has ended by itself.
async fn end_all(connection: &Connection, started: &[Measurement], at_signal: AtSignal) {
    for measurement in started {
        let name = measurement.name.clone();
        // A server that is gone plays nothing either; the watch says what became of it.
        let _ = match at_signal {
            AtSignal::Cancel => {
                let request = quick(CancelMeasurementRequest { name });
                connection.measurements().cancel_measurement(request).await
            }
            AtSignal::Finish => {
                let request = quick(FinishMeasurementRequest { name });
                connection.watches().finish_measurement(request).await
            }
        };
    }
}

/// Follows one measurement until its final state.
async fn follow_one(
    connection: &Connection,
    name: &str,
    mut line: Line,
) -> anyhow::Result<Measurement> {
    let mut deadline = Instant::now() + PATIENCE;
    loop {
        let outcome = watch_once(connection, name, |news| {
            deadline = Instant::now() + PATIENCE;
            line.show(news);
        })
        .await;
        match outcome {
            Ok(Some(measurement)) => return Ok(measurement),
            // The stream ended too early, as at a server that is shutting down.
            Ok(None) => {}
            Err(status) if !may_pass(&status) => return Err(Refusal(status).into()),
            Err(status) if Instant::now() > deadline => {
                return Err(anyhow::Error::new(Refusal(status))
                    .context(format!("{name} cannot be followed any longer")));
            }
            Err(_) => {}
        }
        line.show(&News::Away("the connection was lost; trying again".into()));
        tokio::time::sleep(PAUSE).await;
    }
}

/// Reads one stream to its end; gives the final state if it came.
async fn watch_once(
    connection: &Connection,
    name: &str,
    mut tell: impl FnMut(&News),
) -> Result<Option<Measurement>, Status> {
    let request = WatchMeasurementRequest {
        name: name.to_owned(),
    };
    let mut stream = connection
        .measurements()
        .watch_measurement(request)
        .await?
        .into_inner();
    while let Some(response) = stream.message().await? {
        let news = match response.news {
            Some(Wire::Measurement(measurement)) if is_final(&measurement) => {
                return Ok(Some(measurement));
            }
            Some(Wire::Measurement(measurement)) => News::State(Box::new(measurement)),
            Some(Wire::Progress(share)) => News::Progress(share),
            Some(Wire::Readings(readings)) => News::Readings(readings.figures),
            Some(Wire::Waiting(text)) => News::Waiting(text),
            // News of a kind that only newer daemons know.
            None => continue,
        };
        tell(&news);
    }
    Ok(None)
}

/// True where the same call may well succeed a little later.
pub fn may_pass(status: &Status) -> bool {
    // A connection that breaks half way shows as any of these.
    matches!(
        status.code(),
        Code::Unavailable
            | Code::Unknown
            | Code::Internal
            | Code::Cancelled
            | Code::ResourceExhausted
    )
}
