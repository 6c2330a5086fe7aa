//! From the noise of both returns to the figures.

mod told;

use goodwire_dsp::bands::third_octaves;
use goodwire_dsp::decibel::{DB_PER_NEPER, amplitude, power_db};
use goodwire_dsp::response::PathDifference;
use goodwire_dsp::spectrum::{Line, Power};
use goodwire_plugin_sdk::Failure;
use goodwire_plugin_sdk::api::{Curve, Figure};
use goodwire_plugin_sdk::figures::{Located, curve, figure};
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::{OpenRequest, SessionResult};

use crate::own::{Own, own};
use crate::reading::Pieces;
use crate::settings::{Settings, TONE_HZ};
use crate::weighted::{BAND_HZ, Reading, Weighted, Weighting};
use told::Told;

/// Share of quiet measurements in which noise alone may show a line.
const FALSE_ALARMS: f64 = 1e-3;

/// As many lines are told, the strongest.
const LINE_COUNT_MAX: usize = 40;

/// Input knobs differ by so much, in dB, where two paths of real hardware were never matched.
const UNMATCHED_DB: f64 = 0.5;

/// A power of nothing: what is below it, -240 dBFS, is digital silence.
const SILENT: f64 = 1e-24;

/// A power that stands for none at all in the lower end of an interval: -240 dBFS, below every
/// figure that is told.
const NOTHING: f64 = 0.5 * SILENT;

/// What the figures have to know beside the noise.
pub struct Context<'a> {
    /// The request.
    pub request: &'a OpenRequest,
    /// The settings.
    pub settings: &'a Settings,
}

/// Both returns, referred to the send.
struct Returns {
    link: Weighted,
    reference: Option<Weighted>,
    /// Deviation in dB of the reference's gain, which is in every level.
    gain_db: f64,
}

impl Context<'_> {
    /// The result of a measurement.
    ///
    /// # Errors
    /// `no-signal` where the reference's return does not hold the tone that its gain is had from.
    pub fn result(
        &self,
        link: &Pieces<'_>,
        reference: Option<&Pieces<'_>>,
    ) -> Result<SessionResult, Failure> {
        let returns = self.referred(link, reference)?;
        let mut result = SessionResult::default();
        let mut told = Told::default();
        levels(&returns, &mut result.figures, &mut told);
        self.dynamic_ranges(&returns, &mut result.figures, &mut told);
        hum(&returns, &mut result.figures, &mut told);
        result.curves = spectra(&returns, link.rate_hz, &mut told);
        result.notes = told.notes(self, &returns);
        Ok(result)
    }

    /// Divides both returns by the reference's gain, the link's by what a match found beside.
    fn referred(
        &self,
        link: &Pieces<'_>,
        reference: Option<&Pieces<'_>>,
    ) -> Result<Returns, Failure> {
        let found = self.request.r#match.as_ref();
        let difference = found
            .filter(|_| reference.is_some())
            .map(|by| PathDifference {
                frequency_hz: &by.frequency_hz,
                gain_db: &by.gain_db,
                phase_degree: &by.phase_degree,
            });
        let hardware = self.request.mode() == Mode::Live && !self.request.simulated;
        let mut gain_db = 0.0;
        let mut power_gain = 1.0;
        if let Some(reference) = reference {
            let tone = reference.tone.as_ref().ok_or_else(no_reference_tone)?;
            let heard = tone.amplitude;
            power_gain = (heard.value / amplitude(self.settings.tone_dbfs)).powi(2);
            gain_db = DB_PER_NEPER * heard.uncertainty / heard.value;
            if hardware && found.is_none() {
                gain_db = gain_db.max(UNMATCHED_DB);
            }
        }
        let of_link = |frequency_hz: f64| {
            let beside_db = difference.map_or(0.0, |by| by.gain_db_at(frequency_hz));
            amplitude(-beside_db).powi(2) / power_gain
        };
        Ok(Returns {
            link: Weighted::new(link, TONE_HZ, of_link),
            reference: reference.map(|pieces| Weighted::new(pieces, TONE_HZ, |_| 1.0 / power_gain)),
            gain_db,
        })
    }

    /// The dynamic ranges: the clip point over what there is beside the tone.
    fn dynamic_ranges(&self, returns: &Returns, figures: &mut Vec<Figure>, told: &mut Told) {
        let top_dbfs = self.request.clip_point_dbfs.unwrap_or(0.0);
        for (id, weighting) in [
            ("dynamic_range_a", Weighting::A),
            ("dynamic_range_ccir_rms", Weighting::Ccir),
        ] {
            let read = |of: &Weighted| {
                let (tone, rest) = of.tone.as_ref()?;
                Some((*tone, weighting.power(rest)))
            };
            let reference = returns.reference.as_ref().and_then(read);
            let mut tell = |id: &str, tone: Power, noise: Own, top_dbfs: f64| {
                if noise.power.value < SILENT {
                    told.silent = true;
                    return;
                }
                if noise.is_bound() {
                    told.bounds.push(id.to_owned());
                }
                let over_db = |noise: f64| {
                    let above_db = power_db(tone.value / noise.max(NOTHING));
                    top_dbfs - self.settings.tone_dbfs + above_db
                };
                let deviation = tone.relative().hypot(noise.power.relative());
                let level_db = over_db(noise.power.value);
                let plain = figure(id, level_db, DB_PER_NEPER / 2.0 * deviation, "dB");
                let ends = noise.interval().map(|[low, high]| [high, low].map(over_db));
                figures.push(between(plain, ends));
            };
            match read(&returns.link) {
                Some((tone, noise)) => {
                    let noise = own(noise, reference.map(|(_, noise)| noise));
                    tell(id, tone, noise, top_dbfs);
                }
                None => told.tone_missing = true,
            }
            if let Some((tone, noise)) = reference {
                tell(&format!("reference_{id}"), tone, own(noise, None), 0.0);
            }
        }
    }
}

