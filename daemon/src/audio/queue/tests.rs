use super::*;
use crate::audio::Mute;

const PERIOD_FRAMES: usize = 256;
const BLOCK_FRAMES: usize = 480;
const RATE_HZ: u32 = 48_000;

/// A device that runs when the test says so: what it plays on send k it hears on return k.
struct Bench {
    queue: Queue,
    play: PlayCallback,
    hear: HearCallback,
    shared: Arc<Shared>,
    device_frame: u64,
    /// All that the port gave, of send 0.
    port: Vec<f32>,
    next_frame: u64,
    heard: Vec<Vec<f32>>,
    got: Vec<Heard>,
}

impl Bench {
    fn new(locked: bool) -> Self {
        let shared = Arc::new(Shared::new(2));
        shared.gate.open(shared.gate.ticket());
        shared.set_ceilings(&[1.0, 1.0]);
        let device = Device {
            name: String::from("bench"),
            rate_hz: RATE_HZ,
            send_count: 2,
            return_count: 2,
            period_frames: PERIOD_FRAMES,
            locked,
        };
        let (queue, play, hear) = Queue::new(device, Arc::clone(&shared));
        Self {
            queue,
            play,
            hear,
            shared,
            device_frame: 7000,
            port: Vec::new(),
            next_frame: 0,
            heard: vec![Vec::new(); 2],
            got: Vec::new(),
        }
    }

    fn mute(&self) -> Arc<Mute> {
        Arc::clone(&self.shared.mute)
    }

    /// One period of the device.
    fn cycle(&mut self) {
        let mut block = [f32::NAN; 2 * PERIOD_FRAMES];
        self.play.on_block(self.device_frame, &mut block);
        self.hear.on_block(self.device_frame, &block);
        self.port.extend(block.iter().step_by(2));
        self.device_frame += PERIOD_FRAMES as u64;
    }

    /// One exchange of the engine, playing `sound` of the stream's frame.
    fn exchange(&mut self, sound: impl Fn(u64) -> f32) -> Heard {
        let block: Vec<f32> = (self.next_frame..self.next_frame + BLOCK_FRAMES as u64)
            .map(sound)
            .collect();
        let got = self
            .queue
            .exchange(
                self.next_frame,
                &[&block, &block],
                &mut self.heard,
                Duration::ZERO,
            )
            .unwrap();
        self.next_frame += BLOCK_FRAMES as u64;
        self.got.push(got.clone());
        got
    }

    /// Engine and device side by side, for `cycle_count` periods.
    fn run(&mut self, cycle_count: usize, sound: impl Fn(u64) -> f32 + Copy) {
        for _ in 0..cycle_count {
            while !self.queue.is_due() || self.queue.starts.is_none() {
                self.cycle();
                if self.queue.starts.is_none() {
                    break;
                }
            }
            self.exchange(sound);
            self.cycle();
        }
    }

    fn last_epoch(&self) -> u64 {
        self.got.last().map_or(0, |got| got.epoch)
    }
}

fn count_up(frame: u64) -> f32 {
    ((frame % 30_000) as f32 + 1.0) / 32_768.0
}

#[test]
fn frame_n_played_is_frame_n_heard_and_no_frame_is_missing() {
    for locked in [true, false] {
        let mut bench = Bench::new(locked);
        bench.run(400, count_up);
        assert!(
            bench
                .got
                .iter()
                .all(|got| got.epoch == 1 && got.lost.is_none())
        );
        let mut expected = 0;
        for got in bench.got.iter().filter(|got| got.frame_count > 0) {
            assert_eq!(got.first_frame, expected);
            expected += got.frame_count as u64;
        }
        assert!(expected > 50_000, "{expected} frames");
        for samples in &bench.heard {
            assert_eq!(samples.len() as u64, expected);
            for (frame, &sample) in samples.iter().enumerate().skip(480) {
                assert_eq!(sample, count_up(frame as u64), "frame {frame}");
            }
        }
    }
}

#[test]
fn first_exchanges_fill_100_ms_before_anything_sounds() {
    let mut bench = Bench::new(true);
    bench.cycle();
    for _ in 0..9 {
        assert_eq!(bench.exchange(count_up).frame_count, 0);
        bench.cycle();
    }
    assert!(bench.port.iter().all(|&sample| sample == 0.0));
    assert!(bench.queue.starts.is_none());
    bench.exchange(count_up);
    assert!(bench.queue.starts.is_some(), "4800 frames are 100 ms");
}

#[test]
fn jump_of_the_device_ends_the_epoch_and_is_told_as_a_loss() {
    let mut bench = Bench::new(true);
    bench.run(50, count_up);
    bench.device_frame += PERIOD_FRAMES as u64;
    bench.cycle();
    let got = bench.exchange(count_up);
    assert_eq!(
        (got.epoch, got.frame_count, got.lost),
        (2, 0, Some(Loss::Unknown))
    );
    assert_eq!(
        got.first_frame, bench.next_frame,
        "the engine goes on where it is"
    );
    bench.run(50, count_up);
    assert_eq!(bench.last_epoch(), 2);
    assert!(bench.got.last().unwrap().frame_count > 0);
    assert_eq!(bench.shared.fault_counts(), [1, 0, 0, 0]);
}

#[test]
fn xrun_that_the_device_reports_ends_the_epoch_even_without_a_jump() {
    let mut bench = Bench::new(false);
    bench.shared.xrun_count.fetch_add(3, Ordering::AcqRel);
    bench.run(50, count_up);
    assert_eq!(bench.last_epoch(), 1, "xruns before the start lose nothing");
    bench.shared.xrun_count.fetch_add(1, Ordering::AcqRel);
    assert_eq!(bench.exchange(count_up).lost, Some(Loss::Unknown));
    bench.run(20, count_up);
    assert_eq!(bench.last_epoch(), 2);
}

