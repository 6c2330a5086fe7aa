//! One simulated link, and the order of what it does to the sound:
//!
//! 0. what is **plugged** into it comes from its own send, another, or none;
//! 1. the **transmitter** bends it: hard clipping, soft clipping, polynomial (their numbers are of
//!    full scale at the link's input, that is at the send);
//! 2. the **carriage** band-limits it (high-pass, low-pass; see `filters`), and delays it by the set
//!    delay, resynchronisations and the skew of its clock;
//! 3. it is **muted** while the link is idle or waking;
//! 4. **dropouts** take their parts out, those of a walk among them, and an empty **battery** all;
//! 5. what is heard of a **neighbour**'s send is added: it has gone through a carriage like the
//!    link's own, but not through a transmitter, and neither muting nor dropouts hold it back;
//! 6. gain, as its level sways, and polarity;
//! 7. the receiver's **noise** and **hum** are added, at the level that they have at the return.

use super::{
    CHUNK_FRAMES, LinkSpec,
    battery::Battery,
    clock::Clock,
    delay::{FixedDelay, Line},
    dropouts::{Dropouts, Schedule},
    factor_of_db,
    filters::Filters,
    gate::Gate,
    noise::{Hum, WhiteNoise},
    random::Chance,
    rms_of_dbfs,
    settings::LinkSettings,
    sway::Sway,
    transmitter::Transmitter,
};

