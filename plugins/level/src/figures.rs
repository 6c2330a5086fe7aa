//! From the steps to the figures.

use goodwire_dsp::decibel::{DB_PER_NEPER, db};
use goodwire_dsp::tone::Estimate;
use goodwire_plugin_sdk::Failure;
use goodwire_plugin_sdk::api::{Curve, Figure, Note};
use goodwire_plugin_sdk::figures::{Located, curve, figure, info, warning};
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::{OpenRequest, SessionResult};

use crate::clipper::{overdrive_of_gain_drop_db, overdrive_of_thd_db};
use crate::crossing::{Crossing, Mark, Point, crossing};
use crate::disturbed::take_out_disturbed;
use crate::gain::{Change, StepGain, gain_of, linearity, step_gains};
use crate::reading::{Step, order_max};
use crate::settings::Settings;

/// Total harmonic distortion at the clip point, as a ratio.
const CLIP_THD_RATIO: f64 = 0.03;

/// Distortion that noise makes this uncertain tells nothing of clipping.
const THD_UNCERTAINTY_MAX: f64 = 0.005;

/// Fall of the gain at the compression point, in dB.
const COMPRESSION_DB: f64 = 1.0;

/// A gain that noise makes this uncertain, in dB, tells nothing of compression.
const GAIN_UNCERTAINTY_MAX_DB: f64 = 0.1;

/// Input knobs differ by so much, in dB, where two paths of real hardware were never matched.
const UNMATCHED_DB: f64 = 0.5;

/// What the figures have to know beside the steps.
pub struct Context<'a> {
    /// The request.
    pub request: &'a OpenRequest,
    /// The settings.
    pub settings: &'a Settings,
    /// True where there is a reference to compare with.
    pub has_reference: bool,
}

/// The result of a measurement.
///
/// # Errors
/// `no-signal` where no step stands clear of the noise, `clipped` where all are cut by a return.
pub fn result(
    mut steps: Vec<Step>,
    polarity: f64,
    context: &Context<'_>,
) -> Result<SessionResult, Failure> {
    let curve = input_output(&steps);
    let mut notes = notes(&steps, context);
    notes.extend(disturbed_note(&take_out_disturbed(&mut steps)));
    let gains = step_gains(&steps, context.has_reference);
    let (clip, unclipped_to_dbfs) = clip_point(&steps, context, &mut notes);
    let (gain, from_dbfs) = gain_of(&gains, clip).ok_or_else(|| no_gain(&steps))?;
    let compression = compression_point(&gains, gain, from_dbfs, &mut notes);
    let mut figures = vec![gain_figure(gain, context)];
    figures.push(figure("polarity", polarity, 0.0, ""));
    for (id, found) in [("compression_point", compression), ("clip_point", clip)] {
        figures.extend(found.map(|at| figure(id, at.value, at.uncertainty, "dBFS")));
    }
    // A limit on the clip point can be kept although the point itself lies out of reach.
    figures.extend(unclipped_to_dbfs.map(|at| figure("unclipped_to", at, 0.0, "dBFS")));
    match linearity(&gains, gain, clip) {
        Some(change) => figures.push(linearity_figure(&change)),
        None => notes.push(warning(
            "no-linearity",
            "no step from 60 to 6 dB below the clip point stands clear enough of the noise",
        )),
    }
    Ok(SessionResult {
        figures,
        curves: vec![curve],
        notes,
        ..SessionResult::default()
    })
}

/// The largest change of the gain; with its interval where noise has a hand in which it is.
fn linearity_figure(change: &Change) -> Figure {
    let Estimate { value, uncertainty } = change.change_db;
    let mut shown = figure("linearity", value, uncertainty, "dB");
    if let Some([low, high]) = change.interval_db {
        shown.uncertainty = None;
        (shown.low, shown.high) = (Some(low), Some(high));
    }
    shown.at("level_dbfs", change.level_dbfs)
}

