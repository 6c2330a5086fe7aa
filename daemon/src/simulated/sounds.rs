//! All that sounds in the rig, chunk by chunk.

use super::{
    CHUNK_FRAMES, RigSpec, link::Link, path::Path, random::Chance, room::Programme,
    settings::PathSettings,
};

/// All that sounds: sends, links, returns.
#[derive(Debug)]
pub struct Sounds {
    /// See [`Sounds::frame`].
    frame: u64,
    send_paths: Vec<Path>,
    return_paths: Vec<Path>,
    links: Vec<Link>,
    reference: Option<(usize, usize)>,
    programme: Option<Programme>,
    /// The chunk in work, one vector a send.
    sends: Vec<Vec<f64>>,
    /// The chunk in work, one vector a return.
    returns: Vec<Vec<f64>>,
    played: Vec<f64>,
}

impl Sounds {
    /// The sounds of a rig, from frame 0.
    pub fn new(spec: &RigSpec) -> Self {
        let rate_hz = f64::from(spec.rate_hz);
        let seed = spec.rig.seed;
        let setting = |list: &[PathSettings], k: usize| list.get(k).cloned().unwrap_or_default();
        let return_path = |k: usize| {
            let chance = Chance::new(seed, "return", &k.to_string());
            Path::heard(&setting(&spec.returns, k), rate_hz, chance)
        };
        let wired = spec
            .links
            .iter()
            .map(|link| (link.send_index, link.return_index));
        let plugged = spec.links.iter().map(|link| {
            let index = |number: Option<usize>| number.unwrap_or(0).saturating_sub(1);
            (index(link.settings.fed_by), index(link.settings.heard_at))
        });
        for (send_index, return_index) in wired.chain(plugged).chain(spec.reference) {
            assert!(
                send_index < spec.send_count && return_index < spec.return_count,
                "a link or the reference uses a send or return that is not there"
            );
        }
        Self {
            frame: 0,
            send_paths: (0..spec.send_count)
                .map(|k| Path::send(&setting(&spec.sends, k), rate_hz))
                .collect(),
            return_paths: (0..spec.return_count).map(return_path).collect(),
            links: spec
                .links
                .iter()
                .map(|link| Link::new(link, &spec.links, rate_hz, seed))
                .collect(),
            reference: spec.reference,
            programme: spec.rig.programme_dbfs.map(|level_dbfs| {
                Programme::new(level_dbfs, rate_hz, Chance::new(seed, "programme", ""))
            }),
            sends: vec![Vec::new(); spec.send_count],
            returns: vec![Vec::new(); spec.return_count],
            played: Vec::new(),
        }
    }

    /// Puts a plain cable in the place of the links at these returns, and the others back.
    pub fn plug_cables(&mut self, return_indices: &[usize]) {
        for link in &mut self.links {
            link.plug_cable(return_indices);
        }
    }

    /// The next frame to be computed, from the start of the stream.
    pub fn frame(&self) -> u64 {
        self.frame
    }

    /// The chunk to be computed, one vector a send, all of one length.
    pub fn sends_mut(&mut self) -> &mut [Vec<f64>] {
        &mut self.sends
    }

    /// The chunk computed last, one vector a return.
    pub fn returns(&self) -> &[Vec<f64>] {
        &self.returns
    }

    /// Computes one chunk, which ends at the next border of the grid of [`CHUNK_FRAMES`] or before.
    pub fn process(&mut self, frame_count: usize) {
        let first_frame = self.frame;
        for (path, send) in self.send_paths.iter_mut().zip(&mut self.sends) {
            path.process(first_frame, send);
        }
        for sound in &mut self.returns {
            sound.clear();
            sound.resize(frame_count, 0.0);
        }
        for link in &mut self.links {
            link.process(first_frame, &self.sends, &mut self.returns);
        }
        if let Some((send, heard)) = self.reference {
            add(&self.sends[send], &mut self.returns[heard]);
        }
        for (path, sound) in self.return_paths.iter_mut().zip(&mut self.returns) {
            path.process(first_frame, sound);
        }
        if let Some(programme) = &mut self.programme {
            self.played.resize(frame_count, 0.0);
            programme.render(first_frame, &mut self.played);
            self.returns
                .iter_mut()
                .for_each(|sound| add(&self.played, sound));
        }
        self.frame += frame_count as u64;
        if self.frame.is_multiple_of(CHUNK_FRAMES as u64) {
            self.settle();
        }
    }

    fn settle(&mut self) {
        self.send_paths
            .iter_mut()
            .chain(&mut self.return_paths)
            .for_each(Path::settle);
        self.links.iter_mut().for_each(Link::settle);
    }
}

fn add(block: &[f64], sum: &mut [f64]) {
    for (sum, x) in sum.iter_mut().zip(block) {
        *sum += x;
    }
}
