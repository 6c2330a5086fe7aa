//! Butterworth filters, exactly as documented, so that their response is known in closed form.
//!
//! A filter of order N is the analogue Butterworth prototype taken to the rate by the bilinear
//! transform with its corner pre-warped (Oppenheim and Schafer, Discrete-Time Signal Processing,
//! chapter on filter design; from memory). With Ω = tan(π f / rate) and Ωc = tan(π fc / rate):
//!
//! - low-pass: |H|² = 1 / (1 + (Ω/Ωc)^2N), high-pass: |H|² = 1 / (1 + (Ωc/Ω)^2N).
//!
//! It is -3.01 dB at fc at every order and rate. The phase is the sum over its sections of
//! first and second order, whose coefficients are in [`section`].

use std::f64::consts::{PI, TAU};

/// Remains below this are set to 0: 600 dB below full scale, long before they get slow.
const NEGLIGIBLE: f64 = 1e-30;

/// Which side a filter keeps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Keeps what is above the corner.
    High,
    /// Keeps what is below the corner.
    Low,
}

/// One section: y = b0 x + b1 x' + b2 x'' - a1 y' - a2 y'', in transposed direct form II.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Section {
    b: [f64; 3],
    a: [f64; 2],
    state: [f64; 2],
}

impl Section {
    fn step(&mut self, x: f64) -> f64 {
        let ([b0, b1, b2], [a1, a2]) = (self.b, self.a);
        let y = b0 * x + self.state[0];
        self.state = [b1 * x + self.state[1] - a1 * y, b2 * x - a2 * y];
        y
    }

    /// Factor and phase in radians, the phase within ± π, at `angle` = 2π f / rate.
    fn response(&self, angle: f64) -> (f64, f64) {
        let ([b0, b1, b2], [a1, a2]) = (self.b, self.a);
        let (sin, cos) = angle.sin_cos();
        let (sin2, cos2) = (2.0 * angle).sin_cos();
        let (top_re, top_im) = (b0 + b1 * cos + b2 * cos2, -b1 * sin - b2 * sin2);
        let (low_re, low_im) = (1.0 + a1 * cos + a2 * cos2, -a1 * sin - a2 * sin2);
        let re = top_re * low_re + top_im * low_im;
        let im = top_im * low_re - top_re * low_im;
        (top_re.hypot(top_im) / low_re.hypot(low_im), im.atan2(re))
    }
}

/// Takes a block through N sections, one after the other.
fn run<const N: usize>(sections: &mut [Section; N], block: &mut [f64]) {
    // A copy, so that all of it stays in registers.
    let mut own = sections.clone();
    for sample in block {
        for section in &mut own {
            *sample = section.step(*sample);
        }
    }
    *sections = own;
}

/// Several sections, one after the other.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Filters {
    sections: Vec<Section>,
}

impl Filters {
    /// A high-pass and a low-pass of the same order; a corner of 0 leaves one out, and so does a
    /// low-pass corner from half the rate up. A high-pass corner is kept below 0.49 of the rate.
    pub fn new(low_corner_hz: f64, high_corner_hz: f64, order: usize, rate_hz: f64) -> Self {
        let mut sections = Vec::new();
        if low_corner_hz > 0.0 {
            let corner = (low_corner_hz / rate_hz).min(0.49);
            sections.extend(butterworth(Side::High, corner, order));
        }
        if 0.0 < high_corner_hz && high_corner_hz < 0.5 * rate_hz {
            sections.extend(butterworth(Side::Low, high_corner_hz / rate_hz, order));
        }
        Self { sections }
    }

    /// Filters the block in place.
    pub fn process(&mut self, block: &mut [f64]) {
        // Sections wait for their own last sample; several in one loop do not wait for each other.
        let (fours, rest) = self.sections.as_chunks_mut::<4>();
        fours.iter_mut().for_each(|sections| run(sections, block));
        let (pairs, rest) = rest.as_chunks_mut::<2>();
        pairs.iter_mut().for_each(|sections| run(sections, block));
        let (singles, _) = rest.as_chunks_mut::<1>();
        singles.iter_mut().for_each(|sections| run(sections, block));
    }

    /// Forgets remains that are too small to matter: numbers near the smallest there are compute
    /// slowly. To be called at the same frames whatever the blocks are.
    pub fn settle(&mut self) {
        for state in self
            .sections
            .iter_mut()
            .flat_map(|section| &mut section.state)
        {
            if state.abs() < NEGLIGIBLE {
                *state = 0.0;
            }
        }
    }

    /// Factor and phase in radians (not wrapped) at a frequency.
    pub fn response(&self, frequency_hz: f64, rate_hz: f64) -> (f64, f64) {
        let angle = TAU * frequency_hz / rate_hz;
        self.sections
            .iter()
            .map(|section| section.response(angle))
            .fold(
                (1.0, 0.0),
                |(factor, phase), (section_factor, section_phase)| {
                    (factor * section_factor, phase + section_phase)
                },
            )
    }
}

