//! The whole rig against what its settings say, heard through its interface.

mod device;
mod lapses;
mod links;
mod properties;

use std::{f64::consts::TAU, time::Duration};

use super::{
    settings::{DropoutKind, LinkSettings, PathSettings, RigSettings},
    *,
};
use crate::audio::{Heard, Interface, Loss};

const RATE_HZ: u32 = 48_000;

/// One link from send 0 to return 0, a cable from 1 to 1, and no noise anywhere.
fn quiet_rig(settings: LinkSettings) -> RigSpec {
    let silent = PathSettings {
        noise_dbfs: None,
        ..PathSettings::default()
    };
    let mut spec = RigSpec::healthy(RATE_HZ, 1);
    spec.links[0].settings = LinkSettings {
        noise_dbfs: None,
        ..settings
    };
    spec.returns = vec![silent; 2];
    spec
}

/// A link that does nothing at all.
fn wire() -> LinkSettings {
    LinkSettings {
        delay_ms: 0.0,
        low_corner_hz: 0.0,
        noise_dbfs: None,
        ..LinkSettings::default()
    }
}

/// Plays the same on all sends, in blocks of these sizes in turn.
fn play(
    interface: &mut SimulatedInterface,
    sound: &[f32],
    sizes: &[usize],
) -> (Vec<Vec<f32>>, Vec<Heard>) {
    let shape = interface.shape().clone();
    let mut heard = vec![Vec::new(); shape.return_count];
    let mut reports = Vec::new();
    let mut at = 0;
    for &size in sizes.iter().cycle() {
        let block = &sound[at..sound.len().min(at + size)];
        if block.is_empty() {
            break;
        }
        let sends = vec![block; shape.send_count];
        let report = interface.exchange(at as u64, &sends, &mut heard, Duration::ZERO);
        reports.push(report.expect("the device is there"));
        at += block.len();
    }
    (heard, reports)
}

fn play_on(spec: &RigSpec, sound: &[f32]) -> Vec<Vec<f32>> {
    play(&mut SimulatedInterface::new(spec), sound, &[256]).0
}

fn sine(frequency_hz: f64, peak: f64, frame_count: usize) -> Vec<f32> {
    let step = TAU * frequency_hz / f64::from(RATE_HZ);
    (0..frame_count)
        .map(|n| (peak * (step * n as f64).cos()) as f32)
        .collect()
}

/// Complex amplitude at a frequency over the last `frame_count` frames, which hold whole periods.
fn amplitude(sound: &[f32], frequency_hz: f64, frame_count: usize) -> (f64, f64) {
    let step = TAU * frequency_hz / f64::from(RATE_HZ);
    let first = sound.len() - frame_count;
    let (mut re, mut im) = (0.0, 0.0);
    for (n, &x) in sound.iter().enumerate().skip(first) {
        re += f64::from(x) * (step * n as f64).cos();
        im -= f64::from(x) * (step * n as f64).sin();
    }
    (2.0 * re / frame_count as f64, 2.0 * im / frame_count as f64)
}

fn level_dbfs(sound: &[f32]) -> f64 {
    let power: f64 = sound.iter().map(|&x| f64::from(x).powi(2)).sum();
    10.0 * (2.0 * power / sound.len() as f64).log10()
}

/// A rig in which everything happens at once.
fn wild_rig() -> RigSpec {
    let mut spec = RigSpec::healthy(RATE_HZ, 4);
    let base = || LinkSettings {
        delay_ms: 3.456_789,
        high_corner_hz: 15_000.0,
        filter_order: 5,
        dropouts_per_minute: 300.0,
        hum_dbfs: Some(-60.0),
        ..LinkSettings::default()
    };
    spec.links[0].settings = LinkSettings {
        skew_ppm: -2000.0,
        hard_clip_dbfs: Some(-6.0),
        hears: "link-2".into(),
        dropout_kind: DropoutKind::Ramp,
        ..base()
    };
    spec.links[1].settings = LinkSettings {
        resync_jitter_ms: 0.4,
        resync_every_s: 0.1,
        idle_below_dbfs: Some(-40.0),
        idle_after_s: 0.05,
        wake_s: 0.02,
        polynomial: vec![0.01, 0.02],
        dropout_kind: DropoutKind::Repeat,
        ..base()
    };
    spec.links[2].settings = LinkSettings {
        soft_clip_dbfs: Some(-3.0),
        sway_db: 2.0,
        sway_s: 1.0,
        dropouts_at: vec![(0.1, 2.0), (0.3, 25.0)],
        ..base()
    };
    spec.links[2].send_index = 1;
    spec.sends = vec![
        PathSettings {
            high_corner_hz: 20_000.0,
            ..PathSettings::default()
        };
        2
    ];
    spec.returns = vec![
        PathSettings {
            low_corner_hz: 3.0,
            ..PathSettings::default()
        };
        5
    ];
    spec.rig = RigSettings {
        xrun_every_s: 0.2,
        xrun_frames: 300,
        programme_dbfs: Some(-50.0),
        ..RigSettings::default()
    };
    spec
}

/// Half a second of beats: sounds and silences.
fn beats() -> Vec<f32> {
    let mut sound = sine(997.0, 0.7, 48_000);
    sound
        .iter_mut()
        .enumerate()
        .filter(|(n, _)| n / 5000 % 2 == 1)
        .for_each(|(_, x)| *x = 0.0);
    sound
}
