//! Fewer points for the same picture: a report of many links stays small.

/// How far a line that leaves points out may pass from them, in pixels: less than can be seen.
const TOLERANCE_PX: f64 = 0.15;

/// Of the points in one pixel's width the first, lowest, highest and last, in their order: what is
/// drawn is the same, and the curve of a night's watch is no longer than that of a minute.
pub(super) fn thinned(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut kept = Vec::new();
    for column in points.chunk_by(|a, b| a.0.floor() == b.0.floor()) {
        let heights = || column.iter().map(|point| point.1).enumerate();
        let by_height = |a: &(usize, f64), b: &(usize, f64)| a.1.total_cmp(&b.1);
        let ends = [
            Some(0),
            heights().min_by(by_height).map(|(index, _)| index),
            heights().max_by(by_height).map(|(index, _)| index),
            column.len().checked_sub(1),
        ];
        let mut indices: Vec<usize> = ends.into_iter().flatten().collect();
        indices.sort_unstable();
        indices.dedup();
        kept.extend(indices.into_iter().map(|index| column[index]));
    }
    kept
}

/// The ends, and those of the points between that the line would else pass too far from: the way
/// of Ramer (1972) and of Douglas and Peucker (1973), with the distance taken upwards.
pub(super) fn straightened(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let Some(last) = points.len().checked_sub(1) else {
        return Vec::new();
    };
    let mut is_kept = vec![false; points.len()];
    (is_kept[0], is_kept[last]) = (true, true);
    let mut stretches = vec![(0, last)];
    while let Some((from, to)) = stretches.pop() {
        if let Some(index) = farthest(points, from, to) {
            is_kept[index] = true;
            stretches.extend([(from, index), (index, to)]);
        }
    }
    let kept = points.iter().zip(is_kept).filter(|(_, is_kept)| *is_kept);
    kept.map(|(point, _)| *point).collect()
}

/// The point between two others that lies farthest from their line, where that is too far.
fn farthest(points: &[(f64, f64)], from: usize, to: usize) -> Option<usize> {
    let ((x1, y1), (x2, y2)) = (points[from], points[to]);
    let rise = if x1 == x2 { 0.0 } else { (y2 - y1) / (x2 - x1) };
    let distance = |index: usize| (points[index].1 - y1 - rise * (points[index].0 - x1)).abs();
    let farthest = (from + 1..to).max_by(|a, b| distance(*a).total_cmp(&distance(*b)))?;
    (distance(farthest) > TOLERANCE_PX).then_some(farthest)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_straight_line_of_500_points_needs_2_and_one_with_a_corner_3() {
        let line = |height: fn(f64) -> f64| -> Vec<(f64, f64)> {
            (0..500).map(f64::from).map(|x| (x, height(x))).collect()
        };
        assert_eq!(straightened(&line(|x| 0.5 * x)).len(), 2);
        let corner = straightened(&line(|x| (x - 200.0).abs()));
        assert_eq!(corner, [(0.0, 200.0), (200.0, 0.0), (499.0, 299.0)]);
    }

    #[test]
    fn a_spike_among_1000_points_of_one_pixel_is_kept() {
        let mut points: Vec<(f64, f64)> = (0..1000).map(|i| (f64::from(i) / 1000.0, 0.0)).collect();
        points[500].1 = 40.0;
        let kept = thinned(&points);
        assert!(kept.len() <= 4 && kept.contains(&points[500]));
    }
}
