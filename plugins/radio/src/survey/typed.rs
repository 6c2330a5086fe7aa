//! A table typed by hand: one transmission a line.
//!
//! ```text
//! # channel width, in MHz
//! 1 20
//! 6 40+ upstairs   # the second 20 MHz above; further words are a name
//! 36 80
//! 802.15.4 15
//! bluetooth        # all of its hopping band
//! band 470 478 television 21
//! ```

use super::{Heard, Survey, SurveyError, wrong};
use crate::occupied::{
    Dsss, Occupant, Secondary, Width5, bluetooth_hopping, bluetooth_le, ieee802154, wifi_2g4,
    wifi_5g,
};

/// What a line may be.
const RIGHT: &str = "write `channel width` (`6 20`, `1 40+`, `36 80`), `802.15.4 15`, \
                     `bluetooth`, `bluetooth 37` or `band 470 478 name`";

/// Reads the lines. Empty ones and what follows a `#` are passed over; a Wi-Fi channel without a
/// width is 20 MHz wide, and further words are its name.
///
/// # Errors
///
/// The first line that is none of these; a text without any.
pub fn parse(text: &str) -> Result<Survey, SurveyError> {
    let mut survey = Survey::default();
    for (index, line) in text.lines().enumerate() {
        let words: Vec<&str> = line
            .split('#')
            .next()
            .unwrap_or_default()
            .split_whitespace()
            .collect();
        if words.is_empty() {
            continue;
        }
        let occupant = occupant(&words).map_err(|what| wrong(index + 1, what))?;
        survey.heard.push(Heard {
            occupant,
            level_dbm: None,
            last_heard_s: None,
        });
    }
    if survey.heard.is_empty() {
        return Err(SurveyError::Empty { right: RIGHT });
    }
    Ok(survey)
}

/// The transmission of one line, or what is wrong with it.
fn occupant(words: &[&str]) -> Result<Occupant, String> {
    match *words {
        ["band", low, high, ref name @ ..] => between(low, high, name),
        ["802.15.4", channel, ref name @ ..] => {
            let occupant = ieee802154(whole(channel)?).map_err(|error| error.to_string())?;
            Ok(named(occupant, name))
        }
        ["bluetooth"] => Ok(bluetooth_hopping()),
        ["bluetooth", channel, ref name @ ..] => {
            let occupant = bluetooth_le(whole(channel)?).map_err(|error| error.to_string())?;
            Ok(named(occupant, name))
        }
        [channel, ref rest @ ..] => {
            let (width, name) = rest.split_first().map_or(("20", rest), |(w, n)| (*w, n));
            let occupant = wifi(whole(channel)?, width)?;
            Ok(named(occupant, name))
        }
        [] => Err(RIGHT.to_owned()),
    }
}

fn between(low: &str, high: &str, name: &[&str]) -> Result<Occupant, String> {
    let edge_mhz = |word: &str| -> Result<f64, String> {
        let number = word.parse().map_err(|_| not_a_number(word))?;
        crate::units::frequency_mhz(number).map_err(|error| error.to_string())
    };
    let (low_mhz, high_mhz) = (edge_mhz(low)?, edge_mhz(high)?);
    let own_name = format!("{low} to {high} MHz");
    let occupant = Occupant::between(&own_name, low_mhz, high_mhz);
    Ok(named(occupant.map_err(|error| error.to_string())?, name))
}

fn wifi(channel: u16, width: &str) -> Result<Occupant, String> {
    match channel {
        0..=14 => wifi_low(channel, width),
        15..=35 => Err(format!(
            "Wi-Fi channel {channel} does not exist: 1 to 14 do at 2.4 GHz, 36 to 177 at 5 GHz"
        )),
        36..1_000 => wifi_high(channel, width),
        _ => Err(frequency_for_channel(&channel.to_string())),
    }
}

fn wifi_low(channel: u16, width: &str) -> Result<Occupant, String> {
    let (dsss, secondary) = match width {
        "20" => (Dsss::Silent, None),
        "22" => (Dsss::Sent, None),
        "40+" => (Dsss::Silent, Some(Secondary::Above)),
        "40-" => (Dsss::Silent, Some(Secondary::Below)),
        "40" => {
            return Err("say where the second 20 MHz are: 40+ (above) or 40- (below)".to_owned());
        }
        _ => {
            return Err(format!(
                "{width:?} is no width at 2.4 GHz: 20, 22, 40+ or 40-"
            ));
        }
    };
    wifi_2g4(channel, dsss, secondary).map_err(|error| error.to_string())
}

/// At 5 GHz the blocks are fixed: a sign behind the width says nothing new.
fn wifi_high(channel: u16, width: &str) -> Result<Occupant, String> {
    let mhz = width.trim_end_matches(['+', '-']).parse().ok();
    let Some(block) = mhz.and_then(Width5::of_mhz) else {
        return Err(format!("{width:?} is no width at 5 GHz: 20, 40, 80 or 160"));
    };
    wifi_5g(channel, block).map_err(|error| error.to_string())
}

fn named(occupant: Occupant, name: &[&str]) -> Occupant {
    if name.is_empty() {
        return occupant;
    }
    let name = format!("{} ({})", name.join(" "), occupant.name);
    Occupant { name, ..occupant }
}

fn whole(word: &str) -> Result<u16, String> {
    word.parse().map_err(|_| match word.parse::<f64>() {
        Ok(_) => frequency_for_channel(word),
        Err(_) => not_a_number(word),
    })
}

fn frequency_for_channel(word: &str) -> String {
    format!(
        "{word} is a frequency and no channel: write the number of the channel, \
         or `band` and the edges in MHz"
    )
}

fn not_a_number(word: &str) -> String {
    format!("{word:?} is not a number here: {RIGHT}")
}
