//! Delays of whole frames and of fractions.
//!
//! A fraction of a frame is interpolated by a sinc of 64 taps under a Kaiser window, its sum made
//! exactly 1: flat to 1e-5 and right to 1e-5 frames up to 0.43 of the rate (20.6 kHz at 48 kHz,
//! 18.9 kHz at 44.1 kHz; see the tests). It looks 31 frames ahead, so delays below
//! [`SHORTEST_FRACTION`] are of whole frames: they are rounded.

use std::{f64::consts::PI, sync::LazyLock};

use super::CHUNK_FRAMES;

/// Taps on either side.
const HALF_TAPS: usize = 32;
const TAPS: usize = 2 * HALF_TAPS;
/// Frames that are interpolated in one go.
const SIDE_BY_SIDE: usize = 16;
/// The shortest delay in frames that can have a fraction.
pub const SHORTEST_FRACTION: f64 = HALF_TAPS as f64;
/// Kaiser's β for a stop band 120 dB down: 0.1102 (120 - 8.7) (Kaiser 1974; from memory).
const KAISER_BETA: f64 = 12.27;
/// Rows of the table for delays that move; between two rows it is linear, which is right to
/// (π / rows)² / 8 = 1.2e-6 of the sound at half the rate and to less below.
const ROWS: usize = 1024;

/// Impulse response of a delay by a fraction of a frame.
type Kernel = [f64; TAPS];

static TABLE: LazyLock<Vec<Kernel>> = LazyLock::new(|| {
    (0..=ROWS)
        .map(|row| kernel(row as f64 / ROWS as f64))
        .collect()
});

/// A delay that stays as it is.
#[derive(Debug, Clone)]
pub struct FixedDelay {
    /// Whole frames.
    whole: usize,
    /// The fraction, where there is one.
    fraction: Option<Box<Kernel>>,
}

impl FixedDelay {
    /// A delay of so many frames, as [`effective_frames`] gives it.
    pub fn new(frames: f64) -> Self {
        let frames = effective_frames(frames);
        let fraction = (frames.fract() != 0.0).then(|| Box::new(kernel(frames.fract())));
        Self {
            whole: frames as usize,
            fraction,
        }
    }
}

/// The delay in frames that comes of one that was asked for: rounded to whole frames where it is
/// below [`SHORTEST_FRACTION`] or within 1e-6 frames of a whole one, and never negative.
pub fn effective_frames(frames: f64) -> f64 {
    // Towards zero is down here; faster than to ask for the nearest.
    let rounded = (frames.max(0.0) + 0.5) as u64 as f64;
    if frames < SHORTEST_FRACTION || (frames - rounded).abs() < 1e-6 {
        rounded
    } else {
        frames
    }
}

/// What was sent into a delay: the newest chunk and as much before it as is ever heard again.
#[derive(Debug, Clone)]
pub struct Line {
    samples: Vec<f64>,
    /// Where the next chunk is written.
    end: usize,
    /// How many samples before the newest chunk are kept.
    reach: usize,
}

impl Line {
    /// A line for delays of up to `longest_frames`.
    pub fn new(longest_frames: f64) -> Self {
        let reach = longest_frames.max(0.0).ceil() as usize + TAPS;
        // Room for many chunks, so that what is kept is rarely moved to the front.
        let capacity = 2 * reach + 32 * CHUNK_FRAMES;
        Self {
            samples: vec![0.0; capacity],
            end: reach,
            reach,
        }
    }

    /// Takes the next samples in.
    pub fn push(&mut self, block: &[f64]) {
        if self.samples.len() - self.end < block.len() {
            self.samples.copy_within(self.end - self.reach..self.end, 0);
            self.end = self.reach;
        }
        self.samples[self.end..self.end + block.len()].copy_from_slice(block);
        self.end += block.len();
    }

