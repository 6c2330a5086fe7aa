//! Uncertainties hold as many truths as they say: on a smaller set than `examples/coverage.rs`.

mod common;

use common::coverage::{Tallies, intermodulation, stepped, swept};

/// Seeds of each link.
const RUNS: u64 = 60;

/// Shares of a normal variable within one and two standard deviations, and how far they scatter
/// over [`RUNS`]: `sqrt(p (1 - p) / n)` is 6.0 % and 2.7 %; allowed is three and a half times that,
/// which one comparison in 2,000 exceeds by chance.
fn check(tallies: &Tallies, what: &str) {
    for (id, tally) in tallies {
        println!("{what}: {id:15} {tally}");
        if tally.even as u64 == RUNS {
            let [one, two] = [tally.one, tally.two].map(|held| held as f64 / RUNS as f64);
            assert!(
                (0.683 - 0.21..=0.683 + 0.21).contains(&one),
                "{what}: {id} {tally}"
            );
            assert!(0.954 - 0.095 <= two, "{what}: {id} {tally}");
        }
        // Of 95 %: 2.8 % of scatter.
        if tally.uneven as u64 == RUNS {
            let within = tally.within as f64 / RUNS as f64;
            assert!(0.95 - 0.099 <= within, "{what}: {id} {tally}");
        }
    }
}

#[test]
fn one_deviation_holds_68_and_two_95_percent_of_the_harmonics_clear_of_the_noise() {
    let tallies = stepped(RUNS, 1e-4);
    assert!(tallies.values().all(|tally| tally.even as u64 == RUNS));
    check(&tallies, "noise 1e-4");
}

#[test]
fn intervals_hold_95_percent_of_the_harmonics_below_the_noise() {
    let tallies = stepped(RUNS, 4e-3);
    assert_eq!(tallies["h5"].uneven as u64, RUNS);
    check(&tallies, "noise 4e-3");
}

#[test]
fn one_deviation_holds_68_and_two_95_percent_of_the_intermodulation() {
    check(&intermodulation(RUNS, 1e-4), "noise 1e-4");
}

#[test]
fn one_deviation_holds_68_and_two_95_percent_of_120_points_of_swept_curves() {
    for (id, tally) in swept(20, 1e-4) {
        println!("swept: {id} {tally}");
        assert_eq!(tally.even, 120);
        let [one, two] = [tally.one, tally.two].map(|held| held as f64 / tally.even as f64);
        // 4.2 and 1.9 % of scatter, three and a half times.
        assert!(
            (0.683 - 0.149..=0.683 + 0.149).contains(&one),
            "{id} {tally}"
        );
        assert!(0.954 - 0.067 <= two, "{id} {tally}");
    }
}
