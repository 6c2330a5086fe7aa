//! Finds out what is plugged in where: every send plays a quiet noise of its own at once, louder
//! step by step, and every return is asked which of them it hears.
//!
//! `codes` says whether a return hears a send, `faults` what of all that is wrong.

pub mod codes;
pub mod faults;

use std::{
    sync::{Arc, mpsc},
    time::{Duration, Instant},
};

use tokio::sync::oneshot;

use self::codes::{Codes, Heard};
use super::{
    complete::Desk,
    conductor::{Conductor, Party, next_answer},
    job::{Ending, Fate},
};
use crate::{
    audio::{
        Shape,
        performance::{Answer, Ended, Part, Performance, Prediction, Sound},
    },
    config::Config,
    safety::{self, CLIP_MARGIN_DB},
};

/// The first noise has this peak, in dBFS.
const FIRST_DBFS: f64 = -80.0;
/// Each noise is so much louder than the one before.
const STEP_DB: f64 = 10.0;
/// A noise of which frames were lost is played again at most so often.
const RETRIES_MAX: usize = 3;
/// A device that brings nothing for so long is lost, whatever it says.
const ENGINE_PATIENCE: Duration = Duration::from_secs(8);

/// What the configuration has between a send and a return, both from 1.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Path {
    /// The link's bare name, or `reference`.
    pub name: String,
    /// The send's number.
    pub send: usize,
    /// The return's number.
    pub r#return: usize,
}

/// A send and a return, both from 1, that hear one another or should.
#[derive(Debug, Clone, PartialEq)]
pub struct Pair {
    /// The send's number.
    pub send: usize,
    /// The return's number.
    pub r#return: usize,
    /// What is heard, at the loudest noise; `None`: nothing.
    pub heard: Option<Heard>,
    /// Peak at the send of the first noise that was heard, in dBFS.
    pub level_dbfs: Option<f64>,
}

/// Something that is wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Stable id, in kebab-case.
    pub id: &'static str,
    /// What is wrong and what to do, in a sentence.
    pub text: String,
}

/// What a check found.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// In the order of the returns, then of the sends.
    pub pairs: Vec<Pair>,
    /// What is wrong.
    pub faults: Vec<Fault>,
    /// Peak of the loudest noise, in dBFS at the send; `None` where there is nothing to play on.
    pub level_dbfs: Option<f64>,
    /// Made on the simulated rig.
    pub is_simulated: bool,
    /// True where sends and returns share one clock and one start, so that delays can be told.
    pub is_locked: bool,
}

/// A check on its way to the rig.
#[derive(Debug)]
pub struct Check {
    /// By which it can be ended; never the id of a measurement.
    pub id: String,
    /// Somebody is in the room and said that sound may be played.
    pub is_attended: bool,
    /// The switch that ends it.
    pub fate: Arc<Fate>,
    /// Where the answer goes.
    pub answer: oneshot::Sender<Result<Found, Ending>>,
}

impl Party for Check {
    fn has_ended(&self) -> bool {
        self.fate.ending().is_some()
    }

    fn is_attended(&self) -> bool {
        self.is_attended
    }

    fn is_silent(&self) -> bool {
        false
    }

    fn waits(&self, _: &Desk, _: &str) {
        // Nobody is told of progress: the check is one answer.
    }
}

/// The configured paths, in the order of the returns.
#[must_use]
pub fn paths(config: &Config) -> Vec<Path> {
    let links = config.links.iter().map(|link| Path {
        name: link.name.clone(),
        send: link.send,
        r#return: link.r#return,
    });
    let reference = config.reference.iter().map(|reference| Path {
        name: "reference".into(),
        send: reference.send,
        r#return: reference.r#return,
    });
    let mut paths: Vec<Path> = links.chain(reference).collect();
    paths.sort_by_key(|path| path.r#return);
    paths
}

impl Conductor {
    /// Makes a check and answers it.
    pub(super) fn check_wiring(&self, check: Check) {
        let found = check
            .fate
            .ending()
            .map_or_else(|| self.prepare(&check), Err)
            .and_then(|(shape, quiet_dbfs)| Search::new(self, &check, shape, quiet_dbfs).run());
        self.desk.queue.forget(&check.id);
        // Whoever asked may have left.
        let _ = check.answer.send(found);
    }
}

/// One check while it plays.
struct Search<'a> {
    conductor: &'a Conductor,
    check: &'a Check,
    shape: Shape,
    quiet_dbfs: Vec<f64>,
    paths: Vec<Path>,
    /// The configured sends, from 1, each once, and the highest peak that each may play, in dBFS.
    sends: Vec<(usize, f64)>,
    codes: Codes,
    pairs: Vec<Pair>,
}