    /// Gives what the block pushed last becomes by a fixed delay.
    pub fn read(&self, delay: &FixedDelay, block: &mut [f64]) {
        let start = self.end - block.len() - delay.whole;
        let Some(kernel) = &delay.fraction else {
            block.copy_from_slice(&self.samples[start..start + block.len()]);
            return;
        };
        let first = start + HALF_TAPS - TAPS;
        // Several frames side by side; each adds up its taps in the same order, however many there
        // are in the block.
        let mut groups = block.chunks_exact_mut(SIDE_BY_SIDE);
        let mut at = first;
        for group in &mut groups {
            let sounds = &self.samples[at..at + TAPS + SIDE_BY_SIDE - 1];
            group.copy_from_slice(&convolve::<SIDE_BY_SIDE>(kernel, sounds));
            at += SIDE_BY_SIDE;
        }
        for out in groups.into_remainder() {
            [*out] = convolve(kernel, &self.samples[at..at + TAPS]);
            at += 1;
        }
    }

    /// Gives what the block pushed last becomes by delays in frames of their own, each as
    /// [`effective_frames`] gives it.
    pub fn read_moving(&self, delays: &[f64], block: &mut [f64]) {
        let mut position = self.end - block.len();
        for (delays, group) in delays
            .chunks(SIDE_BY_SIDE)
            .zip(block.chunks_mut(SIDE_BY_SIDE))
        {
            self.read_group(position, delays, group);
            position += group.len();
        }
    }

    /// The same for few frames: side by side where all their delays have the same whole part and a
    /// fraction, else one by one. The bits of each are the same in both ways.
    fn read_group(&self, position: usize, delays: &[f64], group: &mut [f64]) {
        let together = delays
            .iter()
            .all(|&delay| delay as usize == delays[0] as usize && fraction_of(delay) != 0.0);
        if let Ok(group) = <&mut [f64; SIDE_BY_SIDE]>::try_from(&mut *group)
            && together
        {
            *group = self.interpolate(position, delays);
            return;
        }
        for ((at, out), delay) in (position..).zip(group).zip(delays) {
            if fraction_of(*delay) == 0.0 {
                *out = self.samples[at - *delay as usize];
            } else {
                [*out] = self.interpolate(at, std::slice::from_ref(delay));
            }
        }
    }

    /// N frames from `position` on, whose delays have the same whole part: each on the straight
    /// line between what the rows of the table below and above its fraction give.
    fn interpolate<const N: usize>(&self, position: usize, delays: &[f64]) -> [f64; N] {
        let places: [f64; N] = std::array::from_fn(|n| fraction_of(delays[n]) * ROWS as f64);
        let rows: [usize; N] = places.map(|place| place as usize);
        let (lowest, highest) = rows
            .iter()
            .fold((ROWS, 0), |(low, high), &row| (low.min(row), high.max(row)));
        let first = position - delays[0] as usize - HALF_TAPS;
        let sounds = &self.samples[first..first + TAPS + N - 1];
        let mut heard = [0.0; N];
        let mut below: [f64; N] = convolve(&TABLE[lowest], sounds);
        for row in lowest..=highest {
            let above = convolve(&TABLE[row + 1], sounds);
            for n in (0..N).filter(|&n| rows[n] == row) {
                heard[n] = below[n] + (places[n] - row as f64) * (above[n] - below[n]);
            }
            below = above;
        }
        heard
    }
}

/// What is behind the point of a number that is not negative.
fn fraction_of(delay: f64) -> f64 {
    delay - delay as usize as f64
}

/// N frames of what is heard, from `TAPS - 1` more of what was sent.
fn convolve<const N: usize>(kernel: &Kernel, sounds: &[f64]) -> [f64; N] {
    let mut sums = [0.0; N];
    for (factor, sounds) in kernel.iter().zip(sounds.windows(N)) {
        for (sum, sound) in sums.iter_mut().zip(sounds) {
            *sum += factor * sound;
        }
    }
    sums
}

/// What each sound counts in a delay by `fraction` (0 to 1), the oldest first: tap t is that of the
/// sound 32 - t frames before.
fn kernel(fraction: f64) -> Kernel {
    let mut taps: Kernel = std::array::from_fn(|tap| {
        let place = HALF_TAPS as f64 - tap as f64 - fraction;
        sinc(place) * kaiser(place / HALF_TAPS as f64)
    });
    let sum: f64 = taps.iter().sum();
    taps.iter_mut().for_each(|tap| *tap /= sum);
    taps
}

