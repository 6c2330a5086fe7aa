//! Runs the audio callbacks a million times under an allocator that ends the process when one of
//! them allocates or frees.

use std::{
    alloc::{GlobalAlloc, Layout, System},
    cell::Cell,
    sync::Arc,
    time::Duration,
};

use goodwired::audio::{
    callback::{HearCallback, PlayCallback},
    queue::{Device, Queue},
    shared::Shared,
};

struct Guarded;

thread_local! {
    static IN_CALLBACK: Cell<bool> = const { Cell::new(false) };
}

fn check() {
    // Unknown only while a thread ends, where no callback runs.
    if IN_CALLBACK.try_with(Cell::get).unwrap_or(false) {
        std::process::abort();
    }
}

// SAFETY: all calls are handed on to the system's allocator unchanged.
unsafe impl GlobalAlloc for Guarded {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        check();
        // SAFETY: the caller keeps the contract of `alloc`.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        check();
        // SAFETY: the caller keeps the contract of `dealloc`.
        unsafe { System.dealloc(pointer, layout) }
    }
}

#[global_allocator]
static ALLOCATOR: Guarded = Guarded;

const PERIOD_FRAMES: usize = 64;
const CHANNEL_COUNT: usize = 2;
const CALLBACK_COUNT: u64 = 1_000_000;

/// A device whose output is wired to its input.
struct Loop {
    play: PlayCallback,
    hear: HearCallback,
    block: [f32; PERIOD_FRAMES * CHANNEL_COUNT],
    device_frame: u64,
    callback_count: u64,
    peak: f32,
}

impl Loop {
    /// One period: both callbacks, with the allocator closed.
    fn cycle(&mut self) {
        IN_CALLBACK.set(true);
        self.play.on_block(self.device_frame, &mut self.block);
        self.hear.on_block(self.device_frame, &self.block);
        IN_CALLBACK.set(false);
        self.device_frame += PERIOD_FRAMES as u64;
        self.callback_count += 2;
        self.peak = self
            .block
            .iter()
            .fold(self.peak, |peak, sample| peak.max(sample.abs()));
    }
}

#[test]
fn a_million_callbacks_through_every_fault_allocate_and_free_nothing() {
    let shared = Arc::new(Shared::new(CHANNEL_COUNT));
    shared.gate.open(shared.gate.ticket());
    shared.set_ceilings(&[0.4; CHANNEL_COUNT]);
    let device = Device {
        name: String::from("loop"),
        rate_hz: 48_000,
        send_count: CHANNEL_COUNT,
        return_count: CHANNEL_COUNT,
        period_frames: PERIOD_FRAMES,
        locked: true,
    };
    let (mut queue, play, hear) = Queue::new(device, Arc::clone(&shared));
    let mut device = Loop {
        play,
        hear,
        block: [0.0; PERIOD_FRAMES * CHANNEL_COUNT],
        device_frame: 0,
        callback_count: 0,
        peak: 0.0,
    };
    let block = [0.5; PERIOD_FRAMES];
    let (mut at_frame, mut heard_count, mut turn) = (0, 0, 0u64);
    while device.callback_count < CALLBACK_COUNT {
        turn += 1;
        match turn % 5000 {
            1000 => shared.mute.set(true),
            1100 => shared.mute.set(false),
            2000 => shared.gate.close(),
            2100 => assert!(shared.gate.open(shared.gate.ticket())),
            3000 => device.device_frame += 17,
            // The engine pauses for longer than anything that is queued.
            4000 => (0..200).for_each(|_| device.cycle()),
            _ => {}
        }
        let mut heard = vec![Vec::new(); CHANNEL_COUNT];
        let got = queue
            .exchange(at_frame, &[&block, &block], &mut heard, Duration::ZERO)
            .expect("the device runs");
        at_frame += PERIOD_FRAMES as u64;
        heard_count += got.frame_count;
        device.cycle();
    }
    let faults = shared.fault_counts();
    println!(
        "{} callbacks, {heard_count} frames heard, faults {faults:?}",
        device.callback_count
    );
    assert!(
        heard_count as u64 * 4 > device.device_frame,
        "most of the time it ran"
    );
    assert!(
        [faults[0], faults[1], faults[3]]
            .iter()
            .all(|&count| count > 10),
        "{faults:?}"
    );
    assert_eq!(device.peak, 0.4, "the ceiling held");
}
