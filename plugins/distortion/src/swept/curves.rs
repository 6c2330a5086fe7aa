//! From the harmonics to the curves.

use goodwire_dsp::response::SweepTrain;
use goodwire_dsp::tone::NoisyPower;
use goodwire_plugin_sdk::Failure;
use goodwire_plugin_sdk::api::{Curve, Note};
use goodwire_plugin_sdk::figures::{curve, info, warning};
use goodwire_plugin_sdk::payload::SessionResult;

use super::harmonics::{Channel, Harmonic, Harmonics};
use crate::common_notes::{self, REFERENCE_DISTORTS, about, reference_distorts};
use crate::playing::Returns;
use crate::shown::{level_db, level_deviation_db};

/// Highest order that has a curve of its own.
const ORDER_SHOWN_MAX: usize = 5;

/// Fundamentals so far below the median one, as a ratio, lie outside of what the link passes: 20 dB.
const OUTSIDE: f64 = 0.1;

/// The result of a measurement.
///
/// # Errors
/// `clipped` where a return is cut at its full scale at all frequencies.
pub fn result(
    harmonics: &Harmonics,
    cut_hz: &[[f64; 2]],
    returns: &Returns<'_, SweepTrain>,
) -> Result<SessionResult, Failure> {
    let points = points(harmonics, cut_hz);
    let own: Vec<Vec<Harmonic>> = (harmonics.link.orders.iter().enumerate())
        .map(|(index, lines)| match &harmonics.reference {
            None => lines.clone(),
            Some(reference) => difference(lines, &reference.orders[index]),
        })
        .collect();
    if points.usable.is_empty() {
        return Err(Failure::new(
            "clipped",
            "a return is at its own full scale at all frequencies: lower level_dbfs, or turn the \
             return's gain down",
        ));
    }
    let link = Spoken::of(harmonics, &own, &points.usable);
    let mut curves = link.curves("");
    let mut notes: Vec<Note> = Vec::new();
    notes.extend(common_notes::of_reference(
        returns.request,
        returns.has_reference(),
    ));
    notes.extend(points.notes());
    notes.extend(link.below_noise());
    if let Some(reference) = &harmonics.reference {
        let spoken = Spoken::of(harmonics, &reference.orders, &points.usable);
        curves.extend(spoken.curves("reference_"));
        notes.extend(distorting_reference(
            &own,
            reference,
            &points.usable,
            harmonics,
        ));
    }
    Ok(SessionResult {
        curves,
        notes,
        ..SessionResult::default()
    })
}

/// Harmonics less the reference's.
fn difference(lines: &[Harmonic], reference: &[Harmonic]) -> Vec<Harmonic> {
    (lines.iter().zip(reference))
        .map(|(harmonic, other)| harmonic.minus(other))
        .collect()
}

/// Which points of the grid can be told of.
struct Points {
    usable: Vec<usize>,
    outside_hz: Option<[f64; 2]>,
    cut_hz: Option<[f64; 2]>,
}

fn points(harmonics: &Harmonics, cut_hz: &[[f64; 2]]) -> Points {
    let least = |channel: &Channel| {
        let mut sorted = channel.fundamental.clone();
        sorted.sort_by(f64::total_cmp);
        OUTSIDE * sorted[sorted.len() / 2]
    };
    let channels: Vec<(&Channel, f64)> = [Some(&harmonics.link), harmonics.reference.as_ref()]
        .into_iter()
        .flatten()
        .map(|channel| (channel, least(channel)))
        .collect();
    let is_cut = |hz: f64| cut_hz.iter().any(|&[from, to]| from <= hz && hz <= to);
    let passes = |index: usize| {
        (channels.iter()).all(|(channel, least)| channel.fundamental[index] >= *least)
    };
    let mut points = Points {
        usable: Vec::new(),
        outside_hz: None,
        cut_hz: None,
    };
    for (index, &hz) in harmonics.frequencies_hz.iter().enumerate() {
        if is_cut(hz) {
            widen(&mut points.cut_hz, hz);
        } else if !passes(index) {
            widen(&mut points.outside_hz, hz);
        } else {
            points.usable.push(index);
        }
    }
    points
}

/// Makes a range reach to `hz`, above all that it held.
fn widen(range: &mut Option<[f64; 2]>, hz: f64) {
    range.get_or_insert([hz, hz])[1] = hz;
}

