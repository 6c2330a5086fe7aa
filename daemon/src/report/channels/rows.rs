//! Which row something stands in, so that nothing lies on anything else.

/// Packs spans into rows: gives each the first row in which it keeps `gap_px` from all others.
///
/// In the order of the spans, which begin from left to right.
pub(super) fn packed(spans: &[(f64, f64)], gap_px: f64) -> Vec<usize> {
    let mut ends: Vec<f64> = Vec::new();
    let rows = spans.iter().map(|(begin, end)| {
        let free = ends.iter().position(|before| before + gap_px <= *begin);
        match free {
            Some(row) => ends[row] = *end,
            None => ends.push(*end),
        }
        free.unwrap_or(ends.len() - 1)
    });
    rows.collect()
}

/// Rows for flags: each has a pole at `x_px`, and a text of `width_px` that begins there. Row 0 is
/// the lowest.
///
/// No two texts overlap, and no pole goes through a text: where the pole of one stands below the
/// text of another, that text is in a higher row. In the order of the flags, poles from left to
/// right.
pub(super) fn flags(flags: &[(f64, f64)]) -> Vec<usize> {
    let mut rows = vec![0; flags.len()];
    for index in (0..flags.len()).rev() {
        let (x_px, width_px) = flags[index];
        let end_px = x_px + width_px;
        let below = (index + 1..flags.len()).filter(|other| flags[*other].0 < end_px);
        rows[index] = below.map(|other| rows[other] + 1).max().unwrap_or(0);
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_spans_that_overlap_take_three_rows_and_a_fourth_the_first_that_is_free() {
        let spans = [(0.0, 50.0), (10.0, 30.0), (20.0, 60.0), (36.0, 70.0)];
        assert_eq!(packed(&spans, 4.0), [0, 1, 2, 1]);
    }

    #[test]
    fn a_flag_over_two_poles_stands_above_both_of_their_texts() {
        // The first text spans to 100: over the poles at 40 and 90; theirs do not meet.
        let rows = flags(&[(0.0, 100.0), (40.0, 30.0), (90.0, 30.0)]);
        assert_eq!(rows, [1, 0, 0]);
        let stairs = flags(&[(0.0, 100.0), (40.0, 60.0), (90.0, 30.0)]);
        assert_eq!(stairs, [2, 1, 0]);
    }

    #[test]
    fn two_links_on_one_channel_stand_above_each_other() {
        assert_eq!(flags(&[(10.0, 50.0), (10.0, 50.0)]), [1, 0]);
    }
}
