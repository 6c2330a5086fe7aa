//! What a gain that changes with the level says of a link.
//!
//! Rules, of the mean gain of a band at several levels: a step counts from 5 standard deviations
//! and 0.1 dB on. Gain that changes by as much with every dB is two halves of a compander that do
//! not match; gain that falls towards the loud end is a limiter, or compression where the third
//! harmonic grows with it as it does in every bend without memory; gain that falls towards the
//! quiet end is an expander or a noise gate. Own rules; how these devices work is common practice,
//! no source.

use goodwire_dsp::decibel::{amplitude, db};
use goodwire_dsp::response::curve::Level;
use goodwire_plugin_sdk::api::Note;
use goodwire_plugin_sdk::figures::warning;

/// A change of the gain counts from so many dB and so many standard deviations on.
const STEP_DB: f64 = 0.1;
const STEP_SIGMAS: f64 = 5.0;
/// Steps are alike whose dB per dB differ from their mean by no more than this share of it.
const ALIKE: f64 = 0.3;
/// A compander's halves differ by no more than this, in dB per dB; what bends more is made to.
const MISMATCH_MAX: f64 = 0.5;
/// Below, the quiet gain falls faster than the level itself, in dB per dB: a gate.
const GATE: f64 = 1.0;
/// Third harmonic against the loss of gain from which on a bend explains both: a cubic bend that
/// takes 3 parts of the fundamental makes 1 of the harmonic.
const BEND: f64 = 0.1;

/// Inner edges of the bands in Hz.
const EDGES_HZ: [f64; 2] = [250.0, 4_000.0];
/// Shortest gate in seconds of a response: values closer than its inverse share their noise.
const GATE_S: f64 = 0.1;

/// Mean gain of a band at one level.
#[derive(Debug, Clone, Copy)]
pub struct At {
    pub level_dbfs: f64,
    pub gain_db: f64,
    pub sigma_db: f64,
}

/// A band at several levels, which rise.
#[derive(Debug, Clone)]
pub struct Band {
    pub from_hz: f64,
    pub to_hz: f64,
    pub gains: Vec<At>,
}

/// What a change of the gain is taken for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    Compander,
    Limiter,
    Compression,
    Expander,
    Gate,
    /// Nothing that has a name, or too few levels to tell.
    Unnamed,
}

/// A cause with what speaks for it: the gain goes from `from` to `to`.
#[derive(Debug, Clone, Copy)]
struct Named {
    cause: Cause,
    from: At,
    to: At,
}

impl Named {
    fn change_db(&self) -> f64 {
        self.to.gain_db - self.from.gain_db
    }

    /// dB of gain per dB of level.
    fn slope(&self) -> f64 {
        self.change_db() / (self.to.level_dbfs - self.from.level_dbfs)
    }
}

/// Bass, middle and treble of the curves at `levels_dbfs`, each as long as `frequencies_hz`.
pub fn bands(levels_dbfs: &[f64], frequencies_hz: &[f64], curves: &[Vec<Level>]) -> Vec<Band> {
    let (Some(&first_hz), Some(&last_hz)) = (frequencies_hz.first(), frequencies_hz.last()) else {
        return Vec::new();
    };
    let inner = EDGES_HZ
        .into_iter()
        .filter(|f| first_hz < *f && *f < last_hz);
    let edges: Vec<f64> = [first_hz]
        .into_iter()
        .chain(inner)
        .chain([last_hz])
        .collect();
    let band = |edges: &[f64]| {
        let from = frequencies_hz.partition_point(|f| *f < edges[0]);
        let to = frequencies_hz.partition_point(|f| *f < edges[1]);
        let mean = |(level_dbfs, curve): (&f64, &Vec<Level>)| {
            let part = &curve[from..to];
            let count = part.len().max(1) as f64;
            let cells = ((edges[1] - edges[0]) * GATE_S).clamp(1.0, count);
            let square: f64 = part.iter().map(|level| level.sigma_db.powi(2)).sum();
            At {
                level_dbfs: *level_dbfs,
                gain_db: part.iter().map(|level| level.db).sum::<f64>() / count,
                sigma_db: (square / count / cells).sqrt(),
            }
        };
        let mut gains: Vec<At> = levels_dbfs.iter().zip(curves).map(mean).collect();
        gains.sort_by(|a, b| a.level_dbfs.total_cmp(&b.level_dbfs));
        gains.dedup_by(|a, b| (a.level_dbfs - b.level_dbfs).abs() < 0.1);
        Band {
            from_hz: edges[0],
            to_hz: edges[1],
            gains,
        }
    };
    edges.windows(2).map(band).collect()
}