#[test]
fn late_engine_fades_out_without_a_click_and_starts_anew() {
    let mut bench = Bench::new(true);
    bench.run(50, |_| 0.5);
    let sounding = bench.port.len();
    for _ in 0..40 {
        bench.cycle();
    }
    let steps = bench.port[sounding - 1..]
        .windows(2)
        .map(|pair| (pair[1] - pair[0]).abs());
    // Half scale times the steepest step of a 480-frame raised cosine, pi / 960 = 0.0033.
    assert!(steps.fold(0.0, f32::max) < 0.0017);
    assert_eq!(bench.port.last(), Some(&0.0));
    assert_eq!(bench.exchange(|_| 0.5).lost, Some(Loss::Unknown));
    assert_eq!(bench.shared.fault_counts(), [0, 1, 0, 0]);
    bench.run(30, |_| 0.5);
    assert_eq!(bench.port.last(), Some(&0.5));
}

#[test]
fn engine_that_does_not_fetch_is_told_of_the_overrun() {
    let mut bench = Bench::new(true);
    bench.run(50, count_up);
    // The engine plays on but the callback finds no room for what it hears: two seconds and more.
    for _ in 0..500 {
        let frames = bench.next_frame..bench.next_frame + PERIOD_FRAMES as u64;
        let block: Vec<f32> = frames.map(count_up).collect();
        bench
            .queue
            .push(bench.next_frame, &[&block, &block], PERIOD_FRAMES)
            .unwrap();
        bench.next_frame += PERIOD_FRAMES as u64;
        bench.cycle();
    }
    assert_eq!(bench.shared.fault_counts(), [0, 0, 1, 0]);
    assert_eq!(bench.exchange(count_up).lost, Some(Loss::Unknown));
    bench.run(50, count_up);
    assert!(bench.got.last().unwrap().frame_count > 0);
}

#[test]
fn closed_gate_cuts_at_once_and_nothing_starts_until_it_opens() {
    let mut bench = Bench::new(true);
    bench.run(50, |_| 0.5);
    bench.shared.gate.close();
    let sounding = bench.port.len();
    bench.cycle();
    assert!(bench.port[sounding..].iter().all(|&sample| sample == 0.0));
    assert_eq!(bench.exchange(|_| 0.5).lost, Some(Loss::Unknown));
    for _ in 0..40 {
        assert_eq!(bench.exchange(|_| 0.5).frame_count, 0);
        bench.cycle();
    }
    assert!(bench.port[sounding..].iter().all(|&sample| sample == 0.0));
    assert!(bench.shared.gate.open(bench.shared.gate.ticket()));
    bench.run(100, |_| 0.5);
    assert_eq!(bench.port.last(), Some(&0.5));
    assert_eq!(bench.last_epoch(), 2);
}

#[test]
fn mute_fades_within_10_ms_drops_what_is_queued_and_loses_no_epoch() {
    let mut bench = Bench::new(true);
    bench.run(50, |_| 0.5);
    let mute = bench.mute();
    mute.set(true);
    let muted_at = bench.port.len();
    bench.cycle();
    bench.cycle();
    assert!(
        !mute.is_silent(),
        "480 frames of ramp end inside the second period of 256"
    );
    bench.cycle();
    assert!(mute.is_silent());
    assert!(
        bench.port[muted_at + 480..]
            .iter()
            .all(|&sample| sample == 0.0)
    );
    let steps = bench.port[muted_at - 1..]
        .windows(2)
        .map(|pair| (pair[1] - pair[0]).abs());
    assert!(steps.fold(0.0, f32::max) < 0.0017);

    // What was queued before is not heard afterwards: 0.25 is what comes next.
    mute.set(false);
    let allowed_at = bench.port.len();
    bench.run(40, |_| 0.25);
    assert!(
        bench.port[allowed_at..]
            .iter()
            .all(|&sample| sample <= 0.25)
    );
    assert_eq!(bench.port.last(), Some(&0.25));
    assert_eq!(bench.last_epoch(), 1);
    assert!(bench.got.iter().all(|got| got.lost.is_none()));
}

#[test]
fn device_without_frames_is_stalled_by_name_and_one_that_went_is_gone_with_its_text() {
    let mut bench = Bench::new(true);
    bench.run(20, count_up);
    let stalled = loop {
        let block = [0.0; 480];
        let wait = Duration::from_millis(50);
        match bench
            .queue
            .exchange(bench.next_frame, &[&block, &block], &mut bench.heard, wait)
        {
            Ok(_) => bench.next_frame += 480,
            Err(error) => break error,
        }
    };
    let InterfaceError::Stalled { device, silent_ms } = stalled else {
        panic!("{stalled:?}")
    };
    assert_eq!(device, "bench");
    assert!((250..500).contains(&silent_ms), "{silent_ms} ms");

    bench.shared.gone.set(String::from("unplugged")).unwrap();
    let block = [0.0; 480];
    let error = bench
        .queue
        .exchange(0, &[&block, &block], &mut bench.heard, Duration::ZERO);
    let want = InterfaceError::Gone {
        device: String::from("bench"),
        text: String::from("unplugged"),
    };
    assert_eq!(error, Err(want));
}

#[test]
fn block_longer_than_a_second_is_refused() {
    let mut bench = Bench::new(true);
    let block = vec![0.0; 48_001];
    let got = bench
        .queue
        .exchange(0, &[&block, &block], &mut bench.heard, Duration::ZERO);
    assert!(matches!(got, Err(InterfaceError::Unfit { .. })));
}
