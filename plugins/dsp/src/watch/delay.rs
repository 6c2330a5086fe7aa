//! Finds by how much the link is later than the cable.

use crate::{Complex64, fft::Transform};

/// Places with less than this of the cable's largest energy are not looked at.
const FAINT: f64 = 1e-3;

/// What a search found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Found {
    /// Samples by which the link is later.
    pub delay: usize,
    /// Normalised correlation there, -1 to 1; below 0 the link is inverted.
    pub likeness: f64,
}

/// The delay at which `link` is most like the cable, however loud that is there. `cable` ends
/// together with `link` and begins earlier by the longest delay that is looked for. `None` where
/// either is silent.
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
    let link_energy: f64 = link.iter().map(|x| x * x).sum();
    let beneath = energies(cable, link.len());
    // Where the cable is as good as silent, likeness would be one of rounding.
    let least = FAINT * beneath.iter().copied().fold(0.0, f64::max);
    let (at, peak) = (0..=longest)
        .filter(|&at| beneath[at] > least)
        .map(|at| (at, product[at].re / (link_energy * beneath[at]).sqrt()))
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
    (link_energy > 0.0).then_some(Found {
        delay: longest - at,
        likeness: peak,
    })
}

/// Energy of each `length` samples.
fn energies(samples: &[f64], length: usize) -> Vec<f64> {
    let mut sum: f64 = samples[..length].iter().map(|x| x * x).sum();
    let mut energies = vec![sum];
    for (new, old) in samples[length..].iter().zip(samples) {
        sum = (sum + new * new - old * old).max(0.0);
        energies.push(sum);
    }
    energies
}
