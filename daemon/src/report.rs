//! The report: one self-contained HTML page of a run, or of a set of measurements side by side.
//!
//! A plain typographic page without scripts, outside fonts or other resources. Verdicts are words
//! and shapes and never a colour alone; curves stand on the proportions of IEC 60263:2020 in the
//! colours of Okabe and Ito, told apart by dashes and markers too. Whatever comes from people
//! (names, setups, texts) is escaped by `html::Safe`, through which all of it goes.
//!
//! [`gather`] reads the store; [`render`] reads nothing but its argument, so one and the same
//! report is the same text, byte for byte.

pub(crate) mod card;
mod change;
pub(crate) mod channels;
mod figures;
mod gather;
pub(crate) mod html;
pub(crate) mod mark;
mod page;
pub(crate) mod plot;
pub(crate) mod plots;
mod provenance;
pub(crate) mod sheet;
mod side_by_side;
pub(crate) mod summary;
pub(crate) mod words;
mod zone;

#[cfg(test)]
mod tests;

use goodwire_proto::v1::{Measurement, Run};
use prost_types::Struct;

pub use gather::gather;
pub use page::{render, render_among};
pub use zone::Zone;

/// What a report is about.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Report {
    /// Name of the site.
    pub site: String,
    /// The zone in which its times are told.
    pub zone: Zone,
    /// The run; `None` for a set of measurements.
    pub run: Option<Run>,
    /// The measurements with all their curves, in the order in which they stand in the report.
    pub subjects: Vec<Subject>,
}

/// A measurement with those that it is compared with.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Subject {
    /// The measurement.
    pub measurement: Measurement,
    /// The one before it of the same link and analysis; `None` where there was none.
    pub before: Option<Measurement>,
    /// The baseline of its link and analysis; `None` where none is set, or it is this measurement.
    pub baseline: Option<Measurement>,
    /// What the configuration allows its curves.
    pub masks: Vec<Mask>,
}

/// What a curve of a measurement must keep to, as it is drawn.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Mask {
    /// Id of the curve.
    pub curve: String,
    /// Which curve of that id.
    pub at: Option<Struct>,
    /// Corners x and y of the most that is allowed, x rising; empty: no such limit.
    pub upper: Vec<[f64; 2]>,
    /// Corners of the least, as `upper`.
    pub lower: Vec<[f64; 2]>,
}

/// The picture of a measurement's channel plan as an SVG file; `None` where it holds none.
#[must_use]
pub fn draw_channel_plan(measurement: &Measurement) -> Option<String> {
    let plan = measurement.channel_plan.as_ref()?;
    let link = words::link_name(&measurement.link);
    channels::file(plan, &channels::title(link))
}

impl Report {
    /// True where anything in it was measured on the simulated rig.
    fn is_simulated(&self) -> bool {
        self.run.as_ref().is_some_and(|run| run.simulated)
            || self.subjects.iter().any(|one| one.measurement.simulated)
    }

    /// What tells measurements of a set apart: `A`, `B` and so on; empty in a run, where link and
    /// analysis do, and for a measurement alone.
    fn letter(&self, index: usize) -> String {
        if self.run.is_some() || self.subjects.len() < 2 {
            return String::new();
        }
        words::letters(index)
    }
}
