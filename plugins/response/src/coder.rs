//! Links whose error follows the signal: lossy coders.

use goodwire_dsp::decibel::{DB_PER_NEPER, power_db};
use goodwire_dsp::response::Gated;
use goodwire_plugin_sdk::api::Note;
use goodwire_plugin_sdk::figures::warning;

/// Least error re the signal in dB, the median over log frequency, that is worth a word:
/// 0.006 dB.
const TOLD_DB: f64 = -60.0;
/// Least share of the frequencies at which the error has to be seen: a converter that rings on
/// both sides shows it at the end of its band alone.
const SHARE: f64 = 0.5;

/// The note on `gated`, read at `frequencies_hz` (evenly spaced over log f), where its error
/// follows the signal.
pub fn note(gated: &Gated, frequencies_hz: &[f64]) -> Option<Note> {
    let read: Vec<(f64, [f64; 2])> = frequencies_hz
        .iter()
        .step_by(8)
        .map(|&f| (f, gated.following(f)))
        // Where the link ends, nothing is left to follow.
        .filter(|(_, [error, _])| *error < 1.0)
        .collect();
    let seen = read.iter().filter(|(_, [error, _])| *error > 0.0).count();
    let [error_db, silence_db] = [0, 1].map(|index| {
        let mut values: Vec<f64> = read.iter().map(|(_, read)| read[index]).collect();
        values.sort_by(f64::total_cmp);
        power_db(values.get(values.len() / 2).map_or(0.0, |v| *v).max(1e-30))
    });
    let (worst_hz, [worst, _]) = read.iter().max_by(|a, b| a.1[0].total_cmp(&b.1[0]))?;
    if (seen as f64) < SHARE * read.len() as f64 || error_db < TOLD_DB {
        return None;
    }
    let text = format!(
        "what comes back beside the linear response follows the signal: {error_db:.0} dB re the \
         sweep while it sounds, {silence_db:.0} dB in silence, most about {worst_hz:.0} Hz ({:.0} dB, \
         {:.2} dB of the curve): a lossy coder, whose response is not the same for another sound; \
         the uncertainty of the curve holds it",
        power_db(*worst),
        DB_PER_NEPER * (worst / 2.0).sqrt()
    );
    Some(warning("error-follows-signal", text))
}
