//! Whether what returned rises as what was sent does.

use goodwire_plugin_sdk::Failure;

use crate::reading::{Reading, Step};

/// Returned levels that differ by less, in dB, say nothing of the order: limiters and fading.
const DIFFERENT_DB: f64 = 6.0;

/// So many times more pairs of steps have to rise than fall.
///
/// That is a rank correlation (Kendall's tau, of the pairs that differ) of at least 0.5. Unrelated
/// levels have 0 with a deviation of sqrt(2 (2n + 5) / (9 n (n - 1))), 0.09 over the usual 61 steps
/// (M. G. Kendall, A new measure of rank correlation, 1938): 0.5 is more than five of them.
const RISING_TO_FALLING: usize = 3;

/// Refuses recordings whose levels do not come in the order in which they were sent.
///
/// No link does that: one that limits gives equal levels, and one that mutes gives none. Steps are
/// by rising level at the send.
///
/// # Errors
/// `unrelated`.
pub fn refuse_wrong_order(steps: &[Step]) -> Result<(), Failure> {
    refuse(steps.iter().filter_map(|step| step.link.as_ref()), "link")?;
    refuse(
        steps.iter().filter_map(|step| step.reference.as_ref()),
        "reference",
    )
}

fn refuse<'a>(readings: impl Iterator<Item = &'a Reading>, which: &str) -> Result<(), Failure> {
    let amplitudes: Vec<f64> = readings.map(|reading| reading.amplitude.value).collect();
    let ratio = 10f64.powf(DIFFERENT_DB / 20.0);
    let (mut rising, mut falling) = (0, 0);
    for (index, lower) in amplitudes.iter().enumerate() {
        for higher in &amplitudes[index + 1..] {
            rising += usize::from(*higher > lower * ratio);
            falling += usize::from(higher * ratio < *lower);
        }
    }
    if rising < RISING_TO_FALLING * falling {
        return Err(Failure::new(
            "unrelated",
            format!(
                "the levels in the {which}'s return do not rise with those that were sent ({rising} \
                 pairs of steps rise, {falling} fall): it is a recording of something else"
            ),
        ));
    }
    Ok(())
}
