//! What the engine's side of an interface and its callbacks share: atomics, and what goes
//! through the rings beside the samples.

use std::sync::{
    Arc, OnceLock,
    atomic::{AtomicU32, AtomicU64, Ordering},
};

use super::Mute;

/// A stretch of frames that lies in a ring of samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    /// The epoch that it belongs to.
    pub epoch: u64,
    /// Stream frame of its first frame.
    pub first_frame: u64,
    /// How many frames it has.
    pub frame_count: usize,
}

/// Tells a callback where the stream frames of an epoch lie in the device's own count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Start {
    /// The epoch that starts.
    pub epoch: u64,
    /// The device's frame with which it starts.
    pub device_frame: u64,
    /// The stream frame that this is.
    pub stream_frame: u64,
}

/// What can break an epoch inside a callback.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// The device's own frame count jumped: it left out, or gave twice, what lies between.
    Jumped,
    /// The engine did not deliver in time.
    Starved,
    /// The engine did not fetch in time.
    Overrun,
    /// The gate closed because the wiring changed.
    Gated,
}

impl Fault {
    /// Every fault, in the order of their counters.
    pub const ALL: [Self; 4] = [Self::Jumped, Self::Starved, Self::Overrun, Self::Gated];

    /// The fault in a few words, for the log.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Self::Jumped => "the device's frame count jumped",
            Self::Starved => "frames to play came too late",
            Self::Overrun => "heard frames were not fetched in time",
            Self::Gated => "the wiring changed",
        }
    }
}

/// Lets sound through only while the wiring is known to be right.
///
/// A look at the wiring takes time, in which it may change again: [`Gate::open`] therefore wants
/// the ticket that [`Gate::ticket`] gave before the look, and fails when the gate was closed since.
#[derive(Debug, Default)]
pub struct Gate {
    /// Twice the number of closings, plus one while open.
    state: AtomicU64,
}

impl Gate {
    /// Stops all sound from the next block on.
    pub fn close(&self) {
        // The closure always gives a value, so this cannot fail.
        let _ = self
            .state
            .fetch_update(Ordering::AcqRel, Ordering::Acquire, |state| {
                Some((state & !1) + 2)
            });
    }

    /// The state to hand to [`Gate::open`] after looking at the wiring.
    #[must_use]
    pub fn ticket(&self) -> u64 {
        self.state.load(Ordering::Acquire) & !1
    }

    /// Lets sound through, unless the gate was closed since `ticket` was drawn.
    pub fn open(&self, ticket: u64) -> bool {
        match self
            .state
            .compare_exchange(ticket, ticket | 1, Ordering::AcqRel, Ordering::Acquire)
        {
            Ok(_) => true,
            Err(found) => found == ticket | 1,
        }
    }

    /// True while sound may pass. Wait-free.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.state.load(Ordering::Acquire) & 1 == 1
    }
}

/// What both sides see of an interface. All of it is wait-free.
#[derive(Debug)]
pub struct Shared {
    /// The switch that silences all sends.
    pub mute: Arc<Mute>,
    /// Lets sound through only while the wiring is right.
    pub gate: Gate,
    /// The device's frame that follows the last block that was played.
    pub played_frame: AtomicU64,
    /// The device's frame that follows the last block that was heard.
    pub heard_frame: AtomicU64,
    /// Xruns as the device or its server reports them.
    pub xrun_count: AtomicU64,
    /// Samples that were clamped to a send's ceiling, or were not numbers.
    pub clamped_count: AtomicU64,
    /// The playing thread, as `pthread_self` names it; 0 before its first block.
    pub play_thread: AtomicU64,
    /// The hearing thread, likewise.
    pub hear_thread: AtomicU64,
    /// What the device said when it went. No callback touches it.
    pub gone: OnceLock<String>,
    /// The last epoch that is over; epochs count from 1.
    ended_epoch: AtomicU64,
    fault_counts: [AtomicU64; Fault::ALL.len()],
    /// Highest peak of each send, the bits of an `f32`.
    ceilings: Box<[AtomicU32]>,
}

