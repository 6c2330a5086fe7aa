//! Prints how many of 500 truths (or of as many as the first argument says) the uncertainties of
//! `level` hold.

#[path = "../tests/common/mod.rs"]
mod common;

use common::coverage::{Kind, run};

fn main() {
    let runs = std::env::args().nth(1).and_then(|text| text.parse().ok());
    let runs: u64 = runs.unwrap_or(500);
    for kind in [Kind::Straight, Kind::Hard, Kind::Tanh] {
        for noise in [1e-4, 1e-3] {
            for (id, tally) in run(kind, runs, noise) {
                println!("{kind:?}, noise {noise:7}: {id:17} {tally}");
            }
        }
    }
}
