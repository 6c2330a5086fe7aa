//! The analysis `level` on links of closed form.

mod common;

use common::{analyse, figure, has_note, request, stimulus, through};
use goodwire_plugin_sdk::payload::open_request::Mode;

#[test]
fn hard_clip_at_minus_10_46_dbfs_is_found_within_0_01_db_and_the_gain_within_0_001_db() {
    // A sine overdriven by 0.6675 dB has 3 % of orders 3 to 9, one by 2.006 dB has lost 1 dB of
    // its fundamental (Fourier integral of the clipped sine).
    let request = request(Mode::Recorded, &[]);
    let sent = stimulus(&request);
    let returned = through(&sent, 200, 1e-5, 1, |x| (-0.5 * x).clamp(-0.15, 0.15));
    let reference = through(&sent, 10, 1e-6, 2, |x| x);
    let result = analyse(&request, &sent, &returned, Some(&reference)).unwrap();
    let knee_dbfs = 20.0 * 0.3f64.log10();
    let near = |id, want: f64, within: f64| {
        let (value, _) = figure(&result, id).unwrap();
        assert!((value - want).abs() < within, "{id}: {value}, want {want}");
    };
    near("gain", -6.0206, 1e-3);
    near("polarity", -1.0, 1e-12);
    near("clip_point", knee_dbfs + 0.6675, 0.01);
    near("compression_point", knee_dbfs + 2.006, 0.01);
    assert!(has_note(&result, "unmatched-paths"));
}