/// The notes on `bands`; `third` is the third harmonic at the loudest level, re the fundamental.
pub fn notes(bands: &[Band], third: f64) -> Vec<Note> {
    let found: Vec<(&Band, Named)> = bands
        .iter()
        .flat_map(|band| {
            causes(&band.gains, third)
                .into_iter()
                .map(move |n| (band, n))
        })
        .collect();
    // What is named in one band explains what has no name in another: the bass, which comes first,
    // still hears of the burst before it.
    let is_named = found.iter().any(|(_, named)| named.cause != Cause::Unnamed);
    [
        Cause::Compander,
        Cause::Limiter,
        Cause::Compression,
        Cause::Expander,
        Cause::Gate,
        Cause::Unnamed,
    ]
    .into_iter()
    .filter(|cause| !is_named || *cause != Cause::Unnamed)
    .filter_map(|cause| {
        let of_cause: Vec<_> = found.iter().filter(|(_, n)| n.cause == cause).collect();
        let (_, worst) = of_cause.iter().max_by(|(_, a), (_, b)| {
            let change = |named: &Named| named.change_db().abs();
            change(a).total_cmp(&change(b))
        })?;
        let place = if of_cause.len() == bands.len() {
            "in all of the band".to_owned()
        } else {
            let bands: Vec<&Band> = of_cause.iter().map(|(band, _)| *band).collect();
            let joined = bands.chunk_by(|low, high| low.to_hz >= high.from_hz);
            let parts: Vec<String> = joined
                .map(|part| {
                    format!(
                        "{:.0} to {:.0}",
                        part[0].from_hz,
                        part[part.len() - 1].to_hz
                    )
                })
                .collect();
            format!("at {} Hz alone", parts.join(" and "))
        };
        Some(note(worst, &place, third))
    })
    .collect()
}

/// What the gains of one band say.
fn causes(gains: &[At], third: f64) -> Vec<Named> {
    let steps: Vec<Named> = gains
        .windows(2)
        .map(|pair| Named {
            cause: Cause::Unnamed,
            from: pair[0],
            to: pair[1],
        })
        .collect();
    let (Some(first), Some(last)) = (gains.first(), gains.last()) else {
        return Vec::new();
    };
    let over = |cause, from: &At, to: &At| Named {
        cause,
        from: *from,
        to: *to,
    };
    let whole = over(Cause::Compander, first, last);
    if steps.len() > 1 && are_alike(&steps, whole.slope()) {
        return vec![whole];
    }
    let rising = steps
        .iter()
        .take_while(|s| counts(s) && s.change_db() > 0.0)
        .count();
    let falling = steps
        .iter()
        .rev()
        .take_while(|s| counts(s) && s.change_db() < 0.0)
        .count();
    let mut found = Vec::new();
    if rising > 0 {
        let low = over(Cause::Expander, first, &gains[rising]);
        let steepest = steps[..rising].iter().map(Named::slope).fold(0.0, f64::max);
        let cause = if steepest > GATE {
            Cause::Gate
        } else {
            Cause::Expander
        };
        found.push(Named { cause, ..low });
    }
    if falling > 0 {
        let high = over(Cause::Limiter, &gains[gains.len() - 1 - falling], last);
        let lost = 1.0 - amplitude(high.change_db());
        let cause = if third > BEND * lost {
            Cause::Compression
        } else {
            Cause::Limiter
        };
        found.push(Named { cause, ..high });
    }
    // Of two levels only a bend, or a gate, gives itself away.
    for named in &mut found {
        if steps.len() == 1 && matches!(named.cause, Cause::Limiter | Cause::Expander) {
            named.cause = Cause::Unnamed;
        }
    }
    if found.is_empty() {
        let worst = steps.iter().filter(|step| counts(step));
        found.extend(worst.max_by(|a, b| a.change_db().abs().total_cmp(&b.change_db().abs())));
    }
    found
}

/// Whether a step is more than noise and worth a word.
fn counts(step: &Named) -> bool {
    let sigma_db = step.from.sigma_db.hypot(step.to.sigma_db);
    step.change_db().abs() > STEP_DB.max(STEP_SIGMAS * sigma_db)
}

/// Whether the gain changes by as much with every dB, and by no more than a mismatch does.
fn are_alike(steps: &[Named], mean: f64) -> bool {
    let alike = |step: &Named| (step.slope() - mean).abs() < ALIKE * mean.abs();
    mean.abs() < MISMATCH_MAX && steps.iter().all(|step| counts(step) && alike(step))
}

fn note(named: &Named, place: &str, third: f64) -> Note {
    let change_db = named.change_db();
    let way = if change_db < 0.0 { "falls" } else { "rises" };
    let seen = format!(
        "gain {way} {:.1} dB from {:.0} to {:.0} dBFS {place}",
        change_db.abs(),
        named.from.level_dbfs,
        named.to.level_dbfs
    );
    match named.cause {
        Cause::Compander => warning(
            "compander-mismatch",
            format!(
                "{seen}, {:.2} dB for every dB: the two halves of a compander do not match (1 dB \
                 in gives {:.2} dB out)",
                named.slope(),
                1.0 + named.slope()
            ),
        ),
        Cause::Limiter => warning(
            "limiter",
            format!(
                "{seen}, with a third harmonic of only {:.0} dB: a limiter",
                db(third.max(1e-5))
            ),
        ),
        Cause::Compression => warning(
            "compression",
            format!(
                "{seen}, and the third harmonic is at {:.0} dB there: the link bends the waveform \
                 (compression before clipping), it does not limit",
                db(third.max(1e-5))
            ),
        ),
        Cause::Expander => warning("expander", format!("{seen}: an expander")),
        Cause::Gate => warning(
            "noise-gate",
            format!("{seen}, faster than the level itself: a noise gate"),
        ),
        Cause::Unnamed => warning(
            "level-dependent",
            format!("{seen}: three or more levels_dbfs, evenly spaced, tell what it is"),
        ),
    }
}
