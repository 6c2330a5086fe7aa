//! What has to be known to read a result rightly.

use goodwire_dsp::watch::Log;
use goodwire_plugin_sdk::api::Note;
use goodwire_plugin_sdk::figures::{info, warning};
use goodwire_watching::{self as watching, Part};

use crate::result::Seen;
use crate::settings::Way;

/// What is not watched for less is the settling of every watch.
const UNWATCHED_S: f64 = 2.0;

/// The notes, the way of watching first.
pub fn notes(seen: &Seen<'_>) -> Vec<Note> {
    let log = seen.log;
    let mut notes = Vec::new();
    notes.extend(of_way(seen));
    notes.extend(seen.part.map(Part::note));
    notes.extend(watching::none_seen(log));
    notes.extend(watching::frames_lost(log));
    if seen.way != Way::Player {
        notes.extend(watching::reference_missing(seen.has_reference));
    }
    notes.extend(stopped(seen));
    notes.extend(unwatched(seen));
    notes.extend(watching::not_all_listed(log));
    notes.extend(range(log));
    notes
}

fn of_way(seen: &Seen<'_>) -> Option<Note> {
    match seen.way {
        Way::Noise => None,
        Way::Tone => Some(info(
            "tone-pilot",
            "a tone played: a packet that repeats it in phase is not seen, nor what noise shows \
             beside its frequency; a step of the delay by whole cycles is none of its phase",
        )),
        Way::Player => {
            let text = "a carried player played, so gaps of the player and of the link cannot be \
                        told apart";
            Some(warning("player-or-link", text))
        }
        Way::Passive if seen.has_reference => Some(info(
            "passive",
            "nothing was played: silence that sets in abruptly, clicks, flat tops and lost level were \
             looked for where the cable has them not; what fades, repeats or replaces a packet is \
             not seen, nor anything while the cable pauses",
        )),
        Way::Passive => Some(warning(
            "passive",
            "nothing was played and there was no cable: a programme that is cut off abruptly cannot \
             be told from a mute, nor its clicks and flat tops from the link's; what fades, repeats \
             or replaces a packet is not seen, nor lost level, nor anything in a pause",
        )),
    }
}

/// How long a carried player was not followed: a gap of that time is not told.
fn unwatched(seen: &Seen<'_>) -> Option<Note> {
    let log = seen.log;
    let whole_s = (log.end_frame as f64 - log.lost_by_interface) / log.rate_hz;
    let unwatched_s = whole_s - log.judged_s();
    let text = format!(
        "{unwatched_s:.0} s of {whole_s:.0} s were not watched: until the player's sound was found \
         (some 4 s where it starts with the watch, else up to a minute), or after its end; what was \
         lost then is not told"
    );
    let is_worth_telling = seen.way == Way::Player && unwatched_s > UNWATCHED_S;
    is_worth_telling.then(|| warning("watched-in-part", text))
}

/// That the sound stopped for good.
fn stopped(seen: &Seen<'_>) -> Option<Note> {
    let at_s = seen.stopped_at? / seen.log.rate_hz;
    if seen.way == Way::Player {
        let text = format!(
            "the player's sound stopped at {at_s:.1} s and did not come back: whether its file or its \
             battery ended or the link failed cannot be told, so it is no dropout here"
        );
        return Some(warning("player-ended", text));
    }
    let text = format!(
        "the sound stopped abruptly at {at_s:.1} s and did not come back: whether the programme was \
         over or the link failed cannot be told, so it is no dropout here"
    );
    Some(warning("stopped", text))
}

/// What the range says.
fn range(log: &Log) -> Option<Note> {
    let text = match log.ledger.first_frame() {
        Some(_) => {
            "the range is the farthest mark before the first dropout: at least so far, today, with \
             these people in the room"
        }
        None => {
            "no dropout was seen, so the range is the farthest mark: at least so far, today, with \
             these people in the room"
        }
    };
    let mut marks = log.marks.kept().iter();
    let has_place = marks.any(|mark| mark.metres.is_some());
    has_place.then(|| info("range-at-least", text))
}
