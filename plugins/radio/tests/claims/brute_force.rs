//! The planner against trying everything, in whole numbers and without a line of the crate.
//!
//! Frequencies are whole steps above a base, of 25 kHz above 600 MHz but for the venue. Separations are found by moving a channel
//! over occupied cells, products by going through all ordered triples, sets by counting in binary.

use goodwire_radio::band::{Band, Occupancy};
use goodwire_radio::plan::{Certainty, Flaw, Plan, Request, Rules, plan};
use goodwire_radio::products::Extent;
use goodwire_radio::table::{Row, Table};

/// Cells that may be occupied, from the base on.
const CELLS: i64 = 400;

/// Separation where nothing is occupied.
const FAR: i64 = i64::MAX;

/// A channel: centre and half its width.
#[derive(Debug, Clone, Copy)]
struct Place {
    centre: i64,
    half: i64,
}

#[derive(Debug, Clone)]
struct Task {
    base_mhz: f64,
    step_mhz: f64,
    rows: Vec<Place>,
    fixed: Vec<Place>,
    occupied: Vec<[i64; 2]>,
    link_count: usize,
    clearance: i64,
    guard: i64,
    whole: bool,
}

/// How bad a set is: overlapping pairs, channels without clearance, links hit; and its least
/// separation.
type Judged = ([usize; 3], i64);

/// Numbers that look random: the splitmix64 generator (Steele, Lea, Flood 2014).
struct Random(u64);

impl Random {
    fn below(&mut self, count: i64) -> i64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) % count as u64) as i64
    }

    fn place(&mut self) -> Place {
        Place {
            centre: 10 + self.below(200),
            half: 1 + self.below(4),
        }
    }
}

impl Task {
    fn random(seed: u64) -> Self {
        let mut random = Random(seed);
        let row_count = 3 + random.below(8);
        let occupied = (0..random.below(4)).map(|_| {
            let low = random.below(200);
            [low, low + 1 + random.below(40)]
        });
        let occupied = occupied.collect();
        Self {
            base_mhz: 600.0,
            step_mhz: 0.025,
            rows: (0..row_count).map(|_| random.place()).collect(),
            fixed: (0..random.below(3)).map(|_| random.place()).collect(),
            occupied,
            link_count: 1 + random.below(5) as usize,
            clearance: random.below(4),
            guard: random.below(6),
            whole: random.below(4) == 0,
        }
    }

    /// Runs of occupied cells, first cell and the one after the last.
    fn runs(&self) -> Vec<[i64; 2]> {
        let is_taken = |cell| {
            self.occupied
                .iter()
                .any(|&[low, high]| low <= cell && cell < high)
        };
        let mut runs = Vec::new();
        let mut cell = 0;
        while cell < CELLS {
            let first = cell;
            while is_taken(cell) {
                cell += 1;
            }
            if cell > first {
                runs.push([first, cell]);
            }
            cell += 1;
        }
        runs
    }

    fn separation(&self, row: Place) -> i64 {
        let meets = |[first, end]: [i64; 2], way: i64| {
            let low = row.centre - row.half + way;
            (first..end).any(|cell| low <= cell && cell < low + 2 * row.half)
        };
        let to_run = |run: [i64; 2]| {
            if meets(run, 0) {
                return -(1..)
                    .find(|&way| !meets(run, way) || !meets(run, -way))
                    .unwrap();
            }
            (0..)
                .find(|&way| meets(run, way + 1) || meets(run, -way - 1))
                .unwrap()
        };
        self.runs().into_iter().map(to_run).min().unwrap_or(FAR)
    }

    /// Judges the rows whose bit is set.
    fn judge(&self, bits: usize, separations: &[i64]) -> Judged {
        let chosen = || (0..self.rows.len()).filter(|row| bits >> row & 1 == 1);
        let mut all: Vec<(Place, bool)> = self.fixed.iter().map(|&p| (p, false)).collect();
        all.extend(chosen().map(|row| (self.rows[row], true)));
        let mut overlapping = 0;
        for (i, (a, a_new)) in all.iter().enumerate() {
            for (b, b_new) in &all[..i] {
                let apart = (a.centre - b.centre).abs();
                overlapping += usize::from((*a_new || *b_new) && apart < a.half + b.half);
            }
        }
        let hit = all
            .iter()
            .filter(|victim| self.is_hit(victim, &all))
            .count();
        let near = chosen().filter(|&row| separations[row] < self.clearance);
        let least = chosen().map(|row| separations[row]).min();
        ([overlapping, near.count(), hit], least.unwrap_or(FAR))
    }

