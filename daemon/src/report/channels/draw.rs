//! The parts of a panel as SVG.

use std::fmt::Write;

use super::{
    air::Bar,
    panel::{Flag, LENGTH_PX, Panel, Sign, Slot},
    text::{self, mhz},
};
use crate::report::html::Safe;

const TITLE_PX: f64 = 26.0;
const FLAG_ROW_PX: f64 = 18.0;
const SLOT_PX: f64 = 11.0;
const NAMES_PX: f64 = 17.0;
const BAR_PX: f64 = 11.0;
const BAR_ROW_PX: f64 = 34.0;
const NOTE_PX: f64 = 20.0;
const PRODUCTS_PX: f64 = 22.0;
const AXIS_PX: f64 = 40.0;
/// Distance between two lines of a hatching.
const HATCH_PX: f64 = 6.0;
/// Least width at which something is seen.
const SEEN_PX: f64 = 2.0;

/// Where the parts of a panel stand, from its upper end.
struct Lanes {
    /// Upper end of the frame: above it are the flags.
    frame_px: f64,
    slots_px: f64,
    names_px: f64,
    bars_px: f64,
    note_px: f64,
    bottom_px: f64,
}

impl Lanes {
    fn of(panel: &Panel) -> Self {
        let rows = |rows: Option<usize>| rows.map_or(0.0, |last| last as f64 + 1.0);
        let flag_rows = rows(panel.flags.iter().map(|one| one.row).max());
        let slot_rows = rows(panel.slots.iter().map(|one| one.row).max());
        let bar_rows = rows(panel.bars.iter().map(|one| one.row).max());
        let where_any = |is_any: bool, px: f64| if is_any { px } else { 0.0 };
        let frame_px = TITLE_PX + FLAG_ROW_PX * flag_rows;
        let slots_px = frame_px + 8.0;
        let names_px = slots_px + slot_rows * (SLOT_PX + 2.0);
        let bars_px = names_px + where_any(!panel.slots.is_empty(), NAMES_PX);
        let note_px = bars_px + bar_rows * BAR_ROW_PX;
        let is_told = panel.beyond != (0, 0) || panel.bars.iter().any(|bar| bar.text.is_empty());
        let products_px = note_px + where_any(is_told, NOTE_PX);
        Self {
            frame_px,
            slots_px,
            names_px,
            bars_px,
            note_px,
            bottom_px: products_px + where_any(!panel.products.is_empty(), PRODUCTS_PX) + 4.0,
        }
    }
}

/// Height of a panel with its axis.
pub(super) fn height_px(panel: &Panel) -> f64 {
    Lanes::of(panel).bottom_px + AXIS_PX
}

/// A panel, from its upper left end.
pub(super) fn panel(panel: &Panel) -> String {
    let lanes = Lanes::of(panel);
    let mut out = axis(panel, &lanes);
    for flag in &panel.flags {
        out.push_str(&column(flag, &lanes));
    }
    for slot in &panel.slots {
        out.push_str(&of_slot(slot, lanes.slots_px));
    }
    for (x, name) in &panel.names {
        let y = lanes.names_px + 10.0;
        text_at(&mut out, "small halo", (*x, y), "middle", name);
    }
    for bar in &panel.bars {
        out.push_str(&of_bar(bar, lanes.bars_px));
    }
    out.push_str(&note(panel, &lanes));
    for (x, is_hit) in &panel.products {
        out.push_str(&product((*x, lanes.bottom_px), *is_hit));
    }
    for flag in &panel.flags {
        out.push_str(&label(flag, &lanes));
    }
    out + &lane_names(panel, &lanes)
}

/// Frame, grid, and the frequencies below and above.
fn axis(panel: &Panel, lanes: &Lanes) -> String {
    let (top, bottom) = (lanes.frame_px, lanes.bottom_px);
    let mut out = String::new();
    for tick in panel.axis.ticks() {
        let share = tick.px / LENGTH_PX;
        let value = panel.axis.low + share * (panel.axis.high - panel.axis.low);
        push(
            &mut out,
            format_args!(
                "<path class=\"major\" d=\"M{:.1} {top:.1}V{bottom:.1}\"/>\n",
                tick.px
            ),
        );
        text_at(
            &mut out,
            "",
            (tick.px, bottom + 17.0),
            "middle",
            &mhz(value),
        );
    }
    push(
        &mut out,
        format_args!("<path class=\"frame\" d=\"M0 {top:.1}H{LENGTH_PX}V{bottom:.1}H0Z\"/>\n"),
    );
    text_at(&mut out, "", (-34.0, bottom + 17.0), "end", "MHz");
    out
}

