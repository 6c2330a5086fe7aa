//! Finds by how much the link is later than the cable.

use crate::{Complex64, fft::Transform};

/// What a search found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Found {
    /// Samples by which the link is later.
    pub delay: usize,
    /// Normalised correlation there, -1 to 1; below 0 the link is inverted.
    pub likeness: f64,
}

/// The delay at which `link` is most like the cable. `cable` ends together with `link` and begins
/// earlier by the longest delay that is looked for. `None` where either is silent.
#[must_use]
pub fn find(link: &[f64], cable: &[f64]) -> Option<Found> {
    let longest = cable.len().checked_sub(link.len())?;
    let size = crate::fft::smooth_size(cable.len());
    let mut transform = Transform::new(size);
    let mut spectrum = |samples: &[f64]| {
        let mut data: Vec<Complex64> = samples.iter().map(|x| Complex64::from(*x)).collect();
        data.resize(size, Complex64::default());
        transform.forward(&mut data);
        data
    };
    // At place p the link lies over cable[p..]; circular wrap only touches places past `longest`.
    let (short, long) = (spectrum(link), spectrum(cable));
    let mut product: Vec<Complex64> = long
        .iter()
        .zip(&short)
        .map(|(long, short)| long * short.conj())
        .collect();
    transform.inverse(&mut product);
    let energy = |samples: &[f64]| samples.iter().map(|x| x * x).sum::<f64>();
    let (at, peak) = product[..=longest]
        .iter()
        .map(|value| value.re)
        .enumerate()
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
    let norm = (energy(link) * energy(&cable[at..at + link.len()])).sqrt();
    (norm > 0.0).then(|| Found {
        delay: longest - at,
        likeness: peak / norm,
    })
}
