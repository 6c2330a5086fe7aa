//! Recordings without noise against closed forms.

#[path = "../../dsp/tests/support/link.rs"]
mod link;

use goodwire_dsp::Complex64;
use goodwire_plugin_response::Response;
use link::*;

type Form = Box<dyn Fn(f64) -> Complex64>;

/// Largest difference in dB between the curve and the closed form, where that is above -60 dB,
/// and where it is.
fn worst_db(
    result: &goodwire_plugin_sdk::payload::SessionResult,
    gain: &dyn Fn(f64) -> Complex64,
) -> (f64, f64) {
    let curve = curve(result, "magnitude");
    curve
        .x
        .iter()
        .zip(&curve.y)
        .map(|(&f, &db)| (f, 20.0 * gain(f).norm().log10(), db))
        .filter(|(_, want_db, _)| *want_db > -60.0)
        .map(|(f, want_db, db)| ((db - want_db).abs(), f))
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .unwrap()
}

#[test]
fn closed_forms_are_met_within_0_01_db_at_every_point() {
    let bench = Bench::of::<Response>("response", 48_000);
    let sent = bench.sent::<Response>();
    let forms: [(&str, Form); 8] = [
        ("flat", Box::new(|_| Complex64::new(0.5, 0.0))),
        ("8 Hz high-pass", Box::new(high_pass(8.0, 2))),
        ("40 Hz high-pass, order 4", Box::new(high_pass(40.0, 4))),
        ("15 kHz low-pass, order 8", Box::new(low_pass(15_000.0, 8))),
        ("notch at 1 kHz, q 30", Box::new(bell(1_000.0, 30.0, 0.05))),
        ("peak at 60 Hz, q 20", Box::new(bell(60.0, 20.0, 8.0))),
        (
            "notch at 12 kHz, q 200",
            Box::new(bell(12_000.0, 200.0, 0.1)),
        ),
        (
            "inverted band",
            Box::new(|f| -high_pass(50.0, 2)(f) * low_pass(14_000.0, 4)(f)),
        ),
    ];
    for (name, form) in &forms {
        for with_reference in [true, false] {
            let late = delayed(333.37, 48_000.0);
            let returned = through(&sent, 48_000.0, 48_000, |f| form(f) * late(f));
            let path = high_pass(3.0, 1);
            let reference = through(&sent, 48_000.0, 48_000, |f| {
                path(f) * low_pass(30_000.0, 1)(f)
            });
            let result = if with_reference {
                let returned = through(&returned, 48_000.0, 0, |f| {
                    path(f) * low_pass(30_000.0, 1)(f)
                });
                bench
                    .analyse::<Response>(&sent, &returned, Some(&reference))
                    .unwrap()
            } else {
                bench.analyse::<Response>(&sent, &returned, None).unwrap()
            };
            check_finite(&result);
            let (off_db, at_hz) = worst_db(&result, form.as_ref());
            println!(
                "{name}, reference {with_reference}: {off_db:.5} dB at {at_hz:.1} Hz, snr {:.0} dB",
                value(&result, "snr")[0]
            );
            assert!(off_db < 0.01, "{name}: {off_db} dB off at {at_hz} Hz");
        }
    }
}

#[test]
fn the_sent_file_as_all_three_recordings_gives_every_figure_with_an_uncertainty() {
    for rate_hz in [44_100, 96_000] {
        let bench = Bench::of::<Response>("response", rate_hz).set("duration_s", 1.0);
        let sent = bench.sent::<Response>();
        let result = bench
            .analyse::<Response>(&sent, &sent, Some(&sent))
            .unwrap();
        check_finite(&result);
        for id in ["gain", "deviation", "snr"] {
            let [number, uncertainty] = value(&result, id);
            assert!(
                uncertainty > 0.0 && (id == "snr" || number.abs() < 1e-6),
                "{id}: {number}"
            );
        }
        assert!((100.0..160.0).contains(&value(&result, "snr")[0]));
        assert!(has_note(&result, "no-corner-low") && has_note(&result, "no-corner-high"));
        assert!(has_note(&result, "unmatched-paths"));
    }
}
