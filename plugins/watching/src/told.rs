//! What is told moment by moment: events, and the level over time.

use goodwire_dsp::watch::marks::{Mark, Marks};
use goodwire_dsp::watch::{Lapse, LapseKind, Log};
use goodwire_plugin_sdk::api::{Curve, Event, Figure};
use goodwire_plugin_sdk::figures::{Located, curve, event, figure};

/// The lapses that are kept, in order of time, then the marks.
#[must_use]
pub fn events(log: &Log) -> Vec<Event> {
    let lapses = log.ledger.kept().into_iter();
    let lapses = lapses.map(|lapse| of_lapse(&lapse, &log.marks, log.rate_hz));
    let marks = log.marks.kept().iter();
    let marks = marks.map(|mark| of_mark(mark, log.rate_hz));
    lapses.chain(marks).collect()
}

fn of_lapse(lapse: &Lapse, marks: &Marks, rate_hz: f64) -> Event {
    let id = match lapse.kind {
        LapseKind::Gap => "gap",
        LapseKind::Concealed => "concealed",
        LapseKind::Click => "click",
        LapseKind::Burst => "burst",
        LapseKind::Shift => "shift",
        LapseKind::Clipped => "clipped",
        LapseKind::Faint => "level-loss",
    };
    let duration_s = lapse.frame_count / rate_hz;
    let one = event(id, lapse.start_frame / rate_hz, Some(duration_s), "");
    place(one, marks.metres_at(lapse.start_frame))
}

fn of_mark(mark: &Mark, rate_hz: f64) -> Event {
    let one = event("mark", mark.frame / rate_hz, None, mark.label.clone());
    place(one, mark.metres)
}

fn place(event: Event, metres: Option<f64>) -> Event {
    match metres {
        Some(metres) => event.at("metres", metres),
        None => event,
    }
}

/// The curve `level`: of each stretch, the lowest level of any 100 ms in it.
#[must_use]
pub fn level(log: &Log) -> Curve {
    let [x, y] = log.level.points();
    curve("level", ["s", "dBFS"], x, y, Vec::new())
}

/// The level of the last 100 ms, as a reading. `None` before there were so many.
#[must_use]
pub fn level_now(log: &Log) -> Option<Figure> {
    let dbfs = log.level.last_dbfs()?;
    Some(figure("level", dbfs, 0.0, "dBFS"))
}

/// How long ago the last gap or concealed stretch began, as a reading. `None` without one.
#[must_use]
pub fn last_gap_ago(log: &Log) -> Option<Figure> {
    let ago_s = (log.end_frame as f64 - log.ledger.last_frame()?) / log.rate_hz;
    Some(figure("last_gap_ago", ago_s, 0.0, "s"))
}
