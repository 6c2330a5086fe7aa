//! What of a harmonic is not smooth: products that fold at the link's own rate cross it here and
//! there, which no noise between the harmonics tells of.

use goodwire_dsp::tone::Line;

/// Fourth difference: 0 for what bends like a cubic, a point alone counts six times.
const DIFFERENCE: [f64; 5] = [1.0, -4.0, 6.0, -4.0, 1.0];

/// Weight of the middle point of [`DIFFERENCE`].
const MIDDLE: f64 = 6.0;

/// Squared scatter over the noise's share of it that noise alone passes once in 500 points: its
/// mean is `70 / 36`, its distribution that of a squared normal variable.
const BY_CHANCE: f64 = 18.0;

/// By how much the points of a harmonic differ from what their neighbours tell, more than noise
/// makes them: a variance a point, both components together; 0 where noise explains it.
///
/// `lines` is one harmonic re its fundamental at 24 points an octave. Compared are logarithms of
/// magnitudes, in which a filter's slope is straight; a product that crosses the harmonic stands in
/// them whole. Own derivation, no source.
pub fn scatter(lines: &[Line]) -> Vec<f64> {
    let logs: Vec<f64> = (lines.iter())
        .map(|line| line.amplitude.norm().max(f64::MIN_POSITIVE).ln())
        .collect();
    let apart: Vec<f64> = logs.windows(DIFFERENCE.len()).map(difference).collect();
    let one = |(index, line): (usize, &Line)| {
        // What crosses two points at once shows less at each than beside them.
        let end = apart.len().min(index);
        let about = &apart[end.min(index.saturating_sub(3))..end];
        let off = about.iter().fold(0f64, |most, off| most.max(off.abs()));
        // A component of two: the other one is as large on average.
        let variance = 2.0 * off * off * line.amplitude.norm_sqr();
        if variance > BY_CHANCE * line.variance {
            variance
        } else {
            0.0
        }
    };
    lines.iter().enumerate().map(one).collect()
}

/// By how much the middle one of five points would have to be off.
fn difference(points: &[f64]) -> f64 {
    let sum: f64 = points.iter().zip(DIFFERENCE).map(|(x, by)| x * by).sum();
    sum / MIDDLE
}

#[cfg(test)]
mod tests {
    use goodwire_dsp::noise::gaussian;
    use goodwire_dsp::tone::Complex64;

    use super::*;

    fn lines(count: u32, amplitude: impl Fn(u32) -> Complex64, variance: f64) -> Vec<Line> {
        let line = |index| Line {
            amplitude: amplitude(index),
            variance,
        };
        (0..count).map(line).collect()
    }

    #[test]
    fn point_that_is_1_percent_off_is_told_so_and_those_6_away_are_not() {
        let off = |index| Complex64::from(if index == 20 { 1.01 } else { 1.0 });
        let found = scatter(&lines(40, off, 1e-12));
        let component = |index: usize| (found[index] / 2.0).sqrt();
        assert!((component(20) - 0.01).abs() < 1e-4);
        assert!(component(22) <= component(20) && found[26] == 0.0);
    }

    #[test]
    fn slope_of_4_db_a_point_that_turns_is_smooth() {
        let steep = |index| Complex64::from_polar(0.63f64.powi(index as i32), f64::from(index));
        let found = scatter(&lines(40, steep, 1e-20));
        assert!(found.iter().all(|&variance| variance == 0.0), "{found:?}");
    }

    #[test]
    fn noise_30_db_below_is_taken_for_scatter_at_1_in_100_points_at_most() {
        let noisy = |index| {
            let noise = |n: u32| (0.5e-3f64).sqrt() * gaussian(7, u64::from(n));
            Complex64::new(1.0 + noise(2 * index), noise(2 * index + 1))
        };
        let found = scatter(&lines(4_000, noisy, 1e-3));
        let count = found.iter().filter(|&&variance| variance > 0.0).count();
        assert!(count <= 40, "{count}");
    }
}
