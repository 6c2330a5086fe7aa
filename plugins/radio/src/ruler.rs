//! Golomb rulers: the shortest rasters on which carriers keep clear of their own products.
//!
//! On a Golomb ruler all differences of two marks differ. That is the same as all sums of two
//! marks differing (a Sidon set): `a - b = c - d` is `a + d = b + c`. So on marks of a ruler
//! `2a - b = c` and `a + b - c = d` hold for no carriers but those that make them trivial
//! (`b = a`, or `c` one of `a` and `b`): carriers set on them have **no** third-order product,
//! of two or of three, on the centre of a carrier, and each is at least one step away.
//!
//! What a ruler does not promise: anything about fifth order (`3·4 - 2·6 = 0` on 0 1 4 6), that a
//! product keeps away by more than one step, that a product which is wider than a step stays out
//! of a channel, or that two products do not meet.
//! Source: W. C. Babcock, intermodulation interference in radio systems, 1953 (from memory).

/// Marks of a shortest ruler of each order from 2 on. Lengths: OEIS A003022 (1, 3, 6, 11, 17, 25,
/// 34, 44, 55, 72, 85); 2 to 9 were also found by an exhaustive search.
const SHORTEST: [&[u32]; 11] = [
    &[0, 1],
    &[0, 1, 3],
    &[0, 1, 4, 6],
    &[0, 1, 4, 9, 11],
    &[0, 1, 4, 10, 12, 17],
    &[0, 1, 4, 10, 18, 23, 25],
    &[0, 1, 4, 9, 15, 22, 32, 34],
    &[0, 1, 5, 12, 25, 27, 35, 41, 44],
    &[0, 1, 6, 10, 23, 26, 34, 41, 53, 55],
    &[0, 1, 4, 13, 28, 33, 47, 54, 64, 70, 72],
    &[0, 2, 6, 24, 29, 40, 43, 55, 68, 75, 76, 85],
];

/// Marks of a shortest Golomb ruler with `order` marks, 2 to 12, rising from 0.
#[must_use]
pub fn shortest(order: usize) -> Option<&'static [u32]> {
    SHORTEST.get(order.checked_sub(2)?).copied()
}

/// Least span in MHz from the lowest to the highest of `count` carriers on a raster of `step_mhz`
/// that have no third-order product on a carrier; `None` beyond 12.
///
/// On a raster no plan is clean in less, whoever made it.
#[must_use]
pub fn span_mhz_min(count: usize, step_mhz: f64) -> Option<f64> {
    if count < 2 {
        return Some(0.0);
    }
    let marks = shortest(count)?;
    Some(step_mhz * f64::from(*marks.last()?))
}

/// True when all differences of two of `marks` differ; marks may come in any order.
#[must_use]
pub fn is_golomb(marks: &[u32]) -> bool {
    let mut differences: Vec<u32> = marks
        .iter()
        .enumerate()
        .flat_map(|(index, &a)| marks[index + 1..].iter().map(move |&b| a.abs_diff(b)))
        .collect();
    differences.sort_unstable();
    differences.first() != Some(&0) && differences.windows(2).all(|pair| pair[0] != pair[1])
}
