//! The analysis `distortion` on links of closed form.

mod common;

use common::{analyse, figure_at, request, stimulus, through};
use goodwire_plugin_sdk::payload::open_request::Mode;

#[test]
fn polynomial_reads_its_closed_form_within_0_002_db_at_all_frequencies() {
    // y = x + a2 x² + a3 x³ at A = 0.1, a2 = a3 = 0.01: H2 -66.0213 dB, H3 -92.0419 dB, THD
    // 0.05005871 % (power reduction). f32 samples round by 2^-25 of the value: -150 dB.
    let request = request(Mode::Recorded, &[]);
    let sent = stimulus(&request);
    let returned = through(&sent, 200, 0.0, 1, |x| x + 0.01 * x * x + 0.01 * x * x * x);
    let result = analyse(&request, &sent, &returned, Some(&sent)).unwrap();
    for freq_hz in [63.0, 125.0, 250.0, 500.0, 997.0, 2000.0, 4000.0, 6300.0] {
        let near = |id, want: f64, within: f64| {
            let (value, _) = figure_at(&result, id, freq_hz).unwrap();
            assert!(
                (value - want).abs() < within,
                "{id} at {freq_hz} Hz: {value}, want {want}"
            );
        };
        near("thd", 0.050_058_71, 1e-5);
        near("h2", -66.0213, 0.002);
        near("h3", -92.0419, 0.002);
        near("thd_n", 0.050_058_71, 1e-5);
    }
}
