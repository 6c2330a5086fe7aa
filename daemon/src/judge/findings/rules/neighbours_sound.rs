//! Three things tell that a return hears another link's send. `crosstalk` plays one send alone and
//! listens to all returns. And the k-th send of a batch plays k × 100 ms later than the first, so a
//! return that hears another send instead of its own reads a latency that is off by a multiple of
//! that. And the wake-up's noise is another one on every send: who hears which, is noted.

use goodwire_proto::v1::{Figure, Measurement};

use super::Evidence;
use crate::{
    judge::findings::evidence::{Link, at_name},
    measure::overheard::{BESIDE, INSTEAD},
};

/// Louder than this, re the link that is meant, is a fault of wiring or radio (common practice, no
/// source), in dB.
const HEARD_DB: f64 = -60.0;
/// By how much later the next send of a batch plays, in ms.
const STAGGER_MS: f64 = 100.0;
/// Links differ in latency by less than this, in ms.
const LATENCY_MS: f64 = 30.0;

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let (what, level) = heard(evidence).or_else(|| overheard(evidence)).unzip();
    let (what, told) = match (what, level) {
        (Some(what), Some(level_db)) => (what, format!(" ({level_db:.0} dB)")),
        _ => {
            let what = noted(evidence.link).or_else(|| instead(evidence))?;
            (what, String::new())
        }
    };
    Some(format!(
        "{what}{told}: look for receivers or cables that were exchanged, two transmitters on one \
         channel, and a patch or mixer that joins the two; switching one of the transmitters off \
         tells radio from cable."
    ))
}

/// This link's return hears another link's send.
fn heard(evidence: &Evidence<'_>) -> Option<(String, f64)> {
    let own = evidence.link.name();
    evidence.others.iter().find_map(|other| {
        let level_db = loudness(other, Some(own))?.1;
        let text = format!("The return hears the sound of {}'s send", other.name());
        Some((text, level_db))
    })
}

/// Another return hears this link's send: told here only where that link is not in the run, and so
/// cannot tell itself.
fn overheard(evidence: &Evidence<'_>) -> Option<(String, f64)> {
    let (figure, level_db) = loudness(evidence.link, None)?;
    let hearer = at_name(figure, "link")?;
    let tells_itself = evidence.others.iter().any(|other| other.name() == hearer);
    let text = format!("The return of {hearer} hears the sound of this link's send");
    (!tells_itself).then_some((text, level_db))
}

/// What `crosstalk` of a link says of the return of `hearer`, or of any; bounds say nothing.
fn loudness<'a>(link: &Link<'a>, hearer: Option<&str>) -> Option<(&'a Figure, f64)> {
    let mut figures = link.figures("crosstalk").filter_map(|figure| {
        let is_meant = hearer.is_none_or(|name| at_name(figure, "link") == Some(name));
        let is_heard = figure.uncertainty.is_some() && figure.value >= Some(HEARD_DB);
        Some((figure, figure.value.filter(|_| is_meant && is_heard)?))
    });
    figures.next()
}

/// What the wake-ups told.
fn noted(link: &Link<'_>) -> Option<String> {
    let note = link.note(INSTEAD).or_else(|| link.note(BESIDE))?;
    Some(note.text.clone())
}

/// True where the wake-ups told that the return hears another send and nothing of its own: no
/// figure speaks of this link then.
pub(in crate::judge::findings) fn hears_another(link: &Link<'_>) -> bool {
    link.note(INSTEAD).is_some()
}

/// The latency is off by a multiple of the stagger.
pub(super) fn instead(evidence: &Evidence<'_>) -> Option<String> {
    let off_ms = match evidence.link.moved("latency", LATENCY_MS) {
        Some(moved_ms) => moved_ms,
        // No link is this much earlier than what it was sent.
        None => evidence
            .link
            .value("latency")
            .filter(|ms| *ms < -LATENCY_MS)?,
    };
    let sends = (off_ms / STAGGER_MS).round();
    if sends == 0.0 || (off_ms - sends * STAGGER_MS).abs() > LATENCY_MS {
        return None;
    }
    let of_batch = |link: &Link<'_>| stagger_ms(link);
    let whose = of_batch(evidence.link).and_then(|own_ms| {
        let is_meant = |other: &&&Link<'_>| {
            of_batch(other).is_some_and(|ms| (ms - own_ms - sends * STAGGER_MS).abs() < 1.0)
        };
        evidence.others.iter().find(is_meant)
    });
    let whose = whose.map_or_else(|| "another link".to_owned(), |link| link.name().to_owned());
    Some(format!(
        "What the return hears plays {off_ms:+.0} ms off, as the send of {whose} does: it hears that \
         send instead of its own"
    ))
}

