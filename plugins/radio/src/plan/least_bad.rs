//! Where not all links fit: the plan of which least is bad.

use super::Certainty;
use super::flaw::{self, Flaw};
use super::ground::{Ground, Steps};

/// How bad a plan is, the gravest first: pairs that overlap, channels without the clearance, links
/// with a product within the guard, and what is missing to the least separation.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
struct Badness([usize; 3], f64);

impl Badness {
    fn of(ground: &Ground<'_>, rows: &[usize]) -> Self {
        let mut counts = [0; 3];
        for flaw in flaw::of(ground, rows, rows.len()) {
            match flaw {
                Flaw::NotPlaced { .. } => {}
                Flaw::Overlap { .. } => counts[0] += 1,
                Flaw::Occupied { .. } => counts[1] += 1,
                Flaw::Product { .. } => counts[2] += 1,
            }
        }
        let least_mhz = ground.separation_mhz_least(rows).unwrap_or(f64::INFINITY);
        Self(counts, -least_mhz)
    }
}

/// The least bad choice of `count` rows, or all rows if there are fewer, rising. `clean` is the
/// largest clean set that is known.
///
/// Where the steps suffice for all choices, all are looked at; elsewhere the clean set is extended
/// and improved row by row while steps are left.
pub fn extend(ground: &Ground<'_>, clean: &[usize], count: usize) -> (Vec<usize>, Certainty) {
    let row_count = ground.bands.len();
    let count = count.min(row_count);
    let look = steps_of_a_look(ground.fixed.len() + count);
    if choices(row_count, count).saturating_mul(look) <= ground.rules.step_count_max {
        return (best_of_all(ground, count), Certainty::Exact);
    }
    let mut steps = Steps::up_to(ground.rules.step_count_max);
    let mut rows = clean.to_vec();
    while rows.len() < count {
        let with = |row| [&rows[..], &[row]].concat();
        let others = (0..row_count).filter(|row| !rows.contains(row));
        let best = least(ground, others.map(with), &mut steps);
        rows = best.expect("there are more rows than were chosen").1;
    }
    rows = swapped(ground, rows, &mut steps);
    rows.sort_unstable();
    (rows, Certainty::Heuristic)
}

/// What it takes to judge a plan of so many carriers: each product against each of them.
fn steps_of_a_look(carrier_count: usize) -> u64 {
    let n = carrier_count as u64;
    let of_two = n * n.saturating_sub(1);
    (of_two + of_two * n.saturating_sub(2) / 2) * n + 1
}

/// Number of ways to choose `count` of `row_count`, held at the largest `u64`.
fn choices(row_count: usize, count: usize) -> u64 {
    (0..count as u64).fold(1u64, |ways, n| {
        ways.saturating_mul(row_count as u64 - n) / (n + 1)
    })
}

fn best_of_all(ground: &Ground<'_>, count: usize) -> Vec<usize> {
    let mut rows: Vec<usize> = (0..count).collect();
    let mut best = (Badness::of(ground, &rows), rows.clone());
    while advance(&mut rows, ground.bands.len()) {
        let badness = Badness::of(ground, &rows);
        if badness < best.0 {
            best = (badness, rows.clone());
        }
    }
    best.1
}

/// Goes on to the next choice out of `row_count` in the order of the table; false after the last.
fn advance(rows: &mut [usize], row_count: usize) -> bool {
    let count = rows.len();
    let room = |place: usize, row: usize| row + (count - place) < row_count;
    let Some(place) = (0..count).rev().find(|&place| room(place, rows[place])) else {
        return false;
    };
    let from = rows[place] + 1;
    for (row, next) in rows[place..].iter_mut().zip(from..) {
        *row = next;
    }
    true
}

/// Exchanges one row for another while that makes the plan better and steps are left.
fn swapped(ground: &Ground<'_>, mut rows: Vec<usize>, steps: &mut Steps) -> Vec<usize> {
    let mut badness = Badness::of(ground, &rows);
    while steps.are_left() {
        let exchanged = (0..rows.len()).flat_map(|place| {
            let others = (0..ground.bands.len()).filter(|row| !rows.contains(row));
            let rows = &rows;
            others.map(move |row| {
                let mut exchanged = rows.clone();
                exchanged[place] = row;
                exchanged
            })
        });
        match least(ground, exchanged, steps) {
            Some((better, exchanged)) if better < badness => {
                (badness, rows) = (better, exchanged);
            }
            _ => break,
        }
    }
    rows
}

/// The least bad of some plans, of equals the first; when the steps end, of those before, of the
/// first at least.
fn least(
    ground: &Ground<'_>,
    plans: impl Iterator<Item = Vec<usize>>,
    steps: &mut Steps,
) -> Option<(Badness, Vec<usize>)> {
    let mut best: Option<(Badness, Vec<usize>)> = None;
    for rows in plans {
        let badness = Badness::of(ground, &rows);
        steps.spend(steps_of_a_look(ground.fixed.len() + rows.len()));
        if best.as_ref().is_none_or(|(least, _)| badness < *least) {
            best = Some((badness, rows));
        }
        if !steps.are_left() {
            break;
        }
    }
    best
}