impl<'a> Search<'a> {
    fn new(conductor: &'a Conductor, check: &'a Check, shape: Shape, quiet_dbfs: Vec<f64>) -> Self {
        let config = &conductor.desk.config;
        let store = &conductor.desk.store;
        let paths = paths(config);
        let clip_points = config
            .links
            .iter()
            .filter_map(|link| safety::last_clip_point_dbfs(store, &link.name, shape.simulated));
        // A crossed link may be any of them; where none is known, full scale is taken for it.
        let highest_dbfs = clip_points.fold(0.0, f64::min) - CLIP_MARGIN_DB;
        let mut sends: Vec<usize> = paths.iter().map(|path| path.send).collect();
        sends.sort_unstable();
        sends.dedup();
        let ceiling = |send| (send, config.send_ceiling_dbfs(send).min(highest_dbfs));
        let sends: Vec<(usize, f64)> = sends.into_iter().map(ceiling).collect();
        Self {
            codes: Codes::new(sends.len(), f64::from(shape.rate_hz)),
            pairs: silent(&sends, shape.return_count),
            conductor,
            check,
            shape,
            quiet_dbfs,
            paths,
            sends,
        }
    }

    fn run(mut self) -> Result<Found, Ending> {
        let highest_dbfs = self
            .sends
            .iter()
            .map(|(_, most_dbfs)| *most_dbfs)
            .fold(f64::NEG_INFINITY, f64::max);
        let mut level_dbfs = FIRST_DBFS.min(highest_dbfs);
        while !self.sends.is_empty() {
            let has_news = self.listen(level_dbfs)?;
            let is_whole = self.paths.iter().all(|path| self.is_heard(path));
            if (is_whole && !has_news) || level_dbfs >= highest_dbfs {
                break;
            }
            level_dbfs = (level_dbfs + STEP_DB).min(highest_dbfs);
        }
        let is_told = |pair: &Pair| {
            let of = |path: &Path| path.send == pair.send && path.r#return == pair.r#return;
            pair.heard.is_some() || self.paths.iter().any(of)
        };
        let faults = faults::faults(&self.paths, &self.pairs);
        self.pairs.retain(is_told);
        Ok(Found {
            pairs: self.pairs,
            faults,
            level_dbfs: (!self.sends.is_empty()).then_some(level_dbfs),
            is_simulated: self.shape.simulated,
            is_locked: self.shape.locked,
        })
    }

    fn is_heard(&self, path: &Path) -> bool {
        let of = |pair: &&Pair| pair.send == path.send && pair.r#return == path.r#return;
        let pair = self.pairs.iter().find(of);
        pair.is_some_and(|pair| pair.heard.is_some())
    }

    /// Plays all noises at a level and asks every return; true where something new is heard.
    fn listen(&mut self, level_dbfs: f64) -> Result<bool, Ending> {
        let levels_dbfs: Vec<f64> = self
            .sends
            .iter()
            .map(|(_, most_dbfs)| level_dbfs.min(*most_dbfs))
            .collect();
        let returns = self.play(&levels_dbfs)?;
        let peak = |dbfs: &f64| 10_f64.powf(dbfs / 20.0);
        let peaks: Vec<f64> = levels_dbfs.iter().map(peak).collect();
        let mut has_news = false;
        for (index, returned) in returns.iter().enumerate() {
            let heard = self.codes.heard(returned, &peaks);
            if self.check.has_ended() {
                return Err(self.ending());
            }
            let pairs = &mut self.pairs[index * self.sends.len()..];
            for ((pair, heard), level_dbfs) in pairs.iter_mut().zip(heard).zip(&levels_dbfs) {
                has_news |= heard.is_some() && pair.heard.is_none();
                pair.level_dbfs = pair.level_dbfs.or(heard.map(|_| *level_dbfs));
                pair.heard = heard.or(pair.heard);
            }
        }
        Ok(has_news)
    }

