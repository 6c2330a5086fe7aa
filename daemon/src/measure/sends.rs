//! Which sends a batch plays on, and how much later each than the reference.

use std::sync::Arc;

use prost_types::value::Kind;

use super::{
    overheard::{Ear, WakeUp},
    worker::{Score, Worker},
};
use crate::{
    audio::{
        Shape,
        performance::{Cancel, Part, Sound},
    },
    config::ReferenceConfig,
    plugins::is_open_ended,
};

/// The k-th send in use plays its stimulus k times so many seconds later than the first.
const STAGGER_S: f64 = 0.1;

/// One send in use.
pub struct Send {
    /// Index of the send, from 0.
    pub index: usize,
    /// Frames by which its stimulus is later than the reference's.
    pub delay_frames: u64,
    /// One sound a step.
    pub sounds: Vec<Sound>,
    /// Ends its sound alone.
    pub cancel: Arc<Cancel>,
    /// Indices into the batch's workers; none for the reference's own send.
    pub workers: Vec<usize>,
}

impl Send {
    /// What it plays in a step.
    pub fn part(&self, step: usize) -> Part {
        Part {
            send: self.index,
            delay_frames: self.delay_frames,
            sound: self.sounds[step].clone(),
            cancel: Arc::clone(&self.cancel),
        }
    }
}

/// The sends in use: the reference's first, at delay 0 together with the first link's; links that
/// share a send share its stimulus. None where nothing is played, and none later than others where
/// all play one pilot.
pub fn sends(
    workers: &[Worker],
    scores: &[Score],
    reference: Option<ReferenceConfig>,
    shape: &Shape,
) -> Vec<Send> {
    let new = |index: usize, score: &Score, workers: Vec<usize>| Send {
        index,
        delay_frames: 0,
        sounds: score.sounds.clone(),
        cancel: Arc::default(),
        workers,
    };
    let mut sends: Vec<Send> = Vec::new();
    if workers.iter().all(|worker| worker.job.is_silent()) {
        return sends;
    }
    for (number, (worker, score)) in workers.iter().zip(scores).enumerate() {
        let Some(index) = worker.job.link.as_ref().map(|link| link.send - 1) else {
            continue;
        };
        match sends.iter_mut().find(|send| send.index == index) {
            Some(send) => send.workers.push(number),
            None => sends.push(new(index, score, vec![number])),
        }
    }
    let of_reference = reference.map(|reference| reference.send - 1);
    // The reference is heard against delay 0, so a link that shares its send is not delayed.
    sends.sort_by_key(|send| Some(send.index) != of_reference);
    let stagger_frames = match scores.iter().any(|score| is_open_ended(&score.plan)) {
        true => 0,
        false => (STAGGER_S * f64::from(shape.rate_hz)).round() as u64,
    };
    for (place, send) in (0..).zip(&mut sends) {
        send.delay_frames = place * stagger_frames;
    }
    let without_link = of_reference.filter(|index| sends.iter().all(|send| send.index != *index));
    if let (Some(index), Some(score)) = (without_link, scores.first()) {
        sends.push(new(index, score, Vec::new()));
    }
    sends
}

/// The sends that play to a link.
fn with_links(sends: &[Send]) -> impl Iterator<Item = &Send> {
    sends.iter().filter(|send| !send.workers.is_empty())
}

/// What wakes the links: the first step of every send that plays to any, in the order of the sends.
pub fn wake_ups(sends: &[Send], workers: &[Worker]) -> Arc<[WakeUp]> {
    let name = |index: &usize| Some(workers[*index].job.link.as_ref()?.name.as_str());
    let wake_up = |send: &Send| {
        let names: Vec<&str> = send.workers.iter().filter_map(name).collect();
        WakeUp {
            links: names.join(" or "),
            delay_frames: send.delay_frames,
            stimulus: match send.sounds.first() {
                Some(Sound::Whole(stimulus)) => Arc::clone(stimulus),
                Some(Sound::Pilot) | None => Arc::default(),
            },
        }
    };
    with_links(sends).map(wake_up).collect()
}

/// The ear of the worker at `index`; none where its stimulus has no wake-up, or where it is alone.
pub fn ear(
    sends: &[Send],
    index: usize,
    worker: &Worker,
    wake_ups: &Arc<[WakeUp]>,
    rate_hz: f64,
) -> Option<Ear> {
    let own = with_links(sends).position(|send| send.workers.contains(&index))?;
    let parameters = &worker.job.open.parameters.as_ref()?.fields;
    let wake_s = match parameters.get("wake_s")?.kind {
        Some(Kind::NumberValue(wake_s)) if wake_s > 0.0 => wake_s,
        _ => return None,
    };
    let return_index = worker.job.link.as_ref()?.r#return - 1;
    (wake_ups.len() > 1).then(|| Ear::new(wake_ups, own, return_index, [wake_s, rate_hz]))
}
