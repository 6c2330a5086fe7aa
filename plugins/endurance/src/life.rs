//! Whether a link still lives, from block to block, and what its death leaves to be told.

use goodwire_dsp::watch::{Heard, Lapse, Log, Watch};
use serde::{Deserialize, Serialize};

/// Mean power below this is no sound: -90 dBFS.
const POWER_LEAST: f64 = 1e-9;
/// The cable is silent where a block has less than this of its usual power: -12 dB.
const PRESENT: f64 = 1.0 / 16.0;
/// A block counts as no more than so many times the usual power: one loud click changes little.
const LOUDER_MOST: f64 = 4.0;
/// Share of each block in the usual power.
const SHARE: f64 = 0.01;
/// Lapses that are held back at a time; further ones lengthen the last.
const HELD_MAX: usize = 1_000;

/// What was seen of a link, as far as it matters once it is gone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Life {
    /// All that a watch keeps.
    pub log: Log,
    /// Frames since the link was last good in which the cable had its sound.
    pub silent_frames: u64,
    /// Where it was first seen lost after it was last good, or looked at again.
    pub lost_from: Option<f64>,
    /// Usual power of the cable.
    pub cable_power: Option<f64>,
    /// What was judged until the link was last good.
    judged_frames: u64,
    /// Lapses since the link was last good: dropouts where it comes back, else its end.
    held: Vec<Lapse>,
}

impl Life {
    /// Nothing was heard yet.
    pub fn new(rate_hz: f64, merge_s: f64) -> Self {
        Self {
            log: Log::new(rate_hz, merge_s),
            silent_frames: 0,
            lost_from: None,
            cable_power: None,
            judged_frames: 0,
            held: Vec::new(),
        }
    }

    /// Goes on after the watch was cut short, with a new one.
    #[must_use]
    pub fn go_on(mut self) -> Self {
        let pending = self.log.pending.take();
        self.hold(pending);
        self
    }

    /// Lets `watch` hear the next frames of the pilot.
    pub fn hear(&mut self, watch: &mut dyn Watch, heard: &Heard<'_>) {
        let before = self.log.last_good_frame;
        watch.hear(heard);
        self.collect(watch);
        if self.log.last_good_frame > before {
            self.silent_frames = 0;
            self.lost_from = None;
            self.judged_frames = self.log.judged_frames;
            self.release();
        } else if self.has_sound(heard.reference.unwrap_or_default()) {
            self.silent_frames += heard.link.len() as u64;
        }
        if let Some(lapse) = self.log.pending {
            self.lost_from.get_or_insert(lapse.start_frame);
        }
    }

    /// A new watch looks at the link from this frame on: what happened before, nobody saw.
    pub fn look_again(&mut self, frame: u64) {
        self.lost_from.get_or_insert(frame as f64);
    }

    /// The link is gone for good: what was heard after it was last good is no dropout.
    pub fn end(&mut self) {
        self.held.clear();
        self.log.judged_frames = self.judged_frames;
    }

    /// The watch was ended while the link still ran: all of its lapses are dropouts.
    pub fn close(&mut self, watch: &mut dyn Watch) {
        watch.close();
        self.collect(watch);
        for lapse in self.held.drain(..) {
            self.log.ledger.put(lapse);
        }
    }

    fn collect(&mut self, watch: &mut dyn Watch) {
        let lapses = self.log.take(watch, |frame| frame, 1.0);
        self.hold(lapses);
    }

    fn hold(&mut self, lapses: impl IntoIterator<Item = Lapse>) {
        for lapse in lapses {
            let is_full = self.held.len() >= HELD_MAX;
            match self.held.last_mut() {
                Some(last) if is_full => {
                    last.frame_count = lapse.start_frame + lapse.frame_count - last.start_frame;
                }
                _ => self.held.push(lapse),
            }
        }
    }

    /// What lies before the link was last good are dropouts.
    fn release(&mut self) {
        let good = self.log.last_good_frame.map_or(0.0, |frame| frame as f64);
        let come_back = self
            .held
            .iter()
            .take_while(|lapse| lapse.start_frame <= good);
        let come_back = come_back.count();
        for lapse in self.held.drain(..come_back) {
            self.log.ledger.put(lapse);
        }
    }

    /// Whether the cable has its sound in a block.
    fn has_sound(&mut self, cable: &[f32]) -> bool {
        let power = cable.iter().map(|&x| f64::from(x).powi(2)).sum::<f64>();
        let power = power / cable.len().max(1) as f64;
        let usual = *self.cable_power.get_or_insert(power);
        let is_there = power >= POWER_LEAST && power >= PRESENT * usual;
        if is_there {
            let moved = power.min(LOUDER_MOST * usual.max(POWER_LEAST)) - usual;
            self.cable_power = Some(usual + SHARE * moved);
        }
        is_there
    }
}