/// The lines that stand out of the noise.
fn hum(returns: &Returns, figures: &mut Vec<Figure>, told: &mut Told) {
    let find = |of: &Weighted| {
        let mut lines = of.silence.spectrum.lines(BAND_HZ, FALSE_ALARMS);
        lines.sort_by(|a, b| b.power.value.total_cmp(&a.power.value));
        lines.truncate(LINE_COUNT_MAX);
        lines.sort_by(|a, b| a.frequency_hz.total_cmp(&b.frequency_hz));
        lines
    };
    let reference = returns.reference.as_ref();
    let lines = find(&returns.link);
    for line in &lines {
        let beside = reference.map(|of| of.silence.spectrum.power_at(line.frequency_hz));
        let name = format!("hum at {:.1} Hz", line.frequency_hz);
        let of = own(line.power, beside);
        figures.extend(hum_figure("hum", &name, line, of, returns.gain_db, told));
    }
    for line in reference.map(find).unwrap_or_default() {
        let of = own(line.power, None);
        figures.extend(hum_figure(
            "reference_hum",
            "",
            &line,
            of,
            returns.gain_db,
            told,
        ));
    }
    told.lines = lines;
}

/// The levels of the silence under all weightings.
fn levels(returns: &Returns, figures: &mut Vec<Figure>, told: &mut Told) {
    for (id, reading) in [
        ("noise", Reading::Rms(Weighting::Flat)),
        ("noise_a", Reading::Rms(Weighting::A)),
        ("noise_468", Reading::QuasiPeak),
        ("noise_ccir_rms", Reading::Rms(Weighting::Ccir)),
    ] {
        let read = |of: &Weighted| of.silence.read(reading);
        let reference = returns.reference.as_ref().map(read);
        let mut tell = |id: &str, of: Own| {
            let told_of = level([id, id], of, returns.gain_db, told);
            told.silent |= told_of.is_none();
            figures.extend(told_of);
        };
        tell(id, own(read(&returns.link), reference));
        if let Some(power) = reference {
            tell(&format!("reference_{id}"), own(power, None));
        }
    }
}

