use rtrb::RingBuffer;

use super::*;

/// A callback of one send that plays `samples` from device frame 0 on.
fn playing(ceiling: f32, samples: &[f32]) -> (PlayCallback, Arc<Shared>) {
    let shared = Arc::new(Shared::new(1));
    shared.gate.open(shared.gate.ticket());
    shared.set_ceilings(&[ceiling]);
    let (mut sample_ring, sample_end) = RingBuffer::new(samples.len());
    let (mut span_ring, span_end) = RingBuffer::new(1);
    let (mut start_ring, start_end) = RingBuffer::new(1);
    sample_ring.push_entire_slice(samples).unwrap();
    span_ring
        .push(Span {
            epoch: 1,
            first_frame: 0,
            frame_count: samples.len(),
        })
        .unwrap();
    start_ring
        .push(Start {
            epoch: 1,
            device_frame: 0,
            stream_frame: 0,
        })
        .unwrap();
    let callback = PlayCallback::new(
        Arc::clone(&shared),
        48_000,
        1,
        sample_end,
        span_end,
        start_end,
    );
    (callback, shared)
}

#[test]
fn samples_above_the_ceiling_are_clamped_to_it_and_counted() {
    let mut samples = vec![0.1; 500];
    samples.extend([0.2, -0.9, f32::NAN, f32::INFINITY, 0.05]);
    let (mut callback, shared) = playing(0.1, &samples);
    let mut block = vec![0.0; 505];
    callback.on_block(0, &mut block);
    assert_eq!(block[499..], [0.1, 0.1, -0.1, 0.0, 0.1, 0.05]);
    assert_eq!(shared.clamped_count.load(Ordering::Acquire), 4);
}

#[test]
fn ceiling_that_nobody_set_lets_nothing_through() {
    let (mut callback, _) = playing(0.0, &[0.5; 1000]);
    let mut block = vec![f32::NAN; 1000];
    callback.on_block(0, &mut block);
    assert!(block.iter().all(|&sample| sample == 0.0));
}

#[test]
fn numbers_too_small_for_full_precision_become_silence() {
    let (mut callback, _) = playing(1.0, &[f32::MIN_POSITIVE / 2.0; 1000]);
    let mut block = vec![f32::NAN; 1000];
    callback.on_block(0, &mut block);
    assert!(block.iter().all(|sample| sample.to_bits() == 0));
}

#[test]
fn start_in_the_past_plays_nothing() {
    let (mut callback, shared) = playing(1.0, &[0.5; 1000]);
    let mut block = vec![f32::NAN; 1000];
    callback.on_block(1, &mut block);
    assert!(block.iter().all(|&sample| sample == 0.0));
    assert!(shared.is_over(1));
}

#[test]
fn start_inside_a_block_is_met_to_the_frame() {
    let (mut callback, _) = playing(1.0, &[0.5; 1000]);
    let mut block = vec![f32::NAN; 64];
    let (mut start_ring, start_end) = RingBuffer::new(1);
    start_ring
        .push(Start {
            epoch: 1,
            device_frame: 10,
            stream_frame: 0,
        })
        .unwrap();
    callback.follower.starts = start_end;
    callback.on_block(0, &mut block);
    assert!(block[..10].iter().all(|&sample| sample == 0.0));
    assert!(block[10..].iter().all(|&sample| sample > 0.0));
}