    fn is_hit(&self, victim: &(Place, bool), all: &[(Place, bool)]) -> bool {
        let places = 0..all.len();
        places.clone().any(|a| {
            places.clone().any(|b| {
                places.clone().filter(|&c| c != a && c != b).any(|c| {
                    let ours = victim.1 || [a, b, c].iter().any(|&place| all[place].1);
                    let [a, b, c] = [a, b, c].map(|place| all[place].0);
                    let way = (a.centre + b.centre - c.centre - victim.0.centre).abs();
                    let width = if self.whole {
                        a.half + b.half + c.half
                    } else {
                        0
                    };
                    ours && way - victim.0.half - width < self.guard
                })
            })
        })
    }

    fn plan(&self, step_count_max: u64) -> Plan {
        let mhz = |steps: i64| self.base_mhz + self.step_mhz * steps as f64;
        let band = |place: &Place| {
            let (low, high) = (place.centre - place.half, place.centre + place.half);
            Band::from_edges(mhz(low), mhz(high)).unwrap()
        };
        let rows: Vec<Row> = self
            .rows
            .iter()
            .enumerate()
            .map(|(index, row)| Row {
                name: index.to_string(),
                centre_mhz: mhz(row.centre),
                bandwidth_mhz: 2.0 * self.step_mhz * row.half as f64,
            })
            .collect();
        let occupied = self.occupied.iter();
        let occupied = occupied.map(|&[low, high]| Band::from_edges(mhz(low), mhz(high)).unwrap());
        let fixed: Vec<Band> = self.fixed.iter().map(band).collect();
        plan(&Request {
            table: &Table::check(&rows).unwrap(),
            occupied: &Occupancy::union(occupied),
            fixed: &fixed,
            link_count: self.link_count,
            rules: Rules {
                clearance_mhz: self.step_mhz * self.clearance as f64,
                guard_mhz: self.step_mhz * self.guard as f64,
                extent: if self.whole {
                    Extent::Whole
                } else {
                    Extent::Centre
                },
                step_count_max,
            },
        })
        .unwrap()
    }

    /// What trying everything finds: the best judged set of as many rows as can be had, and the
    /// size of the largest clean one of at most `link_count`.
    fn try_everything(&self, separations: &[i64]) -> (Judged, usize) {
        let size = self.link_count.min(self.rows.len());
        let (mut best, mut fitting) = (None, 0);
        for bits in 0usize..1 << self.rows.len() {
            let count = bits.count_ones() as usize;
            if count > size {
                continue;
            }
            let (counts, least) = self.judge(bits, separations);
            if counts == [0; 3] {
                fitting = fitting.max(count);
            }
            let judged = (counts, std::cmp::Reverse(least));
            if count == size && best.is_none_or(|best| judged < best) {
                best = Some(judged);
            }
        }
        let (counts, least) = best.unwrap();
        ((counts, least.0), fitting)
    }
}

fn bits_of(plan: &Plan) -> usize {
    plan.rows.iter().fold(0, |bits, row| bits | 1 << row)
}

fn separations(task: &Task) -> Vec<i64> {
    task.rows.iter().map(|&row| task.separation(row)).collect()
}

#[track_caller]
fn assert_says_what_it_is(task: &Task, plan: &Plan, (counts, least): Judged) {
    let count = |kind: fn(&Flaw) -> bool| plan.flaws.iter().filter(|flaw| kind(flaw)).count();
    let told = [
        count(|flaw| matches!(flaw, Flaw::Overlap { .. })),
        count(|flaw| matches!(flaw, Flaw::Occupied { .. })),
        count(|flaw| matches!(flaw, Flaw::Product { .. })),
    ];
    assert_eq!(told, counts, "flaws of {task:?}: {plan:?}");
    let steps = plan
        .separation_mhz_least
        .map_or(FAR as f64, |mhz| mhz / task.step_mhz);
    let error = (steps - least as f64).abs();
    assert!(error < 1e-6, "separation of {task:?}: {plan:?}");
}

