//! Where not all links fit: the plan of which least is bad.

use super::Certainty;
use super::flaw::{self, Flaw};
use super::ground::Ground;

/// Choices that are all looked at; beyond, sets are improved step by step.
const CHOICES_ALL: u64 = 20_000;

/// Plans that are looked at while one is improved.
const LOOKS_MAX: u64 = 50_000;

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
pub fn extend(ground: &Ground<'_>, clean: &[usize], count: usize) -> (Vec<usize>, Certainty) {
    let row_count = ground.bands.len();
    let count = count.min(row_count);
    if choices(row_count, count) <= CHOICES_ALL {
        return (best_of_all(ground, count), Certainty::Exact);
    }
    let mut rows = clean.to_vec();
    while rows.len() < count {
        let with = |row| [&rows[..], &[row]].concat();
        let others = (0..row_count).filter(|row| !rows.contains(row));
        let best = least(ground, others.map(with));
        rows = best.expect("there are more rows than were chosen").1;
    }
    rows = swapped(ground, rows);
    rows.sort_unstable();
    (rows, Certainty::Heuristic)
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

/// Exchanges one row for another while that makes the plan better.
fn swapped(ground: &Ground<'_>, mut rows: Vec<usize>) -> Vec<usize> {
    let mut badness = Badness::of(ground, &rows);
    let row_count = ground.bands.len();
    let looks_a_round = (rows.len() * row_count) as u64;
    for _ in 0..(LOOKS_MAX / looks_a_round.max(1)).max(1) {
        let exchanged = (0..rows.len()).flat_map(|place| {
            let others = (0..row_count).filter(|row| !rows.contains(row));
            let rows = &rows;
            others.map(move |row| {
                let mut exchanged = rows.clone();
                exchanged[place] = row;
                exchanged
            })
        });
        match least(ground, exchanged) {
            Some((better, exchanged)) if better < badness => {
                (badness, rows) = (better, exchanged);
            }
            _ => break,
        }
    }
    rows
}

/// The least bad of some plans; of equals the first.
fn least(
    ground: &Ground<'_>,
    plans: impl Iterator<Item = Vec<usize>>,
) -> Option<(Badness, Vec<usize>)> {
    let mut best: Option<(Badness, Vec<usize>)> = None;
    for rows in plans {
        let badness = Badness::of(ground, &rows);
        if best.as_ref().is_none_or(|(least, _)| badness < *least) {
            best = Some((badness, rows));
        }
    }
    best
}
