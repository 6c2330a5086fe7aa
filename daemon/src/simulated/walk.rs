//! How far away a transmitter is while somebody carries it about, and how often its link drops out
//! for that.
//!
//! Up to the distance to which the link holds there are no dropouts of this kind; beyond, the power
//! that is missing grows with the square of the distance, as in free space (Friis, A note on a
//! simple transmission formula, Proc. IRE 34, 1946), and so does their rate: (d/h)² - 1 a second.

/// A second of a walk is looked at in so many steps; a power of two, so that their ends are exact.
const STEPS_PER_S: f64 = 8.0;
/// More dropouts a second there never are: they could no longer be told apart.
const MOST_PER_S: f64 = 10.0;

/// A walk with a transmitter.
#[derive(Debug, Clone)]
pub struct Walk {
    /// Seconds of the stream and metres, in order of time.
    points: Vec<(f64, f64)>,
    holds_to_m: f64,
}

impl Walk {
    /// A walk past these points; without any, nobody walks.
    pub fn new(points: &[(f64, f64)], holds_to_m: f64) -> Self {
        Self {
            points: points.to_vec(),
            holds_to_m,
        }
    }

    /// Distance in metres: along straight lines between the points, and as at the first and the
    /// last one before and after; 0 where nobody walks.
    pub fn metres_at(&self, at_s: f64) -> f64 {
        let next = self.points.partition_point(|(s, _)| *s <= at_s);
        match (
            next.checked_sub(1).map(|k| self.points[k]),
            self.points.get(next),
        ) {
            (None, None) => 0.0,
            (Some((_, metres)), None) | (None, Some(&(_, metres))) => metres,
            (Some((from_s, from)), Some(&(to_s, to))) => {
                from + (to - from) * (at_s - from_s) / (to_s - from_s)
            }
        }
    }

    /// Mean number of dropouts a second at that distance.
    fn rate_at(&self, at_s: f64) -> f64 {
        let share = self.metres_at(at_s) / self.holds_to_m;
        (share * share - 1.0).clamp(0.0, MOST_PER_S)
    }

    /// In how many seconds the next dropout begins: the time after `from_s` in which `expected` of
    /// them are expected, with `always_per_s` of them wherever the transmitter is. `None`: none
    /// comes any more.
    pub fn gap_s(&self, from_s: f64, mut expected: f64, always_per_s: f64) -> Option<f64> {
        let end_s = self.points.last().map_or(0.0, |(s, _)| *s);
        let mut at_s = from_s;
        while at_s < end_s {
            // Steps of a fixed grid, so that every number follows from where it stands alone.
            let step_end_s = ((at_s * STEPS_PER_S).floor() + 1.0) / STEPS_PER_S;
            let rate = always_per_s + self.rate_at((at_s + step_end_s) / 2.0);
            let in_step = rate * (step_end_s - at_s);
            if in_step >= expected {
                return Some(at_s - from_s + expected / rate);
            }
            expected -= in_step;
            at_s = step_end_s;
        }
        let rate = always_per_s + self.rate_at(at_s);
        (rate > 0.0).then(|| at_s - from_s + expected / rate)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_way_between_1_m_and_20_m_it_is_10_5_m() {
        let walk = Walk::new(&[(10.0, 1.0), (70.0, 20.0)], 12.0);
        for (at_s, metres) in [(0.0, 1.0), (10.0, 1.0), (40.0, 10.5), (100.0, 20.0)] {
            assert!((walk.metres_at(at_s) - metres).abs() < 1e-12);
        }
        assert_eq!(Walk::new(&[], 12.0).metres_at(5.0), 0.0);
    }

    #[test]
    fn at_1_5_times_the_distance_1_25_are_expected_a_second_and_within_it_none() {
        let walk = Walk::new(&[(0.0, 10.0), (20.0, 10.0), (20.001, 15.0)], 10.0);
        // (15/10)² - 1 = 1.25 a second, from 20 s on.
        let gap_s = walk.gap_s(3.0, 1.25, 0.0).expect("one comes");
        assert!((gap_s - 18.0).abs() < 0.125, "{gap_s} s");
        assert_eq!(walk.gap_s(100.0, 2.5, 0.0), Some(2.0));
        let near = Walk::new(&[(0.0, 1.0), (60.0, 9.0)], 10.0);
        assert_eq!(near.gap_s(0.0, 1e-9, 0.0), None);
        let always_s = near.gap_s(30.0, 1.0, 0.5).expect("always");
        assert!((always_s - 2.0).abs() < 1e-9, "{always_s} s");
    }

    #[test]
    fn a_transmitter_that_comes_back_holds_again() {
        let walk = Walk::new(&[(0.0, 40.0), (10.0, 40.0), (10.1, 1.0)], 10.0);
        // 10 a second at the most, for 10 s.
        assert!(walk.gap_s(0.0, 99.0, 0.0).is_some_and(|s| s < 10.0));
        assert_eq!(walk.gap_s(0.0, 103.0, 0.0), None);
    }
}
