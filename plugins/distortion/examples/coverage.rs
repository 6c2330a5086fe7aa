//! Prints how many of 500 truths (or of as many as the first argument says) the uncertainties of
//! `distortion` hold.

#[path = "../tests/common/mod.rs"]
mod common;

use common::coverage::{Tallies, intermodulation, stepped, swept};

type Run = fn(u64, f64) -> Tallies;

fn main() {
    let runs = std::env::args().nth(1).and_then(|text| text.parse().ok());
    let runs: u64 = runs.unwrap_or(500);
    let methods: [(&str, Run, [f64; 4]); 3] = [
        ("swept", swept, [1e-6, 1e-5, 1e-4, 3e-4]),
        ("stepped", stepped, [1e-5, 1e-4, 1e-3, 4e-3]),
        ("intermodulation", intermodulation, [1e-5, 1e-4, 3e-4, 1e-3]),
    ];
    for (method, run, noises) in methods {
        for noise in noises {
            for (id, tally) in run(runs, noise) {
                println!("{method}, noise {noise:7}: {id:15} {tally}");
            }
        }
    }
}
