//! Bands over frequency as plain characters: a row for each link and each transmission.

use goodwire_proto::v1::ChannelPlan;

use super::words;
use crate::show::Look;

/// Widest names of rows.
const NAMES_MAX: usize = 26;
/// Spaces before the names and between them and the bands.
const BETWEEN: usize = 4;
/// The bands are at least so wide, rather than the names.
const COLUMNS_MIN: usize = 20;
/// The bands grow no wider than this.
const COLUMNS_MAX: usize = 90;
/// More rows of a kind than this become one together.
const ROWS_MAX: usize = 16;
/// Bands further apart than this share of their frequency are drawn apart.
const APART_SHARE: f64 = 0.1;
/// Where there are channels, at most so many times their width is drawn, or [`WIDE_SHARE`] of their
/// frequency, whichever is more.
const WIDE_TIMES: f64 = 2.0;
/// See [`WIDE_TIMES`].
const WIDE_SHARE: f64 = 0.05;

/// A row: its name, its bands in MHz, and the character that they are drawn with.
struct Row {
    name: String,
    bands: Vec<(f64, f64)>,
    ink: char,
}

/// The picture: a block for each part of the spectrum in which there is anything.
pub fn picture(look: &Look, plan: &ChannelPlan) -> String {
    let rows = rows(look, plan);
    let blocks = parts(plan).into_iter().map(|part| block(look, &rows, part));
    blocks.collect::<Vec<_>>().join("\n")
}

fn rows(look: &Look, plan: &ChannelPlan) -> Vec<Row> {
    let (ours, theirs, edge) = look.either(('█', '▒', '·'), ('#', '/', '|'));
    let link_rows = plan.links.iter().enumerate().filter_map(|(index, link)| {
        Some(Row {
            name: format!("{} {}", words::link(plan, index), link.channel),
            bands: vec![(link.low_mhz?, link.high_mhz?)],
            ink: ours,
        })
    });
    let channels = plan.channels.iter().map(|one| (one.low_mhz, one.high_mhz));
    let channels = Row {
        name: "all channels".to_owned(),
        bands: channels.collect(),
        ink: edge,
    };
    let air_rows = plan.occupied.iter().map(|one| Row {
        name: one.name.clone(),
        bands: vec![(one.low_mhz, one.high_mhz)],
        ink: theirs,
    });
    let products = Row {
        name: "products".to_owned(),
        bands: plan.product_mhz.iter().map(|mhz| (*mhz, *mhz)).collect(),
        ink: '^',
    };
    let mut rows = together(link_rows.collect(), "links");
    rows.push(channels);
    rows.extend(together(air_rows.collect(), "in the air"));
    rows.push(products);
    rows
}

/// Rows of one name are one; too many rows are one, too.
fn together(rows: Vec<Row>, name: &str) -> Vec<Row> {
    let mut merged: Vec<Row> = Vec::new();
    for row in rows {
        match merged.iter_mut().find(|one| one.name == row.name) {
            Some(same) => same.bands.extend(row.bands),
            None => merged.push(row),
        }
    }
    if merged.len() <= ROWS_MAX {
        return merged;
    }
    let ink = merged[0].ink;
    let name = format!("{} {name}", merged.len());
    let bands = merged.into_iter().flat_map(|row| row.bands).collect();
    vec![Row { name, bands, ink }]
}

/// The parts of the spectrum with anything in them, in MHz.
fn parts(plan: &ChannelPlan) -> Vec<(f64, f64)> {
    let links = plan.links.iter();
    let links = links.filter_map(|link| Some((link.low_mhz?, link.high_mhz?)));
    let channels = plan.channels.iter().map(|one| (one.low_mhz, one.high_mhz));
    let ours: Vec<(f64, f64)> = channels.chain(links).collect();
    let air = plan.occupied.iter().map(|one| (one.low_mhz, one.high_mhz));
    let mut bands: Vec<(f64, f64)> = ours.iter().copied().chain(air).collect();
    bands.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut parts: Vec<(f64, f64)> = Vec::new();
    for (low, high) in bands {
        match parts.last_mut() {
            Some(last) if low - last.1 <= APART_SHARE * low => last.1 = last.1.max(high),
            _ => parts.push((low, high)),
        }
    }
    parts
        .into_iter()
        .map(|part| narrowed(part, &ours))
        .collect()
}

