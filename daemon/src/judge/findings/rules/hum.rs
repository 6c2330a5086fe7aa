//! Lines at the mains frequency and its harmonics. Odd ones come of mains current in a ground or of
//! a magnetic field, even ones of a rectifier, as in a charger (common practice, no source).

use goodwire_proto::v1::{Figure, Measurement};

use super::Evidence;
use crate::judge::findings::evidence::at_number;

/// Mains frequencies in Hz.
const MAINS_HZ: [f64; 2] = [50.0, 60.0];
/// A line this near is that harmonic, in Hz: mains are within 0.5 Hz of their frequency.
const NEAR_HZ: f64 = 1.0;
/// The highest harmonic that is looked for.
const HARMONIC_MAX: f64 = 20.0;
/// Below this no hum is told, in dBFS.
const LOUD_DBFS: f64 = -80.0;
/// Where there is no baseline, hum is told from here on, in dBFS.
const LOUD_ALONE_DBFS: f64 = -60.0;
/// By how much a line has to have risen, in dB.
const RISE_DB: f64 = 10.0;

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let (frequency_hz, level_dbfs) = loudest(evidence)?;
    let harmonic = harmonic(frequency_hz)?;
    let kind = if harmonic % 2 == 0 {
        "an even harmonic of the mains, as of a charger's or supply's rectifier"
    } else {
        "an odd one of the mains, as of a ground loop or a transformer's field"
    };
    Some(format!(
        "The link hums at {frequency_hz:.0} Hz ({level_dbfs:.0} dBFS), {kind}: run the transmitter \
         from its battery with the charger unplugged; where that changes nothing, feed receiver and \
         interface from one outlet or put an isolating transformer into the line, and never lift a \
         protective earth."
    ))
}

/// The loudest line of the mains that is loud, and louder than it was.
fn loudest(evidence: &Evidence<'_>) -> Option<(f64, f64)> {
    let lines = evidence.link.pairs().flat_map(|(now, baseline)| {
        let lines = now.figures.iter().filter_map(line);
        lines.filter(move |line| is_new(*line, baseline))
    });
    lines.max_by(|a, b| a.1.total_cmp(&b.1))
}

/// Frequency and level of a line of the link's own; a bound is the reference's as well.
fn line(figure: &Figure) -> Option<(f64, f64)> {
    let is_own = figure.id == "hum" && figure.uncertainty.is_some();
    let frequency_hz = at_number(figure, "frequency_hz").filter(|_| is_own)?;
    harmonic(frequency_hz)?;
    Some((frequency_hz, figure.value?))
}

fn is_new((frequency_hz, level_dbfs): (f64, f64), baseline: Option<&Measurement>) -> bool {
    let Some(baseline) = baseline else {
        return level_dbfs >= LOUD_ALONE_DBFS;
    };
    let mut before = baseline.figures.iter().filter_map(line);
    let before = before.find(|(before_hz, _)| (before_hz - frequency_hz).abs() <= NEAR_HZ);
    let has_risen = before.is_none_or(|(_, before_dbfs)| level_dbfs - before_dbfs >= RISE_DB);
    has_risen && level_dbfs >= LOUD_DBFS
}

/// Which harmonic of the mains that is.
fn harmonic(frequency_hz: f64) -> Option<u32> {
    MAINS_HZ.into_iter().find_map(|mains_hz| {
        let number = (frequency_hz / mains_hz).round();
        let is_near = (frequency_hz - number * mains_hz).abs() <= NEAR_HZ;
        (is_near && (1.0..=HARMONIC_MAX).contains(&number)).then_some(number as u32)
    })
}

#[cfg(test)]
mod tests {
    use goodwire_proto::v1::Figure;

    use crate::judge::{
        findings::scene::{ids, seen, text_of},
        tests::{at, figure},
    };

    fn line(frequency_hz: f64, dbfs: f64) -> Figure {
        Figure {
            at: at(&[("frequency_hz", frequency_hz)]),
            ..figure("hum", dbfs, 0.2)
        }
    }

    #[test]
    fn a_new_line_at_50_hz_of_minus_60_dbfs_is_hum_and_one_at_997_hz_is_not() {
        let now = |lines| ids(&seen("lectern", "noise", lines).against(vec![line(50.1, -95.0)]));
        assert_eq!(now(vec![line(50.0, -60.0)]), ["hum"]);
        assert_eq!(now(vec![line(997.0, -60.0)]), [""; 0]);
        assert_eq!(now(vec![line(50.0, -90.0)]), [""; 0], "5 dB more");
    }

    #[test]
    fn without_a_baseline_minus_50_dbfs_is_hum_and_minus_70_is_not() {
        assert_eq!(
            ids(&seen("lectern", "noise", vec![line(60.0, -50.0)])),
            ["hum"]
        );
        assert_eq!(
            ids(&seen("lectern", "noise", vec![line(60.0, -70.0)])),
            [""; 0]
        );
    }

    #[test]
    fn a_line_at_100_hz_is_a_rectifiers_and_one_at_150_hz_is_not() {
        let text = |hz| text_of(&[seen("lectern", "noise", vec![line(hz, -50.0)])], "hum");
        assert!(text(100.0).contains("rectifier"));
        assert!(text(150.0).contains("ground loop"));
    }
}
