//! Which format, how many channels and which period a device is asked for.

use cpal::{SampleFormat, SupportedBufferSize, SupportedStreamConfigRange};

use super::super::InterfaceError;

/// What the configuration wants of one side.
#[derive(Debug, Clone)]
pub struct Wanted {
    /// The device's id.
    pub id: String,
    rate_hz: u32,
    channel_count: usize,
    role: &'static str,
}

impl Wanted {
    /// `channel_count` channels or more at `rate_hz`; `role` is `sends` or `returns`.
    pub fn new(id: &str, rate_hz: u32, channel_count: usize, role: &'static str) -> Self {
        Self {
            id: id.to_owned(),
            rate_hz,
            channel_count,
            role,
        }
    }
}

/// What one side is opened with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Choice {
    /// Rate, channels and period.
    pub config: cpal::StreamConfig,
    /// Format of the samples.
    pub format: SampleFormat,
    /// Frames in the period that is asked for.
    pub period_frames: usize,
}

impl Choice {
    /// How many channels the device is opened with: all that it has, or the fewest that do.
    pub fn channel_count(&self) -> usize {
        usize::from(self.config.channels)
    }
}

/// Formats that keep 16 bits or more, the most exact first.
const FORMATS: [SampleFormat; 4] = [
    SampleFormat::I32,
    SampleFormat::F32,
    SampleFormat::I24,
    SampleFormat::I16,
];

/// A period of about 10.7 ms (512 frames at 48 kHz): with the two that the device keeps, and the
/// ramp, `stop` is heard within 50 ms.
fn wanted_period_frames(rate_hz: u32) -> u32 {
    (rate_hz / 3 * 4 / 125).max(64)
}

/// Chooses from what a device offers.
///
/// # Errors
/// `Unfit`, saying what the device does have.
pub fn choose(
    wanted: &Wanted,
    offered: impl Iterator<Item = SupportedStreamConfigRange>,
) -> Result<Choice, InterfaceError> {
    let offered: Vec<_> = offered.collect();
    let has_rate = |range: &&SupportedStreamConfigRange| {
        range.min_sample_rate() <= wanted.rate_hz && wanted.rate_hz <= range.max_sample_rate()
    };
    let has_channels = |range: &&SupportedStreamConfigRange| {
        usize::from(range.channels()) >= wanted.channel_count.max(1)
    };
    let rank = |range: &&SupportedStreamConfigRange| {
        FORMATS
            .iter()
            .position(|format| *format == range.sample_format())
    };
    let best = offered
        .iter()
        .filter(has_rate)
        .filter(has_channels)
        .filter(|range| rank(range).is_some())
        .min_by_key(|range| (range.channels(), rank(range)));
    let Some(best) = best else {
        return Err(InterfaceError::Unfit {
            text: unfit(wanted, &offered),
        });
    };
    let period_frames = match best.buffer_size() {
        SupportedBufferSize::Range { min, max } => {
            wanted_period_frames(wanted.rate_hz).clamp(*min, (*max).max(*min))
        }
        SupportedBufferSize::Unknown => wanted_period_frames(wanted.rate_hz),
    };
    Ok(Choice {
        config: cpal::StreamConfig {
            channels: best.channels(),
            sample_rate: wanted.rate_hz,
            buffer_size: cpal::BufferSize::Fixed(period_frames),
        },
        format: best.sample_format(),
        period_frames: period_frames as usize,
    })
}

fn unfit(wanted: &Wanted, offered: &[SupportedStreamConfigRange]) -> String {
    let Wanted {
        id,
        rate_hz,
        channel_count,
        role,
    } = wanted;
    let most_channels = offered
        .iter()
        .map(|range| range.channels())
        .max()
        .unwrap_or(0);
    if usize::from(most_channels) < *channel_count {
        return format!("the device {id} has {most_channels} {role}, the rig uses {channel_count}");
    }
    let lowest = offered
        .iter()
        .map(|range| range.min_sample_rate())
        .min()
        .unwrap_or(0);
    let highest = offered
        .iter()
        .map(|range| range.max_sample_rate())
        .max()
        .unwrap_or(0);
    format!(
        "the device {id} has no format of 16 bits or more with {channel_count} {role} at \
         {rate_hz} Hz; its rates lie between {lowest} and {highest} Hz"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn range(channels: u16, rates: (u32, u32), format: SampleFormat) -> SupportedStreamConfigRange {
        let sizes = SupportedBufferSize::Range { min: 32, max: 4096 };
        SupportedStreamConfigRange::new(channels, rates.0, rates.1, sizes, format)
    }

    fn wanted(rate_hz: u32, channel_count: usize) -> Wanted {
        Wanted::new("hw:CARD=Box,DEV=0", rate_hz, channel_count, "sends")
    }

    #[test]
    fn fewest_channels_that_do_and_the_most_exact_format_are_chosen() {
        let offered = [
            range(8, (44_100, 96_000), SampleFormat::I32),
            range(4, (44_100, 96_000), SampleFormat::I16),
            range(4, (44_100, 96_000), SampleFormat::I32),
            range(2, (44_100, 96_000), SampleFormat::I32),
        ];
        let choice = choose(&wanted(48_000, 3), offered.into_iter()).unwrap();
        assert_eq!(
            (choice.channel_count(), choice.format),
            (4, SampleFormat::I32)
        );
        assert_eq!(
            (choice.config.sample_rate, choice.period_frames),
            (48_000, 512)
        );
    }

    #[test]
    fn refusals_say_what_the_device_has() {
        let offered = || [range(2, (44_100, 48_000), SampleFormat::I16)].into_iter();
        let error = choose(&wanted(48_000, 4), offered())
            .unwrap_err()
            .to_string();
        assert!(error.contains("has 2 sends, the rig uses 4"), "{error}");
        let error = choose(&wanted(96_000, 2), offered())
            .unwrap_err()
            .to_string();
        assert!(
            error.contains("96000 Hz") && error.contains("44100 and 48000"),
            "{error}"
        );
        let eight_bit = [range(2, (8_000, 48_000), SampleFormat::U8)].into_iter();
        assert!(matches!(
            choose(&wanted(48_000, 2), eight_bit),
            Err(InterfaceError::Unfit { .. })
        ));
    }
}
