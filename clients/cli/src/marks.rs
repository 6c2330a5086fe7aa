//! Marks: where somebody stood when, from a file, from the command line or typed while walking.

use anyhow::{Context, bail, ensure};

/// International foot in metres, exact since 1959.
const FOOT_M: f64 = 0.3048;

/// Where somebody stands, and what is to be seen there.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Mark {
    /// Distance in metres; absent where none was noted.
    pub metres: Option<f64>,
    /// Label in the person's words.
    pub label: String,
}

impl Mark {
    /// A mark of the command line.
    ///
    /// # Errors
    /// A distance that no mark can have.
    pub fn new(metres: Option<f64>, feet: Option<f64>, label: String) -> anyhow::Result<Self> {
        let metres = metres.or(feet.map(|feet| feet * FOOT_M));
        let metres = metres.map(distance).transpose()?;
        Ok(Self { metres, label })
    }

    /// A mark typed while walking: `12`, `12 m bar`, `40 ft`, `door`, or nothing at all.
    ///
    /// # Errors
    /// A distance that no mark can have.
    pub fn typed(line: &str) -> anyhow::Result<Self> {
        let line = line.trim();
        let digits = line
            .find(|letter: char| !letter.is_ascii_digit() && !"+-.".contains(letter))
            .unwrap_or(line.len());
        let (number, rest) = line.split_at(digits);
        let Ok(number) = number.parse::<f64>() else {
            return Self::new(None, None, line.to_owned());
        };
        let rest = rest.trim_start();
        let (unit, label) = rest.split_once(' ').unwrap_or((rest, ""));
        let (metres_each, label) = match unit {
            "m" | "metres" | "meters" => (1.0, label),
            "ft" | "feet" | "'" => (FOOT_M, label),
            _ => (1.0, rest),
        };
        Self::new(Some(number * metres_each), None, label.trim().to_owned())
    }

    /// `12 m, bar`; `no distance` where there is none.
    pub fn words(&self) -> String {
        let distance = match self.metres {
            Some(metres) => format!("{} m", crate::show::number::plain(metres)),
            None => "no distance".to_owned(),
        };
        match self.label.as_str() {
            "" => distance,
            label => format!("{distance}, {label}"),
        }
    }
}

/// Reads a file of marks: the header `seconds,metres,label` or `seconds,feet,label`, then lines.
/// Gives each with its seconds from the first frame of the returned recording.
///
/// # Errors
/// Names the line that is wrong, and what would be right.
pub fn file(text: &str) -> anyhow::Result<Vec<(f64, Mark)>> {
    let mut lines = text.trim_start_matches('\u{feff}').lines().enumerate();
    let header = lines.next().map_or("", |(_, line)| line.trim());
    let metres_each = match header.replace(' ', "").as_str() {
        "seconds,metres,label" => 1.0,
        "seconds,feet,label" => FOOT_M,
        _ => {
            bail!("line 1 is `{header}`; it must be `seconds,metres,label` or `seconds,feet,label`")
        }
    };
    let mut marks: Vec<(f64, Mark)> = Vec::new();
    for (index, line) in lines.filter(|(_, line)| !line.trim().is_empty()) {
        let place = || format!("line {}: `{line}`", index + 1);
        let (start_s, mark) = row(line, metres_each).with_context(place)?;
        let last_s = marks.last().map_or(0.0, |(last_s, _)| *last_s);
        ensure!(
            start_s >= last_s,
            "{}: {start_s} s is before {last_s} s; marks stand in order of time, from 0 s on",
            place()
        );
        marks.push((start_s, mark));
    }
    Ok(marks)
}

fn row(line: &str, metres_each: f64) -> anyhow::Result<(f64, Mark)> {
    let mut fields = line.splitn(3, ',').map(str::trim);
    let number = |text: &str| match text.parse::<f64>() {
        Ok(number) if number.is_finite() => Ok(number),
        _ => bail!("`{text}` is no number"),
    };
    let start_s = number(fields.next().unwrap_or_default())?;
    let metres = match fields.next().context("a distance is missing")? {
        "" => None,
        text => Some(number(text)? * metres_each),
    };
    let label = fields.next().unwrap_or_default().trim_matches('"');
    Ok((start_s, Mark::new(metres, None, label.to_owned())?))
}

fn distance(metres: f64) -> anyhow::Result<f64> {
    ensure!(
        metres.is_finite() && metres >= 0.0,
        "a distance of {metres} m is none: it is 0 or more"
    );
    Ok(metres)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_in_feet_are_0_3048_m_each() {
        let read = file("seconds,feet,label\n1.5,100,\"bar, left\"\n\n2,,door\n").unwrap();
        assert_eq!(read[0].1.metres, Some(30.48));
        assert_eq!(read[0].1.label, "bar, left");
        assert_eq!((read[1].0, read[1].1.metres), (2.0, None));
        assert_eq!(Mark::typed("100 ft stage").unwrap().metres, Some(30.48));
    }

    #[test]
    fn a_file_that_is_wrong_names_its_line_and_what_would_be_right() {
        let wrong = |text: &str| format!("{:#}", file(text).unwrap_err());
        assert!(wrong("time,metres\n").contains("line 1"));
        let text = wrong("seconds,metres,label\n1,2,a\nsoon,3,b");
        assert!(text.contains("line 3") && text.contains("`soon` is no number"));
        let text = wrong("seconds,metres,label\n5,2,a\n4,3,b");
        assert!(
            text.contains("line 3") && text.contains("order of time"),
            "{text}"
        );
        let text = wrong("seconds,metres,label\n5,-2,a");
        assert!(
            text.contains("line 2") && text.contains("0 or more"),
            "{text}"
        );
        assert!(wrong("seconds,metres,label\n-5,2,a").contains("from 0 s on"));
    }

    #[test]
    fn what_is_typed_while_walking_is_a_distance_a_label_both_or_neither() {
        let mark = |metres, label: &str| Mark {
            metres,
            label: label.into(),
        };
        for (line, want) in [
            ("12", mark(Some(12.0), "")),
            (" 8.5m ", mark(Some(8.5), "")),
            ("12 m at the bar", mark(Some(12.0), "at the bar")),
            ("12 at the bar", mark(Some(12.0), "at the bar")),
            ("10ft", mark(Some(3.048), "")),
            ("door", mark(None, "door")),
            ("", mark(None, "")),
        ] {
            assert_eq!(Mark::typed(line).unwrap(), want, "{line:?}");
        }
        assert!(
            Mark::typed("-3")
                .unwrap_err()
                .to_string()
                .contains("0 or more")
        );
    }
}
