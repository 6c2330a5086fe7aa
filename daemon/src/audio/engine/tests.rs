//! The engine against an interface of the tests' own.

use std::{
    sync::mpsc,
    sync::{Arc, Mutex},
    time::Duration,
};

use super::*;
use crate::audio::{
    Heard, Loss, TimeSource,
    performance::{Answer, Cancel, Part, Prediction, Sound},
};

const RATE_HZ: u32 = 48_000;

/// What an interface of the tests' own does besides looping send 0 to return 0.
#[derive(Debug, Clone, Default)]
struct Script {
    gain: f32,
    lose_at_frame: Option<u64>,
    vanish_at_frame: Option<u64>,
    /// Turned when the first block is exchanged, as a client does while it plays.
    cancel: Arc<Cancel>,
    cancels_part: bool,
    cancels_all: bool,
}

struct Loop {
    shape: Shape,
    mute: Arc<Mute>,
    script: Script,
    played: Arc<Mutex<Vec<f32>>>,
}

impl Interface for Loop {
    fn shape(&self) -> &Shape {
        &self.shape
    }

    fn mute(&self) -> Arc<Mute> {
        Arc::clone(&self.mute)
    }

    fn set_ceilings(&mut self, _: &[f32]) {}

    fn xrun_count(&self) -> u64 {
        0
    }

    fn exchange(
        &mut self,
        at_frame: u64,
        play: &[&[f32]],
        heard: &mut [Vec<f32>],
        _: Duration,
    ) -> Result<Heard, InterfaceError> {
        let frame_count = play[0].len();
        let end_frame = at_frame + frame_count as u64;
        if self
            .script
            .vanish_at_frame
            .take_if(|at| *at < end_frame)
            .is_some()
        {
            let device = self.shape.device.clone();
            return Err(InterfaceError::Gone {
                device,
                text: "pulled out".into(),
            });
        }
        if self.script.cancels_all || self.script.cancels_part {
            self.script.cancel.set();
        }
        let lost = self.script.lose_at_frame.take_if(|at| *at < end_frame);
        self.played.lock().expect("one at a time").extend(play[0]);
        heard[0].extend(play[0].iter().map(|sample| sample * self.script.gain));
        let lost = lost.map(|_| Loss::Frames(1));
        Ok(Heard {
            epoch: 1,
            first_frame: at_frame,
            frame_count,
            lost,
        })
    }
}

type Played = Arc<Mutex<Vec<f32>>>;

/// An engine on a loop; the script counts for the first opening alone.
fn engine(script: Script) -> (Engine, Played) {
    let played = Played::default();
    let theirs = Arc::clone(&played);
    let mut script = Some(script);
    let opener: Opener = Box::new(move || {
        let shape = Shape {
            backend: "test",
            device: "loop".into(),
            rate_hz: RATE_HZ,
            send_count: 1,
            return_count: 1,
            period_frames: 256,
            locked: true,
            simulated: false,
            time: TimeSource::Virtual,
            output_latency_ms: None,
            scheduling: String::new(),
        };
        let script = script.take().unwrap_or(Script {
            gain: 1.0,
            ..Script::default()
        });
        Ok(Box::new(Loop {
            shape,
            mute: Arc::default(),
            script,
            played: Arc::clone(&theirs),
        }))
    });
    (Engine::start(opener, vec![1.0]), played)
}

/// Plays a constant for a second.
fn perform(engine: &Engine, predictions: Vec<Prediction>) -> (Ended, Vec<f32>) {
    perform_until(engine, predictions, Arc::default(), Arc::default())
}

fn perform_until(
    engine: &Engine,
    predictions: Vec<Prediction>,
    all: Arc<Cancel>,
    part: Arc<Cancel>,
) -> (Ended, Vec<f32>) {
    let (answers, inbox) = mpsc::channel();
    engine.perform(Performance {
        parts: vec![Part {
            send: 0,
            delay_frames: 100,
            sound: Sound::Whole(vec![0.5; RATE_HZ as usize].into()),
            cancel: part,
        }],
        frame_count: 50_000,
        open_end: None,
        cabled_returns: Vec::new(),
        predictions,
        cancel: all,
        answers,
    });
    let mut heard = Vec::new();
    loop {
        match inbox
            .recv()
            .expect("an end comes before the channel closes")
        {
            Answer::Captured(captured) => {
                assert_eq!(captured.first_frame, heard.len() as u64, "gapless");
                heard.extend(&captured.returns[0]);
            }
            Answer::Ended(ended) => return (ended, heard),
        }
    }
}

