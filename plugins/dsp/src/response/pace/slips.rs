//! Where the delay stepped.

use super::fit::{Fit, Freedom, splits};
use super::rows::Row;

/// A step between passes counts from so many standard deviations on,
const STEP_SIGMAS: f64 = 6.0;
/// and, for the clock's sake, from so many frames on.
const STEP_FRAMES: f64 = 0.005;
/// A step is told from so many frames on.
const TOLD_FRAMES: f64 = 0.25;
/// Residual in frames below which no sample was lost or inserted within a pass.
const WHOLE_FRAMES: f64 = 0.1;
/// How much a step within a pass must explain, in variances of what it leaves: 7.7 standard
/// deviations, so that chance does not give one in 10^12 places.
const EXPLAINED_MIN: f64 = 60.0;
/// Least size in frames of a step within a pass.
const WITHIN_FRAMES: f64 = 0.4;
/// Steps closer in seconds than that are one: each side of a broken wave is heard a little late.
const APART_S: f64 = 0.1;
/// Most steps within passes that are looked for.
const WITHIN_MAX: usize = 4;
/// Passes in which one is looked for: those that fit worst.
const PASSES_MAX: usize = 8;

/// What explains the rows.
#[derive(Debug, Clone, Default)]
pub(super) struct Model {
    freedom: Freedom,
}

/// A step that is told.
#[derive(Debug, Clone, Copy)]
pub(super) struct Told {
    /// The pass in which it lies, or that it comes before.
    pub(super) pass: usize,
    /// Whether it lies within the pass.
    pub(super) is_within: bool,
    pub(super) frames: f64,
    pub(super) sigma_frames: f64,
    /// Seconds of the stimulus between which it lies.
    pub(super) between_s: [f64; 2],
}

/// What lies between two passes.
struct Gap {
    /// The terms of a fit whose sum is the step there.
    terms: Vec<(usize, f64)>,
    /// The pass that follows.
    pass: usize,
    /// Seconds of the stimulus from the last row before it to the first after it.
    between_s: [f64; 2],
}

/// The simplest model that explains `rows`: one clock, or a delay of its own for each pass, or
/// that and steps within passes. `None` where the rows tell no clock.
pub(super) fn model(rows: &[Row], pass_count: usize) -> Option<(Model, Fit)> {
    let steady = Model::default();
    let one_clock = Fit::new(rows, pass_count, &steady.freedom)?;
    let mut free = Model::default();
    free.freedom.each_pass = true;
    let Some(mut fit) = Fit::new(rows, pass_count, &free.freedom) else {
        return Some((steady, one_clock));
    };
    while fit.worst_frames > WHOLE_FRAMES && free.freedom.broken.len() < WITHIN_MAX {
        let Some((better, with)) = free.with_one_more(rows, pass_count, &fit) else {
            break;
        };
        (free, fit) = (better, with);
    }
    let stepped = |gap: &Gap| {
        let least = (STEP_SIGMAS * fit.sigma(&gap.terms)).max(STEP_FRAMES);
        fit.sum(&gap.terms).abs() > least
    };
    let between = free.between(rows, pass_count);
    if free.freedom.broken.is_empty() && !between.iter().any(stepped) {
        return Some((steady, one_clock));
    }
    Some((free, fit))
}

impl Model {
    /// With the step within a pass that explains most, where one explains enough.
    fn with_one_more(&self, rows: &[Row], pass_count: usize, fit: &Fit) -> Option<(Self, Fit)> {
        let suspects = suspects(rows, pass_count);
        let candidates = rows
            .iter()
            .filter(|row| suspects.contains(&row.pass))
            .map(|row| [row.pass, row.cell])
            .filter(|broken| !self.freedom.broken.contains(broken));
        let (model, with) = candidates
            .filter_map(|broken| {
                let mut model = self.clone();
                model.freedom.broken.push(broken);
                let with = Fit::new(rows, pass_count, &model.freedom)?;
                Some((model, with))
            })
            .min_by(|a, b| a.1.square.total_cmp(&b.1.square))?;
        let explained = (fit.square - with.square) * with.spare;
        let broken = *model.freedom.broken.last()?;
        let is_whole = splits(rows, broken).is_none()
            || model
                .within(rows, pass_count)
                .last()
                .is_some_and(|(index, _)| with.value(*index).abs() > WITHIN_FRAMES);
        (explained > EXPLAINED_MIN * with.square && is_whole).then_some((model, with))
    }