#[test]
fn of_2000_random_tasks_each_plan_is_as_good_as_the_best_of_all_choices_and_says_how_many_fit() {
    let (mut clean, mut short) = (0, 0);
    for seed in 0..2_000 {
        let task = Task::random(seed);
        let separations = separations(&task);
        let plan = task.plan(u64::MAX);
        let (best, fitting) = task.try_everything(&separations);
        let judged = task.judge(bits_of(&plan), &separations);
        assert_eq!(judged, best, "seed {seed}: {task:?} {plan:?}");
        assert_says_what_it_is(&task, &plan, judged);
        assert_eq!(plan.fitting_count, fitting, "seed {seed}: {task:?}");
        let exact = [plan.certainty, plan.fitting_certainty];
        assert_eq!(exact, [Certainty::Exact; 2], "seed {seed}");
        assert!(plan.rows.is_sorted() && plan.rows.len() == task.link_count.min(task.rows.len()));
        let is_clean = fitting == task.link_count;
        assert_eq!(plan.flaws.is_empty(), is_clean, "seed {seed}");
        clean += usize::from(is_clean);
        short += usize::from(!is_clean);
    }
    // The tasks are worth trying only if both kinds are among them.
    assert!(clean > 400 && short > 400, "{clean} {short}");
}

#[test]
fn of_2000_random_tasks_with_100_steps_each_plan_tells_its_flaws_and_never_claims_too_much() {
    let mut heuristic = 0;
    for seed in 0..2_000 {
        let task = Task::random(seed);
        let separations = separations(&task);
        let plan = task.plan(100);
        let judged = task.judge(bits_of(&plan), &separations);
        assert_says_what_it_is(&task, &plan, judged);
        let (best, fitting) = task.try_everything(&separations);
        assert!(
            plan.fitting_count <= fitting,
            "seed {seed}: {task:?} {plan:?}"
        );
        if plan.fitting_certainty == Certainty::Exact {
            assert_eq!(
                plan.fitting_count, fitting,
                "seed {seed}: {task:?} {plan:?}"
            );
        }
        if plan.certainty == Certainty::Exact {
            assert_eq!(judged, best, "seed {seed}: {task:?} {plan:?}");
        }
        if let Some(bound_mhz) = plan.separation_mhz_bound {
            // Half a step more for rounding.
            assert!(
                best.0 == [0; 3] && best.1 as f64 <= bound_mhz / task.step_mhz + 0.5,
                "seed {seed}"
            );
        }
        heuristic += usize::from(plan.certainty == Certainty::Heuristic);
        assert_eq!(plan, task.plan(100), "the same again");
    }
    // As above: the limit has to be met by some, or nothing was tried.
    assert!(heuristic > 50, "{heuristic}");
}

/// A fictional venue with Wi-Fi on 1, 6 and 11 (2402 to 2422, 2427 to 2447, 2452 to 2472 MHz) and
/// links that can be set to 16 channels 1 MHz wide, in steps of 0.5 MHz above 2400 MHz.
fn venue(link_count: usize) -> Task {
    let centres = [
        6, 46, 47, 49, 51, 52, 96, 97, 100, 102, 146, 149, 153, 156, 160, 163,
    ];
    Task {
        base_mhz: 2_400.0,
        step_mhz: 0.5,
        rows: centres.map(|centre| Place { centre, half: 1 }).to_vec(),
        fixed: Vec::new(),
        occupied: vec![[4, 44], [54, 94], [104, 144]],
        link_count,
        clearance: 0,
        guard: 1,
        whole: false,
    }
}

/// Six links and more beside three Wi-Fi channels: the plan is the best of all 65 536 sets, and
/// where they do not all fit it says how many do.
#[test]
fn for_4_to_9_links_beside_wi_fi_on_1_6_and_11_the_plan_is_the_best_of_all_sets() {
    for link_count in 4..=9 {
        let task = venue(link_count);
        let separations = separations(&task);
        let plan = task.plan(u64::MAX);
        let (best, fitting) = task.try_everything(&separations);
        let judged = task.judge(bits_of(&plan), &separations);
        println!(
            "{link_count} links, {fitting} fit: {best:?} {:?}",
            plan.rows
        );
        assert_eq!(judged, best, "{link_count} links: {plan:?}");
        assert_eq!(plan.fitting_count, fitting, "{link_count} links");
        assert_says_what_it_is(&task, &plan, judged);
    }
}
