//! Holds what was told against what happened.

use std::fmt;

use goodwire_proto::v1::{Event, Measurement};
use goodwire_tests::client::value;

use crate::plan::{LINKS, Plan, RATE_HZ, XRUN_FRAMES};

/// How far starts and lengths may be off: the goal.
const EDGE_S: f64 = 0.001_5;
/// Everything that is near a gap belongs to it.
const NEAR_S: f64 = 0.006;
/// Gaps shorter than this are counted by themselves: they are the hardest.
const SHORT_S: f64 = 0.003;
/// In virtual time whatever is measured begins at a border of blocks of so many frames.
const BLOCK_FRAMES: f64 = 4_096.0;
/// What is played before the pilot, and the time in which a link is learnt: at most so long after
/// the beginning gaps may be told or not.
const BEGIN_S: f64 = 4.0;
/// By what is played beside the pilot a watch is longer than asked for, at most; gaps may be told or
/// not from shortly before.
const BESIDE_S: f64 = 4.0;
const END_S: f64 = BESIDE_S + 0.7;
/// Before and after frames that the interface lost: the block that it touches, and the longest delay
/// with which the sound comes back.
const VOID_S: (f64, f64) = (0.01, 0.25);
/// Around a step of the delay: until it is found.
const SLIP_S: f64 = 1.0;
/// Latest begin of a watch after the one before, in seconds of the stream.
const LATEST_S: f64 = 60.0;

/// What was found and what was not.
#[derive(Debug, Default)]
pub struct Tally {
    found: [usize; 4],
    /// Gaps that an xrun, a slip or an end of the watch touches: may be told or not.
    touched: usize,
    /// Those found that are shorter than [`SHORT_S`].
    short: usize,
    shifts: usize,
    xruns: usize,
    worst_start_ms: [f64; 4],
    worst_length_ms: [f64; 4],
    /// What was missed, invented or off, in words.
    wrong: Vec<String>,
}

/// One watch on the stream's time.
struct Window<'a> {
    plan: &'a Plan,
    begin_s: f64,
    end_s: f64,
}

impl Tally {
    /// Judges one watch, which began after `after_s` of the stream; gives where it ended.
    pub fn judge(&mut self, plan: &Plan, seen: &[Measurement], after_s: f64, length_s: f64) -> f64 {
        let begin_s = begin_s(plan, seen, after_s);
        let window = Window {
            plan,
            begin_s,
            end_s: begin_s + length_s + BESIDE_S,
        };
        let xruns = plan.xruns_s.iter();
        self.xruns += xruns.filter(|at_s| window.holds(**at_s, 0.0)).count();
        for (link, measurement) in seen.iter().enumerate() {
            self.judge_link(&window, link, measurement);
        }
        begin_s + length_s
    }

    fn judge_link(&mut self, window: &Window<'_>, link: usize, measurement: &Measurement) {
        let name = LINKS[link];
        assert!(measurement.link.ends_with(name), "{}", measurement.link);
        let mut told: Vec<Option<&Event>> = measurement.events.iter().map(Some).collect();
        for gap in window.plan.gaps[link]
            .iter()
            .filter(|gap| window.holds(gap.start_s, gap.length_s))
        {
            let near = told.iter_mut().find(|event| {
                event.is_some_and(|event| {
                    is_lost(event) && (window.start_s(event) - gap.start_s).abs() < NEAR_S
                })
            });
            let may_be_missing = window.is_touched(link, gap.start_s, gap.length_s);
            self.touched += usize::from(may_be_missing);
            match near {
                Some(slot) if !may_be_missing => {
                    let event = slot.take().expect("it was just found");
                    let start_ms = 1_000.0 * (window.start_s(event) - gap.start_s).abs();
                    let length_ms = 1_000.0 * (event.duration_s() - gap.length_s).abs();
                    self.found[link] += 1;
                    self.short += usize::from(gap.length_s < SHORT_S);
                    self.worst_start_ms[link] = self.worst_start_ms[link].max(start_ms);
                    self.worst_length_ms[link] = self.worst_length_ms[link].max(length_ms);
                    if start_ms.max(length_ms) > 1_000.0 * EDGE_S {
                        self.wrong.push(format!(
                            "{name}: {gap:?} told {start_ms:.2} ms off and {length_ms:.2} ms long or short"
                        ));
                    }
                }
                Some(slot) => *slot = None,
                None if may_be_missing => {}
                None => self.wrong.push(format!(
                    "{name}: {gap:?} was missed, {:.2} s after the watch began",
                    gap.start_s - window.begin_s
                )),
            }
        }
        for event in told.into_iter().flatten() {
            self.judge_other(window, link, event);
        }
        self.judge_sums(link, measurement);
    }

