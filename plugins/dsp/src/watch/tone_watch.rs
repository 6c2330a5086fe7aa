//! Watches a link by a steady tone: amplitude and phase in windows of some 2 ms.
//!
//! Link and cable are followed alike by an [`Ear`]; what the link's tells counts where the cable's
//! told nothing in the second before, which is the longest delay of a link: a tone does not say by
//! how much it is late.

mod ear;
mod history;
mod lock;

use super::{Heard, Lapse, LapseKind, Watch};
use ear::Ear;

/// The longest delay of a link, in seconds.
const DELAY_MAX_S: f64 = 1.0;

/// Compares the tone of a link with the cable's, or with the one that is played.
#[derive(Debug)]
pub struct ToneWatch {
    rate_hz: f64,
    link: Ear,
    cable: Ear,
    next_frame: Option<u64>,
    lapses: Vec<Lapse>,
    /// What the cable's ear told in the last seconds.
    excuses: Vec<Lapse>,
    judged: u64,
    /// True once the link was heard, or told to have come late.
    has_come: bool,
}

impl ToneWatch {
    /// Watches a tone of `freq_hz` at `rate_hz`.
    #[must_use]
    pub fn new(rate_hz: f64, freq_hz: f64) -> Self {
        Self {
            rate_hz,
            link: Ear::new(rate_hz, freq_hz),
            cable: Ear::new(rate_hz, freq_hz),
            next_frame: None,
            lapses: Vec::new(),
            excuses: Vec::new(),
            judged: 0,
            has_come: false,
        }
    }

    /// Keeps of what the link's ear told what the cable does not excuse.
    fn collect(&mut self) {
        let second = DELAY_MAX_S * self.rate_hz;
        self.excuses.extend(self.cable.take_lapses());
        let latest = self.excuses.last().map_or(0.0, |one| one.start_frame);
        self.excuses
            .retain(|one| one.start_frame + one.frame_count > latest - 3.0 * second);
        let open = self.cable.pending();
        let excuses = |lapse: &Lapse, one: &Lapse| {
            let end = lapse.start_frame + lapse.frame_count;
            one.start_frame <= end
                && lapse.start_frame <= one.start_frame + one.frame_count + second
        };
        for lapse in self.link.take_lapses() {
            let mut all = self.excuses.iter().chain(&open);
            if !all.any(|one| excuses(&lapse, one)) {
                self.lapses.push(lapse);
            }
        }
    }

    /// A link that is heard more than a second after the cable came late.
    fn notice_arrival(&mut self) {
        let (Some(cable), Some(link)) = (self.cable.locked_at(), self.link.locked_at()) else {
            return;
        };
        if self.has_come {
            return;
        }
        self.has_come = true;
        let late = (link - cable) as f64;
        if late > DELAY_MAX_S * self.rate_hz {
            self.judged += late as u64;
            self.lapses.push(Lapse {
                kind: LapseKind::Gap,
                start_frame: cable as f64,
                frame_count: late,
            });
        }
    }
}

impl Watch for ToneWatch {
    fn hear(&mut self, heard: &Heard<'_>) {
        if self.next_frame != Some(heard.first_frame) {
            self.link.begin(heard.first_frame as i64);
            self.cable.begin(heard.first_frame as i64);
        }
        self.next_frame = Some(heard.first_frame + heard.link.len() as u64);
        if let Some(cable) = heard.reference {
            self.cable.hear(cable);
        }
        self.link.hear(heard.link);
        if self.cable.is_whole() && self.link.locked_at().is_some() {
            self.judged += heard.link.len() as u64;
        }
        self.notice_arrival();
        self.collect();
    }

    fn close(&mut self) {
        self.lapses.extend(self.pending());
        self.collect();
    }

    fn take_lapses(&mut self) -> Vec<Lapse> {
        self.lapses
            .sort_by(|a, b| a.start_frame.total_cmp(&b.start_frame));
        std::mem::take(&mut self.lapses)
    }

    fn pending(&self) -> Option<Lapse> {
        self.link.pending().filter(|_| self.cable.is_whole())
    }

    fn judged_frame_count(&self) -> u64 {
        self.judged
    }

    fn last_good_frame(&self) -> Option<u64> {
        self.link.last_good()
    }
}