fn sinc(x: f64) -> f64 {
    if x == 0.0 {
        1.0
    } else {
        (PI * x).sin() / (PI * x)
    }
}

/// Kaiser's window, from -1 to 1.
fn kaiser(x: f64) -> f64 {
    bessel_i0(KAISER_BETA * (1.0 - x * x).max(0.0).sqrt()) / bessel_i0(KAISER_BETA)
}

/// Modified Bessel function of the first kind, order 0: Σ ((x/2)^k / k!)², Abramowitz and Stegun
/// 9.6.12 (from memory).
fn bessel_i0(x: f64) -> f64 {
    let mut term = 1.0;
    let mut sum = 1.0;
    for k in 1..60 {
        term *= (0.5 * x / f64::from(k)).powi(2);
        sum += term;
    }
    sum
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use proptest::prelude::*;

    use super::*;

    /// Factor and delay in frames of a kernel at a part of the rate.
    fn response(kernel: &Kernel, part: f64) -> (f64, f64) {
        let (mut re, mut im) = (0.0, 0.0);
        for (tap, factor) in kernel.iter().enumerate() {
            let angle = TAU * part * (32.0 - tap as f64);
            re += factor * angle.cos();
            im -= factor * angle.sin();
        }
        (re.hypot(im), -im.atan2(re) / (TAU * part))
    }

    #[test]
    fn bessel_i0_of_1_is_1_2660658777520084() {
        // Abramowitz and Stegun, table 9.8, from memory.
        assert!((bessel_i0(1.0) - 1.266_065_877_752_008_4).abs() < 1e-14);
    }

    proptest! {
        #[test]
        fn fractions_are_flat_to_1e_5_and_right_to_1e_5_frames_up_to_0_43_of_the_rate(
            fraction in 0.001_f64..0.999,
            part in 0.001_f64..0.43,
        ) {
            let (factor, delay) = response(&kernel(fraction), part);
            prop_assert!((factor - 1.0).abs() < 1e-5, "factor {factor}");
            prop_assert!((delay - fraction).abs() < 1e-5, "delay {delay}, want {fraction}");
        }

        #[test]
        fn a_moving_delay_that_rests_is_the_fixed_delay(
            whole in 0_u32..400,
            fraction in 0.0_f64..1.0,
        ) {
            let asked = f64::from(whole) + fraction;
            let frames = effective_frames(asked);
            let block: Vec<f64> = (0..600).map(|n| (0.3 * f64::from(n)).sin()).collect();
            let mut line = Line::new(asked);
            line.push(&block);
            let (mut fixed, mut moving) = (vec![0.0; 600], vec![0.0; 600]);
            line.read(&FixedDelay::new(asked), &mut fixed);
            line.read_moving(&vec![frames; 600], &mut moving);
            for (a, b) in fixed.iter().zip(&moving) {
                prop_assert!((a - b).abs() < 1e-5, "fixed {a}, moving {b}");
            }
        }
    }

    #[test]
    fn delays_below_32_frames_and_near_whole_ones_are_whole() {
        for (asked, want) in [
            (-3.0, 0.0),
            (0.4, 0.0),
            (31.6, 32.0),
            (32.4, 32.4),
            (48.000_000_1, 48.0),
        ] {
            assert_eq!(effective_frames(asked), want);
        }
    }

    #[test]
    fn a_delay_of_300_frames_outlives_10000_blocks() {
        let mut line = Line::new(300.0);
        let delay = FixedDelay::new(300.0);
        let mut heard = [0.0; 17];
        for k in 0..10_000_u32 {
            let first = 17 * k;
            line.push(&std::array::from_fn::<f64, 17, _>(|n| {
                f64::from(first) + n as f64
            }));
            line.read(&delay, &mut heard);
            if first > 300 {
                assert_eq!(heard[3], f64::from(first) + 3.0 - 300.0);
            }
        }
    }
}
