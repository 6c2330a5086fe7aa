//! Numbers and names in sentences.

use goodwire_proto::v1::Figure;

use super::interval::Interval;

/// Significant digits of an uncertainty; more would be a claim that nobody can keep.
const UNCERTAINTY_DIGITS: i32 = 2;
/// Significant digits of a number that has no uncertainty.
const PLAIN_DIGITS: i32 = 6;
/// Significant digits of a slope whose range has no width: every pair of nights says the same.
const RANGELESS_DIGITS: i32 = 3;
const DECIMALS_MAX: i32 = 9;

/// A figure's id in words, as a sentence begins: `Clip point`, `THD`.
pub(crate) fn figure_name(id: &str) -> String {
    let short = ["thd", "snr", "imd", "n", "h2", "h3", "h4", "h5"];
    let words: Vec<String> = id
        .split('_')
        .map(|word| {
            if short.contains(&word) {
                word.to_uppercase()
            } else {
                word.to_owned()
            }
        })
        .collect();
    let text = words.join(" ");
    let mut chars = text.chars();
    match chars.next() {
        Some(first) => first.to_uppercase().chain(chars).collect(),
        None => "The figure".to_owned(),
    }
}

/// A figure with its place: `Deviation from 125 Hz to 250 Hz`.
pub(crate) fn figure_in_words(figure: &Figure) -> String {
    format!(
        "{}{}",
        figure_name(&figure.id),
        super::place::in_words(figure.at.as_ref())
    )
}

/// A number as it was written: without needless digits.
pub(crate) fn number(number: f64) -> String {
    trimmed(number, decimals(number, PLAIN_DIGITS))
}

/// A number to so many significant digits, without needless ones.
pub(crate) fn rounded(number: f64, digits: i32) -> String {
    trimmed(number, decimals(number, digits))
}

/// A value with what is known of it: `-0.42 ± 0.02 dB` (coverage 2), `3 (1.2 to 6.8)`, `at least 7`.
pub(crate) fn interval(interval: &Interval, unit: &str) -> String {
    let Interval { value, low, high } = *interval;
    if high.is_infinite() {
        return match low.is_infinite() {
            true => with_unit(&number(value), unit),
            false => format!("at least {}", with_unit(&number(low), unit)),
        };
    }
    let (down, up) = (value - low, high - value);
    if up == 0.0 && down == 0.0 {
        return with_unit(&number(value), unit);
    }
    let places = decimals(down.max(up), UNCERTAINTY_DIGITS);
    let fixed = |number| fixed(number, places);
    if (up - down).abs() <= 1e-6 * (up + down) {
        return with_unit(&format!("{} ± {}", fixed(value), fixed(up)), unit);
    }
    let text = with_unit(&fixed(value), unit);
    format!("{text} ({} to {})", fixed(low), fixed(high))
}

/// A value with its range, to two digits of half the range's width: `0.12 dB (0.09 to 0.15)`.
pub(super) fn ranged(interval: &Interval, unit: &str) -> String {
    let half_width = (interval.high - interval.low) / 2.0;
    let places = match half_width > 0.0 {
        true => decimals(half_width, UNCERTAINTY_DIGITS),
        false => decimals(interval.value, RANGELESS_DIGITS),
    };
    let numbers = [interval.value, interval.low, interval.high];
    // Zeros that all three end with say nothing.
    let needed = |number: &f64| {
        let text = trimmed(*number, places);
        text.split_once('.')
            .map_or(0, |(_, decimals)| decimals.len())
    };
    let places = numbers.iter().map(needed).max().unwrap_or_default();
    let [value, low, high] = numbers.map(|number| fixed(number, places));
    let value = with_unit(&value, unit);
    match half_width > 0.0 {
        true => format!("{value} ({low} to {high})"),
        false => value,
    }
}

/// A value with its half width, without unit: `-0.42 ± 0.02`; `-0.42` where it has none.
pub(crate) fn spread(value: f64, half_width: Option<f64>) -> String {
    let half_width = half_width.unwrap_or_default();
    let (low, high) = (value - half_width, value + half_width);
    interval(&Interval { value, low, high }, "")
}

/// A value alone, with as many decimals as its uncertainty allows.
pub(super) fn value(interval: &Interval, unit: &str) -> String {
    let spread = (interval.high - interval.value).max(interval.value - interval.low);
    if spread == 0.0 || spread.is_infinite() {
        return with_unit(&number(interval.value), unit);
    }
    with_unit(
        &fixed(interval.value, decimals(spread, UNCERTAINTY_DIGITS)),
        unit,
    )
}

/// A number and its unit; nothing more where the unit is empty.
pub(crate) fn with_unit(number: &str, unit: &str) -> String {
    if unit.is_empty() {
        number.to_owned()
    } else {
        format!("{number} {unit}")
    }
}

/// The unit at the end of a name: `Hz` of `frequency_hz`.
pub(super) fn unit_of(key: &str) -> &'static str {
    match key.rsplit('_').next() {
        Some("hz") => "Hz",
        Some("dbfs") => "dBFS",
        Some("db") => "dB",
        Some("ms") => "ms",
        Some("s") => "s",
        Some("metres") => "m",
        _ => "",
    }
}

/// Decimals that show so many significant digits of a number.
fn decimals(number: f64, digits: i32) -> usize {
    if number == 0.0 || !number.is_finite() {
        return 0;
    }
    let places = |number: f64| {
        // Within the range of an i32 by far: log10 of an f64 lies between -324 and 309.
        let exponent = number.abs().log10().floor() as i32;
        usize::try_from((digits - 1 - exponent).clamp(0, DECIMALS_MAX)).expect("not negative")
    };
    // What is rounded up to a power of ten has one digit more before its point: 0.0996 is 0.10.
    let first = places(number);
    let rounded = format!("{number:.first$}").parse().unwrap_or(number);
    if rounded == 0.0 {
        first
    } else {
        places(rounded)
    }
}

fn fixed(number: f64, places: usize) -> String {
    let text = format!("{number:.places$}");
    // Rounded to nothing, a negative number would read -0.
    match text.strip_prefix('-') {
        Some(digits) if digits.chars().all(|c| c == '0' || c == '.') => digits.to_owned(),
        _ => text,
    }
}

fn trimmed(number: f64, places: usize) -> String {
    let text = fixed(number, places);
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn just_below_a_power_of_ten_there_is_no_digit_too_many() {
        assert_eq!(spread(-0.42, Some(0.0996)), "-0.42 ± 0.10");
        assert_eq!(spread(-0.42, Some(0.0994)), "-0.420 ± 0.099");
        assert_eq!(spread(120.0, Some(9.96)), "120 ± 10");
        assert_eq!(rounded(99.96, 3), "100");
        assert_eq!(rounded(0.000_999_96, 4), "0.001");
    }

    #[test]
    fn a_number_too_small_to_show_keeps_9_decimals() {
        assert_eq!(decimals(1e-12, 2), 9);
        assert_eq!(number(1e-12), "0");
    }
}
