//! Limits of figures that can be drawn into the picture of a curve.

use goodwire_proto::v1::{Curve, Judgement, Measurement};
use prost_types::value::Kind;

use crate::report::plot::Bound;

/// Half the width of a limit at a single frequency: a sixth of an octave.
const HALF_WIDTH: f64 = 1.122_462_048_309_373;

/// What the limits of a measurement say of a curve: of `deviation` on the curve `magnitude`, band
/// by band about `gain`, and of figures that the curve is made of, such as `thd` at a frequency.
pub(super) fn of_curve(measurement: &Measurement, curve: &Curve) -> Vec<Bound> {
    let verdict = measurement.verdict.iter();
    let judgements = verdict.flat_map(|verdict| &verdict.judgements);
    judgements
        .filter_map(|judgement| {
            let (from, to, offset) = part(judgement, measurement, curve)?;
            Some((judgement, from, to, offset))
        })
        .flat_map(|(judgement, from, to, offset)| {
            let bound = |y: f64, is_most| Bound {
                from,
                to,
                y: y + offset,
                is_most,
            };
            let least = judgement.min.map(|min| bound(min, false));
            let most = judgement.max.map(|max| bound(max, true));
            least.into_iter().chain(most)
        })
        .collect()
}

/// Where a limit lies on the x axis, and what is added to it on the y axis.
fn part(
    judgement: &Judgement,
    measurement: &Measurement,
    curve: &Curve,
) -> Option<(f64, f64, f64)> {
    let at = |key: &str| {
        let value = judgement.at.as_ref()?.fields.get(key)?;
        match value.kind {
            Some(Kind::NumberValue(number)) => Some(number),
            _ => None,
        }
    };
    if (judgement.figure.as_str(), curve.id.as_str()) == ("deviation", "magnitude") {
        let mut figures = measurement.figures.iter();
        let gain = figures.find(|figure| figure.id == "gain")?.value?;
        return Some((at("from_hz")?, at("to_hz")?, gain));
    }
    if judgement.figure == curve.id && judgement.unit == curve.y_unit && curve.x_unit == "Hz" {
        let frequency_hz = at("frequency_hz")?;
        return Some((frequency_hz / HALF_WIDTH, frequency_hz * HALF_WIDTH, 0.0));
    }
    None
}