fn no_reference_tone() -> Failure {
    Failure::new(
        "no-signal",
        "the 997 Hz tone does not stand clear of the noise in the reference's return, so that its \
         gain is not known: check the cable and turn the reference's return up",
    )
    .about("reference")
}

fn hum_figure(
    id: &str,
    name: &str,
    line: &Line,
    of: Own,
    gain_db: f64,
    told: &mut Told,
) -> Option<Figure> {
    let level = level([id, name], of, gain_db, told)?;
    Some(level.at("frequency_hz", line.frequency_hz))
}

/// A level in dBFS, of which a full-scale sine has 0; none for digital silence. A bound is noted
/// under `name`.
fn level([id, name]: [&str; 2], of: Own, gain_db: f64, told: &mut Told) -> Option<Figure> {
    if of.power.value < SILENT {
        return None;
    }
    if of.is_bound() {
        told.bounds.push(name.to_owned());
    }
    let (level_dbfs, deviation_db) = dbfs(of.power);
    let plain = figure(id, level_dbfs, deviation_db.hypot(gain_db), "dBFS");
    let ends = of.interval().map(|[low, high]| {
        let level_dbfs = |power: f64| power_db(2.0 * power.max(NOTHING));
        [
            level_dbfs(low) - 2.0 * gain_db,
            level_dbfs(high) + 2.0 * gain_db,
        ]
    });
    Some(between(plain, ends))
}

/// The figure with the 95 % interval of a bound instead of its deviation.
fn between(figure: Figure, ends: Option<[f64; 2]>) -> Figure {
    match ends {
        None => figure,
        Some([low, high]) => Figure {
            uncertainty: None,
            low: Some(low),
            high: Some(high),
            ..figure
        },
    }
}

/// Level in dBFS of a mean square (a full-scale sine has 1/2), and its deviation in dB.
fn dbfs(power: Power) -> (f64, f64) {
    (
        power_db(2.0 * power.value),
        DB_PER_NEPER / 2.0 * power.relative(),
    )
}

/// The spectra in one-third octaves, the link's own and the reference's.
fn spectra(returns: &Returns, rate_hz: f64, told: &mut Told) -> Vec<Curve> {
    let bands = third_octaves(BAND_HZ[0], BAND_HZ[1], rate_hz / 2.0);
    let read = |of: &Weighted| -> Vec<Power> {
        let power = |edges_hz| of.silence.spectrum.power(edges_hz, |_| 1.0);
        bands.iter().map(|band| power(band.edges_hz)).collect()
    };
    let reference = returns.reference.as_ref().map(read);
    let link = read(&returns.link)
        .into_iter()
        .enumerate()
        .map(|(index, power)| {
            let own = own(power, reference.as_ref().map(|powers| powers[index]));
            told.bound_bands_hz
                .extend(own.is_bound().then_some(bands[index].middle_hz));
            own.power
        });
    let link: Vec<Power> = link.collect();
    let plot = |id: &str, powers: &[Power]| {
        let heard = || {
            bands
                .iter()
                .zip(powers)
                .filter(|(_, power)| power.value >= SILENT)
        };
        let levels = || heard().map(|(_, power)| dbfs(*power));
        curve(
            id,
            ["Hz", "dBFS"],
            heard().map(|(band, _)| band.middle_hz).collect(),
            levels().map(|(level, _)| level).collect(),
            levels()
                .map(|(_, deviation)| deviation.hypot(returns.gain_db))
                .collect(),
        )
    };
    let mut curves = vec![plot("noise_spectrum", &link)];
    curves.extend(reference.map(|powers| plot("reference_noise_spectrum", &powers)));
    curves.retain(|curve| !curve.x.is_empty());
    curves
}
