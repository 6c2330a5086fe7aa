//! All that is kept of one watch, whatever way it watches.

use serde::{Deserialize, Serialize};

use super::ledger::Ledger;
use super::level_curve::LevelCurve;
use super::marks::Marks;
use super::{Lapse, Watch};

/// What one watch has seen, in memory that does not grow.
///
/// Written down and read back, it goes on with a new [`Watch`]: see [`Log::go_on`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Log {
    /// Rate in Hz of all frames.
    pub rate_hz: f64,
    /// Lapses and dropouts.
    pub ledger: Ledger,
    /// Where somebody stood.
    pub marks: Marks,
    /// Level of the link's return.
    pub level: LevelCurve,
    /// How often the interface lost frames.
    pub loss_count: u64,
    /// Frames that it lost, as far as their number is known.
    pub lost_by_interface: f64,
    /// One past the last frame that was heard.
    pub end_frame: u64,
    /// Frames that were judged, by this watch and those before it.
    pub judged_frames: u64,
    /// The last frame at which the link carried its sound.
    pub last_good_frame: Option<u64>,
    /// What is going on.
    pub pending: Option<Lapse>,
    /// Those that this watch alone has judged.
    #[serde(skip)]
    watch_judged_frames: u64,
}

impl Log {
    /// An empty one at `rate_hz`; pieces less than `merge_s` seconds apart are one dropout.
    #[must_use]
    pub fn new(rate_hz: f64, merge_s: f64) -> Self {
        Self {
            rate_hz,
            ledger: Ledger::new(merge_s * rate_hz),
            marks: Marks::default(),
            level: LevelCurve::new(rate_hz),
            loss_count: 0,
            lost_by_interface: 0.0,
            end_frame: 0,
            judged_frames: 0,
            last_good_frame: None,
            pending: None,
            watch_judged_frames: 0,
        }
    }

    /// Goes on after the watch was cut short: what was going on then is told as it stood, and a
    /// new watch, which has judged nothing yet, may be collected from.
    #[must_use]
    pub fn go_on(mut self) -> Self {
        if let Some(lapse) = self.pending.take() {
            self.ledger.put(lapse);
        }
        self
    }

    /// Takes the link's frames for its level, and how far the watch has come.
    pub fn hear(&mut self, first_frame: u64, link: &[f32]) {
        self.end_frame = first_frame + link.len() as u64;
        self.level.hear(first_frame, link);
    }

    /// Keeps what `watch` told since the last call.
    pub fn collect(&mut self, watch: &mut dyn Watch) {
        self.collect_placed(watch, |frame| frame, 1.0);
    }

    /// The same for a watch whose frames stand at `place` here, and of which each is `stretch` long.
    pub fn collect_placed(
        &mut self,
        watch: &mut dyn Watch,
        place: impl Fn(f64) -> f64,
        stretch: f64,
    ) {
        for lapse in self.take(watch, place, stretch) {
            self.ledger.put(lapse);
        }
    }

    /// The same, but for the lapses: they are given, and are to be put into the ledger.
    #[must_use]
    pub fn take(
        &mut self,
        watch: &mut dyn Watch,
        place: impl Fn(f64) -> f64,
        stretch: f64,
    ) -> Vec<Lapse> {
        let placed = |lapse: Lapse| Lapse {
            start_frame: place(lapse.start_frame),
            frame_count: stretch * lapse.frame_count,
            ..lapse
        };
        self.pending = watch.pending().map(placed);
        let judged = watch.judged_frame_count();
        self.judged_frames += judged.saturating_sub(self.watch_judged_frames);
        self.watch_judged_frames = judged;
        let good = watch.last_good_frame();
        let good = good.map(|frame| place(frame as f64) as u64);
        self.last_good_frame = self.last_good_frame.max(good);
        watch.take_lapses().into_iter().map(placed).collect()
    }

    /// Counts frames that the interface lost; `None` where their number is not known.
    pub fn lose(&mut self, frame_count: Option<f64>) {
        self.loss_count += 1;
        self.lost_by_interface += frame_count.unwrap_or_default();
    }