/// The pole of a link, and what its channel takes from top to bottom.
fn column(flag: &Flag, lanes: &Lanes) -> String {
    let ((left, right), pole) = (seen(flag.edges_px), flag.pole_px());
    let (top, bottom) = (lanes.frame_px, lanes.bottom_px);
    let from = sign_y(flag, lanes);
    format!(
        "<path class=\"column\" d=\"M{left:.1} {top:.1}H{right:.1}V{bottom:.1}H{left:.1}Z\"/>\n\
         <path class=\"pole\" d=\"M{pole:.1} {from:.1}V{top:.1}\"/>\n"
    )
}

fn sign_y(flag: &Flag, lanes: &Lanes) -> f64 {
    // A handful: exact as a float.
    lanes.frame_px - FLAG_ROW_PX * (flag.row as f64 + 0.5)
}

/// Sign and text of a link.
fn label(flag: &Flag, lanes: &Lanes) -> String {
    let (x, y) = (flag.pole_px(), sign_y(flag, lanes));
    let mut out = sign(flag.sign, x, y);
    if flag.text.is_empty() {
        return out;
    }
    let at = (x + super::panel::SIGN_PX, y + 4.5);
    text_at(&mut out, "halo", at, "start", &flag.text);
    out
}

/// A shape for what a link is to do, about its middle.
pub(super) fn sign(sign: Sign, x: f64, y: f64) -> String {
    let shape = match sign {
        Sign::Set => "m-5.5 -4h11l-5.5 9z",
        Sign::Stay => "m-4.5 -4.5h9v9h-9z",
        Sign::Fixed => "m0 -6l6 6l-6 6l-6 -6z",
    };
    let class = if sign == Sign::Fixed {
        "sign hollow"
    } else {
        "sign"
    };
    format!("<path class=\"{class}\" d=\"M{x:.1} {y:.1}{shape}\"/>\n")
}

fn of_slot(slot: &Slot, top_px: f64) -> String {
    let (left, right) = seen(slot.edges_px);
    // A handful: exact as a float.
    let y = top_px + slot.row as f64 * (SLOT_PX + 2.0);
    let class = if slot.is_taken { "slot taken" } else { "slot" };
    format!("<path class=\"{class}\" d=\"M{left:.1} {y:.1}H{right:.1}v{SLOT_PX}H{left:.1}Z\"/>\n")
}

fn of_bar(bar: &Bar, top_px: f64) -> String {
    let (left, right) = seen(bar.edges_px);
    // A handful: exact as a float.
    let top = top_px + BAR_ROW_PX * bar.row as f64 + 6.0;
    let mut out = hatched((left, right), top, bar.goes_on);
    if !bar.text.is_empty() {
        let at = (bar.middle_px, top + BAR_PX + 14.0);
        text_at(&mut out, "halo", at, "middle", &bar.text);
    }
    out
}

/// A hatched bar; an end at which it goes on is open.
pub(super) fn hatched((left, right): (f64, f64), top: f64, goes_on: (bool, bool)) -> String {
    let bottom = top + BAR_PX;
    let mut path = format!("M{left:.1} {top:.1}H{right:.1}M{left:.1} {bottom:.1}H{right:.1}");
    for (x, is_open) in [(left, goes_on.0), (right, goes_on.1)] {
        if !is_open {
            push(&mut path, format_args!("M{x:.1} {top:.1}V{bottom:.1}"));
        }
    }
    let count = ((right - left + BAR_PX) / HATCH_PX).ceil() as i32;
    for index in 1..count {
        // From the lower edge to the upper, at 45 degrees, cut at both ends.
        let x = left - BAR_PX + HATCH_PX * f64::from(index);
        let (from, to) = (x.max(left), (x + BAR_PX).min(right));
        if from < to {
            let (low, high) = (bottom - (from - x), bottom - (to - x));
            push(
                &mut path,
                format_args!("M{from:.1} {low:.1}L{to:.1} {high:.1}"),
            );
        }
    }
    format!("<path class=\"air\" d=\"{path}\"/>\n")
}

/// What the ends of the panel cut off, and what has no name.
fn note(panel: &Panel, lanes: &Lanes) -> String {
    let y = lanes.note_px + 14.0;
    let mut out = String::new();
    let more = |count: usize| format!("{count} more in the air");
    if panel.beyond.0 > 0 {
        let text = format!("← {}", more(panel.beyond.0));
        text_at(&mut out, "small halo", (4.0, y), "start", &text);
    }
    let unnamed = panel.bars.iter().filter(|bar| bar.text.is_empty()).count();
    if unnamed > 0 {
        let text = format!("{unnamed} without room for a name");
        text_at(
            &mut out,
            "small halo",
            (0.5 * LENGTH_PX, y),
            "middle",
            &text,
        );
    }
    if panel.beyond.1 > 0 {
        let text = format!("{} →", more(panel.beyond.1));
        text_at(&mut out, "small halo", (LENGTH_PX - 4.0, y), "end", &text);
    }
    out
}

