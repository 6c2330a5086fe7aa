//! What figures say of a watch that saw less than it was asked to.

use goodwire_plugin_sdk::api::{Figure, Note};
use goodwire_plugin_sdk::figures::{figure, warning};

/// More than this share of what was asked for has to be unseen: what a whole watch leaves out, frames
/// that the interface lost and pauses of the cable, is less (our own choice, no source).
const UNSEEN_MOST: f64 = 0.1;
/// So long every watch may take until it knows the link, in seconds.
const SETTLING_S: f64 = 2.0;
/// So many uncertainties either way hold 95 % (JCGM 100, 6.2).
const COVERAGE: f64 = 2.0;

/// A watch that saw too little: it was ended early, cut short, or blind for long.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    seen_s: f64,
    asked_s: f64,
}

impl Part {
    /// Of `asked_s` seconds so many were seen; `None` where that is as good as all.
    #[must_use]
    pub fn of(seen_s: f64, asked_s: f64) -> Option<Self> {
        let unseen_s = asked_s - seen_s;
        let is_part = unseen_s > SETTLING_S && unseen_s > UNSEEN_MOST * asked_s;
        is_part.then_some(Self { seen_s, asked_s })
    }

    /// A figure that only grows the longer is watched: all of the time would show as much, or more.
    #[must_use]
    pub fn at_least(self, figure: Figure) -> Figure {
        let spread = COVERAGE * figure.uncertainty.unwrap_or_default();
        Figure {
            low: figure.value.map(|value| (value - spread).max(0.0)),
            high: None,
            uncertainty: None,
            ..figure
        }
    }

    /// A share of the time in per cent whose value is known for what was seen: from none to all of the
    /// rest may be added.
    #[must_use]
    pub fn share(self, id: &str, value: f64, uncertainty: f64) -> Figure {
        let seen = self.seen_s / self.asked_s;
        let spread = COVERAGE * uncertainty * seen;
        // The value is within, whatever rounding does to 100 % of what was seen and none of the rest.
        let low = (value * seen - spread).max(0.0).min(value);
        let high = (value * seen + spread + 100.0 * (1.0 - seen))
            .min(100.0)
            .max(value);
        Figure {
            low: Some(low),
            high: Some(high),
            uncertainty: None,
            ..figure(id, value, 0.0, "%")
        }
    }

    /// Says so.
    #[must_use]
    pub fn note(self) -> Note {
        let text = format!(
            "{:.0} s of {:.0} s were seen: what was counted and lost is at least so much, and a limit \
             that it has kept so far is not shown to be kept",
            self.seen_s, self.asked_s
        );
        warning("seen-too-little", text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_second_of_600_is_a_part_and_590_of_600_or_1_of_3_are_none() {
        assert!(Part::of(1.0, 600.0).is_some());
        assert!(Part::of(590.0, 600.0).is_none());
        assert!(Part::of(1.0, 3.0).is_none());
    }

    #[test]
    fn three_lost_of_a_part_are_at_least_three_and_nobody_knows_how_many_more() {
        let part = Part::of(1.0, 600.0).unwrap();
        let lost = part.at_least(figure("lost_time", 3.0, 0.5, "ms"));
        assert_eq!(
            (lost.value, lost.low, lost.high),
            (Some(3.0), Some(2.0), None)
        );
        assert_eq!(lost.uncertainty, None);
    }

    #[test]
    fn a_quarter_seen_without_a_loss_is_between_25_and_100_per_cent_of_the_whole() {
        let part = Part::of(150.0, 600.0).unwrap();
        let available = part.share("availability", 100.0, 0.0);
        assert_eq!((available.low, available.high), (Some(25.0), Some(100.0)));
    }

    #[test]
    fn all_of_any_part_lies_within_its_own_interval_whatever_rounding_does() {
        for seen_s in 1..540 {
            let part = Part::of(f64::from(seen_s) + 0.31375, 600.0).unwrap();
            let available = part.share("availability", 100.0, 0.0);
            assert_eq!(available.high, Some(100.0), "{seen_s} s");
            assert!(available.low < available.value, "{seen_s} s");
        }
    }

    #[test]
    fn a_quarter_seen_of_which_half_was_lost_is_at_most_87_and_a_half_per_cent_of_the_whole() {
        let part = Part::of(150.0, 600.0).unwrap();
        let available = part.share("availability", 50.0, 0.0);
        assert_eq!((available.low, available.high), (Some(12.5), Some(87.5)));
    }
}