    /// An event that is no gap of the list: a slip of the link's clock, a piece of a gap that the
    /// interface's own loss cut off, or invented.
    fn judge_other(&mut self, window: &Window<'_>, link: usize, event: &Event) {
        let start_s = window.start_s(event);
        let plan = window.plan;
        let slipped = plan.slips_s[link]
            .iter()
            .any(|at_s| (start_s - at_s).abs() < SLIP_S);
        if event.id == "shift" && slipped {
            self.shifts += 1;
            return;
        }
        let end_s = start_s + event.duration_s();
        let is_piece = plan.gaps[link].iter().any(|gap| {
            start_s < gap.start_s + gap.length_s + EDGE_S
                && gap.start_s - EDGE_S < end_s
                && window.is_touched(link, gap.start_s, gap.length_s)
        });
        if !is_piece {
            let text = format!(
                "{}: {} at {start_s:.4} s was invented",
                LINKS[link], event.id
            );
            self.wrong.push(format!("{text}: {event:?}"));
        }
    }

    /// The figures are those of the events: gaps are further apart than what is merged.
    fn judge_sums(&mut self, link: usize, measurement: &Measurement) {
        let lost: Vec<&Event> = measurement.events.iter().filter(|e| is_lost(e)).collect();
        let sum_ms: f64 = lost.iter().map(|event| 1_000.0 * event.duration_s()).sum();
        if value(measurement, "dropouts") > lost.len() as f64
            || (value(measurement, "lost_time") - sum_ms).abs() > 0.01
        {
            let text = format!("{}: figures and events do not agree", LINKS[link]);
            self.wrong.push(text);
        }
    }

    /// Fails where anything was missed, invented or off.
    pub fn check(&self) {
        assert!(
            self.wrong.is_empty(),
            "{} are wrong:\n{}",
            self.wrong.len(),
            self.wrong.join("\n")
        );
        let found = &self.found;
        assert!(found[..3].iter().all(|count| *count > 10), "{found:?}");
        assert_eq!(found[3], 0, "a healthy link has no gap to be found");
    }
}

impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{:?} gaps found, {} of them below 3 ms, {} touched, {} shifts, {} xruns, {} wrong, starts off by up to {:.2?} ms, lengths {:.2?} ms",
            self.found,
            self.short,
            self.touched,
            self.shifts,
            self.xruns,
            self.wrong.len(),
            self.worst_start_ms,
            self.worst_length_ms
        )
    }
}

impl Window<'_> {
    fn start_s(&self, event: &Event) -> f64 {
        self.begin_s + event.start_s()
    }

    /// True for what lies in the watch, at least in part.
    fn holds(&self, start_s: f64, length_s: f64) -> bool {
        start_s + length_s > self.begin_s && start_s < self.end_s
    }

    /// True where something else than the gap has a hand in what is told of it.
    fn is_touched(&self, link: usize, start_s: f64, length_s: f64) -> bool {
        let end_s = start_s + length_s;
        let lost_s = XRUN_FRAMES as f64 / RATE_HZ;
        start_s < self.begin_s + BEGIN_S
            || end_s > self.end_s - END_S
            || self
                .plan
                .xruns_s
                .iter()
                .any(|at_s| start_s < at_s + lost_s + VOID_S.1 && at_s - VOID_S.0 < end_s)
            || self.plan.slips_s[link]
                .iter()
                .any(|at_s| start_s < at_s + SLIP_S && at_s - SLIP_S < end_s)
    }
}

fn is_lost(event: &Event) -> bool {
    event.id == "gap" || event.id == "concealed"
}

/// Where on the stream the watch began: the border of blocks at which most of what is told lies on
/// the list. Whatever was told late or early by a constant shows, unless it is a whole block.
fn begin_s(plan: &Plan, seen: &[Measurement], after_s: f64) -> f64 {
    let block_s = BLOCK_FRAMES / RATE_HZ;
    let first = (after_s / block_s).floor() as u64;
    let agreeing = |begin_s: f64| {
        let of_link = |(gaps, one): (&Vec<_>, &Measurement)| {
            let starts = one.events.iter().filter(|event| is_lost(event));
            let is_listed = |event: &&Event| {
                let start_s = begin_s + event.start_s();
                let gap = |gap: &crate::plan::Gap| (gap.start_s - start_s).abs() < NEAR_S;
                gaps.iter().any(gap)
            };
            starts.filter(is_listed).count()
        };
        plan.gaps.iter().zip(seen).map(of_link).sum::<usize>()
    };
    let candidates = (first..first + (LATEST_S / block_s) as u64).map(|k| k as f64 * block_s);
    candidates
        .max_by_key(|begin_s| agreeing(*begin_s))
        .expect("there are some")
}