/// How late the frames of a chunk are.
enum Lateness<'a> {
    Fixed(&'a FixedDelay),
    Moving(&'a [f64]),
}

/// Band limits and delay.
#[derive(Debug, Clone)]
struct Carriage {
    filters: Filters,
    line: Line,
}

impl Carriage {
    fn process(&mut self, lateness: &Lateness<'_>, block: &mut [f64]) {
        self.filters.process(block);
        self.line.push(block);
        match lateness {
            Lateness::Fixed(delay) => self.line.read(delay, block),
            Lateness::Moving(delays) => self.line.read_moving(delays, block),
        }
    }
}

/// The neighbour that a link hears.
#[derive(Debug, Clone)]
struct Neighbour {
    send_index: usize,
    factor: f64,
    carriage: Carriage,
}

/// One simulated link.
#[derive(Debug, Clone)]
pub(super) struct Link {
    /// Where the configuration has it, and where a plain cable would stand.
    send_index: usize,
    return_index: usize,
    /// Where it is really plugged in; `None`: nowhere.
    fed_by: Option<usize>,
    heard_at: Option<usize>,
    transmitter: Transmitter,
    carriage: Carriage,
    delay: FixedDelay,
    clock: Option<Clock>,
    gate: Option<Gate>,
    dropouts: Option<Dropouts>,
    battery: Option<Battery>,
    neighbour: Option<Neighbour>,
    /// Gain and polarity.
    factor: f64,
    sway: Option<Sway>,
    noise: Option<WhiteNoise>,
    hum: Option<Hum>,
    /// True while a plain cable stands in its place.
    is_cabled: bool,
    /// The chunk in work, the neighbour's, and its delays in frames.
    work: Vec<f64>,
    other: Vec<f64>,
    delays: Vec<f64>,
}

impl Link {
    /// The link of a spec; `links` are all of the rig, to find the neighbour among.
    pub(super) fn new(spec: &LinkSpec, links: &[LinkSpec], rate_hz: f64, seed: u64) -> Self {
        let settings = &spec.settings;
        let chance = |purpose| Chance::new(seed, purpose, &spec.name);
        let clock = Clock::new(settings, rate_hz, chance("resync"));
        let delay_frames = settings.delay_frames(rate_hz);
        let longest = clock.as_ref().map_or(delay_frames, Clock::longest);
        let carriage = Carriage {
            filters: settings.filters(rate_hz),
            line: Line::new(longest),
        };
        Self {
            send_index: spec.send_index,
            return_index: spec.return_index,
            fed_by: plugged(settings.fed_by, spec.send_index),
            heard_at: plugged(settings.heard_at, spec.return_index),
            transmitter: Transmitter::new(settings),
            delay: FixedDelay::new(delay_frames),
            clock,
            gate: Gate::new(settings, rate_hz),
            dropouts: Dropouts::new(settings, rate_hz, chance("dropouts")),
            battery: Battery::new(settings, rate_hz),
            neighbour: neighbour(settings, links, &carriage),
            carriage,
            factor: settings.factor(),
            sway: Sway::new(settings, rate_hz),
            noise: settings
                .noise_dbfs
                .map(|level| WhiteNoise::new(chance("noise"), rms_of_dbfs(level))),
            hum: settings
                .hum_dbfs
                .map(|level| Hum::new(factor_of_db(level), settings.hum_hz, rate_hz)),
            is_cabled: false,
            work: Vec::with_capacity(CHUNK_FRAMES),
            other: Vec::with_capacity(CHUNK_FRAMES),
            delays: Vec::with_capacity(CHUNK_FRAMES),
        }
    }

    /// Puts a plain cable in the link's place where its return is among these, else takes it away.
    /// The link itself goes on unheard, so that what it does later does not depend on it.
    pub(super) fn plug_cable(&mut self, return_indices: &[usize]) {
        self.is_cabled = return_indices.contains(&self.return_index);
    }

    /// Takes a chunk from the sends and adds what comes of it to the link's return.
    pub(super) fn process(
        &mut self,
        first_frame: u64,
        sends: &[Vec<f64>],
        returns: &mut [Vec<f64>],
    ) {
        self.take(sends);
        if let Some(gate) = &mut self.gate {
            gate.follow(first_frame, &self.work);
        }
        let lateness = self
            .clock
            .as_mut()
            .map_or(Lateness::Fixed(&self.delay), |clock| {
                self.delays.clear();
                follow(
                    clock,
                    self.gate.as_ref(),
                    first_frame,
                    self.work.len(),
                    &mut self.delays,
                );
                Lateness::Moving(&self.delays)
            });
        self.transmitter.process(&mut self.work);
        self.carriage.process(&lateness, &mut self.work);
        if let Some(gate) = &self.gate {
            gate.apply(&mut self.work);
        }
        if let Some(dropouts) = &mut self.dropouts {
            dropouts.apply(first_frame, &mut self.work);
        }
        if let Some(battery) = &self.battery {
            battery.apply(first_frame, &mut self.work);
        }
        if let Some(neighbour) = &mut self.neighbour {
            self.other.clone_from(&sends[neighbour.send_index]);
            neighbour.carriage.process(&lateness, &mut self.other);
            add(&self.other, neighbour.factor, &mut self.work);
        }
        if self.is_cabled {
            add(
                &sends[self.send_index],
                1.0,
                &mut returns[self.return_index],
            );
            return;
        }
        let Some(out) = self.heard_at.map(|index| &mut returns[index]) else {
            return;
        };
        if let Some(sway) = &self.sway {
            sway.apply(first_frame, &mut self.work);
        }
        add(&self.work, self.factor, out);
        if let Some(noise) = &self.noise {
            noise.add(first_frame, out);
        }
        if let Some(hum) = &self.hum {
            hum.add(first_frame, out);
        }
    }

    /// Takes what is plugged into it.
    fn take(&mut self, sends: &[Vec<f64>]) {
        match self.fed_by {
            Some(index) => self.work.clone_from(&sends[index]),
            None => {
                self.work.clear();
                self.work.resize(sends[self.send_index].len(), 0.0);
            }
        }
    }

    /// See [`Filters::settle`].
    pub(super) fn settle(&mut self) {
        self.carriage.filters.settle();
        if let Some(neighbour) = &mut self.neighbour {
            neighbour.carriage.filters.settle();
        }
    }
}

/// From 0, where a plug is by its number from 1, or else by the configuration.
fn plugged(number: Option<usize>, configured: usize) -> Option<usize> {
    number.map_or(Some(configured), |number| number.checked_sub(1))
}

/// Delays of the chunk's frames.
fn follow(
    clock: &mut Clock,
    gate: Option<&Gate>,
    first_frame: u64,
    frame_count: usize,
    delays: &mut Vec<f64>,
) {
    for frame in (first_frame..).take(frame_count) {
        if gate.is_some_and(|gate| gate.woke_at(frame)) {
            clock.wake(frame);
        }
        delays.push(clock.delay_at(frame));
    }
}

fn neighbour(
    settings: &LinkSettings,
    links: &[LinkSpec],
    carriage: &Carriage,
) -> Option<Neighbour> {
    (!settings.hears.is_empty()).then(|| {
        let heard = links.iter().find(|link| link.name == settings.hears);
        let heard = heard.unwrap_or_else(|| panic!("no link {:?} to be heard", settings.hears));
        Neighbour {
            send_index: heard.send_index,
            factor: factor_of_db(settings.hears_db),
            carriage: carriage.clone(),
        }
    })
}

fn add(block: &[f64], factor: f64, sum: &mut [f64]) {
    for (sum, x) in sum.iter_mut().zip(block) {
        *sum += factor * x;
    }
}

impl LinkSpec {
    /// All dropouts that the link will have in a rig of this seed and rate, in order of time; without
    /// end but where it only has those of a walk that ends near by.
    pub fn dropouts(&self, seed: u64, rate_hz: u32) -> impl Iterator<Item = super::Dropout> {
        let chance = Chance::new(seed, "dropouts", &self.name);
        Schedule::new(&self.settings, f64::from(rate_hz), chance)
            .into_iter()
            .flatten()
    }
}
