//! Limits that can be drawn into the picture of a curve: masks of the curve itself, and limits of
//! figures that can be read off it.

use goodwire_proto::v1::{Curve, Judgement, Measurement};
use prost_types::value::Kind;

use crate::{
    judge::place,
    report::{Subject, plot::Bound},
};

/// Half the width of a limit at a single frequency: a sixth of an octave.
const HALF_WIDTH: f64 = 1.122_462_048_309_373;

/// What limits say of a curve: its masks, `deviation` on the curve `magnitude`, band by band about
/// `gain`, figures that the curve is made of, such as `thd` at a frequency, and the clip point on
/// the curve of outputs over inputs.
pub(super) fn of_curve(subject: &Subject, curve: &Curve) -> Vec<Bound> {
    let measurement = &subject.measurement;
    let verdict = measurement.verdict.iter();
    let judgements = verdict.flat_map(|verdict| &verdict.judgements);
    let figures = judgements.flat_map(|judgement| {
        let part = part(judgement, measurement, curve);
        let flat = part.map(|part| flat(judgement, part));
        let walls = walls(judgement, curve);
        flat.unwrap_or_default().into_iter().chain(walls)
    });
    masks(subject, curve).into_iter().chain(figures).collect()
}

/// The sides of the masks, corner by corner.
fn masks(subject: &Subject, curve: &Curve) -> Vec<Bound> {
    let meant = subject.masks.iter().filter(|mask| {
        mask.curve == curve.id && place::same_place(mask.at.as_ref(), curve.at.as_ref())
    });
    let lines = meant.flat_map(|mask| [(&mask.upper, true), (&mask.lower, false)]);
    let sides = lines.flat_map(|(corners, is_most)| {
        corners.windows(2).map(move |pair| Bound {
            from: pair[0][0],
            to: pair[1][0],
            y: [pair[0][1], pair[1][1]],
            is_most,
        })
    });
    sides.collect()
}

fn flat(judgement: &Judgement, (from, to, offset): (f64, f64, f64)) -> Vec<Bound> {
    let bound = |y: f64, is_most| Bound {
        from,
        to,
        y: [y + offset; 2],
        is_most,
    };
    let least = judgement.min.map(|min| bound(min, false));
    let most = judgement.max.map(|max| bound(max, true));
    least.into_iter().chain(most).collect()
}

/// Limits of the clip point stand upright on the axis of what is sent.
fn walls(judgement: &Judgement, curve: &Curve) -> Vec<Bound> {
    if (judgement.figure.as_str(), curve.id.as_str()) != ("clip_point", "input_output") {
        return Vec::new();
    }
    let least = judgement.min.map(|x| Bound::wall(x, false));
    let most = judgement.max.map(|x| Bound::wall(x, true));
    least.into_iter().chain(most).collect()
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

#[cfg(test)]
mod tests {
    use goodwire_proto::v1::Verdict;

    use super::*;
    use crate::report::Mask;

    fn curve(id: &str) -> Curve {
        Curve {
            id: id.into(),
            ..Curve::default()
        }
    }

    #[test]
    fn a_mask_of_three_corners_is_two_sides_on_its_own_curve_alone() {
        let subject = Subject {
            masks: vec![Mask {
                curve: "magnitude".into(),
                upper: vec![[20.0, 3.0], [100.0, 1.0], [10e3, 1.0]],
                ..Mask::default()
            }],
            ..Subject::default()
        };
        let sides = of_curve(&subject, &curve("magnitude"));
        let ends: Vec<_> = sides.iter().map(|one| (one.from, one.to, one.y)).collect();
        assert_eq!(ends, [(20.0, 100.0, [3.0, 1.0]), (100.0, 10e3, [1.0, 1.0])]);
        assert!(sides.iter().all(|side| side.is_most));
        assert!(of_curve(&subject, &curve("phase")).is_empty());
    }

    #[test]
    fn the_least_clip_point_of_minus_12_dbfs_stands_upright_at_minus_12() {
        let judgement = Judgement {
            figure: "clip_point".into(),
            min: Some(-12.0),
            ..Judgement::default()
        };
        let mut subject = Subject::default();
        subject.measurement.verdict = Some(Verdict {
            judgements: vec![judgement],
            ..Verdict::default()
        });
        let walls = of_curve(&subject, &curve("input_output"));
        assert_eq!((walls[0].from, walls[0].to), (-12.0, -12.0));
        assert!(!walls[0].is_most);
        assert!(of_curve(&subject, &curve("magnitude")).is_empty());
    }
}
