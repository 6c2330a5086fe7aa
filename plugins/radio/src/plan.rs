//! Which channels of a table several links should be set to.
//!
//! A plan is *clean* when every chosen channel keeps the clearance from what is occupied, no two
//! links overlap, and no third-order product of the links comes nearer to a link than the guard.
//! Among the clean plans one with the greatest least separation is chosen. Every part of a clean
//! plan is clean, for fewer carriers make fewer products: that is what the search stands on.
//!
//! Only rows of the given table are ever chosen. The same request always gives the same plan:
//! work is bounded by counted steps, never by a clock.

mod exact;
mod flaw;
mod greedy;
mod ground;
mod least_bad;

pub use flaw::{Flaw, Member};

use crate::band::{Band, Occupancy};
use crate::products::Extent;
use crate::table::Table;
use exact::Outcome;
use ground::{Ground, Steps};

/// Most links, those that stay included: their products grow with the cube of their number.
pub const LINK_COUNT_MAX: usize = 64;

/// Why nothing is planned.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PlanError {
    /// There are too many links.
    #[error("{link_count} links are too many to plan at once: {LINK_COUNT_MAX} at most")]
    TooManyLinks {
        /// Links that stay and links to be placed.
        link_count: usize,
    },
    /// A clearance or a guard is negative or no number.
    #[error("{what} is {mhz} MHz: it has to be 0 or more")]
    Negative {
        /// Which one it is.
        what: &'static str,
        /// What was given.
        mhz: f64,
    },
}

/// What is asked for.
#[derive(Debug, Clone, Copy)]
pub struct Request<'a> {
    /// The channels that there are.
    pub table: &'a Table,
    /// What is in the air.
    pub occupied: &'a Occupancy,
    /// Links that stay where they are: carriers that the new ones must get on with.
    pub fixed: &'a [Band],
    /// Links to be placed.
    pub link_count: usize,
    /// What counts as clean.
    pub rules: Rules,
}

/// What counts as clean, and how long it is searched for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rules {
    /// Least separation of a clean channel from what is occupied, in MHz.
    pub clearance_mhz: f64,
    /// Least gap between a product and the edge of a channel, in MHz.
    pub guard_mhz: f64,
    /// How much of a product the guard is kept from.
    pub extent: Extent,
    /// Steps that each of the searches may take; one step compares one product with one link.
    pub step_count_max: u64,
}

impl Default for Rules {
    /// No clearance beyond the edges, a guard of 0.1 MHz from the centres of products (common
    /// practice, no source), and 300 million steps, some seconds altogether.
    fn default() -> Self {
        Self {
            clearance_mhz: 0.0,
            guard_mhz: 0.1,
            extent: Extent::Centre,
            step_count_max: 300_000_000,
        }
    }
}

/// How sure it is that nothing better exists.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Certainty {
    /// Everything was searched: nothing better exists.
    Exact,
    /// The steps did not suffice: a heuristic found this, and something better may exist.
    Heuristic,
}

/// Channels for the links.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// Rows of the table from 0, rising; fewer than the links only where the table has fewer rows.
    pub rows: Vec<usize>,
    /// Least separation of the chosen channels in MHz, `None` when nothing is occupied.
    pub separation_mhz_least: Option<f64>,
    /// Of a clean plan that a heuristic found: what the least separation of no clean plan
    /// exceeds, in MHz, as far as was searched.
    pub separation_mhz_bound: Option<f64>,
    /// How sure it is that no plan is better.
    pub certainty: Certainty,
    /// How many of the links fit cleanly: all of them exactly when there is no flaw.
    pub fitting_count: usize,
    /// How sure that number is; with [`Certainty::Heuristic`] it is *at least* so many.
    pub fitting_certainty: Certainty,
    /// What is bad about the plan, the worst first.
    pub flaws: Vec<Flaw>,
}