    /// Seconds that were judged.
    #[must_use]
    pub fn judged_s(&self) -> f64 {
        self.judged_frames as f64 / self.rate_hz
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::watch::ledger::{OTHER_COUNT_MAX, PIECE_COUNT_MAX};
    use crate::watch::marks::{MARK_COUNT_MAX, Mark};
    use crate::watch::{Heard, LapseKind};

    const MERGE_S: f64 = 0.1;

    /// Calls silence a gap once it is over, and everything else good.
    #[derive(Default)]
    struct Silences {
        open: Option<Lapse>,
        told: Vec<Lapse>,
        judged: u64,
        last_good: Option<u64>,
    }

    impl Watch for Silences {
        fn hear(&mut self, heard: &Heard<'_>) {
            let count = heard.link.len() as u64;
            self.judged += count;
            if heard.link.iter().all(|&x| x == 0.0) {
                let fresh = (LapseKind::Gap, heard.first_frame as f64, 0.0).into();
                self.open.get_or_insert(fresh).frame_count += count as f64;
            } else {
                self.told.extend(self.open.take());
                self.last_good = Some(heard.first_frame + count - 1);
            }
        }

        fn close(&mut self) {
            self.told.extend(self.open.take());
        }

        fn take_lapses(&mut self) -> Vec<Lapse> {
            std::mem::take(&mut self.told)
        }

        fn pending(&self) -> Option<Lapse> {
            self.open
        }

        fn judged_frame_count(&self) -> u64 {
            self.judged
        }

        fn last_good_frame(&self) -> Option<u64> {
            self.last_good
        }
    }

    fn hear(log: &mut Log, watch: &mut Silences, first_frame: u64, level: f32) {
        let link = [level; 500];
        watch.hear(&Heard {
            first_frame,
            link: &link,
            reference: None,
        });
        log.hear(first_frame, &link);
        log.collect(watch);
    }

    fn read_back(log: &Log) -> Log {
        let text = serde_json::to_vec(log).unwrap();
        serde_json::from_slice::<Log>(&text).unwrap().go_on()
    }

    #[test]
    fn a_new_watch_goes_on_where_the_ended_one_was_and_time_between_is_not_judged() {
        let mut log = Log::new(1_000.0, MERGE_S);
        let mut watch = Silences::default();
        hear(&mut log, &mut watch, 0, 0.5);
        hear(&mut log, &mut watch, 500, 0.0);
        assert_eq!((log.ledger.dropout_count(), log.judged_frames), (0, 1_000));
        let mut later = read_back(&log);
        later.lose(Some(8_000.0));
        assert_eq!((later.ledger.dropout_count(), later.pending), (1, None));
        assert_eq!(later.last_good_frame, Some(499));
        let mut watch = Silences::default();
        hear(&mut later, &mut watch, 9_000, 0.0);
        hear(&mut later, &mut watch, 9_500, 0.25);
        watch.close();
        later.collect(&mut watch);
        assert!((later.judged_s() - 2.0).abs() < 1e-9);
        assert_eq!((later.ledger.dropout_count(), later.end_frame), (2, 10_000));
        assert_eq!(later.last_good_frame, Some(9_999));
        assert_eq!((later.loss_count, later.lost_by_interface), (1, 8_000.0));
    }

    #[test]
    fn after_72_h_with_a_gap_each_second_and_2_000_marks_it_is_written_in_less_than_300_kb() {
        let mut log = Log::new(100.0, MERGE_S);
        for second in 0..259_200_u64 {
            let at = (100 * second) as f64 + 0.123_456_7;
            let kind = [LapseKind::Concealed, LapseKind::Shift][second as usize % 2];
            log.ledger.put((kind, at, 12.345_678_9).into());
            log.hear(100 * second, &[0.012_345_6; 100]);
        }
        for number in 0..MARK_COUNT_MAX {
            let mark = Mark {
                frame: 12_345.678 * number as f64,
                metres: Some(12.345),
                label: "beside the second pillar".to_owned(),
            };
            log.marks.put(mark).unwrap();
        }
        let text = serde_json::to_vec(&log).unwrap();
        assert_eq!(log.ledger.kept().len(), PIECE_COUNT_MAX + OTHER_COUNT_MAX);
        assert!(text.len() < 300_000, "{} bytes", text.len());
        assert_eq!(read_back(&log).ledger.kept(), log.ledger.kept());
    }
}
