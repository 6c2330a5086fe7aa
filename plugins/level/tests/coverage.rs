//! Uncertainties hold as many truths as they say: on a smaller set than `examples/coverage.rs`.

mod common;

use common::coverage::{Kind, Tallies, run};

/// Seeds of each link.
const RUNS: u64 = 30;

/// Shares of a normal variable within one and two standard deviations, and how far they scatter
/// over [`RUNS`]: `sqrt(p (1 - p) / n)` is 8.5 % and 3.8 %; allowed is three and a half times that.
fn check(tallies: &Tallies, ids: &[&str]) {
    for (id, tally) in tallies {
        println!("{id:17} {tally}");
        let share = |held: usize| held as f64 / RUNS as f64;
        if ids.contains(&id.as_str()) {
            assert_eq!(tally.even as u64, RUNS, "{id}");
            assert!(share(tally.one) >= 0.683 - 0.3, "{id} {tally}");
            assert!(share(tally.two) >= 0.954 - 0.134, "{id} {tally}");
        }
        if tally.uneven as u64 == RUNS {
            assert!(share(tally.within) >= 0.95 - 0.14, "{id} {tally}");
        }
    }
}

#[test]
fn deviations_of_gain_and_knees_hold_what_they_say_in_noise_of_minus_57_dbfs() {
    let all = ["gain", "clip_point", "compression_point"];
    check(&run(Kind::Hard, RUNS, 1e-3), &all);
    check(&run(Kind::Tanh, RUNS, 1e-3), &all);
}

#[test]
fn linearity_of_a_straight_link_holds_0_in_its_interval() {
    let tallies = run(Kind::Straight, RUNS, 1e-4);
    assert_eq!(tallies["linearity"].uneven as u64, RUNS);
    check(&tallies, &["gain"]);
}
