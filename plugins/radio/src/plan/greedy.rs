//! The heuristic for many links: sets that are filled with whatever fits next.

use super::ground::{Ground, Steps};

/// Looks for a large clean set of at most `count` rows.
///
/// From each candidate as the first, the rest is filled up in two orders: by falling separation,
/// and by rising frequency, which on an even raster gives the greedy Sidon sequence
/// (0 1 3 7 12 20 ...). The best is kept: more rows first, then the greater least separation, then
/// the one found first. It ends when every first one was tried, or with the steps.
pub fn search(ground: &Ground<'_>, count: usize) -> Vec<usize> {
    let by_separation = ground.candidates();
    let mut by_frequency = by_separation.clone();
    let low_mhz = |&row: &usize| ground.bands[row].low_mhz();
    by_frequency.sort_by(|a, b| low_mhz(a).total_cmp(&low_mhz(b)));
    let mut steps = Steps::up_to(ground.rules.step_count_max);
    let mut best = Vec::new();
    for &first in &by_separation {
        for order in [&by_separation, &by_frequency] {
            let Some(filled) = fill(ground, first, order, count, &mut steps) else {
                return best;
            };
            if is_better(ground, &filled, &best) {
                best = filled;
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
        if !steps.take() {
            return None;
        }
        if set.takes(ground.bands[row]) {
            set.push(ground.bands[row]);
            rows.push(row);
        }
    }
    Some(rows)
}

fn is_better(ground: &Ground<'_>, rows: &[usize], best: &[usize]) -> bool {
    let worth = |rows: &[usize]| ground.separation_mhz_least(rows).unwrap_or(f64::INFINITY);
    rows.len() > best.len() || (rows.len() == best.len() && worth(rows) > worth(best))
}
