//! Figures, curves, events and notes of a run.

use goodwire_dsp::watch::Log;
use goodwire_plugin_sdk::api::{Event, Figure, Note};
use goodwire_plugin_sdk::figures::{event, figure, info, warning};
use goodwire_plugin_sdk::payload::SessionResult;
use goodwire_watching::{self as watching, Part};

/// A link that was seen lost this much later than it was last good went while nobody listened, in
/// seconds.
const UNSEEN_LEAST_S: f64 = 0.25;

/// All that a run has shown.
pub struct Seen<'a> {
    /// What was lost before, and how loud the link was.
    pub log: &'a Log,
    /// Until when the link was good, in seconds.
    pub ran_s: f64,
    /// When it was seen lost for good, in seconds.
    pub seen_lost_s: Option<f64>,
    /// True where it is lost for good.
    pub is_gone: bool,
    /// For how long it had been silent at the end, in seconds, where it had.
    pub silent_s: Option<f64>,
    /// What the gig needs, in hours; 0: nobody said.
    pub needed_hours: f64,
    /// When it was to end at the latest, in seconds.
    pub longest_s: f64,
    /// True where there was a cable.
    pub has_reference: bool,
}

impl Seen<'_> {
    /// What was seen of the run, where that is too little.
    fn part(&self) -> Option<Part> {
        let asked_s = if self.is_gone {
            self.ran_s
        } else {
            self.longest_s
        };
        Part::of(self.log.judged_s(), asked_s)
    }

    /// Until when it ran at most, in seconds: where that is known, and not when it was last good.
    fn at_most_s(&self) -> Option<f64> {
        self.seen_lost_s
            .filter(|lost_s| lost_s - self.ran_s > UNSEEN_LEAST_S)
    }
}

/// The result.
pub fn result(seen: &Seen<'_>) -> SessionResult {
    let log = seen.log;
    let mut figures = vec![run_time(seen)];
    figures.extend(watching::sums(log, seen.part()));
    SessionResult {
        figures,
        curves: vec![watching::level(log)],
        events: events(seen),
        notes: notes(seen),
        ..SessionResult::default()
    }
}

fn run_time(seen: &Seen<'_>) -> Figure {
    let exact = figure("run_time", seen.ran_s, watching::EDGE_S, "s");
    let bounds = |high| Figure {
        uncertainty: None,
        low: Some(seen.ran_s),
        high,
        ..exact.clone()
    };
    match (seen.is_gone, seen.at_most_s()) {
        (false, _) => bounds(None),
        (true, None) => exact,
        (true, high) => bounds(high),
    }
}

fn events(seen: &Seen<'_>) -> Vec<Event> {
    let mut events = watching::events(seen.log);
    if seen.is_gone {
        let text = "the link's sound was lost for good";
        events.push(event("lost", seen.ran_s, None, text));
    }
    events
}

fn notes(seen: &Seen<'_>) -> Vec<Note> {
    let mut notes = vec![how_it_ended(seen)];
    let text = "a full charge of both ends at the start is assumed: nobody measured it";
    notes.push(info("full-charge-assumed", text));
    notes.extend(against_need(seen));
    // Of one that still runs that was said just now.
    let part = seen.part().filter(|_| seen.is_gone);
    notes.extend(part.map(Part::note));
    notes.extend(watching::none_seen(seen.log));
    notes.extend(watching::frames_lost(seen.log));
    notes.extend(watching::reference_missing(seen.has_reference));
    notes.extend(watching::not_all_listed(seen.log));
    notes
}

fn how_it_ended(seen: &Seen<'_>) -> Note {
    let ran = in_words(seen.ran_s);
    if let Some(silent_s) = seen.silent_s.filter(|_| !seen.is_gone) {
        let text = format!(
            "it ran at least {ran}, and had been silent for {silent_s:.0} s when the watch ended: \
             that may be a dropout or the end of the charge"
        );
        return warning("silent-at-end", text);
    }
    if !seen.is_gone {
        let text = format!("it still ran when the watch ended: it runs at least {ran}");
        return info("still-running", text);
    }
    if let Some(at_most_s) = seen.at_most_s() {
        let text = format!(
            "nobody listened when the link went: it ran at least {ran}, and at most {}, when it \
             was looked at again; either end's battery may have ended it",
            in_words(at_most_s)
        );
        return warning("ended-unseen", text);
    }
    let text = "either end's battery may have ended it, the transmitter's or the receiver's: see \
                which one is empty";
    info("either-battery", text)
}

/// What is said of the hours that are needed; `None` where nobody said how many.
fn against_need(seen: &Seen<'_>) -> Option<Note> {
    let needed_s = 3_600.0 * seen.needed_hours;
    if needed_s <= 0.0 {
        return None;
    }
    let needed = in_words(needed_s);
    let at_most_s = seen.at_most_s().unwrap_or(seen.ran_s);
    Some(if seen.ran_s >= needed_s {
        let spare = in_words(seen.ran_s - needed_s);
        let text = format!("the needed {needed} are reached with {spare} to spare");
        info("long-enough", text)
    } else if seen.is_gone && at_most_s < needed_s {
        let short = in_words(needed_s - at_most_s);
        let text = format!("the needed {needed} are missed by {short}");
        warning("too-short", text)
    } else {
        let text = format!("whether the needed {needed} are reached was not seen: watch again");
        warning("need-not-shown", text)
    })
}

/// `6 h 12 min`, `12 min 5 s`, `5.2 s`.
fn in_words(seconds: f64) -> String {
    let whole = seconds.round() as u64;
    let (hours, minutes) = (whole / 3_600, whole / 60 % 60);
    match (hours, minutes) {
        (0, 0) => format!("{seconds:.1} s"),
        (0, _) => format!("{minutes} min {} s", whole % 60),
        _ => format!("{hours} h {minutes} min"),
    }
}
