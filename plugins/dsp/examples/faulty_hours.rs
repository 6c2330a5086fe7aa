//! Watches simulated links with faults drawn from a seed, and holds what is told against them:
//! `cargo run --release -p goodwire-dsp --example faulty_hours -- HOURS SEED WATCH_S KIND RUN`, the
//! last two to see one of the four kinds of links, or one watch, alone.
//!
//! Much of it happens more often than in a room, so that rare mistakes show within minutes: clocks
//! are up to 300 ppm off and slip every few minutes, the interface loses frames every other minute,
//! and where WATCH_S is short many watches begin.

use std::f64::consts::TAU;

use goodwire_dsp::noise;
use goodwire_dsp::watch::{Heard, Lapse, LapseKind, NoiseWatch, Pilot, Watch};

const RATE_HZ: f64 = 48_000.0;
const BLOCK: usize = 4_096;
/// What the goals allow edges and lengths to be off by, in ms.
const OFF_MS: f64 = 1.5;
/// A link slips when its delay has drifted by so much.
const SLIP_S: f64 = 0.02;

#[derive(Debug, Clone, Copy, PartialEq)]
enum Kind {
    Mute,
    Fade,
    Repeat,
    Healthy,
}

/// First frame of a gap and its length, between the -6 dB points, in frames.
type Gap = (usize, usize);

/// One link, and what happens to it while it is watched.
struct Take {
    kind: Kind,
    link: Vec<f32>,
    gaps: Vec<Gap>,
    slips: Vec<usize>,
    lost: Vec<usize>,
}

#[derive(Debug, Default)]
struct Tally {
    hours: f64,
    gaps: usize,
    shifts: usize,
    worst_ms: [f64; 2],
    wrong: usize,
}

fn main() {
    let mut asked = std::env::args().skip(1);
    let mut number = |default: f64| {
        asked
            .next()
            .map_or(default, |x| x.parse().expect("a number"))
    };
    let (hours, seed, watch_s) = (number(1.0), number(1.0) as u64, number(300.0));
    let (wanted, wanted_run) = (number(-1.0), number(-1.0));
    let kinds = [Kind::Mute, Kind::Fade, Kind::Repeat, Kind::Healthy];
    let mut tallies: [Tally; 4] = Default::default();
    let frames = (watch_s * RATE_HZ) as usize;
    let mut sent = vec![0.0; frames];
    for run in 0..(hours * 3_600.0 / watch_s).ceil() as u64 {
        if wanted_run >= 0.0 && wanted_run != run as f64 {
            continue;
        }
        let seed = seed.wrapping_mul(1_000_003).wrapping_add(run);
        Pilot::new(RATE_HZ, -20.0, seed).render(0, &mut sent);
        for (index, kind) in kinds.into_iter().enumerate() {
            if wanted >= 0.0 && wanted != index as f64 {
                continue;
            }
            let take = Take::draw(kind, &sent, 4 * seed + index as u64);
            let lapses = watched(&take, &sent);
            tallies[index].judge(&take, &lapses, run, watch_s);
        }
    }
    for (kind, tally) in kinds.iter().zip(&tallies) {
        println!("{kind:?}: {tally:.2?}");
    }
}