    /// Numbers of the steps within passes among the values of a fit, with their rows.
    fn within(&self, rows: &[Row], pass_count: usize) -> Vec<(usize, [usize; 2])> {
        let told = self.freedom.broken.iter().copied();
        told.filter(|&broken| splits(rows, broken).is_some())
            .zip(pass_count..)
            .map(|(broken, index)| (index, broken))
            .collect()
    }

    /// What lies before each pass but the first.
    fn between(&self, rows: &[Row], pass_count: usize) -> Vec<Gap> {
        let mut all = Vec::new();
        for pass in 1..pass_count {
            let heard = |number: usize| {
                rows.iter()
                    .filter(move |row| row.pass == number && !self.freedom.is_broken(row))
            };
            let from_s = heard(pass - 1)
                .map(|row| row.ends_s[1])
                .fold(f64::NAN, f64::max);
            let to_s = heard(pass)
                .map(|row| row.ends_s[0])
                .fold(f64::NAN, f64::min);
            if from_s.is_nan() || to_s.is_nan() {
                continue;
            }
            let mut terms = vec![(pass, 1.0)];
            if pass > 1 {
                terms.push((pass - 1, -1.0));
            }
            let before = self.within(rows, pass_count).into_iter();
            terms.extend(
                before
                    .filter(|(_, [of, _])| *of == pass - 1)
                    .map(|(i, _)| (i, -1.0)),
            );
            all.push(Gap {
                terms,
                pass,
                between_s: [from_s, to_s],
            });
        }
        all
    }

    /// The steps of `fit`, earliest first.
    pub(super) fn steps(&self, rows: &[Row], pass_count: usize, fit: &Fit) -> Vec<Told> {
        if !self.freedom.each_pass {
            return Vec::new();
        }
        let told = |terms: &[(usize, f64)], pass, is_within, between_s| Told {
            pass,
            is_within,
            frames: fit.sum(terms),
            sigma_frames: fit.sigma(terms),
            between_s,
        };
        let between = self.between(rows, pass_count).into_iter();
        let mut steps: Vec<Told> = between
            .map(|gap| told(&gap.terms, gap.pass, false, gap.between_s))
            .filter(|step| step.frames.abs() > (STEP_SIGMAS * step.sigma_frames).max(STEP_FRAMES))
            .collect();
        for (index, [pass, cell]) in self.within(rows, pass_count) {
            let broken = rows
                .iter()
                .filter(|row| row.pass == pass && row.cell.abs_diff(cell) <= 1);
            let between_s = broken.fold([f64::INFINITY, 0.0], |[from_s, to_s], row| {
                [row.ends_s[0].min(from_s), row.ends_s[1].max(to_s)]
            });
            steps.push(told(&[(index, 1.0)], pass, true, between_s));
        }
        steps.sort_by(|a, b| a.between_s[0].total_cmp(&b.between_s[0]));
        let mut steps = joined(steps);
        steps.retain(|step| step.frames.abs() > (STEP_SIGMAS * step.sigma_frames).max(TOLD_FRAMES));
        steps
    }
}

/// Steps that lie close together, in order, as one.
fn joined(steps: Vec<Told>) -> Vec<Told> {
    let mut joined: Vec<Told> = Vec::new();
    for step in steps {
        match joined.last_mut() {
            Some(last) if step.between_s[0] < last.between_s[1] + APART_S => {
                last.is_within |= step.is_within;
                last.frames += step.frames;
                last.sigma_frames = last.sigma_frames.hypot(step.sigma_frames);
                last.between_s[1] = step.between_s[1].max(last.between_s[1]);
            }
            _ => joined.push(step),
        }
    }
    joined
}

/// The passes that differ most from what the others tell of the link.
fn suspects(rows: &[Row], pass_count: usize) -> Vec<usize> {
    let mut passes: Vec<usize> = (0..pass_count).collect();
    if pass_count <= PASSES_MAX {
        return passes;
    }
    let scatter = |pass: usize| {
        let delays: Vec<f64> = rows
            .iter()
            .filter(|row| row.pass == pass)
            .map(|row| row.delay_frames)
            .collect();
        let mean = delays.iter().sum::<f64>() / delays.len().max(1) as f64;
        delays
            .iter()
            .map(|delay| (delay - mean).powi(2))
            .sum::<f64>()
    };
    passes.sort_by(|&a, &b| scatter(b).total_cmp(&scatter(a)));
    passes.truncate(PASSES_MAX);
    passes
}
