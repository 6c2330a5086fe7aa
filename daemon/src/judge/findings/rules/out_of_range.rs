//! Sound that is lost where the transmitter is far away, or that a receiver hides while it fades.

use goodwire_proto::v1::{Event, Measurement};
use prost_types::value::Kind;

use super::{Evidence, disturbed::LOST, interface_clock, interference, xruns};

/// So unlikely it has to be that pieces which come at any time lie as far away as they do.
const CHANCE_MOST: f64 = 0.01;
/// A level that falls by this over a measurement falls, in dB.
const FALL_DB: f64 = 3.0;
/// Fewer points of the level tell of no fall.
const POINTS_LEAST: usize = 8;

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let gives_way = interference::look(evidence).is_some()
        || interface_clock::look(evidence).is_some()
        || xruns::look(evidence).is_some();
    if gives_way {
        return None;
    }
    evidence.link.measurements().find_map(what).map(|what| {
        format!(
            "{what}: the radio signal is weak there; stay nearer, see that nothing stands between \
             the aerials, or put the receiver's nearer to the stage. What stays with the \
             transmitter beside the receiver is a loose plug or a broken wire."
        )
    })
}

/// What one measurement tells of it.
fn what(one: &Measurement) -> Option<String> {
    grows_with_distance(one).or_else(|| fades_and_hides(one))
}

/// Beyond half the farthest mark more was lost than the time spent there explains: the binomial
/// probability of as many of all lost pieces or more, were each at any time alike.
fn grows_with_distance(one: &Measurement) -> Option<String> {
    let marks: Vec<(f64, f64)> = of(one, &["mark"]).collect();
    let farthest = marks.iter().map(|mark| mark.1).fold(0.0, f64::max);
    let half = farthest / 2.0;
    let far_share = share_beyond(&marks, half)?;
    let lost: Vec<(f64, f64)> = of(one, &LOST).collect();
    let far_count = lost.iter().filter(|piece| piece.1 > half).count();
    let is_told = tail(lost.len(), far_count, far_share) <= CHANCE_MOST;
    is_told.then(|| {
        format!(
            "{far_count} of {} pieces were lost beyond {half:.0} m, half of the farthest mark",
            lost.len()
        )
    })
}

/// Time and metres of the events of these ids that have both, in order of time.
fn of<'a>(one: &'a Measurement, ids: &'a [&str]) -> impl Iterator<Item = (f64, f64)> + 'a {
    let events = one.events.iter().filter(|one| ids.contains(&&*one.id));
    events.filter_map(|event| Some((event.start_s?, metres(event)?)))
}

fn metres(event: &Event) -> Option<f64> {
    match event.at.as_ref()?.fields.get("metres")?.kind {
        Some(Kind::NumberValue(metres)) => Some(metres),
        _ => None,
    }
}

/// Share of the time between the first and the last mark that was spent beyond a distance, walking
/// evenly from mark to mark; `None` where all or nothing was.
fn share_beyond(marks: &[(f64, f64)], metres: f64) -> Option<f64> {
    let (mut beyond_s, mut all_s) = (0.0, 0.0);
    for pair in marks.windows(2) {
        let [(from_s, from), (to_s, to)] = [pair[0], pair[1]];
        let (near, far) = (from.min(to), from.max(to));
        let share = if near == far {
            f64::from(u8::from(far > metres))
        } else {
            ((far - metres) / (far - near)).clamp(0.0, 1.0)
        };
        beyond_s += share * (to_s - from_s);
        all_s += to_s - from_s;
    }
    let share = beyond_s / all_s;
    (0.0 < share && share < 1.0).then_some(share)
}

/// Probability of `least` or more of `count`, each with the probability `share`.
fn tail(count: usize, least: usize, share: f64) -> f64 {
    let odds = share / (1.0 - share);
    let mut term = (1.0 - share).powi(i32::try_from(count).unwrap_or(i32::MAX));
    let mut below = 0.0;
    for k in 0..least {
        below += term;
        term *= odds * (count - k) as f64 / (k + 1) as f64;
    }
    1.0 - below
}

/// Half of the lost pieces and more were hidden under another sound, as receivers of packets do, and
/// the level fell meanwhile.
fn fades_and_hides(one: &Measurement) -> Option<String> {
    let count = |ids: &[&str]| {
        let events = one.events.iter();
        events.filter(|event| ids.contains(&&*event.id)).count()
    };
    let hidden = count(&["concealed"]);
    let fall_db = fall_db(one)?;
    (hidden > 0 && 2 * hidden >= count(&LOST) && fall_db >= FALL_DB).then(|| {
        format!(
            "The receiver hid {hidden} lost pieces under another sound, and the level fell by \
             {fall_db:.1} dB"
        )
    })
}

