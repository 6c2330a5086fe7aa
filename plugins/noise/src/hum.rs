//! Which lines are the mains', and which are something else's.

use goodwire_dsp::spectrum::Line;

/// What the mains may be where nobody said, in Hz.
const MAINS_HZ: [f64; 2] = [50.0, 60.0];

/// How far the mains may be off, as a share: ±0.5 Hz of 50 Hz, more than grids allow themselves.
const MAINS_SHARE: f64 = 0.01;

/// Harmonics up to this order tell the frequency of the mains.
const TELLING_ORDER: f64 = 6.0;

/// How far a harmonic may lie beside its place, in Hz an order, and at least.
const BESIDE_HZ: [f64; 2] = [0.02, 0.5];

/// The mains among lines.
#[derive(Debug, Clone, PartialEq)]
pub struct Mains {
    /// Its frequency in Hz as found.
    pub frequency_hz: f64,
    /// Which of the lines are its harmonics, by index.
    pub members: Vec<usize>,
}

/// Finds the mains of `mains_hz` (0: of 50 or 60 Hz, whichever explains more of the power) among
/// lines; `None` where none of them is a low harmonic of it.
pub fn mains(lines: &[Line], mains_hz: f64) -> Option<Mains> {
    let candidates = if mains_hz > 0.0 {
        vec![mains_hz]
    } else {
        MAINS_HZ.to_vec()
    };
    let power = |mains: &Mains| -> f64 {
        let members = mains.members.iter();
        members.map(|&index| lines[index].power.value).sum()
    };
    let found = candidates
        .into_iter()
        .filter_map(|nominal_hz| fit(lines, nominal_hz));
    found.max_by(|a, b| power(a).total_cmp(&power(b)))
}

fn fit(lines: &[Line], nominal_hz: f64) -> Option<Mains> {
    let order = |line: &Line, mains_hz: f64| (line.frequency_hz / mains_hz).round().max(1.0);
    let telling = |line: &&Line| {
        let order = order(line, nominal_hz);
        let off_hz = (line.frequency_hz - order * nominal_hz).abs();
        order <= TELLING_ORDER && off_hz <= MAINS_SHARE * line.frequency_hz
    };
    let strongest = lines
        .iter()
        .filter(telling)
        .max_by(|a, b| a.power.value.total_cmp(&b.power.value))?;
    let frequency_hz = strongest.frequency_hz / order(strongest, nominal_hz);
    let belongs = |line: &Line| {
        let order = order(line, frequency_hz);
        let off_hz = (line.frequency_hz - order * frequency_hz).abs();
        off_hz <= (BESIDE_HZ[0] * order).max(BESIDE_HZ[1])
    };
    let members = (0..lines.len()).filter(|&index| belongs(&lines[index]));
    Some(Mains {
        frequency_hz,
        members: members.collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use goodwire_dsp::spectrum::Power;

    fn lines(found: &[(f64, f64)]) -> Vec<Line> {
        let line = |&(frequency_hz, value): &(f64, f64)| Line {
            frequency_hz,
            power: Power {
                value,
                variance: 0.0,
            },
        };
        found.iter().map(line).collect()
    }

    #[test]
    fn harmonics_of_50_03_hz_are_named_and_a_whistle_at_15_625_hz_is_not() {
        let lines = lines(&[(50.03, 1.0), (100.06, 0.2), (1_000.6, 0.1), (15_625.0, 0.3)]);
        let found = mains(&lines, 0.0).unwrap();
        assert!((found.frequency_hz - 50.03).abs() < 1e-9);
        assert_eq!(found.members, [0, 1, 2]);
    }

    #[test]
    fn lines_at_60_and_180_hz_are_of_60_hz_and_nothing_of_50_hz() {
        let lines = lines(&[(60.0, 1.0), (180.0, 0.5), (300.0, 0.1)]);
        assert!((mains(&lines, 0.0).unwrap().frequency_hz - 60.0).abs() < 1e-9);
        assert_eq!(mains(&lines, 50.0).unwrap().members, [2]);
        assert_eq!(mains(&lines[..1], 50.0), None);
    }

    #[test]
    fn a_whistle_alone_is_no_mains() {
        assert_eq!(mains(&lines(&[(1_234.5, 1.0)]), 0.0), None);
        assert_eq!(mains(&[], 0.0), None);
    }
}
