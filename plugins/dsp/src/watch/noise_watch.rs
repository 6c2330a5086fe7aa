//! Watches a link by comparing it with the cable, sample by sample, at some 16 kHz.
//!
//! The link's sound is predicted from the cable's by an [`Equaliser`](super::equaliser::Equaliser)
//! that follows the link within 40 ms. Over windows of 2 ms the link is projected on the prediction:
//! what is left of the sound is `<link, predicted> / <predicted, predicted>`, 1 for a whole link and
//! 0 for silence or another sound. Its standard deviation is `sqrt(N / (S D))` at a power ratio S/N
//! in the band with `D = 2 x 2 ms x 6.4 kHz = 26` degrees of freedom: 0.02 at 20 dB, 0.06 at 10 dB,
//! so the threshold of 1/2 (the -6 dB of an edge) is 8 of them away even there.
//!
//! In another sound as loud as the link's, a repeated packet, it is 0.2: one window in 100 passes
//! for the link's own. So what is not predicted counts too (`lock`), and edges are looked for near
//! the windows that told them (`edges`).

mod decide;
mod edges;
mod find;
mod lead;
mod lock;
mod refine;

use super::{
    Heard, Lapse, Watch,
    equaliser::{AHEAD, TAPS},
    moments::Window,
    narrow::{Narrow, decimation},
    stretch::Stretch,
};
pub(super) use lock::Judgement;
use lock::Lock;
use refine::Again;

/// Less of the sound than this is lost: the -6 dB points of the edges.
const LOST_BELOW: f64 = 0.5;
/// Sound below this is kept out. What the high-pass makes of an edge rings on by e in 0.4 ms; at
/// 150 Hz, in 1.5 ms, ends of repeated packets were told up to 1.3 ms late.
const LOW_HZ: f64 = 600.0;
/// Length of the windows in seconds.
const WINDOW_S: f64 = 0.002;
/// The longest delay that is looked for, in seconds.
const DELAY_MAX_S: f64 = 1.0;
/// A link may be earlier than the cable by so much, in seconds: the cable's way may be through a
/// converter, or a clock may make the link early.
const EARLY_S: f64 = 0.01;
/// How much of the link a search compares, in seconds: likeness of noise is 0.012 then.
const SEARCH_S: f64 = 0.5;
/// Time between searches, which doubles up to the second number while nothing is found, in seconds.
const SEARCH_EVERY_S: (f64, f64) = (0.25, 2.0);
/// What is kept of the past, beside the longest delay, in seconds.
const PAST_S: f64 = 3.0;
/// Mean power below this is no pilot: -90 dBFS.
const POWER_LEAST: f64 = 1e-9;
/// A lost stretch that the interface's own loss cuts off is told where it is longer than this.
const CUT_OFF_LEAST_S: f64 = 0.1;

/// Compares a link with the cable, or with the pilot itself where there is none.
#[derive(Debug)]
pub struct NoiseWatch {
    rate_hz: f64,
    decimation: usize,
    sample_hz: f64,
    narrow: [Narrow; 2],
    /// Samples of link and cable from `first_sample` on.
    link: Vec<f64>,
    cable: Vec<f64>,
    first_sample: i64,
    /// Frame at which sample 0 stands, and the frame that comes next.
    origin: u64,
    next_frame: Option<u64>,
    lock: Option<Lock>,
    window: Window,
    /// Next sample to be put into the window.
    next: i64,
    /// Decisions before this sample have been made.
    decide_from: i64,
    /// No decision is made up to this sample: the cable had no sound just before.
    quiet_until: i64,
    open: Option<Stretch>,
    /// A stretch that is over and is judged once more when the link has been learnt after it.
    again: Option<Again>,
    /// Next sample at which the link is looked for, and the pause after that.
    search_at: i64,
    search_pause: i64,
    /// So far the cable had no sound.
    silent_until: i64,
    lapses: Vec<Lapse>,
    judged_samples: u64,
    /// Samples before this one have been counted as judged, where they were.
    judged_to: i64,
    last_good: Option<u64>,
    /// Since when the link carries its sound without a break.
    good_since: Option<i64>,
}

