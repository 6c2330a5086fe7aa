//! What became of a pair of tones.

use goodwire_dsp::decibel::amplitude;
use goodwire_dsp::tone::{
    Complex64, Heard, Line, LineReader, NoisyPower, Sequence, are_two_cut_at_full_scale,
};

use super::ladder::Ladder;
use super::pair::{Product, TonePair};

/// What is left out of every tone after its fade, in seconds: links settle.
const SETTLE_S: f64 = 0.06;

/// A tone stands where it is so many times the noise in it.
const STANDS: f64 = 10.0;

/// Fall of the gain at the upper corner, in dB.
const CORNER_DB: f64 = -3.0;

/// The products of one pair at one return, each re what its definition names, by order.
#[derive(Debug, Clone, PartialEq)]
pub struct Products([Vec<Line>; 2]);

impl Products {
    /// What is left when another return's are subtracted as complex amplitudes.
    pub fn minus(&self, other: &Self) -> Self {
        let mut left = self.clone();
        for (line, other) in left.0.iter_mut().flatten().zip(other.0.iter().flatten()) {
            line.amplitude -= other.amplitude;
            line.variance += other.variance;
        }
        left
    }

    /// `d2² + d3²`, noise taken off; the two products of one order add up arithmetically.
    pub fn power(&self) -> NoisyPower {
        NoisyPower::sum(self.0.iter().map(|lines| arithmetic(lines)))
    }
}

/// The square of the sum of one or two magnitudes: of what `(|c1| + |c2|)²` is made, the squares
/// are freed of their noise, and the mixed product is that of magnitudes freed of theirs. Its
/// variance is `2 (s1² + s2²)` for each unit of power, and near `(s1² + s2²)²` without any.
fn arithmetic(lines: &[Line]) -> NoisyPower {
    let powers = lines
        .iter()
        .map(|line| line.amplitude.norm_sqr() - line.variance);
    let magnitudes: f64 = powers.clone().map(|power| power.max(0.0).sqrt()).sum();
    let squares: f64 = powers.clone().map(|power| power.max(0.0)).sum();
    let noise: f64 = lines.iter().map(|line| line.variance).sum();
    NoisyPower {
        value: powers.sum::<f64>() + magnitudes.powi(2) - squares,
        noise,
        slope: 2.0 * noise,
        floor: noise * noise,
    }
}

/// One pair at one return.
#[derive(Debug, Clone, PartialEq)]
pub enum Reading {
    /// One of the tones does not stand clear of the noise.
    Missing,
    /// The recorder cut the wave at its full scale.
    Cut,
    /// What the pair made.
    Products(Products),
}

/// The pair that was used and what became of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// The pair as played.
    pub pair: TonePair,
    /// The link's return.
    pub link: Reading,
    /// The reference's, where there is one.
    pub reference: Option<Reading>,
}

/// Reads the returns.
pub struct Reader<'a> {
    sequence: &'a Sequence,
    link: Heard<'a>,
    reference: Option<Heard<'a>>,
    lines: LineReader,
}

impl<'a> Reader<'a> {
    /// Makes one for a stimulus of `sequence`.
    pub fn new(sequence: &'a Sequence, link: Heard<'a>, reference: Option<Heard<'a>>) -> Self {
        Self {
            sequence,
            link,
            reference,
            lines: LineReader::new(),
        }
    }

    /// The highest pair of `ladder` that keeps below the corner; its probes are the tones from
    /// `probes` on, its pairs those from `pairs` on. `None` where none does.
    pub fn find(&mut self, ladder: &Ladder, probes: usize, pairs: usize) -> Option<Found> {
        let corner_gain = self.gain(0)? * amplitude(CORNER_DB);
        let index = (0..ladder.rungs.len()).find(|rung| {
            self.gain(probes + rung)
                .is_some_and(|gain| gain >= corner_gain)
        })?;
        let pair = ladder.rungs[index].pair;
        Some(Found {
            pair,
            link: self.reading(self.link, pairs + index, &pair),
            reference: (self.reference)
                .map(|reference| self.reading(reference, pairs + index, &pair)),
        })
    }

    /// Gain of the single tone `index`: link over reference, or over what was sent.
    fn gain(&mut self, index: usize) -> Option<f64> {
        let link = self.single(self.link, index)?;
        let reference = self
            .reference
            .and_then(|reference| self.single(reference, index));
        Some(link / reference.unwrap_or(self.sequence.tones()[index].sine.peak))
    }

    /// Amplitude of a single tone that stands.
    fn single(&mut self, heard: Heard<'_>, index: usize) -> Option<f64> {
        let samples = heard.tone(self.sequence, index, SETTLE_S);
        let cycles = self.sequence.tones()[index].sine.freq_hz / heard.rate_hz();
        let line = self.lines.read(samples, &[cycles])?[0];
        stands(&line).then(|| line.amplitude.norm())
    }

    fn reading(&mut self, heard: Heard<'_>, index: usize, pair: &TonePair) -> Reading {
        let samples = heard.tone(self.sequence, index, SETTLE_S);
        let [second, third] = pair.kind.products();
        let products: Vec<Product> = [second, third].concat();
        let cycles: Vec<f64> = (products.iter())
            .map(|&product| pair.product_hz(product))
            .chain([pair.low_hz, pair.high_hz])
            .map(|hz| hz / heard.rate_hz())
            .collect();
        let Some(lines) = self.lines.read(samples, &cycles) else {
            return Reading::Missing;
        };
        let (lines, tones) = lines.split_at(products.len());
        if !tones.iter().all(stands) {
            return Reading::Missing;
        }
        if are_two_cut_at_full_scale(samples) {
            return Reading::Cut;
        }
        let relative = relative(pair, heard.polarity(), tones, lines.iter().zip(products));
        let (second, third) = relative.split_at(second.len());
        Reading::Products(Products([second.to_vec(), third.to_vec()]))
    }
}

fn stands(line: &Line) -> bool {
    line.amplitude.norm() > STANDS * line.variance.sqrt()
}

/// Products re the tones of their definition, turned back by the phases of the tones that make
/// them, so that gain and delay drop out; of an inverted sound all is turned round before.
fn relative<'a>(
    pair: &TonePair,
    polarity: f64,
    tones: &[Line],
    products: impl Iterator<Item = (&'a Line, Product)>,
) -> Vec<Line> {
    let [low, high] = [&tones[0], &tones[1]];
    let (below, below_variance) = match pair.kind {
        super::Kind::Modulation => (high.amplitude.norm(), high.variance),
        super::Kind::Difference => (
            low.amplitude.norm() + high.amplitude.norm(),
            low.variance + high.variance,
        ),
    };
    products
        .map(|(line, (a, b))| {
            let phase = |tone: &Line| (polarity * tone.amplitude).arg();
            let made = f64::from(a) * phase(low) + f64::from(b) * phase(high);
            let amplitude = polarity * line.amplitude * Complex64::cis(-made) / below;
            Line {
                amplitude,
                // The tones' own noise scales the ratio.
                variance: (line.variance + amplitude.norm_sqr() * below_variance) / (below * below),
            }
        })
        .collect()
}