/// Why there is no gain.
fn no_gain(steps: &[Step]) -> Failure {
    let cut = |step: &Step| {
        let both = [&step.link, &step.reference];
        both.into_iter().flatten().any(|reading| reading.cut)
    };
    if steps.iter().any(cut) {
        return Failure::new(
            "clipped",
            "a return is at its own full scale at every level: lower min_dbfs and max_dbfs, or turn \
             the return's gain down",
        );
    }
    Failure::new(
        "no-signal",
        "at no level does the tone stand clear of the noise: raise max_dbfs, or check that the link \
         is on",
    )
}

/// The gain, with the match divided out, and what unmatched knobs may hide.
fn gain_figure(gain: Estimate, context: &Context<'_>) -> Figure {
    let (mut value, mut uncertainty) = (gain.value, gain.uncertainty);
    let request = context.request;
    match &request.r#match {
        Some(found) if context.has_reference => {
            value -= interpolated(
                &found.frequency_hz,
                &found.gain_db,
                context.settings.played_hz,
            );
        }
        _ if request.mode() == Mode::Live && !request.simulated => {
            uncertainty = uncertainty.max(UNMATCHED_DB);
        }
        _ => {}
    }
    figure("gain", value, uncertainty, "dB").at("frequency_hz", context.settings.freq_hz)
}

/// The value at `x` of a curve over a logarithmic axis; its ends reach on.
fn interpolated(xs: &[f64], ys: &[f64], x: f64) -> f64 {
    let above = xs.partition_point(|&at| at < x);
    match (above.checked_sub(1), xs.get(above)) {
        (Some(below), Some(_)) => {
            let share = (x / xs[below]).ln() / (xs[above] / xs[below]).ln();
            ys[below] + share * (ys[above] - ys[below])
        }
        (Some(last), None) => ys[last],
        (None, Some(_)) => ys[above],
        (None, None) => 0.0,
    }
}

/// Level at the send where the link's own distortion rises through 3 %; else the level in dBFS up
/// to which it stays below, where that could be told.
fn clip_point(
    steps: &[Step],
    context: &Context<'_>,
    notes: &mut Vec<Note>,
) -> (Option<Estimate>, Option<f64>) {
    let order_max = order_max(context.settings.freq_hz);
    let points: Vec<Point> = steps
        .iter()
        .filter(|step| step.link.as_ref().is_some_and(|link| !link.cut))
        .filter_map(|step| {
            Some(Point {
                level_dbfs: step.level_dbfs,
                reading: step.thd_ratio(order_max)?,
            })
        })
        .filter(|point| point.reading.uncertainty <= THD_UNCERTAINTY_MAX)
        .collect();
    let mark = Mark {
        target: CLIP_THD_RATIO,
        least: 0.002,
        common: 0.0,
        overdrive_db: &|ratio| match order_max {
            // No odd harmonic to compare an ideal clipper's with: any scale of levels will do.
            0..3 => db(ratio.max(1e-6)),
            _ => overdrive_of_thd_db(ratio, order_max),
        },
    };
    let mut unclipped_to_dbfs = None;
    let text = match (crossing(&points, &mark), points.last()) {
        (Crossing::At(level), _) => return (Some(level), None),
        _ if order_max < 3 => {
            "the odd harmonics of this frequency lie beyond 20 kHz, so that clipping cannot be \
             told: choose a lower freq_hz"
                .to_owned()
        }
        (_, None) => "distortion could not be told from noise at any level".to_owned(),
        (Crossing::BelowLowest, Some(_)) => format!(
            "distortion is above 3 % from the lowest level on, {:.1} dBFS at the send",
            points[0].level_dbfs
        ),
        (Crossing::Never, Some(last)) => {
            unclipped_to_dbfs = Some(last.level_dbfs);
            format!(
                "distortion stays below 3 % up to the highest level that was reached, {:.1} dBFS \
                 at the send, where it is {:.2} %",
                last.level_dbfs,
                100.0 * last.reading.value
            )
        }
    };
    notes.push(info("no-clip-point", text));
    (None, unclipped_to_dbfs)
}