/// How much later than the first send of its batch the link's played in `latency`.
fn stagger_ms(link: &Link<'_>) -> Option<f64> {
    let is_latency = |one: &&Measurement| one.analysis == "latency";
    let made = link.measurements().find(is_latency)?.provenance.as_ref()?;
    Some(1e3 * f64::from(made.stagger_frames) / f64::from(made.rate_hz.max(1)))
}

#[cfg(test)]
mod tests {
    use goodwire_proto::v1::{Figure, Provenance};
    use prost_types::{Struct, Value, value::Kind};

    use crate::judge::{
        findings::{
            Seen,
            scene::{ids, level, run_ids, seen, silent, text_of},
        },
        tests::figure,
    };

    fn crosstalk(link: &str, hearer: &str, db: f64) -> Seen {
        let kind = Some(Kind::StringValue(hearer.to_owned()));
        let at = Struct {
            fields: [("link".to_owned(), Value { kind })].into(),
        };
        let figure = Figure {
            at: Some(at),
            ..figure("crosstalk", db, 0.1)
        };
        seen(link, "crosstalk", vec![figure])
    }

    fn latency(link: &str, ms: f64, stagger_frames: i32) -> Seen {
        let mut seen = seen(link, "latency", vec![figure("latency", ms, 0.001)]);
        seen.measurement.provenance = Some(Provenance {
            stagger_frames,
            rate_hz: 48_000,
            ..Provenance::default()
        });
        seen.against(vec![figure("latency", 4.0, 0.001)])
    }

    #[test]
    fn a_return_that_hears_its_neighbour_at_minus_20_db_is_named_and_its_neighbour_is_not() {
        let run = [
            crosstalk("lectern", "drum-riser", -20.0),
            seen("drum-riser", "level", level(0.0, -6.0)),
        ];
        assert_eq!(run_ids(&run), ["drum-riser neighbours-sound"]);
        let text = text_of(&run, "neighbours-sound");
        assert!(text.contains("lectern's send (-20 dB)"), "{text}");
    }

    #[test]
    fn crosstalk_alone_names_the_return_that_hears_and_minus_80_db_is_nothing() {
        let alone = crosstalk("lectern", "drum-riser", -20.0);
        assert_eq!(ids(&alone), ["neighbours-sound"]);
        assert_eq!(ids(&crosstalk("lectern", "drum-riser", -80.0)), [""; 0]);
    }

    #[test]
    fn another_send_instead_of_its_own_is_the_only_thing_found_of_a_link() {
        let text = "The return hears the sound of riser's send instead of its own";
        let run = [silent("lectern").noted("neighbours-sound-instead", text)];
        assert_eq!(run_ids(&run), ["lectern neighbours-sound"]);
        assert!(text_of(&run, "neighbours-sound").starts_with(text));
        let moved = seen("lectern", "level", level(-20.0, -6.0)).against(level(0.0, -6.0));
        let moved = moved.noted("neighbours-sound-instead", text);
        assert_eq!(ids(&moved), ["neighbours-sound"]);
    }

    #[test]
    fn exchanged_receivers_read_100_ms_off_and_the_stagger_tells_whose_send_is_heard() {
        let run = [
            latency("lectern", 104.0, 0),
            latency("drum-riser", -96.0, 4800),
        ];
        assert_eq!(
            run_ids(&run),
            ["lectern neighbours-sound", "drum-riser neighbours-sound"]
        );
        let text = text_of(&run, "neighbours-sound");
        assert!(text.contains("send of drum-riser"), "{text}");
        assert_eq!(ids(&latency("lectern", 54.0, 0)), ["latency-moved"]);
    }
}
