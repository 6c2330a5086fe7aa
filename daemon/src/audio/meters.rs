//! Live levels of every return, ten times a second, told to whoever watches. The engine never waits
//! for a watcher: one that is slow skips what it has not read.

use std::sync::{Arc, Mutex, PoisonError};

use tokio::sync::broadcast::{self, Receiver, Sender, error::TryRecvError};

use super::{
    Shape,
    listening::{block_peak, peak_dbfs},
};

/// Length of a stretch of which peak and RMS are told, in seconds.
const STRETCH_S: f64 = 0.1;
/// So many stretches wait for a slow watcher: 6.4 s.
const STRETCHES_WAITING: usize = 64;
/// A sample of this amplitude or more stands at full scale: the highest code of 16 bits.
const FULL_SCALE: f64 = 32_767.0 / 32_768.0;

/// The level of one return over a stretch, or over several.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Level {
    peak: f64,
    /// Mean square.
    power: f64,
}

impl Level {
    /// Highest sample, in dBFS.
    #[must_use]
    pub fn peak_dbfs(&self) -> f64 {
        peak_dbfs(self.peak)
    }

    /// RMS as the level of a sine of that RMS, in dBFS (AES17).
    #[must_use]
    pub fn rms_dbfs(&self) -> f64 {
        peak_dbfs((2.0 * self.power).sqrt())
    }

    /// True where a sample stood at full scale.
    #[must_use]
    pub fn is_clipped(&self) -> bool {
        self.peak >= FULL_SCALE
    }
}

/// The levels of all returns over one stretch.
pub type Stretch = Arc<[Level]>;

/// Where levels are told; shared by the engine and those who watch.
#[derive(Debug, Clone)]
pub struct Levels {
    latest: Arc<Mutex<Option<Stretch>>>,
    told: Sender<Stretch>,
}

impl Default for Levels {
    fn default() -> Self {
        Self {
            latest: Arc::default(),
            told: broadcast::channel(STRETCHES_WAITING).0,
        }
    }
}

impl Levels {
    /// Begins to watch.
    #[must_use]
    pub fn watch(&self) -> Watch {
        // In this order: what comes between is told twice rather than never.
        let news = self.told.subscribe();
        let latest = self.latest.lock().unwrap_or_else(PoisonError::into_inner);
        Watch {
            latest: latest.clone(),
            news,
        }
    }

    /// The interface is gone, and what was heard last holds no more.
    pub fn forget(&self) {
        *self.latest.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }

    fn tell(&self, stretch: Stretch) {
        *self.latest.lock().unwrap_or_else(PoisonError::into_inner) = Some(Arc::clone(&stretch));
        // Nobody may be watching.
        let _ = self.told.send(stretch);
    }
}

/// One watcher's view.
#[derive(Debug)]
pub struct Watch {
    /// What was heard last; `None` where nothing was.
    pub latest: Option<Stretch>,
    news: Receiver<Stretch>,
}

impl Watch {
    /// Waits for the next stretch, and gives it with all that wait behind it as one: the highest
    /// peaks, the mean power. `None` when the engine has ended.
    pub async fn next(&mut self) -> Option<Vec<Level>> {
        let mut several = loop {
            match self.news.recv().await {
                Ok(stretch) => break vec![stretch],
                Err(broadcast::error::RecvError::Lagged(_)) => {}
                Err(broadcast::error::RecvError::Closed) => return None,
            }
        };
        loop {
            match self.news.try_recv() {
                Ok(stretch) => several.push(stretch),
                Err(TryRecvError::Lagged(_)) => {}
                Err(TryRecvError::Empty | TryRecvError::Closed) => return Some(joined(&several)),
            }
        }
    }
}

/// Several stretches as one. A device that came back with fewer returns has fewer levels from then.
fn joined(several: &[Stretch]) -> Vec<Level> {
    let return_count = several.iter().map(|one| one.len()).min().unwrap_or(0);
    let level = |index: usize| Level {
        peak: several
            .iter()
            .map(|one| one[index].peak)
            .fold(0.0, f64::max),
        power: several.iter().map(|one| one[index].power).sum::<f64>() / several.len() as f64,
    };
    (0..return_count).map(level).collect()
}