/// A part with channels in it, no wider than lets them be seen.
fn narrowed(part: (f64, f64), ours: &[(f64, f64)]) -> (f64, f64) {
    let inside = || ours.iter().filter(|one| part.0 <= one.0 && one.1 <= part.1);
    let low = inside().map(|one| one.0).fold(f64::INFINITY, f64::min);
    let high = inside().map(|one| one.1).fold(f64::NEG_INFINITY, f64::max);
    let widest = (WIDE_TIMES * (high - low)).max(WIDE_SHARE * low);
    if low > high || part.1 - part.0 <= widest {
        return part;
    }
    let beside = 0.5 * (widest - (high - low));
    (part.0.max(low - beside), part.1.min(high + beside))
}

/// A block of those rows that have a band in it.
fn block(look: &Look, rows: &[Row], (low, high): (f64, f64)) -> String {
    let is_inside = |band: &(f64, f64)| band.0 <= high && low <= band.1;
    let rows = rows.iter().filter(|row| row.bands.iter().any(is_inside));
    let rows: Vec<&Row> = rows.collect();
    let names = rows.iter().map(|row| row.name.chars().count());
    let room = look.width.saturating_sub(COLUMNS_MIN + BETWEEN);
    let names = names.max().unwrap_or(0).min(NAMES_MAX).min(room);
    let columns = look.width.saturating_sub(names + BETWEEN);
    let columns = columns.clamp(COLUMNS_MIN, COLUMNS_MAX);
    let step = (high - low).max(f64::MIN_POSITIVE) / columns as f64;
    let mut text = String::new();
    for row in rows {
        let mut cells = vec![' '; columns];
        for band in row.bands.iter().filter(|band| is_inside(band)) {
            let (from, to) = cells_of((band.0 - low) / step, (band.1 - low) / step, columns);
            cells[from..to].fill(row.ink);
        }
        let cells: String = cells.into_iter().collect();
        let name = shortened(look, &row.name, names);
        text.push_str(&format!("  {name:names$}  {}\n", cells.trim_end()));
    }
    let (low, high) = (words::mhz(low), format!("{} MHz", words::mhz(high)));
    let room = columns.saturating_sub(low.chars().count());
    text + &format!("  {:names$}  {low}{high:>room$}\n", "")
}

/// The cells of which the middle lies in a band; at least the one in which its own middle lies.
fn cells_of(from: f64, to: f64, columns: usize) -> (usize, usize) {
    let cell = |place: f64| (place.max(0.0) as usize).min(columns);
    let (first, end) = (cell((from - 0.5).ceil()), cell((to + 0.5).floor()));
    if first < end {
        return (first, end);
    }
    let middle = cell(0.5 * (from + to)).min(columns - 1);
    (middle, middle + 1)
}

fn shortened(look: &Look, name: &str, width: usize) -> String {
    if name.chars().count() <= width {
        return name.to_owned();
    }
    let (end, length) = look.either(("…", 1), ("..", 2));
    let kept: String = name.chars().take(width - length).collect();
    format!("{kept}{end}")
}

#[cfg(test)]
mod tests {
    use super::super::tests::{LOOK, plan};
    use super::*;

    #[test]
    fn links_stand_beside_wi_fi_channel_6_in_80_columns_and_in_ascii() {
        // 26 MHz from 2423.5 to 2449.5 on 53 columns: 0.49 MHz each. Wi-Fi channel 6 begins 3.5 MHz,
        // 7.1 columns, from the left and ends 2.5 MHz, 5.1 columns, from the right.
        let blank = |count: usize| " ".repeat(count);
        let want = format!(
            "  lectern C                {}##\n  choir A                  ##\n  \
             all channels             ||{}|||{}||\n  Wi-Fi channel 6, 20 MHz  {}{}\n\
             {}2423.5{}2449.5 MHz\n",
            blank(51),
            blank(22),
            blank(24),
            blank(7),
            "/".repeat(41),
            blank(27),
            blank(37),
        );
        let ascii = Look {
            unicode: false,
            ..LOOK
        };
        let got = picture(&ascii, &plan());
        assert_eq!(got, want);
    }

    #[test]
    fn a_band_that_is_narrower_than_a_cell_is_still_one_cell() {
        assert_eq!(cells_of(3.4, 3.45, 10), (3, 4));
        assert_eq!(cells_of(9.99, 10.5, 10), (9, 10));
        assert_eq!(cells_of(-5.0, 2.0, 10), (0, 2));
        assert_eq!(cells_of(0.0, 10.0, 10), (0, 10));
    }

    #[test]
    fn no_line_is_wider_than_the_terminal_at_40_80_and_120_columns() {
        for width in [40, 80, 120] {
            let look = Look { width, ..LOOK };
            for line in picture(&look, &plan()).lines() {
                assert!(line.chars().count() <= width, "{width}: {line:?}");
            }
        }
    }
}