impl Points {
    fn notes(&self) -> impl Iterator<Item = Note> {
        let outside = self.outside_hz.map(|[from, to]| {
            info(
                "outside-band",
                format!(
                    "at some frequencies between {from:.0} and {to:.0} Hz the fundamental itself is \
                     more than 20 dB below the others: the curves have no points there"
                ),
            )
        });
        let cut = self.cut_hz.map(|[from, to]| {
            warning(
                "return-clipped",
                format!(
                    "between {from:.0} and {to:.0} Hz a return is at its own full scale: the curves \
                     have no points there; lower level_dbfs or turn the return's gain down"
                ),
            )
        });
        [outside, cut].into_iter().flatten()
    }
}

/// One curve in the making.
struct Series {
    id: String,
    unit: &'static str,
    x: Vec<f64>,
    y: Vec<f64>,
    y_uncertainty: Vec<f64>,
    /// Frequencies between which points are missing because nothing stands clear of the noise.
    buried_hz: Option<[f64; 2]>,
}

impl Series {
    /// The points of `powers` that stand, made into numbers by `told`.
    fn of(
        id: String,
        unit: &'static str,
        powers: impl Iterator<Item = (f64, NoisyPower)>,
        told: impl Fn(&NoisyPower) -> [f64; 2],
    ) -> Self {
        let mut series = Self {
            id,
            unit,
            x: Vec::new(),
            y: Vec::new(),
            y_uncertainty: Vec::new(),
            buried_hz: None,
        };
        for (hz, power) in powers {
            if power.stands() {
                let [value, deviation] = told(&power);
                series.x.push(hz);
                series.y.push(value);
                series.y_uncertainty.push(deviation);
            } else {
                widen(&mut series.buried_hz, hz);
            }
        }
        series
    }
}

/// All curves of one return.
struct Spoken(Vec<Series>);

impl Spoken {
    fn of(harmonics: &Harmonics, orders: &[Vec<Harmonic>], usable: &[usize]) -> Self {
        let hz = |index: usize| harmonics.frequencies_hz[index];
        let power = |lines: &[Harmonic], index: usize| lines.get(index).map(Harmonic::power);
        let totals = usable.iter().map(|&index| {
            let parts = orders.iter().filter_map(|lines| power(lines, index));
            (hz(index), NoisyPower::sum(parts))
        });
        let mut series = vec![Series::of("thd".to_owned(), "%", totals, |power| {
            [power.amplitude(), power.amplitude_deviation()].map(|share| 100.0 * share)
        })];
        for (lines, order) in orders.iter().zip(2..=ORDER_SHOWN_MAX) {
            let powers =
                (usable.iter()).filter_map(|&index| Some((hz(index), power(lines, index)?)));
            series.push(Series::of(format!("h{order}"), "dB", powers, |power| {
                [level_db(power.value), level_deviation_db(power)]
            }));
        }
        Self(series)
    }

    /// The curves that have points, their ids after `prefix`.
    fn curves(&self, prefix: &str) -> Vec<Curve> {
        (self.0.iter())
            .filter(|series| !series.x.is_empty())
            .map(|series| {
                curve(
                    &format!("{prefix}{}", series.id),
                    ["Hz", series.unit],
                    series.x.clone(),
                    series.y.clone(),
                    series.y_uncertainty.clone(),
                )
            })
            .collect()
    }

    /// Tells where points are missing.
    fn below_noise(&self) -> Option<Note> {
        let buried: Vec<String> = (self.0.iter())
            .filter_map(|series| {
                let [from, to] = series.buried_hz?;
                Some(format!("{} from {from:.0} to {to:.0} Hz", series.id))
            })
            .collect();
        about(
            "h-below-noise",
            &buried,
            "at some or all frequencies there nothing stands clear of the noise by two standard \
             deviations of its power: the curve has no points there",
        )
    }
}

/// Tells where the reference distorts nearly as much as the link.
fn distorting_reference(
    own: &[Vec<Harmonic>],
    reference: &Channel,
    usable: &[usize],
    harmonics: &Harmonics,
) -> Option<Note> {
    let total = |orders: &[Vec<Harmonic>], index: usize| {
        let lines = orders.iter().filter_map(|lines| lines.get(index));
        NoisyPower::sum(lines.map(Harmonic::power))
    };
    let mut range_hz = None;
    for &index in usable {
        if reference_distorts(&total(own, index), &total(&reference.orders, index)) {
            widen(&mut range_hz, harmonics.frequencies_hz[index]);
        }
    }
    let [from, to] = range_hz?;
    about(
        "reference-distorts",
        &[format!("at frequencies from {from:.0} to {to:.0} Hz")],
        REFERENCE_DISTORTS,
    )
}
