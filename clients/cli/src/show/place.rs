//! Where a figure was found, in words.

use prost_types::{Struct, value::Kind};

use super::number;

/// `125 to 250 Hz, at 140 Hz`; empty for a figure of the whole.
pub fn place(at: Option<&Struct>) -> String {
    let Some(at) = at else {
        return String::new();
    };
    let mut words = Vec::new();
    let number_at = |name: &str| match at.fields.get(name)?.kind {
        Some(Kind::NumberValue(number)) => Some(number),
        _ => None,
    };
    let band = number_at("from_hz").zip(number_at("to_hz"));
    if let Some((from, to)) = band {
        words.push(band_words(from, to));
    }
    for (name, value) in &at.fields {
        match (name.as_str(), &value.kind) {
            ("from_hz" | "to_hz", _) if band.is_some() => {}
            ("frequency_hz", Some(Kind::NumberValue(hz))) if band.is_some() => {
                words.push(format!("at {}", frequency(*hz)));
            }
            (name, Some(Kind::NumberValue(number))) => words.push(one(name, *number)),
            (_, Some(Kind::StringValue(text))) => words.push(text.clone()),
            (name, Some(Kind::BoolValue(true))) => words.push(name.replace('_', " ")),
            _ => {}
        }
    }
    words.join(", ")
}

/// A frequency with three digits, in Hz or kHz.
pub fn frequency(hz: f64) -> String {
    if hz >= 999.5 {
        format!("{} kHz", number::plain(three_digits(hz) / 1000.0))
    } else {
        format!("{} Hz", number::plain(three_digits(hz)))
    }
}

fn band_words(from_hz: f64, to_hz: f64) -> String {
    let (from, to) = (frequency(from_hz), frequency(to_hz));
    match (from.split_once(' '), to.split_once(' ')) {
        (Some((number, from_unit)), Some((_, to_unit))) if from_unit == to_unit => {
            format!("{number} to {to}")
        }
        _ => format!("{from} to {to}"),
    }
}

/// A number whose unit ends its name.
fn one(name: &str, number: f64) -> String {
    match name.rsplit_once('_') {
        Some(("frequency", "hz")) => frequency(number),
        Some(("level", "dbfs")) => format!("{} dBFS", number::plain(number)),
        Some((what, "hz")) => format!("{what} {}", frequency(number)),
        Some((what, "db")) => format!("{what} {} dB", number::plain(number)),
        Some((what, "dbfs")) => format!("{what} {} dBFS", number::plain(number)),
        Some((what, "s")) => format!("{what} {} s", number::plain(number)),
        _ if name == "metres" => format!("{} m", number::plain(number)),
        _ => format!("{} {}", name.replace('_', " "), number::plain(number)),
    }
}

fn three_digits(value: f64) -> f64 {
    if value == 0.0 {
        return 0.0;
    }
    let unit = 10_f64.powf(value.abs().log10().floor() - 2.0);
    (value / unit).round() * unit
}

#[cfg(test)]
pub mod tests {
    use super::*;
    use prost_types::Value;

    /// A place of numbers.
    pub fn at(pairs: &[(&str, f64)]) -> Struct {
        let fields = pairs.iter().map(|(name, number)| {
            let kind = Some(Kind::NumberValue(*number));
            ((*name).to_owned(), Value { kind })
        });
        Struct {
            fields: fields.collect(),
        }
    }

    #[test]
    fn places_are_told_in_words() {
        for (pairs, want) in [
            (
                &[("from_hz", 20.0), ("to_hz", 63.0), ("frequency_hz", 24.13)][..],
                "20 to 63 Hz, at 24.1 Hz",
            ),
            (&[("from_hz", 500.0), ("to_hz", 1000.0)], "500 Hz to 1 kHz"),
            (
                &[("frequency_hz", 12_500.0), ("level_dbfs", -20.0)],
                "12.5 kHz, -20 dBFS",
            ),
            (&[("metres", 18.0)], "18 m"),
            (&[("start_s", 1.5)], "start 1.5 s"),
            (&[], ""),
        ] {
            assert_eq!(place(Some(&at(pairs))), want);
        }
        assert_eq!(place(None), "");
    }
}
