//! Levels of the returns: as a table, and as bars that are drawn over again.

use std::collections::BTreeMap;

use goodwire_proto::v1::{ReturnLevel, WatchLevelsResponse};

use super::{
    Look,
    table::{Cell, Side, Table},
};

/// Where a bar begins, in dBFS.
const BOTTOM_DBFS: f64 = -90.0;
/// Characters beside a bar: number, name, two levels, CLIP.
const BESIDE: usize = 52;
/// A name that is longer is cut.
const NAME_LENGTH: usize = 16;

/// The levels of one moment.
pub fn table(look: &Look, levels: &WatchLevelsResponse) -> String {
    let mut table = Table::new([
        ("return", Side::Right),
        ("hears", Side::Short),
        ("peak", Side::Right),
        ("RMS", Side::Right),
        ("unit", Side::Left),
        ("", Side::Left),
    ]);
    for level in &levels.returns {
        table.row([
            Cell::from(level.r#return.to_string()),
            bare(&level.name).into(),
            dbfs(level.peak_dbfs).into(),
            dbfs(level.rms_dbfs).into(),
            "dBFS".into(),
            if level.clipped { "CLIP" } else { "" }.into(),
        ]);
    }
    table.render(look)
}

/// Bars, and how often each return has clipped since they were first drawn.
#[derive(Debug, Default)]
pub struct Bars {
    lines: usize,
    clips: BTreeMap<i32, u32>,
}

impl Bars {
    /// The bars, drawn over those before.
    pub fn draw(&mut self, look: &Look, levels: &WatchLevelsResponse) -> String {
        let mut text = match self.lines {
            0 => String::new(),
            // Up to the first of our lines, and away with what stands there (ECMA-48: CPL, ED).
            lines => format!("\x1b[{lines}F\x1b[J"),
        };
        for level in &levels.returns {
            let clips = self.clips.entry(level.r#return).or_default();
            *clips += u32::from(level.clipped);
            text.push_str(&line(look, level, *clips));
        }
        self.lines = levels.returns.len();
        text
    }
}

fn line(look: &Look, level: &ReturnLevel, clips: u32) -> String {
    let name: String = bare(&level.name).chars().take(NAME_LENGTH).collect();
    let width = look.width.saturating_sub(BESIDE).max(10);
    let clip = match clips {
        0 => String::new(),
        1 => "CLIP".to_owned(),
        several => format!("CLIP {several}×"),
    };
    let line = format!(
        "{:>3} {name:NAME_LENGTH$} {} {:>6} {:>6} dBFS {clip}",
        level.r#return,
        bar(look, level, width),
        dbfs(level.peak_dbfs),
        dbfs(level.rms_dbfs),
    );
    format!("{}\n", line.trim_end())
}

/// Full up to the RMS, with a mark at the peak.
fn bar(look: &Look, level: &ReturnLevel, width: usize) -> String {
    let place = |dbfs: Option<f64>| {
        let share = dbfs.map_or(0.0, |dbfs| 1.0 - dbfs.min(0.0) / BOTTOM_DBFS);
        (share.clamp(0.0, 1.0) * width as f64).round() as usize
    };
    let (full, peak) = (place(level.rms_dbfs), place(level.peak_dbfs));
    let (block, mark, rest) = look.either(('█', '▏', '·'), ('#', '|', '.'));
    let letter = |index: usize| {
        if index < full {
            block
        } else if index + 1 == peak {
            mark
        } else {
            rest
        }
    };
    (0..width).map(letter).collect()
}

fn dbfs(level: Option<f64>) -> String {
    level.map_or_else(|| "-".to_owned(), |dbfs| format!("{dbfs:.1}"))
}

fn bare(name: &str) -> &str {
    name.rsplit_once('/').map_or(name, |(_, bare)| bare)
}

#[cfg(test)]
mod tests {
    use super::*;

    const LOOK: Look = Look {
        width: 72,
        unicode: false,
        colour: false,
    };

    fn levels(clipped: bool) -> WatchLevelsResponse {
        let level = |number, name: &str, peak: Option<f64>, rms: Option<f64>| ReturnLevel {
            r#return: number,
            name: name.into(),
            peak_dbfs: peak,
            rms_dbfs: rms,
            clipped: clipped && number == 1,
        };
        WatchLevelsResponse {
            returns: vec![
                level(1, "links/lectern", Some(-9.0), Some(-45.0)),
                level(2, "reference", None, None),
            ],
        }
    }

    #[test]
    fn a_bar_is_full_to_the_rms_and_marks_the_peak() {
        // 20 characters for 90 dB: -45 dBFS is half of them, -9 dBFS the 18th.
        assert_eq!(
            Bars::default().draw(&LOOK, &levels(false)),
            "  1 lectern          ##########.......|..   -9.0  -45.0 dBFS\n  \
               2 reference        ....................      -      - dBFS\n"
        );
    }

    #[test]
    fn a_clip_stays_and_is_counted_and_the_bars_are_drawn_over() {
        let mut bars = Bars::default();
        assert!(bars.draw(&LOOK, &levels(true)).contains("CLIP\n"));
        let again = bars.draw(&LOOK, &levels(true));
        assert!(again.starts_with("\x1b[2F\x1b[J"), "{again:?}");
        assert!(again.contains("CLIP 2×\n"));
        assert!(bars.draw(&LOOK, &levels(false)).contains("CLIP 2×\n"));
    }

    #[test]
    fn what_was_never_heard_has_no_level() {
        assert_eq!(
            table(&LOOK, &levels(true)),
            "  return  hears      peak    RMS  unit\n       \
                    1  lectern    -9.0  -45.0  dBFS  CLIP\n       \
                    2  reference     -      -  dBFS\n"
        );
    }
}
