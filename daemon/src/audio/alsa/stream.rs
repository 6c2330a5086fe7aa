//! Builds one side's stream in the device's own sample format.

use std::{
    sync::{Arc, atomic::Ordering},
    time::Duration,
};

use cpal::{FromSample, I24, Sample, SampleFormat, SizedSample, traits::DeviceTrait};

use super::{
    super::{
        callback::{HearCallback, PlayCallback},
        scheduling,
        shared::Shared,
    },
    format::Choice,
};

/// One side of the interface.
pub struct Side<'a> {
    /// The device.
    pub device: &'a cpal::Device,
    /// What it is opened with.
    pub choice: &'a Choice,
    /// Where its callbacks count.
    pub shared: &'a Arc<Shared>,
}

/// The driver is asked for its state this often where it wakes nobody.
const POLL_LIMIT: Duration = Duration::from_millis(100);

impl Side<'_> {
    /// The stream that plays.
    pub fn play(&self, callback: PlayCallback) -> Result<cpal::Stream, cpal::Error> {
        match self.choice.format {
            SampleFormat::I32 => self.play_as::<i32>(callback),
            SampleFormat::I24 => self.play_as::<I24>(callback),
            SampleFormat::I16 => self.play_as::<i16>(callback),
            _ => self.play_as::<f32>(callback),
        }
    }

    /// The stream that hears.
    pub fn hear(&self, callback: HearCallback) -> Result<cpal::Stream, cpal::Error> {
        match self.choice.format {
            SampleFormat::I32 => self.hear_as::<i32>(callback),
            SampleFormat::I24 => self.hear_as::<I24>(callback),
            SampleFormat::I16 => self.hear_as::<i16>(callback),
            _ => self.hear_as::<f32>(callback),
        }
    }

    fn play_as<T>(&self, mut callback: PlayCallback) -> Result<cpal::Stream, cpal::Error>
    where
        T: SizedSample + FromSample<f32>,
    {
        let shared = Arc::clone(self.shared);
        let mut blocks = Blocks::new(self.choice);
        let on_block = move |samples: &mut [T], _: &cpal::OutputCallbackInfo| {
            shared
                .play_thread
                .store(scheduling::this_thread(), Ordering::Release);
            for part in samples.chunks_mut(blocks.scratch.len()) {
                let (frame, scratch) = blocks.next(part.len());
                callback.on_block(frame, scratch);
                let converted = scratch.iter().map(|&sample| T::from_sample(sample));
                part.iter_mut()
                    .zip(converted)
                    .for_each(|(place, sample)| *place = sample);
            }
        };
        let on_error = on_error(Arc::clone(self.shared));
        self.device
            .build_output_stream(self.choice.config, on_block, on_error, Some(POLL_LIMIT))
    }

    fn hear_as<T>(&self, mut callback: HearCallback) -> Result<cpal::Stream, cpal::Error>
    where
        T: SizedSample,
        f32: FromSample<T>,
    {
        let shared = Arc::clone(self.shared);
        let mut blocks = Blocks::new(self.choice);
        let on_block = move |samples: &[T], _: &cpal::InputCallbackInfo| {
            shared
                .hear_thread
                .store(scheduling::this_thread(), Ordering::Release);
            for part in samples.chunks(blocks.scratch.len()) {
                let (frame, scratch) = blocks.next(part.len());
                let converted = part.iter().map(|&sample| f32::from_sample(sample));
                scratch
                    .iter_mut()
                    .zip(converted)
                    .for_each(|(place, sample)| *place = sample);
                callback.on_block(frame, scratch);
            }
        };
        let on_error = on_error(Arc::clone(self.shared));
        self.device
            .build_input_stream(self.choice.config, on_block, on_error, Some(POLL_LIMIT))
    }
}

/// Counts a side's frames, and lends room to convert a block in.
struct Blocks {
    frame: u64,
    channel_count: usize,
    /// Four periods, as drivers may bring more than was agreed.
    scratch: Box<[f32]>,
}

impl Blocks {
    fn new(choice: &Choice) -> Self {
        let channel_count = choice.channel_count().max(1);
        let sample_count = 4 * choice.period_frames.max(1) * channel_count;
        Self {
            frame: 0,
            channel_count,
            scratch: vec![0.0; sample_count].into(),
        }
    }

    /// The frame that the next `sample_count` samples begin with, and room for them.
    fn next(&mut self, sample_count: usize) -> (u64, &mut [f32]) {
        let frame = self.frame;
        self.frame += (sample_count / self.channel_count) as u64;
        (frame, &mut self.scratch[..sample_count])
    }
}

/// Runs on the audio thread: counts, and keeps the text of a device that went.
fn on_error(shared: Arc<Shared>) -> impl FnMut(cpal::Error) + Send + 'static {
    move |error| match error.kind() {
        cpal::ErrorKind::Xrun => {
            shared.xrun_count.fetch_add(1, Ordering::AcqRel);
        }
        cpal::ErrorKind::DeviceNotAvailable | cpal::ErrorKind::StreamInvalidated => {
            // The stream ends here, so that the text may be made on this thread.
            let _ = shared.gone.set(error.to_string());
        }
        // Whatever else it is, the watchdog sees whether frames still come.
        _ => {}
    }
}
