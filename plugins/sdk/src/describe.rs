//! What plugins say of themselves, in few words.

use crate::api::{CurveDescription, FigureDescription};
use crate::payload::{AnalysisDescription, Description};

/// A plugin with its analyses. `version` is SemVer.
#[must_use]
pub fn plugin(
    name: &str,
    version: &str,
    analyses: impl IntoIterator<Item = AnalysisDescription>,
) -> Description {
    Description {
        plugin: name.to_owned(),
        version: version.to_owned(),
        analyses: analyses.into_iter().collect(),
    }
}

/// An analysis that has no parameters and plays nothing.
#[must_use]
pub fn listener(id: &str, title: &str, summary: &str) -> AnalysisDescription {
    AnalysisDescription {
        id: id.to_owned(),
        title: title.to_owned(),
        summary: summary.to_owned(),
        ..AnalysisDescription::default()
    }
}

/// A figure that a result can hold, with its unit and the keys of its `at`.
#[must_use]
pub fn figure(id: &str, unit: &str, at: &[&str]) -> FigureDescription {
    FigureDescription {
        id: id.to_owned(),
        unit: unit.to_owned(),
        at: owned(at),
    }
}

/// A curve that a result can hold, with the units of its places and values and the keys of its
/// `at`.
#[must_use]
pub fn curve(id: &str, [x_unit, y_unit]: [&str; 2], at: &[&str]) -> CurveDescription {
    CurveDescription {
        id: id.to_owned(),
        x_unit: x_unit.to_owned(),
        y_unit: y_unit.to_owned(),
        at: owned(at),
    }
}

/// The figures, then the reference's own of the same kinds, their ids after `reference_`.
#[must_use]
pub fn with_reference(figures: Vec<FigureDescription>) -> Vec<FigureDescription> {
    let own = figures.iter().map(|figure| FigureDescription {
        id: format!("reference_{}", figure.id),
        ..figure.clone()
    });
    let own: Vec<FigureDescription> = own.collect();
    figures.into_iter().chain(own).collect()
}

fn owned(names: &[&str]) -> Vec<String> {
    names.iter().map(ToString::to_string).collect()
}