/// Level at the send where the fundamental's gain has fallen by 1 dB from `gain`.
fn compression_point(
    gains: &[StepGain],
    gain: Estimate,
    from_dbfs: f64,
    notes: &mut Vec<Note>,
) -> Option<Estimate> {
    let points: Vec<Point> = gains
        .iter()
        .filter(|step| step.level_dbfs >= from_dbfs)
        .filter(|step| step.gain_db.uncertainty <= GAIN_UNCERTAINTY_MAX_DB)
        .map(|step| Point {
            level_dbfs: step.level_dbfs,
            reading: Estimate {
                value: gain.value - step.gain_db.value,
                uncertainty: step.gain_db.uncertainty,
            },
        })
        .collect();
    let mark = Mark {
        target: COMPRESSION_DB,
        least: 0.05,
        common: gain.uncertainty,
        overdrive_db: &overdrive_of_gain_drop_db,
    };
    if let Crossing::At(level) = crossing(&points, &mark) {
        return Some(level);
    }
    let text = points.last().map_or_else(
        || "the gain could not be told from noise at any level".to_owned(),
        |last| {
            format!(
                "the gain has not fallen by 1 dB up to the highest level that was reached, {:.1} \
                 dBFS at the send, where it has changed by {:+.2} dB",
                last.level_dbfs, -last.reading.value
            )
        },
    );
    notes.push(info("no-compression-point", text));
    None
}

/// Level of the fundamental at the return against that at the send.
fn input_output(steps: &[Step]) -> Curve {
    let (mut x, mut y, mut y_uncertainty) = (Vec::new(), Vec::new(), Vec::new());
    for step in steps {
        if let Some(link) = &step.link {
            x.push(step.level_dbfs);
            y.push(db(link.amplitude.value));
            let relative = link.amplitude.uncertainty / link.amplitude.value;
            y_uncertainty.push(DB_PER_NEPER * relative);
        }
    }
    curve("input_output", ["dBFS", "dBFS"], x, y, y_uncertainty)
}

/// Tells of steps that were left out.
fn disturbed_note(levels_dbfs: &[f64]) -> Option<Note> {
    let levels: Vec<String> = (levels_dbfs.iter())
        .map(|level_dbfs| format!("{level_dbfs:.1}"))
        .collect();
    (!levels.is_empty()).then(|| {
        warning(
            "disturbed-steps",
            format!(
                "at {} dBFS at the send something else was heard than the tone, as of a dropout or \
                 a click: such steps are left out of all figures",
                levels.join(", ")
            ),
        )
    })
}

/// What the reader has to know, clip and compression point apart.
fn notes(steps: &[Step], context: &Context<'_>) -> Vec<Note> {
    let (settings, mut notes) = (context.settings, Vec::new());
    if !context.has_reference {
        notes.push(warning(
            "no-reference",
            "there is no reference: the figures are against what was sent, with all that the \
             interface does",
        ));
    } else if context.request.r#match.is_none() {
        notes.push(info(
            "unmatched-paths",
            "the link's path and the reference's were never matched: their own difference is in \
             the gain",
        ));
    }
    if settings.played_hz != settings.freq_hz {
        notes.push(info(
            "frequency-shifted",
            format!(
                "{} Hz was played as {} Hz, so that harmonics that fold at the sample rate fall \
                 beside those that are measured",
                settings.freq_hz, settings.played_hz
            ),
        ));
    }
    let first = |matches: &dyn Fn(&Step) -> bool| {
        let found = steps.iter().find(|step| matches(step));
        found.map(|step| step.level_dbfs)
    };
    if let Some(level_dbfs) = first(&|step| step.link.as_ref().is_some_and(|link| link.cut)) {
        notes.push(warning(
            "return-clipped",
            format!(
                "from {level_dbfs:.1} dBFS at the send on, the return is at its own full scale: \
                 such steps are left out of all figures; turn the return's gain down"
            ),
        ));
    }
    let order_max = order_max(settings.freq_hz);
    let reference_clips = first(&|step| {
        let reference = step.reference.as_ref();
        reference.is_some_and(|reference| {
            let thd = reference.harmonics.thd_ratio(order_max);
            reference.cut || thd.value - 2.0 * thd.uncertainty > CLIP_THD_RATIO
        })
    });
    if let Some(level_dbfs) = reference_clips {
        notes.push(warning(
            "reference-clips",
            format!(
                "from {level_dbfs:.1} dBFS at the send on, the reference clips too: above that the \
                 interface is heard, not the link"
            ),
        ));
    }
    notes
}