impl Take {
    fn draw(kind: Kind, sent: &[f32], seed: u64) -> Self {
        let mut count = 0;
        let mut draw = || {
            count += 1;
            0.5 - noise::white(seed, count) / 2.0
        };
        let seconds = sent.len() as f64 / RATE_HZ;
        let shortest_ms = if kind == Kind::Fade { 5.0 } else { 2.0 };
        let mut gaps = Vec::new();
        let mut at_s = 3.0 * draw();
        while kind != Kind::Healthy && at_s < seconds - 1.0 {
            let length_s = 1e-3 * shortest_ms * (500.0_f64 / shortest_ms).powf(draw());
            gaps.push(((at_s * RATE_HZ) as usize, (length_s * RATE_HZ) as usize));
            at_s += 2.0 - 4.0 * draw().ln();
        }
        let mut lost = Vec::new();
        let mut at_s = 5.0 - 100.0 * draw().ln();
        while at_s < seconds {
            lost.push((at_s * RATE_HZ) as usize);
            at_s += 5.0 - 100.0 * draw().ln();
        }
        let skew = match kind {
            Kind::Fade | Kind::Healthy => 1e-6 * (10.0 + 290.0 * draw()),
            _ => 0.0,
        };
        let way = Way {
            skew,
            delay: if skew > 0.0 { 1_440.0 } else { 192.0 },
            gain: [1.0, -1.0][(seed % 2) as usize],
            low: 1.0 - pole(9_000.0 + 9_000.0 * draw()),
            high: pole(10.0 + 70.0 * draw()),
            sway_db: 3.0 * draw(),
            sway_s: 10.0 + 50.0 * draw(),
        };
        let (mut link, slips) = way.carried(sent);
        for &gap in &gaps {
            spoil(&mut link, kind, gap);
        }
        // -60 dBFS as the RMS of a sine.
        let hiss = 1e-3 * 0.5_f64.sqrt();
        let noisy = link.iter().zip(0_u64..);
        Self {
            kind,
            link: noisy
                .map(|(x, n)| (x + hiss * noise::gaussian(seed ^ 77, n)) as f32)
                .collect(),
            gaps,
            slips,
            lost,
        }
    }

    /// True where something else than the gap has a hand in what is told of it.
    fn is_touched(&self, from: f64, to: f64) -> bool {
        let near = |at: &usize, before: f64, after: f64| {
            from < *at as f64 + after * RATE_HZ && *at as f64 - before * RATE_HZ < to
        };
        from < 0.7 * RATE_HZ
            || to > self.link.len() as f64 - 0.7 * RATE_HZ
            || self.lost.iter().any(|at| near(at, 0.1, 0.25))
            || self.slips.iter().any(|at| near(at, 1.0, 1.0))
    }
}

fn pole(hz: f64) -> f64 {
    (-TAU * hz / RATE_HZ).exp()
}

struct Way {
    skew: f64,
    delay: f64,
    gain: f64,
    low: f64,
    high: f64,
    sway_db: f64,
    sway_s: f64,
}

impl Way {
    /// What comes back, and where the delay stepped.
    fn carried(&self, sent: &[f32]) -> (Vec<f64>, Vec<usize>) {
        let (mut smooth, mut slow) = (0.0, 0.0);
        let (mut since, mut slips) = (0, Vec::new());
        let back = (0..sent.len()).map(|n| {
            let mut drift = self.skew * (n - since) as f64;
            if drift > SLIP_S * RATE_HZ {
                slips.push(n);
                (since, drift) = (n, 0.0);
            }
            smooth += self.low * (between(sent, n as f64 - self.delay - drift, n as u64) - smooth);
            slow = self.high * slow + (1.0 - self.high) * smooth;
            let turn = (n as f64 / RATE_HZ / self.sway_s * TAU).sin();
            self.gain * (smooth - slow) * 10f64.powf(self.sway_db * turn / 20.0)
        });
        (back.collect(), slips)
    }
}