/// By how much the last quarter of the level's points lies below the first, by their medians.
fn fall_db(one: &Measurement) -> Option<f64> {
    let level = one.curves.iter().find(|curve| curve.id == "level")?;
    let quarter = level.y.len() / 4;
    if level.y.len() < POINTS_LEAST {
        return None;
    }
    let median = |points: &[f64]| {
        let mut sorted = points.to_vec();
        sorted.sort_by(f64::total_cmp);
        sorted[sorted.len() / 2]
    };
    Some(median(&level.y[..quarter]) - median(&level.y[level.y.len() - quarter..]))
}

#[cfg(test)]
mod tests {
    use goodwire_proto::v1::Curve;
    use prost_types::{Struct, Value};

    use super::*;
    use crate::judge::findings::{
        Seen,
        scene::{ids, run_ids, seen},
    };

    fn event(id: &str, start_s: f64, metres: f64) -> Event {
        let value = Value {
            kind: Some(Kind::NumberValue(metres)),
        };
        Event {
            id: id.to_owned(),
            start_s: Some(start_s),
            at: Some(Struct {
                fields: [("metres".to_owned(), value)].into(),
            }),
            ..Event::default()
        }
    }

    /// Walked evenly from 0 to 40 m within 100 s, with pieces lost at these distances.
    fn walked(id: &str, metres: &[f64]) -> Seen {
        let mut walk = seen("lectern", "dropout", Vec::new());
        let marks = [(0.0, 0.0), (50.0, 20.0), (100.0, 40.0)];
        let events = &mut walk.measurement.events;
        events.extend(marks.map(|(s, m)| event("mark", s, m)));
        events.extend(metres.iter().map(|m| event(id, m * 2.5, *m)));
        walk
    }

    fn level(mut seen: Seen, from_dbfs: f64, to_dbfs: f64) -> Seen {
        seen.measurement.curves.push(Curve {
            id: "level".to_owned(),
            y: (0..20)
                .map(|n| from_dbfs + (to_dbfs - from_dbfs) * f64::from(n) / 19.0)
                .collect(),
            ..Curve::default()
        });
        seen
    }

    #[test]
    fn seven_gaps_beyond_half_of_40_m_are_out_of_range_and_six_may_be_chance() {
        // Half of the time was spent beyond 20 m: 0.5^7 = 0.008 and 0.5^6 = 0.016.
        let far = [22.0, 25.0, 28.0, 30.0, 33.0, 36.0, 39.0];
        assert_eq!(ids(&walked("gap", &far)), ["out-of-range"]);
        assert_eq!(ids(&walked("gap", &far[..6])), ["loose-cable"]);
        let everywhere = [2.0, 8.0, 14.0, 19.0, 24.0, 30.0, 36.0];
        assert_eq!(ids(&walked("gap", &everywhere)), ["loose-cable"]);
    }

    #[test]
    fn the_binomial_tail_of_8_and_more_of_10_at_one_half_is_0_054_7() {
        // (45 + 10 + 1) / 1024, closed form.
        assert!((tail(10, 8, 0.5) - 56.0 / 1024.0).abs() < 1e-12);
        assert_eq!(tail(10, 0, 0.3), 1.0);
    }

    #[test]
    fn concealed_pieces_while_the_level_falls_by_6_db_are_out_of_range_and_at_a_steady_level_not() {
        let hidden = || walked("concealed", &[5.0, 20.0]);
        assert_eq!(ids(&level(hidden(), -30.0, -38.0)), ["out-of-range"]);
        assert_eq!(ids(&level(hidden(), -30.0, -30.0)), ["loose-cable"]);
        let gaps = walked("gap", &[5.0, 20.0]);
        assert_eq!(ids(&level(gaps, -30.0, -38.0)), ["loose-cable"]);
    }

    #[test]
    fn where_two_links_lose_sound_at_once_interference_is_likelier() {
        let far = [22.0, 25.0, 28.0, 30.0, 33.0, 36.0, 39.0];
        let mut other = walked("gap", &far);
        other.measurement.link = "links/drum-riser".to_owned();
        assert_eq!(
            run_ids(&[walked("gap", &far), other]),
            ["lectern interference", "drum-riser interference"]
        );
    }
}
