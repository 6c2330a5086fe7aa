//! `goodwire walk`

use std::io;

use anyhow::ensure;
use clap::Args;
use goodwire_proto::v1::{MeasureRequest, Measurement};
use tokio::sync::mpsc;
use uuid::Uuid;

use super::{finish, mark, measure};
use crate::{
    connect::Connection,
    exit::Exit,
    json,
    marks::Mark,
    output,
    progress::Board,
    session::Session,
    show::measurement as view,
    values::{self, Setting},
    watch::{self, AtSignal, Followed},
};

/// What is watched unless something else is set: the longest walk.
const DURATION_S: &str = "1800";
/// What is typed to end a walk.
const ENDINGS: [&str; 3] = ["end", "e", "q"];

/// Which link.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  goodwire walk lectern
  goodwire walk lectern --set duration_s=600

Shows level, gaps and the last mark while somebody walks with one end of the link. At each place of
which you know the distance, type it and press Enter:
  12            12 metres from the receiver
  40 ft stage   40 feet, and what is there
  door          a place without a distance
  end           ends the walk; Ctrl-C does too
Or set marks from another screen: `goodwire mark --metres 12`.

With the transmitter carried away from the rig, let a player carried with it play the file of
`goodwire stimulus dropout`, record the receiver, and use `goodwire analyse dropout` with --marks.

Watch where you walk, not the screen: keep clear of vehicles and stairs, do not walk backwards, and
ask before you walk through other people's rooms. The farthest mark before the first dropout says how
far the link held today, with these people in the room: at least so far, and no promise.")]
pub struct Walk {
    /// The link that is carried away
    link: String,
    /// Set a parameter of `dropout`; may be given several times
    #[arg(long, value_name = "NAME=VALUE")]
    set: Vec<Setting>,
    /// You are in the room, it is clear, and sound may be played now
    #[arg(long)]
    present: bool,
}

/// Watches a link while somebody walks, and prints how far it held.
///
/// # Errors
/// Where it is refused, or the server stays away.
pub async fn run(session: &Session, arguments: Walk) -> anyhow::Result<Exit> {
    let request = request(arguments)?;
    let server = session.connect().await?;
    let started = measure::ask(&server, request).await?;
    let [walk] = started.as_slice() else {
        anyhow::bail!(
            "a walk is along one link, and {} were started",
            started.len()
        );
    };
    output::say("type a distance and Enter at each place you know, `end` to end it");
    let board = Board::new(session.look.unicode);
    let listening = tokio::spawn(listen(server.clone(), walk.name.clone(), board.clone()));
    let followed = watch::follow(session, &server, &started, &board, AtSignal::Finish).await;
    listening.abort();
    let Followed {
        measurements,
        signal,
    } = followed?;
    if let [measurement] = measurements.as_slice() {
        print(session, measurement)?;
    }
    Ok(signal.unwrap_or_else(|| Exit::worst(&measurements)))
}

fn request(arguments: Walk) -> anyhow::Result<MeasureRequest> {
    let mut settings = arguments.set;
    ensure!(
        !settings.iter().any(|one| one.is("pilot", "none")),
        "a walk needs a pilot: programme has pauses of its own, and where the link was lost would \
         be a guess; leave pilot=none out"
    );
    // It is whole when whoever walks is back, however soon.
    for (name, value) in [("duration_s", DURATION_S), ("open_end", "true")] {
        if !settings.iter().any(|one| one.names(name)) {
            settings.push(Setting::new(name, value));
        }
    }
    let links = values::links(&arguments.link)?;
    ensure!(
        links.len() == 1 && links[0] != "all",
        "a walk is along one link: name it"
    );
    Ok(MeasureRequest {
        links,
        analysis: "dropout".into(),
        parameters: values::parameters(&settings)?,
        request_id: Uuid::now_v7().to_string(),
        present: arguments.present,
        ..MeasureRequest::default()
    })
}

/// Takes what is typed, line by line, until nothing more can come.
async fn listen(connection: Connection, name: String, board: Board) {
    let mut lines = typed();
    while let Some(line) = lines.recv().await {
        let line = line.trim();
        if ENDINGS.contains(&line) {
            // The watch tells that it has ended; why it could not be ended is worth a line.
            if let Err(refusal) = finish::end(&connection, name.clone()).await {
                board.say(&refusal.to_string());
            }
            continue;
        }
        board.say(&match set(&connection, &name, line).await {
            Ok(text) => text,
            Err(error) => format!("not marked: {error:#}"),
        });
    }
}

async fn set(connection: &Connection, name: &str, line: &str) -> anyhow::Result<String> {
    let one = Mark::typed(line)?;
    let set = mark::set(connection, name, &one).await?;
    Ok(mark::words(&set, &one))
}

/// Lines of standard input, read on a thread of its own: a read there cannot be taken back.
fn typed() -> mpsc::Receiver<String> {
    let (tell, lines) = mpsc::channel(8);
    std::thread::spawn(move || {
        for line in io::stdin().lines().map_while(Result::ok) {
            if tell.blocking_send(line).is_err() {
                return;
            }
        }
    });
    lines
}

fn print(session: &Session, measurement: &Measurement) -> anyhow::Result<()> {
    session.print(
        || json::message(measurement),
        |look| view::render(look, measurement),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn walk(link: &str, set: &[&str]) -> anyhow::Result<MeasureRequest> {
        request(Walk {
            link: link.into(),
            set: set.iter().map(|one| one.parse().unwrap()).collect(),
            present: false,
        })
    }

    #[test]
    fn a_walk_is_along_one_link_and_has_a_pilot() {
        assert!(walk("lectern", &[]).is_ok());
        for (link, set) in [("all", vec![]), ("a,b", vec![]), ("a", vec!["pilot=none"])] {
            assert!(walk(link, &set).is_err(), "{link} {set:?}");
        }
    }

    #[test]
    fn a_walk_lasts_half_an_hour_unless_another_time_is_set() {
        let duration = |set: &[&str]| {
            let parameters = walk("lectern", set).unwrap().parameters.unwrap();
            parameters.fields["duration_s"].kind.clone()
        };
        let text = |text: &str| Some(prost_types::value::Kind::StringValue(text.into()));
        assert_eq!(duration(&[]), text("1800"));
        assert_eq!(duration(&["duration_s=60"]), text("60"));
    }

    #[test]
    fn a_walk_is_whole_whenever_it_ends() {
        let parameters = walk("lectern", &[]).unwrap().parameters.unwrap();
        let want = prost_types::value::Kind::StringValue("true".into());
        assert_eq!(parameters.fields["open_end"].kind, Some(want));
    }
}
