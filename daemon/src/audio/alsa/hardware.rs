//! What the kernel says of a device that is open: cpal asks for the nearest rate and does not
//! tell which one it got.

use std::{fs, path::Path};

/// Where the kernel lists its sound cards.
const CARDS: &str = "/proc/asound";

/// True for ids that reach the hardware without resampling, mixing or scaling in between.
#[must_use]
pub fn is_transparent(id: &str) -> bool {
    id.starts_with("hw:")
}

/// What a device runs with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Actual {
    /// Rate in Hz.
    pub rate_hz: u32,
    /// Format as the kernel names it, such as `S32_LE`.
    pub format: String,
    /// How many channels.
    pub channel_count: u32,
    /// Frames in a period.
    pub period_frames: u32,
}

/// Reads what the device `id` runs with in `direction` (`p` or `c`); `None` where it is no
/// hardware device, or not open.
#[must_use]
pub fn read_back(id: &str, direction: char) -> Option<Actual> {
    read_back_below(Path::new(CARDS), id, direction)
}

fn read_back_below(cards: &Path, id: &str, direction: char) -> Option<Actual> {
    let (card, device) = card_and_device(id)?;
    // A card's folder goes by its number and by its id alike.
    let numbered = cards.join(format!("card{card}"));
    let card = if numbered.exists() {
        numbered
    } else {
        cards.join(card)
    };
    let parts = fs::read_dir(card.join(format!("pcm{device}{direction}"))).ok()?;
    parts.flatten().find_map(|part| {
        let text = fs::read_to_string(part.path().join("hw_params")).ok()?;
        parse(&text)
    })
}

/// Card and device of `hw:CARD=Box,DEV=1`, `hw:Box,1` or `hw:Box`.
fn card_and_device(id: &str) -> Option<(&str, &str)> {
    let rest = id.strip_prefix("hw:")?;
    let (card, device) = rest.split_once(',').unwrap_or((rest, "0"));
    let card = card.strip_prefix("CARD=").unwrap_or(card);
    let device = device.strip_prefix("DEV=").unwrap_or(device);
    Some((card, device))
}

/// Reads a `hw_params` file; `None` where it says `closed`.
fn parse(text: &str) -> Option<Actual> {
    let field = |name: &str| {
        text.lines()
            .find_map(|line| line.strip_prefix(name)?.strip_prefix(": "))
    };
    let number = |name: &str| field(name)?.split_whitespace().next()?.parse().ok();
    Some(Actual {
        rate_hz: number("rate")?,
        format: field("format")?.trim().to_owned(),
        channel_count: number("channels")?,
        period_frames: number("period_size")?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As a kernel 6.1 writes it.
    const OPEN: &str = "access: RW_INTERLEAVED\nformat: S32_LE\nsubformat: STD\nchannels: 4\n\
                        rate: 48000 (48000/1)\nperiod_size: 512\nbuffer_size: 1024\n";

    #[test]
    fn open_device_is_read_by_card_id_and_by_card_number() {
        let cards = tempfile::tempdir().unwrap();
        for card in ["Box", "card1"] {
            let folder = cards.path().join(card).join("pcm0p/sub0");
            fs::create_dir_all(&folder).unwrap();
            fs::write(folder.join("hw_params"), OPEN).unwrap();
        }
        let want = Actual {
            rate_hz: 48_000,
            format: String::from("S32_LE"),
            channel_count: 4,
            period_frames: 512,
        };
        for id in ["hw:CARD=Box,DEV=0", "hw:Box", "hw:1,0", "hw:CARD=1,DEV=0"] {
            assert_eq!(
                read_back_below(cards.path(), id, 'p'),
                Some(want.clone()),
                "{id}"
            );
            assert_eq!(read_back_below(cards.path(), id, 'c'), None, "{id}");
        }
        assert_eq!(read_back_below(cards.path(), "plughw:Box", 'p'), None);
    }

    #[test]
    fn closed_device_tells_nothing() {
        assert_eq!(parse("closed\n"), None);
    }

    #[test]
    fn only_hw_ids_are_transparent() {
        assert!(is_transparent("hw:CARD=Box,DEV=0"));
        for id in ["plughw:CARD=Box,DEV=0", "default", "dmix:CARD=Box", "pulse"] {
            assert!(!is_transparent(id), "{id}");
        }
    }
}