/// The sections of a filter of `order` (1 to 8), its corner given as a part of the rate.
fn butterworth(side: Side, corner: f64, order: usize) -> impl Iterator<Item = Section> {
    let warped = (PI * corner).tan();
    let order = order.clamp(1, 8);
    let single = (order % 2 == 1).then(|| single_section(side, warped));
    // The poles lie on a circle, π / order apart; `angle` is a pair's angle from the real axis.
    let pairs = (0..order / 2).map(move |k| {
        let angle = (k as f64 + if order % 2 == 1 { 1.0 } else { 0.5 }) * PI / order as f64;
        section(side, warped, 2.0 * angle.cos())
    });
    single.into_iter().chain(pairs)
}

/// Second order: 1 / (s² + damping s + 1), or s² over the same, with s = (1 - z⁻¹) / (k (1 + z⁻¹)),
/// where k is the warped corner.
fn section(side: Side, k: f64, damping: f64) -> Section {
    let norm = 1.0 / (1.0 + damping * k + k * k);
    let b = match side {
        Side::Low => [k * k * norm, 2.0 * k * k * norm, k * k * norm],
        Side::High => [norm, -2.0 * norm, norm],
    };
    let a = [
        2.0 * (k * k - 1.0) * norm,
        (1.0 - damping * k + k * k) * norm,
    ];
    Section {
        b,
        a,
        state: [0.0; 2],
    }
}

/// First order: 1 / (s + 1), or s over the same.
fn single_section(side: Side, k: f64) -> Section {
    let norm = 1.0 / (1.0 + k);
    let b = match side {
        Side::Low => [k * norm, k * norm, 0.0],
        Side::High => [norm, -norm, 0.0],
    };
    Section {
        b,
        a: [(k - 1.0) * norm, 0.0],
        state: [0.0; 2],
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn magnitude_is_the_closed_form_at_every_order_corner_and_rate(
            order in 1_usize..=8,
            corner in 5.0_f64..20_000.0,
            frequency in 5.0_f64..21_000.0,
            rate in prop::sample::select(vec![44_100.0, 48_000.0, 96_000.0, 192_000.0]),
        ) {
            let ratio = ((PI * frequency / rate).tan() / (PI * corner / rate).tan())
                .powi(2 * order as i32);
            for (filters, want) in [
                (Filters::new(0.0, corner, order, rate), 1.0 / (1.0 + ratio)),
                (Filters::new(corner, 0.0, order, rate), 1.0 / (1.0 + 1.0 / ratio)),
            ] {
                let got_db = 20.0 * filters.response(frequency, rate).0.log10();
                let want_db = 10.0 * want.log10();
                // What is 200 dB down is the rest of subtractions.
                if want_db > -200.0 {
                    prop_assert!((got_db - want_db).abs() < 1e-3, "got {got_db}, want {want_db}");
                }
            }
        }

        #[test]
        fn the_sound_has_the_response_that_is_told(
            order in 1_usize..=8,
            corner in 50.0_f64..10_000.0,
            bin in 1_usize..2000,
        ) {
            let rate = 48_000.0;
            let frequency = bin as f64 * rate / 4096.0;
            let mut filters = Filters::new(corner, 0.0, order, rate);
            let (want_factor, want_phase) = filters.response(frequency, rate);
            let step = TAU * frequency / rate;
            // Long enough for the start to die away, even at 50 Hz and order 8.
            let mut block: Vec<f64> = (0..48_000 + 4096).map(|n| (step * n as f64).sin()).collect();
            filters.process(&mut block);
            let (mut re, mut im) = (0.0, 0.0);
            for (n, y) in block.iter().enumerate().skip(48_000) {
                re += y * (step * n as f64).sin() / 2048.0;
                im += y * (step * n as f64).cos() / 2048.0;
            }
            prop_assert!((re - want_factor * want_phase.cos()).abs() < 1e-9);
            prop_assert!((im - want_factor * want_phase.sin()).abs() < 1e-9);
        }
    }

    #[test]
    fn order_2_at_a_quarter_of_the_rate_has_the_textbook_coefficients() {
        // k = tan(π/4) = 1: b = (1, 2, 1) / (2 + √2), a1 = 0, a2 = (2 - √2) / (2 + √2), as
        // scipy.signal.butter(2, 0.5) gives.
        let filters = Filters::new(0.0, 12_000.0, 2, 48_000.0);
        let want = [0.292_893_218_813, 0.585_786_437_627, 0.292_893_218_813];
        for (got, want) in filters.sections[0].b.iter().zip(want) {
            assert!((got - want).abs() < 1e-12, "got {got}, want {want}");
        }
        assert!(filters.sections[0].a[0].abs() < 1e-12);
        assert!((filters.sections[0].a[1] - 0.171_572_875_254).abs() < 1e-12);
    }

    #[test]
    fn settling_clears_what_is_600_db_below_full_scale() {
        let mut filters = Filters::new(8.0, 0.0, 2, 48_000.0);
        filters.process(&mut [1.0]);
        filters.process(&mut vec![0.0; 480_000]);
        filters.settle();
        assert!(
            filters
                .sections
                .iter()
                .all(|section| section.state == [0.0; 2])
        );
    }
}
