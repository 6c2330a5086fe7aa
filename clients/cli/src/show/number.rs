//! Numbers for people: a value is rounded to its uncertainty.

/// Digits behind the point that are shown at most.
const DECIMALS_MAX: i32 = 6;
/// Significant digits of a number without uncertainty.
const DIGITS_USUAL: i32 = 4;

/// Value and uncertainty, both rounded to the last digit that the uncertainty leaves standing.
///
/// The uncertainty keeps one digit, two where the first is a 1: 0.0437 becomes 0.04, 0.0137 0.014
/// (common practice, no source). The second text is empty where there is no uncertainty.
pub fn rounded(value: f64, uncertainty: Option<f64>) -> (String, String) {
    match uncertainty {
        Some(u) if u > 0.0 && u.is_finite() => {
            let decimals = decimals_of(u);
            if decimals > DECIMALS_MAX {
                return (fixed(value, DECIMALS_MAX), format!("{u:.0e}"));
            }
            (fixed(value, decimals), fixed(u, decimals))
        }
        Some(u) => (plain(value), plain(u)),
        None => (plain(value), String::new()),
    }
}

/// A value between two ends that are not symmetric, each with two digits of the interval, and so many
/// more that an end that is not 0 does not read 0.
pub fn between(value: f64, low: f64, high: f64) -> (String, String) {
    let of_width = decimals_of(((high - low) / 4.0).abs().max(f64::MIN_POSITIVE));
    let nearest_0 = low.abs().min(high.abs());
    let reads_0 = nearest_0 < 0.5 * 10_f64.powi(-of_width);
    // Where 0 is in the interval an end may read so.
    let decimals = match low * high > 0.0 && reads_0 {
        true => -exponent(nearest_0),
        false => of_width,
    };
    let decimals = decimals.min(DECIMALS_MAX);
    (
        fixed(value, decimals),
        format!("{} to {}", fixed(low, decimals), fixed(high, decimals)),
    )
}

/// A number without uncertainty: four digits, no zeros at the end.
pub fn plain(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return if value == 0.0 {
            "0".into()
        } else {
            value.to_string()
        };
    }
    let magnitude = exponent(value);
    let text = fixed(value, (DIGITS_USUAL - 1 - magnitude).clamp(0, 12));
    if text.contains('.') {
        return text.trim_end_matches('0').trim_end_matches('.').to_owned();
    }
    text
}

/// How many digits behind the point an uncertainty leaves standing; negative for tens and more.
fn decimals_of(uncertainty: f64) -> i32 {
    let magnitude = exponent(uncertainty);
    // What rounds up to the next power of ten counts as that power: 0.097 is 0.10.
    let leading = (uncertainty / 10_f64.powi(magnitude) * 10.0).round() / 10.0;
    let (magnitude, leading) = if leading >= 9.5 {
        (magnitude + 1, 1.0)
    } else {
        (magnitude, leading)
    };
    if leading < 1.95 {
        1 - magnitude
    } else {
        -magnitude
    }
}

fn exponent(value: f64) -> i32 {
    value.abs().log10().floor() as i32
}

/// With so many digits behind the point; negative: rounded to tens, hundreds.
fn fixed(value: f64, decimals: i32) -> String {
    let text = if decimals >= 0 {
        format!("{value:.*}", decimals.unsigned_abs() as usize)
    } else {
        let unit = 10_f64.powi(-decimals);
        format!("{:.0}", (value / unit).round() * unit)
    };
    // A zero has no sign for people.
    match text.strip_prefix('-') {
        Some(digits) if digits.bytes().all(|digit| b"0.".contains(&digit)) => digits.to_owned(),
        _ => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_rounded_to_their_uncertainty() {
        for (value, uncertainty, want) in [
            (-0.4217, 0.0437, ("-0.42", "0.04")),
            (-0.4217, 0.0137, ("-0.422", "0.014")),
            (4.0, 0.0971, ("4.00", "0.10")),
            (12_345.6, 35.0, ("12350", "40")),
            (12_345.6, 12.0, ("12346", "12")),
            (997.0, 0.5, ("997.0", "0.5")),
            (0.0, 0.01, ("0.000", "0.010")),
            (-0.0001, 0.02, ("0.00", "0.02")),
            (0.25, 3.0e-9, ("0.250000", "3e-9")),
        ] {
            let (shown, spread) = rounded(value, Some(uncertainty));
            assert_eq!(
                (shown.as_str(), spread.as_str()),
                want,
                "{value} ± {uncertainty}"
            );
        }
    }

    #[test]
    fn an_end_that_is_not_0_does_not_read_0() {
        for (ends, want) in [
            ([48.2, 4.82, 482.0], ("48", "5 to 482")),
            ([6.51, 0.165, 36.3], ("6.5", "0.2 to 36.3")),
            ([0.0, 0.0, 25.2], ("0", "0 to 25")),
            ([1.0, -3.0, 9.0], ("1", "-3 to 9")),
            ([97.41, 96.52, 98.03], ("97.4", "96.5 to 98.0")),
        ] {
            let [value, low, high] = ends;
            let (shown, range) = between(value, low, high);
            assert_eq!((shown.as_str(), range.as_str()), want, "{ends:?}");
        }
    }

    #[test]
    fn without_uncertainty_four_digits_are_shown() {
        for (value, want) in [
            (1.0, "1"),
            (-1.0, "-1"),
            (0.0, "0"),
            (343.2, "343.2"),
            (0.001_234_56, "0.001235"),
            (48_000.0, "48000"),
            (2.5, "2.5"),
        ] {
            assert_eq!(rounded(value, None), (want.into(), String::new()));
        }
    }

    #[test]
    fn an_interval_shows_both_ends() {
        assert_eq!(between(3.0, 0.62, 8.77), ("3".into(), "1 to 9".into()));
        assert_eq!(
            between(0.2, 0.1, 0.4),
            ("0.20".into(), "0.10 to 0.40".into())
        );
    }
}
