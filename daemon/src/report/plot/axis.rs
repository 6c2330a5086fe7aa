//! Axes: where a value lies, and which values are written beside it.

mod days;

/// How an axis is divided.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Scale {
    /// Equal lengths are equal ratios; values are above 0.
    Log,
    /// Equal lengths are equal differences.
    Linear,
    /// As linear; values are seconds that the clocks of the site have shown since 1970.
    Time,
}

/// An axis.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Axis {
    pub(crate) scale: Scale,
    /// The value at its beginning, left or bottom.
    pub(crate) low: f64,
    /// The value at its end; above `low`.
    pub(crate) high: f64,
    /// Its length in pixels.
    pub(crate) length_px: f64,
    /// What it counts, with the unit.
    pub(crate) label: String,
}

/// A line of the grid.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Tick {
    /// Its distance from the beginning in pixels.
    pub(crate) px: f64,
    /// What is written beside it; empty for a minor one.
    pub(crate) text: String,
}

/// Least distance between two written values in pixels.
const TEXT_PX: f64 = 46.0;

impl Axis {
    /// The distance of a value from the beginning in pixels.
    pub(crate) fn px(&self, value: f64) -> f64 {
        let share = match self.scale {
            Scale::Linear | Scale::Time => (value - self.low) / (self.high - self.low),
            // What is not above 0 lies below every axis.
            Scale::Log => {
                (value.max(f64::MIN_POSITIVE) / self.low).ln() / (self.high / self.low).ln()
            }
        };
        share * self.length_px
    }

    /// The lines of the grid.
    pub(crate) fn ticks(&self) -> Vec<Tick> {
        match self.scale {
            Scale::Log => self.log_ticks(),
            Scale::Linear => self.linear_ticks(),
            Scale::Time => days::ticks(self),
        }
    }

    /// 1 to 9 of each decade, with 1, 2 and 5 written.
    fn log_ticks(&self) -> Vec<Tick> {
        let decades = self.low.log10().floor() as i32..=self.high.log10().ceil() as i32;
        decades
            .flat_map(|decade| (1..10).map(move |digit| (digit, decade)))
            .map(|(digit, decade)| (digit, f64::from(digit) * 10f64.powi(decade)))
            .filter(|(_, value)| self.holds(*value))
            .map(|(digit, value)| Tick {
                px: self.px(value),
                text: match digit {
                    1 | 2 | 5 => short(value),
                    _ => String::new(),
                },
            })
            .collect()
    }

    /// Steps of 1, 2 or 5 times a power of ten, as close as the writing allows.
    fn linear_ticks(&self) -> Vec<Tick> {
        let span = self.high - self.low;
        let least = span * TEXT_PX / self.length_px;
        let power = 10f64.powf(least.log10().floor());
        let steps = [1.0, 2.0, 5.0, 10.0].map(|digit| digit * power);
        let step = steps.into_iter().find(|step| *step >= least);
        let step = step.unwrap_or(10.0 * power);
        let first = (self.low / step - 1e-9).ceil() as i64;
        let last = (self.high / step + 1e-9).floor() as i64;
        (first..=last)
            .map(|index| {
                // Multiplied and not added up, so that the last is as exact as the first.
                let value = index as f64 * step;
                Tick {
                    px: self.px(value),
                    text: crate::judge::words::number(value),
                }
            })
            .collect()
    }

    /// True for values on the axis, rounding counted.
    fn holds(&self, value: f64) -> bool {
        self.low * (1.0 - 1e-9) <= value && value <= self.high * (1.0 + 1e-9)
    }
}

/// A value on a logarithmic axis: `0.5`, `20`, `2k`.
fn short(value: f64) -> String {
    match value {
        value if value >= 999.5 => format!("{}k", crate::judge::words::number(value / 1000.0)),
        value => crate::judge::words::number(value),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn axis(scale: Scale, low: f64, high: f64, length_px: f64) -> Axis {
        Axis {
            scale,
            low,
            high,
            length_px,
            label: String::new(),
        }
    }

    #[test]
    fn three_decades_from_20_hz_are_written_at_1_2_and_5() {
        let axis = axis(Scale::Log, 20.0, 20_000.0, 660.0);
        let written: Vec<String> = axis
            .ticks()
            .into_iter()
            .map(|tick| tick.text)
            .filter(|text| !text.is_empty())
            .collect();
        let want = "20 50 100 200 500 1k 2k 5k 10k 20k";
        assert_eq!(written.join(" "), want);
        assert!((axis.px(200.0) - 220.0).abs() < 1e-9, "a decade is 220 px");
    }

    #[test]
    fn a_linear_axis_of_60_db_on_528_px_is_written_every_10_db() {
        let ticks = axis(Scale::Linear, -50.0, 10.0, 528.0).ticks();
        let written: Vec<&str> = ticks.iter().map(|tick| tick.text.as_str()).collect();
        assert_eq!(written, ["-50", "-40", "-30", "-20", "-10", "0", "10"]);
    }
}