/// Third-order Lagrange interpolation; a wake-up before the beginning.
fn between(sent: &[f32], at: f64, frame: u64) -> f64 {
    if at < 2.0 {
        return 0.01 * noise::gaussian(13, frame);
    }
    let base = at.floor();
    let t = at - base;
    let x = |k: i64| f64::from(sent[(base as i64 + k) as usize]);
    x(-1) * -t * (t - 1.0) * (t - 2.0) / 6.0
        + x(0) * (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0
        + x(1) * -(t + 1.0) * t * (t - 2.0) / 2.0
        + x(2) * (t + 1.0) * t * (t - 1.0) / 6.0
}

fn spoil(link: &mut [f64], kind: Kind, (first, count): Gap) {
    match kind {
        Kind::Mute => link[first..first + count].fill(0.0),
        Kind::Repeat => {
            let from = first.saturating_sub(480);
            let before = link[from..from + 480].to_vec();
            for k in 0..count {
                link[first + k] = before[k % 480];
            }
        }
        Kind::Fade => {
            let (begin, end) = (first as i64 - 120, (first + count) as i64 + 120);
            for n in begin..end {
                let passed = (n - begin).min(end - n) as f64;
                if let Some(x) = usize::try_from(n).ok().and_then(|n| link.get_mut(n)) {
                    *x *= (1.0 - passed / 240.0).max(0.0);
                }
            }
        }
        Kind::Healthy => {}
    }
}

fn watched(take: &Take, sent: &[f32]) -> Vec<Lapse> {
    let mut watch = NoiseWatch::new(RATE_HZ);
    let mut lapses = Vec::new();
    let mut at = 0;
    while at < sent.len() {
        // The interface loses 256 frames; what is heard after them is heard on time.
        let lost = take.lost.iter().find(|lost| **lost >= at);
        let end = (at + BLOCK).min(sent.len());
        let end = lost.map_or(end, |lost| end.min(*lost));
        if end > at {
            watch.hear(&Heard {
                first_frame: at as u64,
                link: &take.link[at..end],
                reference: Some(&sent[at..end]),
            });
        }
        let is_lost = lost == Some(&end);
        at = if is_lost { end + 256 } else { end };
        lapses.extend(watch.take_lapses());
    }
    watch.close();
    lapses.extend(watch.take_lapses());
    lapses
}

impl Tally {
    fn judge(&mut self, take: &Take, lapses: &[Lapse], run: u64, watch_s: f64) {
        self.hours += watch_s / 3_600.0;
        let mut told: Vec<Option<&Lapse>> = lapses.iter().map(Some).collect();
        for &(first, count) in &take.gaps {
            let (from, to) = (first as f64, (first + count) as f64);
            let is_it = |lapse: &Lapse| {
                lapse.kind.is_lost() && (lapse.start_frame - from).abs() < 0.006 * RATE_HZ
            };
            let near = told.iter_mut().find(|lapse| lapse.is_some_and(is_it));
            let lapse = near.and_then(Option::take);
            if !take.is_touched(from, to) {
                self.gaps += 1;
                let off = lapse.map(|lapse| {
                    [lapse.start_frame - from, lapse.frame_count - (to - from)].map(in_ms)
                });
                self.compare(off, || {
                    let (at_s, ms) = (in_ms(from) / 1e3, in_ms(to - from));
                    format!("run {run}, {:?} at {at_s:.4} s of {ms:.2} ms", take.kind)
                });
            }
        }
        for lapse in told.into_iter().flatten() {
            self.judge_other(take, lapse, run);
        }
    }

    /// What was told of a gap: how far its start and length are off.
    fn compare(&mut self, off_ms: Option<[f64; 2]>, gap: impl Fn() -> String) {
        let Some([start_ms, length_ms]) = off_ms else {
            self.wrong += 1;
            return println!("{} was missed", gap());
        };
        for (worst, off_ms) in self.worst_ms.iter_mut().zip([start_ms, length_ms]) {
            *worst = worst.max(off_ms.abs());
        }
        if start_ms.abs().max(length_ms.abs()) > OFF_MS {
            self.wrong += 1;
            println!(
                "{}: start {start_ms:+.2}, length {length_ms:+.2} ms off",
                gap()
            );
        }
    }

    /// A slip, a piece of a gap that is touched, or invented.
    fn judge_other(&mut self, take: &Take, lapse: &Lapse, run: u64) {
        let (from, to) = (lapse.start_frame, lapse.start_frame + lapse.frame_count);
        let slipped = |at: &usize| (from - *at as f64).abs() < SLIP_S * RATE_HZ;
        if lapse.kind == LapseKind::Shift && take.slips.iter().any(slipped) {
            self.shifts += 1;
            return;
        }
        let off = OFF_MS * RATE_HZ / 1e3;
        let is_piece = take.gaps.iter().any(|&(first, count)| {
            let (first, end) = (first as f64, (first + count) as f64);
            take.is_touched(first, end) && from < end + off && first - off < to
        });
        if !is_piece {
            self.wrong += 1;
            let (at_s, ms) = (in_ms(from) / 1e3, in_ms(to - from));
            let (kind, told) = (take.kind, lapse.kind);
            println!("run {run}, {kind:?}: {told:?} at {at_s:.4} s of {ms:.2} ms invented");
        }
    }
}

fn in_ms(frames: f64) -> f64 {
    1e3 * frames / RATE_HZ
}