/// What stands in which lane, to the left of the frame, and the frequencies as a heading.
fn lane_names(panel: &Panel, lanes: &Lanes) -> String {
    let mut out = String::new();
    let (low, high) = (panel.axis.low, panel.axis.high);
    let title = format!("{low:.0} to {high:.0} MHz");
    text_at(&mut out, "head", (0.0, 13.0), "start", &title);
    let mut lane = |is_any: bool, y: f64, name: &str| {
        if is_any {
            text_at(&mut out, "", (-10.0, y), "end", name);
        }
    };
    lane(!panel.flags.is_empty(), lanes.frame_px - 5.0, "links");
    lane(!panel.slots.is_empty(), lanes.slots_px + 9.5, "channels");
    lane(!panel.bars.is_empty(), lanes.bars_px + 16.0, "in the air");
    lane(
        !panel.products.is_empty(),
        lanes.bottom_px - 5.0,
        "products",
    );
    out
}

/// A tick upwards; one inside a channel of a link is longer and crossed.
fn product((x, y): (f64, f64), is_hit: bool) -> String {
    let path = match is_hit {
        true => format!(
            "M{x:.1} {y:.1}v-15M{:.1} {:.1}l6 6m0 -6l-6 6",
            x - 3.0,
            y - 18.0
        ),
        false => format!("M{x:.1} {y:.1}v-10"),
    };
    format!("<path class=\"product\" d=\"{path}\"/>\n")
}

/// Edges that are far enough apart to be seen.
fn seen((left, right): (f64, f64)) -> (f64, f64) {
    let short = (SEEN_PX - (right - left)).max(0.0);
    (left - 0.5 * short, right + 0.5 * short)
}

pub(super) fn text_at(out: &mut String, class: &str, at: (f64, f64), anchor: &str, text: &str) {
    let class = match class {
        "" => String::new(),
        class => format!(" class=\"{class}\""),
    };
    let anchor = match anchor {
        "start" => String::new(),
        anchor => format!(" text-anchor=\"{anchor}\""),
    };
    let ((x, y), text) = (at, Safe(text));
    push(
        out,
        format_args!("<text{class} x=\"{x:.1}\" y=\"{y:.1}\"{anchor}>{text}</text>\n"),
    );
}

fn push(out: &mut String, text: std::fmt::Arguments<'_>) {
    out.write_fmt(text).expect("a string takes all");
}

/// What the shapes mean, in lines that are no wider than the picture: each with its sample.
pub(super) fn legend(panels: &[Panel], room_px: f64) -> (String, f64) {
    const SAMPLE_PX: f64 = 34.0;
    const LINE_PX: f64 = 22.0;
    let (mut out, mut x, mut y) = (String::new(), 0.0, 0.0);
    for (sample, meaning) in samples(panels) {
        let width = SAMPLE_PX + text::width_px(meaning, text::SIZE_PX) + 14.0;
        if x > 0.0 && x + width > room_px {
            (x, y) = (0.0, y + LINE_PX);
        }
        let mut entry = sample;
        text_at(&mut entry, "", (SAMPLE_PX, 4.5), "start", meaning);
        push(
            &mut out,
            format_args!(
                "<g transform=\"translate({x:.1} {:.1})\">{entry}</g>\n",
                y + 8.0
            ),
        );
        x += width;
    }
    (out, y + LINE_PX + 6.0)
}

/// Only what there is.
fn samples(panels: &[Panel]) -> Vec<(String, &'static str)> {
    let flags = || panels.iter().flat_map(|panel| &panel.flags);
    let mut samples = Vec::new();
    for (kind, meaning) in [
        (Sign::Set, "set the link to this channel"),
        (Sign::Stay, "the link stays where it is"),
        (Sign::Fixed, "fixed: the others are planned round it"),
    ] {
        if flags().any(|flag| flag.sign == kind) {
            samples.push((sign(kind, 16.0, 0.0), meaning));
        }
    }
    if panels.iter().any(|panel| !panel.slots.is_empty()) {
        let slot = Slot {
            edges_px: (4.0, 26.0),
            row: 0,
            is_taken: false,
        };
        samples.push((of_slot(&slot, -5.5), "channel of the table"));
    }
    if panels.iter().any(|panel| !panel.bars.is_empty()) {
        samples.push((
            hatched((2.0, 28.0), -5.5, (false, false)),
            "in the air, and no link",
        ));
    }
    for (is_hit, meaning) in [
        (false, "third-order product of the links"),
        (true, "third-order product inside a link’s channel"),
    ] {
        let mut products = panels.iter().flat_map(|panel| &panel.products);
        if products.any(|one| one.1 == is_hit) {
            samples.push((product((16.0, 8.0), is_hit), meaning));
        }
    }
    samples
}
