//! Pictures of plans that were made up: what is in them, and where it lies.

use goodwire_proto::v1::{ChannelPlan, Figure, Measurement};
use prost_types::{Struct, Value, value::Kind};

use super::{
    file, made_up, section,
    text::{self, SIZE_PX, SMALL_PX},
};

/// A rectangle: left, top, right, bottom.
type Extent = [f64; 4];

/// A picture as its reader finds it, in pixels of the whole.
#[derive(Default)]
struct Found {
    view: Extent,
    texts: Vec<(String, Extent)>,
    /// Ends of all lines, and the class of each.
    points: Vec<(String, f64, f64)>,
    /// Upright lines from links to the frame: x, from, to.
    poles: Vec<Extent>,
}

fn attribute<'a>(tag: &'a str, name: &str) -> Option<&'a str> {
    let rest = tag.split_once(&format!(" {name}=\""))?.1;
    Some(rest.split_once('"').expect("a quoted attribute ends").0)
}

fn number(tag: &str, name: &str) -> f64 {
    attribute(tag, name).unwrap().parse().unwrap()
}

/// Reads a picture; every element must be closed in order.
fn read(svg: &str) -> Found {
    let mut found = Found::default();
    let mut open: Vec<&str> = Vec::new();
    let mut shifts = vec![(0.0, 0.0)];
    for part in svg.split('<').skip(1) {
        let (tag, inner) = part.split_once('>').expect("a tag ends");
        let name = tag.split_whitespace().next().unwrap();
        let (left, top) = *shifts.last().unwrap();
        match name.trim_end_matches('/') {
            "svg" => {
                let view = attribute(tag, "viewBox").unwrap().split(' ');
                let view: Vec<f64> = view.map(|one| one.parse().unwrap()).collect();
                found.view = view.try_into().unwrap();
            }
            "text" => {
                let is_small = attribute(tag, "class").is_some_and(|class| class.contains("small"));
                let size = if is_small { SMALL_PX } else { SIZE_PX };
                let said = inner.replace("&amp;", "&").replace("&quot;", "\"");
                let said = said
                    .replace("&lt;", "<")
                    .replace("&gt;", ">")
                    .replace("&#39;", "'");
                let width = text::width_px(&said, size);
                let x = left + number(tag, "x");
                let from = match attribute(tag, "text-anchor") {
                    Some("middle") => x - 0.5 * width,
                    Some("end") => x - width,
                    _ => x,
                };
                // Letters reach about 0.75 of their size above the line, and 0.2 below it.
                let y = top + number(tag, "y");
                let extent = [from, y - 0.75 * size, from + width, y + 0.2 * size];
                found.texts.push((said, extent));
            }
            "path" => lines(&mut found, tag, (left, top)),
            _ => {}
        }
        if name == "g" {
            let shift = attribute(tag, "transform").unwrap();
            let shift = shift
                .strip_prefix("translate(")
                .unwrap()
                .trim_end_matches(')');
            let (x, y) = shift.split_once(' ').unwrap();
            shifts.push((
                left + x.parse::<f64>().unwrap(),
                top + y.parse::<f64>().unwrap(),
            ));
        }
        match name.strip_prefix('/') {
            Some(closed) => {
                assert_eq!(open.pop(), Some(closed));
                if closed == "g" {
                    shifts.pop();
                }
            }
            None if tag.ends_with('/') => {}
            None => open.push(name),
        }
    }
    assert!(open.is_empty(), "never closed: {open:?}");
    found
}