/// The engine's side: adds up what is heard.
#[derive(Debug)]
pub struct Meters {
    stretch_frames: usize,
    frame_count: usize,
    /// Peak and sum of squares of each return in the stretch that is not full yet.
    sums: Vec<(f64, f64)>,
    levels: Levels,
}

impl Meters {
    /// Meters for every return of an interface.
    #[must_use]
    pub fn new(shape: &Shape, levels: Levels) -> Self {
        Self {
            stretch_frames: (f64::from(shape.rate_hz) * STRETCH_S) as usize,
            frame_count: 0,
            sums: vec![(0.0, 0.0); shape.return_count],
            levels,
        }
    }

    /// Hears one block of every return, each of the same length.
    pub fn hear(&mut self, heard: &[Vec<f32>]) {
        let frame_count = heard.first().map_or(0, Vec::len);
        let mut first = 0;
        while first < frame_count {
            let missing = self.stretch_frames - self.frame_count;
            let end = frame_count.min(first + missing);
            for ((peak, square_sum), returned) in self.sums.iter_mut().zip(heard) {
                let piece = &returned[first..end.min(returned.len())];
                *peak = peak.max(block_peak(piece));
                *square_sum += piece.iter().map(|x| f64::from(*x).powi(2)).sum::<f64>();
            }
            self.frame_count += end - first;
            first = end;
            if self.frame_count == self.stretch_frames {
                self.tell();
            }
        }
    }

    fn tell(&mut self) {
        let frames = self.stretch_frames as f64;
        let level = |(peak, square_sum): &mut (f64, f64)| {
            let level = Level {
                peak: *peak,
                power: *square_sum / frames,
            };
            (*peak, *square_sum) = (0.0, 0.0);
            level
        };
        let stretch: Stretch = self.sums.iter_mut().map(level).collect();
        self.frame_count = 0;
        self.levels.tell(stretch);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::TimeSource;

    fn shape() -> Shape {
        Shape {
            backend: "test",
            device: "test".into(),
            rate_hz: 48_000,
            send_count: 1,
            return_count: 2,
            period_frames: 256,
            locked: true,
            simulated: true,
            time: TimeSource::Virtual,
            output_latency_ms: None,
            scheduling: String::new(),
        }
    }

    /// A sine of 1 kHz over so many frames.
    fn sine(amplitude: f32, frame_count: usize) -> Vec<f32> {
        let sample = |n: usize| amplitude * (n as f32 * std::f32::consts::TAU / 48.0).sin();
        (0..frame_count).map(sample).collect()
    }

    #[tokio::test]
    async fn a_sine_at_half_scale_is_minus_6_02_dbfs_in_peak_and_rms() {
        let levels = Levels::default();
        let mut watch = levels.watch();
        assert!(watch.latest.is_none());
        let mut meters = Meters::new(&shape(), levels.clone());
        // Blocks that do not divide the stretch of 4800 frames.
        let (loud, silent) = (sine(0.5, 4810), vec![0.0; 4810]);
        for (loud, silent) in loud.chunks(962).zip(silent.chunks(962)) {
            meters.hear(&[loud.to_vec(), silent.to_vec()]);
        }
        let told = watch.next().await.unwrap();
        // 20 lg 0.5 = -6.0206 dBFS; a full-scale sine is 0 dBFS in both (AES17).
        assert!((told[0].peak_dbfs() + 6.0206).abs() < 1e-4);
        assert!((told[0].rms_dbfs() + 6.0206).abs() < 1e-4);
        assert_eq!(told[1].peak_dbfs(), -200.0);
        assert!(!told[0].is_clipped());
        assert_eq!(levels.watch().latest.unwrap()[0], told[0]);
    }

    #[tokio::test]
    async fn a_slow_watcher_misses_no_peak_of_the_last_6_4_s_and_holds_nobody_up() {
        let levels = Levels::default();
        let mut slow = levels.watch();
        let mut meters = Meters::new(&shape(), levels);
        for stretch in 0..200 {
            let amplitude = if stretch == 150 { 1.0 } else { 0.1 };
            let block = vec![amplitude; 4800];
            meters.hear(&[block.clone(), block]);
        }
        let told = slow.next().await.unwrap();
        assert!(told[0].is_clipped(), "{told:?}");
    }
}
