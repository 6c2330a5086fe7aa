//! How wide text is, before any browser has set it.

/// Size of the text of a picture in pixels, as the style has it.
pub(super) const SIZE_PX: f64 = 13.0;
/// Size of the names of channels.
pub(super) const SMALL_PX: f64 = 11.0;

/// Width of a text in pixels at a size, rather too wide than too narrow.
///
/// Shares of the size after DejaVu Sans, the widest of the fonts that `system-ui` usually stands
/// for, read off its metrics; what is not ASCII is taken to be as wide as it is high.
pub(super) fn width_px(text: &str, size_px: f64) -> f64 {
    let shares = text.chars().map(|letter| match letter {
        'i' | 'j' | 'l' | 'I' | ' ' | '.' | ',' | ':' | ';' | '\'' | '|' | '!' => 0.34,
        '-' | '(' | ')' | '[' | ']' | '/' | 'f' | 'r' | 't' | 'J' | '·' => 0.42,
        'm' | 'w' | 'M' | 'W' | '%' | '@' => 1.0,
        'A'..='Z' | '+' | '=' | '<' | '>' | '#' | '&' | '~' => 0.8,
        '\u{20}'..='\u{7e}' => 0.65,
        _ => 1.0,
    });
    size_px * shares.sum::<f64>()
}

/// A text that is no wider than `room_px`: its end becomes `…` where it would be.
pub(super) fn shortened(text: &str, size_px: f64, room_px: f64) -> String {
    if width_px(text, size_px) <= room_px {
        return text.to_owned();
    }
    let mut short = text.to_owned();
    while !short.is_empty() && width_px(&short, size_px) > room_px - size_px {
        short.pop();
    }
    format!("{}…", short.trim_end())
}

/// A frequency or a distance between frequencies in MHz, to the nearest kHz: `2412`, `863.125`.
pub(super) fn mhz(mhz: f64) -> String {
    let text = format!("{mhz:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    match text {
        "-0" => "0".to_owned(),
        text => text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frequencies_are_told_to_the_khz_without_needless_zeros() {
        let told = [2412.0, 863.125, 0.1 + 0.2, -0.000_1].map(mhz);
        assert_eq!(told, ["2412", "863.125", "0.3", "0"]);
    }

    #[test]
    fn a_name_of_40_letters_is_cut_to_80_px_with_a_sign_that_it_was() {
        let short = shortened(&"n".repeat(40), SIZE_PX, 80.0);
        assert!(
            short.ends_with('…') && short.starts_with("nnnnn"),
            "{short}"
        );
        assert!(width_px(&short, SIZE_PX) <= 80.0);
        assert_eq!(shortened("choir", SIZE_PX, 80.0), "choir");
    }
}