/// Ends of the lines of a path, which is made of M, L, H, V and their relatives.
fn lines(found: &mut Found, tag: &str, (left, top): (f64, f64)) {
    let class = attribute(tag, "class").unwrap().to_owned();
    if class == "paper" {
        return;
    }
    let path = attribute(tag, "d").unwrap();
    let (mut x, mut y) = (0.0, 0.0);
    let mut commands = path
        .char_indices()
        .filter(|(_, c)| c.is_ascii_alphabetic())
        .peekable();
    while let Some((at, command)) = commands.next() {
        let end = commands.peek().map_or(path.len(), |next| next.0);
        let numbers = path[at + 1..end].replace('-', " -");
        let numbers: Vec<f64> = numbers
            .split_whitespace()
            .map(|one| one.parse().unwrap())
            .collect();
        let before = (x, y);
        match (command, numbers.as_slice()) {
            ('M' | 'L', [to_x, to_y]) => (x, y) = (*to_x, *to_y),
            ('m' | 'l', [by_x, by_y]) => (x, y) = (x + by_x, y + by_y),
            ('H', [to]) => x = *to,
            ('h', [by]) => x += by,
            ('V', [to]) => y = *to,
            ('v', [by]) => y += by,
            ('Z' | 'z', []) => {}
            other => panic!("{other:?} in {path}"),
        }
        found.points.push((class.clone(), left + x, top + y));
        if class == "pole" && command == 'V' {
            found.poles.push([
                left + x,
                top + before.1.min(y),
                left + x,
                top + before.1.max(y),
            ]);
        }
    }
}

fn overlap(a: &Extent, b: &Extent) -> bool {
    a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3]
}

fn pictures() -> Vec<(&'static str, ChannelPlan)> {
    vec![
        ("venue", made_up::venue()),
        ("crowded", made_up::crowded()),
        ("many", made_up::many()),
        ("twenty", made_up::twenty()),
    ]
}

#[test]
fn no_text_overlaps_another_one_and_no_pole_goes_through_a_text() {
    for (name, plan) in pictures() {
        let found = read(&file(&plan, name).unwrap());
        for (index, (said, extent)) in found.texts.iter().enumerate() {
            for (other, beside) in &found.texts[index + 1..] {
                assert!(
                    !overlap(extent, beside),
                    "{name}: {said:?} lies on {other:?}"
                );
            }
            for pole in &found.poles {
                assert!(
                    !overlap(extent, pole),
                    "{name}: a pole at {pole:?} cuts {said:?}"
                );
            }
        }
    }
}

#[test]
fn nothing_lies_outside_of_the_view() {
    for (name, plan) in pictures() {
        let found = read(&file(&plan, name).unwrap());
        let [left, top, right, bottom] = found.view;
        for (said, extent) in &found.texts {
            let is_inside =
                left <= extent[0] && top <= extent[1] && extent[2] <= right && extent[3] <= bottom;
            assert!(
                is_inside,
                "{name}: {said:?} at {extent:?} of {:?}",
                found.view
            );
        }
        for (class, x, y) in &found.points {
            let is_inside = (left..=right).contains(x) && (top..=bottom).contains(y);
            assert!(is_inside, "{name}: {class} at {x} {y} of {:?}", found.view);
        }
    }
}

#[test]
fn a_link_stands_where_its_frequency_is_on_the_axis() {
    // The panel shows 2401 to 2479 MHz and 3 % of that at both ends, on 600 px from 88 px on.
    let found = read(&file(&made_up::venue(), "").unwrap());
    let (low, high) = (2401.0 - 0.03 * 78.0, 2479.0 + 0.03 * 78.0);
    let px = |mhz: f64| 88.0 + 600.0 * (mhz - low) / (high - low);
    let mut poles: Vec<f64> = found.poles.iter().map(|pole| pole[0]).collect();
    poles.sort_by(f64::total_cmp);
    let want = [2422.0, 2426.0, 2446.0, 2450.0, 2474.0, 2478.0].map(px);
    for (got, want) in poles.iter().zip(want) {
        assert!((got - want).abs() < 0.06, "{got} px, want {want} px");
    }
    assert_eq!(poles.len(), 6);
}

#[test]
fn every_kind_of_thing_has_a_shape_of_its_own_and_a_line_in_the_legend() {
    let svg = file(&made_up::venue(), "lectern").unwrap();
    for wanted in [
        "set the link to this channel",
        "the link stays where it is",
        "fixed: the others are planned round it",
        "channel of the table",
        "in the air, and no link",
        "third-order product of the links",
        "third-order product inside a link’s channel",
        ">lectern · 6<",
        ">further link 1 · 20<",
        ">Wi-Fi channel 6, 20 MHz, -52 dBm<",
        ">MHz<",
    ] {
        assert!(svg.contains(wanted), "{wanted:?} is not in the picture");
    }
    assert!(!file(&made_up::many(), "").unwrap().contains("third-order"));
}

