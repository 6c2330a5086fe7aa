//! Counts how often what is told holds the truth.
#![allow(dead_code, reason = "each test file uses its part")]

use std::collections::BTreeMap;

/// Truths held within one and two standard deviations, by figure.
#[derive(Debug, Default)]
pub struct Coverage {
    counts: BTreeMap<String, Count>,
}

/// Of one figure.
#[derive(Debug, Default, Clone, Copy)]
pub struct Count {
    pub all: u32,
    pub within_one: u32,
    pub within_two: u32,
    sum: f64,
    square: f64,
}

impl Coverage {
    /// Counts one figure of value and uncertainty against its truth.
    pub fn add(&mut self, id: &str, [value, sigma]: [f64; 2], truth: f64) {
        let off = (value - truth) / sigma;
        let count = self.counts.entry(id.to_owned()).or_default();
        count.all += 1;
        count.within_one += u32::from(off.abs() <= 1.0);
        count.within_two += u32::from(off.abs() <= 2.0);
        count.sum += off;
        count.square += off * off;
    }

    pub fn counts(&self) -> impl Iterator<Item = (&str, &Count)> {
        self.counts.iter().map(|(id, count)| (id.as_str(), count))
    }

    /// Prints shares, mean and RMS of what is off over what is told.
    pub fn print(&self) {
        for (id, count) in &self.counts {
            let [one, two] = count.shares().map(|share| 100.0 * share);
            let all = f64::from(count.all);
            println!(
                "{id:28} {all:6}: {one:5.1} % {two:5.1} %, mean {:+.2}, RMS {:.2}",
                count.sum / all,
                (count.square / all).sqrt()
            );
        }
    }

    /// These figures hold the truth within one sigma in 65 to 72 % and within two in 94 to 97 %
    /// of all repetitions, give or take what chance leaves of so few: four standard deviations
    /// of a binomial share, `4 sqrt(p (1 - p) / n)`.
    pub fn check(&self, ids: &[&str]) {
        for id in ids {
            let count = &self.counts[*id];
            let [one, two] = count.shares();
            let chance = |p: f64| 4.0 * (p * (1.0 - p) / f64::from(count.all)).sqrt();
            let (of_one, of_two) = (chance(0.68), chance(0.95));
            assert!((0.65 - of_one..0.72 + of_one).contains(&one), "{id}: {one}");
            assert!((0.94 - of_two..0.97 + of_two).contains(&two), "{id}: {two}");
        }
    }

    /// This figure holds the truth within one and two sigma in these shares at least, but for
    /// what chance leaves.
    pub fn check_at_least(&self, id: &str, least: [f64; 2]) {
        let count = &self.counts[id];
        for (share, least) in count.shares().into_iter().zip(least) {
            let chance = 4.0 * (least * (1.0 - least) / f64::from(count.all)).sqrt();
            assert!(share > least - chance, "{id}: {share}");
        }
    }
}

/// Number of repetitions: GOODWIRE_REPETITIONS of the environment, else few.
pub fn repetitions() -> u64 {
    let asked = std::env::var("GOODWIRE_REPETITIONS").ok();
    asked.and_then(|count| count.parse().ok()).unwrap_or(60)
}

impl Count {
    pub fn shares(&self) -> [f64; 2] {
        [self.within_one, self.within_two].map(|held| f64::from(held) / f64::from(self.all))
    }
}
