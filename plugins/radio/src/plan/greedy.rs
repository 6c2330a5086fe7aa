//! The heuristic for many links: sets that are filled with whatever fits next.

use super::ground::{Ground, Steps};

/// Looks for a clean set of at most `count` rows: as many as can be, then well separated.
///
/// Once `count` are found, only channels with a greater separation than the least of them are
/// tried again, until fewer fit. It ends with the steps at the latest.
pub fn search(ground: &Ground<'_>, count: usize) -> Vec<usize> {
    let mut candidates = ground.candidates.clone();
    let mut steps = Steps::up_to(ground.rules.step_count_max);
    let mut best = largest(ground, &candidates, count, &mut steps);
    while best.len() == count {
        let least_mhz = worth_mhz(ground, &best);
        candidates.retain(|&row| ground.separations_mhz[row] > least_mhz);
        let better = largest(ground, &candidates, count, &mut steps);
        if better.len() < count {
            break;
        }
        best = better;
    }
    best
}

/// Sets that begin with each candidate in turn and are filled up in two orders, by falling
/// separation, and by rising frequency, which on an even raster gives the greedy Sidon sequence
/// (0 1 3 7 12 20 ...): the first with `count` rows, else the best.
fn largest(
    ground: &Ground<'_>,
    by_separation: &[usize],
    count: usize,
    steps: &mut Steps,
) -> Vec<usize> {
    let mut by_frequency = by_separation.to_vec();
    let low_mhz = |&row: &usize| ground.bands[row].low_mhz();
    by_frequency.sort_by(|a, b| low_mhz(a).total_cmp(&low_mhz(b)));
    let mut best = Vec::new();
    for &first in by_separation {
        for order in [by_separation, &by_frequency] {
            let Some(filled) = fill(ground, first, order, count, steps) else {
                return best;
            };
            if is_better(ground, &filled, &best) {
                best = filled;
            }
            // Better ones of this size are found sooner among the channels that beat it.
            if best.len() == count {
                return best;
            }
        }
    }
    best
}

/// `first` and then what fits of `order`; `None` when the steps ended meanwhile.
fn fill(
    ground: &Ground<'_>,
    first: usize,
    order: &[usize],
    count: usize,
    steps: &mut Steps,
) -> Option<Vec<usize>> {
    let mut set = ground.fixed_set();
    set.push(ground.bands[first]);
    let mut rows = vec![first];
    for &row in order.iter().filter(|&&row| row != first) {
        if rows.len() == count {
            break;
        }
        if !steps.are_left() {
            return None;
        }
        if set.takes(ground.bands[row], steps) {
            set.push(ground.bands[row]);
            rows.push(row);
        }
    }
    Some(rows)
}

/// More rows are better, then a greater least separation.
fn is_better(ground: &Ground<'_>, rows: &[usize], best: &[usize]) -> bool {
    let worth = |rows| worth_mhz(ground, rows);
    rows.len() > best.len() || (rows.len() == best.len() && worth(rows) > worth(best))
}

fn worth_mhz(ground: &Ground<'_>, rows: &[usize]) -> f64 {
    ground.separation_mhz_least(rows).unwrap_or(f64::INFINITY)
}