#[test]
fn a_part_is_heard_on_its_own_frames_and_silence_around_it() {
    let (engine, _) = engine(Script {
        gain: 1.0,
        ..Script::default()
    });
    let (ended, heard) = perform(&engine, Vec::new());
    assert_eq!(ended, Ended::Complete { epoch: 1 });
    assert_eq!(heard.len(), 50_000);
    assert!(heard[..100].iter().all(|x| *x == 0.0));
    assert!(heard[100..48_100].iter().all(|x| *x == 0.5));
    assert!(heard[48_100..].iter().all(|x| *x == 0.0));
}

#[test]
fn a_lost_frame_voids_the_performance() {
    let (engine, _) = engine(Script {
        gain: 1.0,
        lose_at_frame: Some(20_000),
        ..Script::default()
    });
    let (ended, _) = perform(&engine, Vec::new());
    assert_eq!(ended, Ended::Lost(Loss::Frames(1)));
}

#[test]
fn a_vanished_device_is_named_and_used_again_when_it_is_back() {
    let (engine, _) = engine(Script {
        gain: 1.0,
        vanish_at_frame: Some(20_000),
        ..Script::default()
    });
    let (ended, _) = perform(&engine, Vec::new());
    let Ended::DeviceLost { text } = ended else {
        panic!("{ended:?}")
    };
    assert!(text.contains("loop"), "{text}");
    let again = loop {
        let (ended, heard) = perform(&engine, Vec::new());
        if !matches!(ended, Ended::DeviceLost { .. }) {
            break (ended, heard.len());
        }
    };
    assert_eq!(again, (Ended::Complete { epoch: 2 }, 50_000));
}

#[test]
fn a_return_10_db_above_the_prediction_ends_it_at_once() {
    let (engine, _) = engine(Script {
        gain: 1.9,
        ..Script::default()
    });
    // 0.5 × 1.9 is -0.45 dBFS: 9.9 dB above the first prediction, 10.1 dB above the second.
    let prediction = |peak_dbfs| {
        vec![Prediction {
            return_index: 0,
            peak_dbfs,
        }]
    };
    let (ended, _) = perform(&engine, prediction(-10.3));
    assert_eq!(ended, Ended::Complete { epoch: 1 });
    let (ended, heard) = perform(&engine, prediction(-10.6));
    assert!(
        matches!(
            ended,
            Ended::TooLoud {
                return_index: 0,
                ..
            }
        ),
        "{ended:?}"
    );
    assert!(heard.is_empty());
}

#[test]
fn a_cancelled_part_ramps_down_within_10_ms_and_the_rest_goes_on() {
    let part = Arc::<Cancel>::default();
    let script = Script {
        gain: 1.0,
        cancels_part: true,
        cancel: Arc::clone(&part),
        ..Script::default()
    };
    let (engine, played) = engine(script);
    let (ended, heard) = perform_until(&engine, Vec::new(), Arc::default(), part);
    assert_eq!((ended, heard.len()), (Ended::Complete { epoch: 1 }, 50_000));
    let played = played.lock().expect("all is played");
    let last = played
        .iter()
        .rposition(|x| *x != 0.0)
        .expect("something was played");
    let ramp = played
        .iter()
        .rposition(|x| *x == 0.5)
        .expect("something was played");
    assert!(last - ramp <= 480, "{} frames", last - ramp);
    // The steepest step of the raised cosine from 0.5 over 480 frames is 0.5 π / 2 / 480 = 0.0016.
    let steps = played
        .windows(2)
        .skip(101)
        .map(|pair| (pair[0] - pair[1]).abs());
    assert!(steps.fold(0.0, f32::max) < 0.0017, "no click");
}

#[test]
fn a_cancelled_performance_says_so() {
    let all = Arc::<Cancel>::default();
    let script = Script {
        gain: 1.0,
        cancels_all: true,
        cancel: Arc::clone(&all),
        ..Script::default()
    };
    let (engine, _) = engine(script);
    let (ended, _) = perform_until(&engine, Vec::new(), all, Arc::default());
    assert_eq!(ended, Ended::Cancelled);
}