impl NoiseWatch {
    /// Watches at `rate_hz`.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let decimation = decimation(rate_hz);
        let sample_hz = rate_hz / decimation as f64;
        let mut watch = Self {
            rate_hz,
            decimation,
            sample_hz,
            narrow: [Narrow::new(rate_hz, LOW_HZ), Narrow::new(rate_hz, LOW_HZ)],
            link: Vec::new(),
            cable: Vec::new(),
            first_sample: 0,
            origin: 0,
            next_frame: None,
            lock: None,
            window: Window::new(1),
            next: 0,
            decide_from: 0,
            quiet_until: 0,
            open: None,
            again: None,
            search_at: 0,
            search_pause: 0,
            silent_until: 0,
            lapses: Vec::new(),
            judged_samples: 0,
            judged_to: 0,
            last_good: None,
            good_since: None,
        };
        watch.begin(0);
        watch
    }

    fn samples(&self, seconds: f64) -> i64 {
        (seconds * self.sample_hz).round() as i64
    }

    /// Half a window: what is decided lies so far behind what is known.
    fn half(&self) -> i64 {
        self.samples(WINDOW_S) / 2
    }

    /// What of the cable has to be known beyond a sample to judge it.
    fn ahead(&self) -> i64 {
        self.samples(EARLY_S) + (TAPS - AHEAD) as i64
    }

    /// Begins anew at a frame, in silence; what was learnt of the link stays.
    fn begin(&mut self, frame: u64) {
        self.origin = frame;
        self.next_frame = Some(frame);
        self.narrow = [
            Narrow::new(self.rate_hz, LOW_HZ),
            Narrow::new(self.rate_hz, LOW_HZ),
        ];
        let silence = (self.samples(DELAY_MAX_S) + TAPS as i64) as usize;
        self.link = vec![0.0; silence];
        self.cable = vec![0.0; silence];
        self.first_sample = -(silence as i64);
        self.window = Window::new(2 * self.half() as usize + 1);
        self.next = 0;
        self.decide_from = self.lock.as_ref().map_or(0, |lock| self.known_from(lock));
        self.again = self
            .lock
            .as_ref()
            .map(|_| self.judge_twice(self.decide_from));
        self.judged_to = 0;
        self.quiet_until = 0;
        self.open = None;
        self.search_pause = self.samples(SEARCH_EVERY_S.0);
        self.search_at = self.samples(SEARCH_S);
        self.silent_until = 0;
        self.good_since = None;
    }

    fn end_sample(&self) -> i64 {
        self.first_sample + self.link.len() as i64
    }

    fn at(&self, samples: &[f64], from: i64, count: usize) -> std::ops::Range<usize> {
        let begin = (from - self.first_sample) as usize;
        debug_assert!(begin + count <= samples.len());
        begin..begin + count
    }

    /// Goes on with what is known, searching where the link is not known or lost.
    fn go_on(&mut self) {
        loop {
            let reach = self.end_sample() - self.ahead();
            while self.lock.is_some() && self.next < reach && !self.is_search_due() {
                self.step();
                self.refine();
            }
            if !self.is_search_due() {
                return;
            }
            self.search();
        }
    }

    fn is_search_due(&self) -> bool {
        match (&self.lock, &self.open) {
            (None, _) => self.search_at <= self.end_sample() - self.ahead(),
            (Some(_), open) => open.is_some() && self.search_at <= self.next,
        }
    }

    fn frame(&self, sample: i64) -> f64 {
        self.origin as f64 + (sample * self.decimation as i64) as f64
    }

    fn link_at(&self, sample: i64) -> f64 {
        self.link[(sample - self.first_sample) as usize]
    }

    /// What of the cable goes into the prediction of a sample.
    fn sound(&self, sample: i64, delay: i64) -> &[f64] {
        // The delay may have moved a little past the longest that is kept.
        let from = (sample - delay - AHEAD as i64).max(self.first_sample);
        &self.cable[self.at(&self.cable, from, TAPS)]
    }

    /// Lets go what is too old to be looked at again.
    fn forget(&mut self) {
        let kept = self.samples(DELAY_MAX_S + PAST_S);
        let old = (self.end_sample() - kept - self.first_sample).max(0) as usize;
        if old as i64 > kept {
            self.link.drain(..old);
            self.cable.drain(..old);
            self.first_sample += old as i64;
        }
    }

    /// The interface lost frames: what they touch is void.
    fn cut(&mut self) {
        self.give_up_refining();
        self.lapses.extend(self.pending());
        self.open = None;
    }
}

impl Watch for NoiseWatch {
    fn hear(&mut self, heard: &Heard<'_>) {
        if self.next_frame != Some(heard.first_frame) {
            self.cut();
            self.begin(heard.first_frame);
        }
        self.next_frame = Some(heard.first_frame + heard.link.len() as u64);
        self.narrow[0].take(heard.link, &mut self.link);
        // Without a cable nothing is present, and nothing is judged.
        let silence = vec![0.0; heard.reference.map_or(heard.link.len(), |_| 0)];
        self.narrow[1].take(heard.reference.unwrap_or(&silence), &mut self.cable);
        self.go_on();
        self.forget();
    }

    fn close(&mut self) {
        self.cut();
    }

    fn take_lapses(&mut self) -> Vec<Lapse> {
        self.certain()
    }

    fn pending(&self) -> Option<Lapse> {
        let least = self.samples(CUT_OFF_LEAST_S);
        let open = self.open.as_ref()?;
        (open.last - open.first > least)
            .then(|| open.lapse(self.origin, self.decimation, self.rate_hz))
            .flatten()
    }

    fn judged_frame_count(&self) -> u64 {
        self.judged_samples * self.decimation as u64
    }

    fn last_good_frame(&self) -> Option<u64> {
        self.last_good
    }
}