/// Chooses channels of the table for the links.
///
/// Where they do not all fit, the plan says how many do, and it is the least bad one: with the
/// fewest pairs of links that overlap, then the fewest channels without the clearance, then the
/// fewest links with a product within the guard, then the greatest least separation (the order is
/// common practice, no source).
///
/// # Errors
///
/// More than [`LINK_COUNT_MAX`] links; a clearance or guard that is negative or no number.
pub fn plan(request: &Request<'_>) -> Result<Plan, PlanError> {
    check(request)?;
    let ground = Ground::of(request);
    let link_count = request.link_count;
    let mut steps = Steps::up_to(request.rules.step_count_max);
    let (all, bound_mhz) = match exact::search(&ground, link_count, &mut steps) {
        Outcome::Found(rows) => return Ok(clean(&ground, rows, None)),
        Outcome::None => (Certainty::Exact, f64::NEG_INFINITY),
        Outcome::Cut { bound_mhz } => (Certainty::Heuristic, bound_mhz),
    };
    let mut fitting = most_that_fit(&ground, link_count, all);
    if fitting.rows.len() == link_count {
        return Ok(clean(&ground, fitting.rows, Some(bound_mhz)));
    }
    fitting.rows.sort_unstable();
    let (rows, certainty) = least_bad::extend(&ground, &fitting.rows, link_count);
    Ok(Plan {
        separation_mhz_least: ground.separation_mhz_least(&rows),
        separation_mhz_bound: None,
        certainty,
        fitting_count: fitting.rows.len(),
        fitting_certainty: fitting.certainty,
        flaws: flaw::of(&ground, &rows, link_count),
        rows,
    })
}

fn check(request: &Request<'_>) -> Result<(), PlanError> {
    let link_count = request.fixed.len().saturating_add(request.link_count);
    if link_count > LINK_COUNT_MAX {
        return Err(PlanError::TooManyLinks { link_count });
    }
    let (clearance, guard) = (request.rules.clearance_mhz, request.rules.guard_mhz);
    for (what, mhz) in [("the clearance", clearance), ("the guard", guard)] {
        if !(mhz.is_finite() && mhz >= 0.0) {
            return Err(PlanError::Negative { what, mhz });
        }
    }
    Ok(())
}

/// A plan without a flaw; `bound_mhz` is what its least separation cannot exceed, `None` when the
/// rows are the best there are.
fn clean(ground: &Ground<'_>, mut rows: Vec<usize>, bound_mhz: Option<f64>) -> Plan {
    rows.sort_unstable();
    let separation_mhz_least = ground.separation_mhz_least(&rows);
    let reached_mhz = separation_mhz_least.unwrap_or(f64::INFINITY);
    let bound_mhz = bound_mhz.filter(|&bound_mhz| bound_mhz > reached_mhz);
    Plan {
        separation_mhz_least,
        separation_mhz_bound: bound_mhz.filter(|mhz| mhz.is_finite()),
        certainty: bound_mhz.map_or(Certainty::Exact, |_| Certainty::Heuristic),
        fitting_count: rows.len(),
        fitting_certainty: Certainty::Exact,
        flaws: Vec::new(),
        rows,
    }
}

/// A clean set, and how sure it is that none is larger.
struct Fitting {
    rows: Vec<usize>,
    certainty: Certainty,
}

/// The largest clean set of at most `link_count` channels; `all` says whether it is certain that
/// not all of them fit.
fn most_that_fit(ground: &Ground<'_>, link_count: usize, all: Certainty) -> Fitting {
    let mut steps = Steps::up_to(ground.rules.step_count_max);
    let (mut rows, mut certainty) = (Vec::new(), all);
    for count in 1..link_count {
        match exact::search(ground, count, &mut steps) {
            Outcome::Found(found) => rows = found,
            Outcome::None => {
                certainty = Certainty::Exact;
                break;
            }
            Outcome::Cut { .. } => {
                certainty = Certainty::Heuristic;
                break;
            }
        }
    }
    if certainty == Certainty::Heuristic {
        let guessed = greedy::search(ground, link_count);
        if guessed.len() > rows.len() {
            rows = guessed;
        }
    }
    Fitting { rows, certainty }
}