    /// What every return hears of the noises, again where frames were lost.
    fn play(&self, levels_dbfs: &[f64]) -> Result<Vec<Vec<f32>>, Ending> {
        for _ in 0..=RETRIES_MAX {
            let mut returns = vec![Vec::new(); self.shape.return_count];
            match self.play_once(levels_dbfs, &mut returns)? {
                Ended::Complete { .. } => return Ok(returns),
                Ended::Lost(loss) => tracing::warn!(?loss, "frames were lost"),
                Ended::Cancelled => return Err(self.ending()),
                Ended::DeviceLost { text } => return Err(Ending::failed("device-lost", text)),
                Ended::TooLoud {
                    return_index,
                    heard_dbfs,
                    expected_dbfs,
                } => {
                    let text = format!(
                        "return {} answered with {heard_dbfs:.1} dBFS where at most \
                         {expected_dbfs:.1} dBFS was expected; the sound was ended at once",
                        return_index + 1
                    );
                    return Err(Ending::failed("louder-than-predicted", text));
                }
            }
        }
        let text = "the interface lost frames again and again; see its xruns in status";
        Err(Ending::failed("frames-lost", text))
    }

    fn play_once(&self, levels_dbfs: &[f64], returns: &mut [Vec<f32>]) -> Result<Ended, Ending> {
        let (answers, inbox) = mpsc::channel();
        let cancel = self.check.fate.cancel();
        self.conductor.engine.perform(Performance {
            parts: self.parts(levels_dbfs),
            frame_count: self.codes.frame_count() as u64,
            open_end: None,
            cabled_returns: Vec::new(),
            predictions: self.predictions(levels_dbfs),
            cancel: Arc::clone(&cancel),
            answers,
        });
        let mut last_answer = Instant::now();
        let ended = loop {
            match next_answer(&inbox) {
                Some(Answer::Captured(captured)) => {
                    last_answer = Instant::now();
                    for (all, block) in returns.iter_mut().zip(&captured.returns) {
                        all.extend(block);
                    }
                }
                Some(Answer::Ended(ended)) => break Ok(ended),
                None if last_answer.elapsed() > ENGINE_PATIENCE => {
                    cancel.set();
                    let text = format!("the device {} brings no frames", self.shape.device);
                    break Err(Ending::failed("device-lost", text));
                }
                None => {}
            }
        };
        self.conductor.sounded(0.0);
        ended
    }

    fn parts(&self, levels_dbfs: &[f64]) -> Vec<Part> {
        let part = |(index, (send, _)): (usize, &(usize, f64))| Part {
            send: send - 1,
            delay_frames: 0,
            sound: Sound::Whole(
                self.codes
                    .noise(index, 10_f64.powf(levels_dbfs[index] / 20.0))
                    .into(),
            ),
            cancel: self.check.fate.cancel(),
        };
        self.sends.iter().enumerate().map(part).collect()
    }

    /// Of links that may be crossed nothing is known: each return may answer as one of unknown gain.
    fn predictions(&self, levels_dbfs: &[f64]) -> Vec<Prediction> {
        let sent_dbfs = levels_dbfs.iter().copied().fold(f64::MIN, f64::max);
        let expect = |(return_index, quiet_dbfs): (usize, &f64)| Prediction {
            return_index,
            peak_dbfs: safety::expected_dbfs(*quiet_dbfs, sent_dbfs, None),
        };
        self.quiet_dbfs.iter().enumerate().map(expect).collect()
    }

    fn ending(&self) -> Ending {
        let ended = || Ending::Cancelled("it was ended".into());
        self.check.fate.ending().unwrap_or_else(ended)
    }
}

/// Every return with every send, nothing heard yet; in the order of the returns, then of the sends.
fn silent(sends: &[(usize, f64)], return_count: usize) -> Vec<Pair> {
    let of_return = |r#return: usize| {
        sends.iter().map(move |(send, _)| Pair {
            send: *send,
            r#return,
            heard: None,
            level_dbfs: None,
        })
    };
    (1..=return_count).flat_map(of_return).collect()
}
