//! The picture of a channel plan: panels below each other, one for each part of the spectrum.

use goodwire_proto::v1::ChannelPlan;

use super::{
    draw,
    panel::{self, BESIDE_PX, LENGTH_PX, Panel},
    region, words,
};
use crate::report::html::Safe;

/// Room to the left, for the names of the lanes.
const LEFT_PX: f64 = 88.0;
const TOP_PX: f64 = 14.0;

/// A picture.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Picture {
    id: String,
    title: String,
    description: String,
    panels: Vec<Panel>,
}

/// The picture of a plan, with an id that is unique in its page; `None` where it shows nothing.
pub(super) fn of_plan(plan: &ChannelPlan, id: &str, title: &str) -> Option<Picture> {
    let regions = region::of_plan(plan);
    let panels = regions.iter().map(|region| panel::of_region(plan, region));
    let panels: Vec<Panel> = panels.collect();
    (!panels.is_empty()).then(|| Picture {
        id: id.to_owned(),
        title: title.to_owned(),
        description: words::description(plan),
        panels,
    })
}

impl Picture {
    /// What it is, in a few words.
    pub(super) fn title(&self) -> &str {
        &self.title
    }

    /// The SVG element: `attributes` stand in its tag, `first` before everything else in it.
    pub(super) fn element(&self, attributes: &str, first: &str) -> String {
        let (legend, mut y) = draw::legend(&self.panels, LEFT_PX + LENGTH_PX + BESIDE_PX - 28.0);
        y += TOP_PX;
        let mut panels = String::new();
        for panel in &self.panels {
            let drawn = draw::panel(panel);
            panels.push_str(&format!(
                "<g transform=\"translate({LEFT_PX} {y:.1})\">\n{drawn}</g>\n"
            ));
            y += draw::height_px(panel);
        }
        let width = LEFT_PX + LENGTH_PX + BESIDE_PX;
        format!(
            "<svg class=\"plan\" role=\"img\" aria-labelledby=\"{id}-title {id}-text\" \
             viewBox=\"0 0 {width:.0} {y:.0}\" style=\"max-width:{width:.0}px\"{attributes}>\n\
             <title id=\"{id}-title\">{title}</title>\n<desc id=\"{id}-text\">{text}</desc>\n{first}\
             <g transform=\"translate(14 {TOP_PX})\">\n{legend}</g>\n{panels}</svg>\n",
            id = self.id,
            title = Safe(&self.title),
            text = Safe(&self.description),
        )
    }
}
