//! Figure, curve, sounds and notes.

use goodwire_dsp::Complex64;
use goodwire_dsp::align::Alignment;
use goodwire_dsp::bands::third_octaves;
use goodwire_dsp::decibel::{DB_PER_NEPER, power_db};
use goodwire_plugin_sdk::Failure;
use goodwire_plugin_sdk::api::{Curve, Note};
use goodwire_plugin_sdk::figures::{curve, figure, info, warning};
use goodwire_plugin_sdk::payload::{OpenRequest, SessionResult};

use crate::compare::{Compared, path_difference};
use crate::listen::Takes;
use crate::matching::{bins, differences};
use crate::programme::BAND_HZ;
use crate::settings::Settings;

/// A return that explains less of the other's energy is none of the same sound.
const EXPLAINED_MIN: f64 = 0.1;

/// Single-precision samples tell no difference below this, re the reference: -140 dB.
const LEAST: f64 = 1e-14;

/// The difference of every bin, over the periods.
struct Difference {
    /// Energy, mean over the periods.
    energy: f64,
    /// Its variance, from what differs between the periods.
    variance: f64,
    /// Energy that differs from period to period: noise.
    noise: f64,
    /// The reference's energy.
    reference: f64,
}

impl Difference {
    /// Of one bin in all periods.
    ///
    /// What comes again, of amplitude `m`, in complex noise of the variance `s²`, has an energy
    /// whose mean over `P` periods has the variance `(2 |m|² s² + s⁴) / P`.
    fn of_bin(periods: &[Vec<Complex64>], bin: usize, reference: f64) -> Self {
        let count = periods.len() as f64;
        let mean: Complex64 = periods.iter().map(|period| period[bin]).sum::<Complex64>() / count;
        let of_mean = |period: &Vec<Complex64>| (period[bin] - mean).norm_sqr();
        let noise = periods.iter().map(of_mean).sum::<f64>() / (count - 1.0);
        let again = (mean.norm_sqr() - noise / count).max(0.0);
        Self {
            energy: periods.iter().map(|p| p[bin].norm_sqr()).sum::<f64>() / count,
            variance: noise * (2.0 * again + noise) / count,
            noise,
            reference,
        }
    }

    /// Of several bins.
    fn sum<'a>(bins: impl Iterator<Item = &'a Self>) -> Self {
        let nothing = Self {
            energy: 0.0,
            variance: 0.0,
            noise: 0.0,
            reference: 0.0,
        };
        bins.fold(nothing, |sum, bin| Self {
            energy: sum.energy + bin.energy,
            variance: sum.variance + bin.variance,
            noise: sum.noise + bin.noise,
            reference: sum.reference + bin.reference,
        })
    }

    /// Level re the reference in dB, and its deviation.
    fn level_db(&self) -> (f64, f64) {
        let share = (self.energy / self.reference).max(LEAST);
        let relative = self.variance.sqrt() / self.energy.max(LEAST * self.reference);
        (power_db(share), DB_PER_NEPER / 2.0 * relative)
    }
}

/// The result of a measurement.
///
/// # Errors
/// `unrelated` where a return holds the bursts but not the noise between them.
pub fn result(
    alignment: &Alignment,
    request: &OpenRequest,
    settings: &Settings,
) -> Result<SessionResult, Failure> {
    let compared = Compared::new(alignment, request, settings.period_count);
    for (which, explained) in [
        ("reference", compared.sent_in_reference),
        ("link", compared.matched.explained),
    ] {
        if explained.is_nan() || explained < EXPLAINED_MIN {
            return Err(unrelated(which, explained));
        }
    }
    let bins = of_bins(&compared);
    let all = Difference::sum(bins.iter());
    let (level_db, deviation_db) = all.level_db();
    let takes = Takes {
        reference: &compared.reference,
        link: &compared.link,
        rate_hz: compared.rate_hz,
    };
    Ok(SessionResult {
        figures: vec![figure("null_depth", -level_db, deviation_db, "dB")],
        curves: vec![residual(&bins)],
        notes: notes(alignment, request, &all),
        sounds: takes.sounds(&compared.matched, |hz| path_difference(request, hz)),
        ..SessionResult::default()
    })
}

fn unrelated(which: &str, explained: f64) -> Failure {
    Failure::new(
        "unrelated",
        format!(
            "the {which}'s return holds the alignment bursts, but only {:.1} % of its energy is \
             the sound between them, at least {:.0} % is needed: it is a recording of something \
             else, or buried in noise",
            100.0 * explained,
            100.0 * EXPLAINED_MIN
        ),
    )
}

/// The difference of every bin of the band; bin 0 lies at the band's lower end.
fn of_bins(compared: &Compared) -> Vec<Difference> {
    let periods = &compared.periods;
    let left = differences(periods, &compared.matched);
    let energy = |hz: usize| {
        let sum: f64 = periods.iter().map(|p| p.reference[hz].norm_sqr()).sum();
        sum / periods.len() as f64
    };
    let band = bins(&periods[0].reference).enumerate();
    band.map(|(bin, hz)| Difference::of_bin(&left, bin, energy(hz)))
        .collect()
}

/// The difference re the reference in one-third octaves.
fn residual(bins: &[Difference]) -> Curve {
    let first_hz = BAND_HZ[0] as usize;
    let bands = third_octaves(BAND_HZ[0], BAND_HZ[1], f64::INFINITY);
    let (mut x, mut y, mut y_uncertainty) = (Vec::new(), Vec::new(), Vec::new());
    for band in bands {
        let index = |hz: f64| {
            (hz.ceil() as usize)
                .saturating_sub(first_hz)
                .min(bins.len())
        };
        let of_band =
            Difference::sum(bins[index(band.edges_hz[0])..index(band.edges_hz[1])].iter());
        let (level_db, deviation_db) = of_band.level_db();
        x.push(band.middle_hz);
        y.push(level_db);
        y_uncertainty.push(deviation_db);
    }
    curve("residual", ["Hz", "dB"], x, y, y_uncertainty)
}

fn notes(alignment: &Alignment, request: &OpenRequest, all: &Difference) -> Vec<Note> {
    let mut notes = Vec::new();
    if alignment.reference.is_none() {
        notes.push(info(
            "no-reference",
            "no reference was heard: the link is compared with what was played, and the \
             interface's own path is in the difference",
        ));
    } else if request.r#match.is_none() {
        notes.push(info(
            "unmatched-paths",
            "the paths of link and reference were never matched with a cable in the link's place: \
             their own difference is in the null depth",
        ));
    }
    if all.energy < LEAST * all.reference {
        notes.push(info(
            "no-difference",
            "link and reference are the same to the last bit of single precision: the null is at \
             least as deep as is told",
        ));
    } else if all.noise > 0.5 * all.energy {
        // No more than two deviations above what was seen.
        let seen = (all.energy - all.noise).max(0.0);
        let again = (seen + 2.0 * all.variance.sqrt()).max(LEAST * all.reference);
        notes.push(warning(
            "noise-limited",
            format!(
                "most of the difference changes from second to second: noise, an unsteady delay or \
                 what a codec adds; what comes again every second lies at least {:.1} dB below the \
                 reference",
                power_db(all.reference / again)
            ),
        ));
    }
    notes
}
