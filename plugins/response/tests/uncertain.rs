//! Where noise is not white and a band ends: what is told covers what is wrong.

#[path = "../../dsp/tests/support/link.rs"]
mod link;

use goodwire_plugin_response::Response;
use link::*;

const RATE_HZ: f64 = 48_000.0;

#[test]
fn the_lowest_points_of_short_sweeps_through_high_passes_are_within_0_000_5_db() {
    for duration_s in [1.0, 2.0, 5.0] {
        for (corner_hz, order) in [(8.0, 1), (8.0, 2), (3.0, 1), (20.0, 1), (40.0, 4)] {
            let bench = Bench::of::<Response>("response", 48_000).set("duration_s", duration_s);
            let sent = bench.sent::<Response>();
            let form = high_pass(corner_hz, order);
            let late = delayed(100.3, RATE_HZ);
            let returned = through(&sent, RATE_HZ, 48_000, |f| form(f) * late(f));
            let result = bench.analyse::<Response>(&sent, &returned, None).unwrap();
            let curve = curve(&result, "magnitude");
            for (&f, &db) in curve.x.iter().zip(&curve.y).take_while(|(f, _)| **f < 60.0) {
                let off_db = db - 20.0 * form(f).norm().log10();
                assert!(
                    off_db.abs() < 5e-4,
                    "{duration_s} s, {corner_hz} Hz of order {order}: {off_db} dB at {f} Hz"
                );
            }
        }
    }
}

#[test]
fn a_steady_hum_of_minus_40_dbfs_is_off_by_what_is_told_over_12_phases() {
    for (hum_hz, duration_s) in [(50.0, 2.0), (60.0, 2.0), (50.0, 5.0)] {
        let bench = Bench::of::<Response>("response", 48_000).set("duration_s", duration_s);
        let sent = bench.sent::<Response>();
        let mut squares: Vec<[f64; 2]> = Vec::new();
        let phases = 12u64;
        for phase in 0..phases {
            let hum = |n: usize| {
                let turns = hum_hz / RATE_HZ * n as f64 + phase as f64 / phases as f64;
                0.01 * (std::f64::consts::TAU * turns).sin()
            };
            let humming: Vec<f32> = (0..sent.len() + 20_000)
                .map(|n| (f64::from(sent.get(n).copied().unwrap_or(0.0)) + hum(n)) as f32)
                .collect();
            let returned = with_noise(&humming, 1e-6, phase);
            let result = bench.analyse::<Response>(&sent, &returned, None).unwrap();
            let curve = curve(&result, "magnitude");
            squares.resize(curve.x.len(), [0.0; 2]);
            for (index, square) in squares.iter_mut().enumerate() {
                square[0] += curve.y[index].powi(2);
                square[1] += curve.y_uncertainty[index].powi(2);
            }
        }
        // Evenly spread phases leave no chance: what is off in the mean is told, but for how far
        // a line's own width blurs the gate's leakage between its zeros.
        let of_told: Vec<f64> = squares
            .iter()
            .map(|[off, told]| (off / told).sqrt())
            .collect();
        let worst = of_told.iter().copied().fold(0.0, f64::max);
        println!("{hum_hz} Hz, {duration_s} s: at worst {worst:.2} of what is told");
        assert!(
            worst < 2.5,
            "{hum_hz} Hz, {duration_s} s: {worst} of what is told"
        );
    }
}