#[test]
fn a_reader_of_screens_is_told_what_there_is_to_see() {
    let svg = file(&made_up::venue(), "lectern: bands").unwrap();
    let text = svg
        .split("<desc")
        .nth(1)
        .unwrap()
        .split("</desc>")
        .next()
        .unwrap();
    for wanted in [
        "lectern is to be set to channel 6, 2421 to 2423 MHz.",
        "choir stays on channel 7",
        "organ-loft is fixed on channel 19",
        "The table has 20 channels.",
        "Wi-Fi channel 1, 20 MHz, 2402 to 2422 MHz",
    ] {
        assert!(text.contains(wanted), "{wanted:?} is not in {text}");
    }
    assert!(svg.contains("role=\"img\" aria-labelledby=\"plan-title plan-text\""));
    assert!(svg.contains("<title id=\"plan-title\">lectern: bands</title>"));
}

#[test]
fn uhf_2_4_ghz_and_5_ghz_stand_in_three_panels() {
    let svg = file(&made_up::crowded(), "").unwrap();
    assert_eq!(svg.matches("class=\"head\"").count(), 3);
    let many = file(&made_up::many(), "").unwrap();
    // The channels take 600 to 623.825 MHz; twice that with 3 % at both ends is 586.7 to 637.2 MHz.
    // Television channels end at 582 MHz (14 from 470 MHz on) and begin at 638 MHz (7 to 694 MHz).
    assert!(many.contains(">← 14 more in the air<") && many.contains(">7 more in the air →<"));
}

#[test]
fn names_that_people_wrote_stay_text() {
    let svg = file(&made_up::crowded(), "<b>").unwrap();
    assert!(svg.contains("bluetooth &lt;low &amp; &quot;energy&quot;&gt;"));
    assert!(!svg.contains("<low") && !svg.contains("<b>"));
}

#[test]
fn an_empty_plan_has_no_picture() {
    assert_eq!(file(&ChannelPlan::default(), ""), None);
}

fn measured(plan: ChannelPlan) -> Measurement {
    let at = |channel: &str| {
        let kind = Some(Kind::StringValue(channel.to_owned()));
        Struct {
            fields: [("channel".to_owned(), Value { kind })].into(),
        }
    };
    let figure = |id: &str, channel: &str, value| Figure {
        id: id.into(),
        value: Some(value),
        at: Some(at(channel)),
        ..Figure::default()
    };
    Measurement {
        figures: vec![
            figure("rank", "20", 1.0),
            figure("separation", "20", 5.0),
            figure("overlap", "20", 0.0),
            figure("rank", "7", 2.0),
        ],
        channel_plan: Some(plan),
        ..Measurement::default()
    }
}

#[test]
fn the_report_says_which_link_goes_where_how_clear_and_what_is_bad() {
    let page = section(&measured(made_up::venue()), "m1", "lectern, channels");
    for wanted in [
        "5 of 6 links fit cleanly, and this is the least bad plan for all; everything was searched",
        "Foyer on 9 is inside Wi-Fi channel 6, 20 MHz.",
        "<th scope=\"row\">lectern</th><td>1</td><td><strong>6</strong></td>",
        "<td>7, as it is</td>",
        "<td>19, fixed</td>",
        // Channel 6 ends at 2423 MHz, Wi-Fi channel 1 at 2422 MHz: 1 MHz of its 2 are inside.
        "<td class=\"what\">1 MHz inside Wi-Fi channel 1, 20 MHz</td>\
         <td class=\"what\">2 MHz from choir</td>",
        // Channel 20 begins at 2477 MHz, Wi-Fi channel 11 ends at 2472 MHz.
        "<td class=\"what\">5 MHz above Wi-Fi channel 11, 20 MHz</td>\
         <td class=\"what\">2 MHz from organ-loft</td>",
    ] {
        assert!(page.contains(wanted), "{wanted:?} is not in\n{page}");
    }
    let best = page
        .find("<td class=\"number\">1</td><th scope=\"row\">20</th>")
        .unwrap();
    let next = page
        .find("<td class=\"number\">2</td><th scope=\"row\">7</th>")
        .unwrap();
    assert!(best < next, "the best channel is told first");
    assert_eq!(section(&Measurement::default(), "m1", ""), "");
}