impl Shared {
    /// State for `send_count` sends, all with a ceiling of 0: nothing passes before
    /// [`Shared::set_ceilings`].
    #[must_use]
    pub fn new(send_count: usize) -> Self {
        Self {
            mute: Arc::default(),
            gate: Gate::default(),
            played_frame: AtomicU64::new(0),
            heard_frame: AtomicU64::new(0),
            xrun_count: AtomicU64::new(0),
            clamped_count: AtomicU64::new(0),
            play_thread: AtomicU64::new(0),
            hear_thread: AtomicU64::new(0),
            gone: OnceLock::new(),
            ended_epoch: AtomicU64::new(0),
            fault_counts: Default::default(),
            ceilings: (0..send_count).map(|_| AtomicU32::new(0)).collect(),
        }
    }

    /// Sets the highest peak of each send, linear; what is negative or no number becomes 0.
    pub fn set_ceilings(&self, peaks: &[f32]) {
        for (ceiling, &peak) in self.ceilings.iter().zip(peaks) {
            let peak = if peak > 0.0 { peak } else { 0.0 };
            ceiling.store(peak.to_bits(), Ordering::Release);
        }
    }

    /// The highest peak of one send, linear.
    #[must_use]
    pub fn ceiling(&self, send: usize) -> f32 {
        self.ceilings
            .get(send)
            .map_or(0.0, |bits| f32::from_bits(bits.load(Ordering::Acquire)))
    }

    /// Ends `epoch`: both callbacks rest until the next one starts.
    pub fn end_epoch(&self, epoch: u64) {
        self.ended_epoch.fetch_max(epoch, Ordering::AcqRel);
    }

    /// Ends `epoch` because of a fault, which is counted once an epoch.
    pub fn break_epoch(&self, epoch: u64, fault: Fault) {
        if self.ended_epoch.fetch_max(epoch, Ordering::AcqRel) < epoch {
            self.fault_counts[fault as usize].fetch_add(1, Ordering::AcqRel);
        }
    }

    /// True where `epoch` is over.
    #[must_use]
    pub fn is_over(&self, epoch: u64) -> bool {
        self.ended_epoch.load(Ordering::Acquire) >= epoch
    }

    /// How many epochs each fault broke, in the order of [`Fault::ALL`].
    #[must_use]
    pub fn fault_counts(&self) -> [u64; Fault::ALL.len()] {
        std::array::from_fn(|index| self.fault_counts[index].load(Ordering::Acquire))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gate_stays_closed_when_it_was_closed_during_the_look() {
        let gate = Gate::default();
        let ticket = gate.ticket();
        gate.close();
        assert!(!gate.open(ticket));
        assert!(!gate.is_open());
        let ticket = gate.ticket();
        assert!(gate.open(ticket));
        assert!(gate.open(gate.ticket()), "opening twice is no fault");
        assert!(gate.is_open());
        gate.close();
        assert!(!gate.is_open());
    }

    #[test]
    fn ceilings_are_0_until_set_and_refuse_what_is_no_number() {
        let shared = Shared::new(3);
        assert_eq!(shared.ceiling(0), 0.0);
        shared.set_ceilings(&[0.1, f32::NAN, -1.0]);
        let got: Vec<f32> = (0..3).map(|send| shared.ceiling(send)).collect();
        assert_eq!(got, [0.1, 0.0, 0.0]);
    }

    #[test]
    fn one_epoch_is_broken_and_counted_once() {
        let shared = Shared::new(1);
        shared.break_epoch(1, Fault::Starved);
        shared.break_epoch(1, Fault::Overrun);
        assert!(shared.is_over(1) && !shared.is_over(2));
        assert_eq!(shared.fault_counts(), [0, 1, 0, 0]);
    }
}
