//! The plan: which link gets which channel.

use goodwire_plugin_sdk::Failure;
use goodwire_radio::band::{Band, Occupancy};
use goodwire_radio::plan::{self, Flaw, Member, Plan, Request};

use crate::air::Air;
use crate::scene::Scene;
use crate::settings::Settings;

/// A link that sends, as planned.
#[derive(Debug, Clone, PartialEq)]
pub struct Carrier {
    /// Its bare name; empty for one that is not in the configuration.
    pub link: String,
    /// What its table calls its channel.
    pub channel: String,
    /// Where that is.
    pub band: Band,
}

/// Channels for all links.
pub struct Chosen<'a> {
    /// What was planned with.
    pub scene: &'a Scene,
    /// What is occupied: the air, and links of other tables.
    pub occupied: Occupancy,
    /// The arithmetic's plan.
    pub plan: Plan,
    /// Links that were to be placed.
    pub wanted_count: usize,
    /// The carriers that stay: links of other tables, then those of this one that are kept.
    pub staying: Vec<Carrier>,
    /// The row of each of the scene's own links; `None` where none was left.
    pub rows: Vec<Option<usize>>,
    /// Whether each of them stays where it is.
    pub is_kept: Vec<bool>,
}

impl<'a> Chosen<'a> {
    /// Plans.
    pub fn of(scene: &'a Scene, air: &Air, settings: &Settings) -> Result<Self, Failure> {
        let is_kept: Vec<bool> = scene
            .own
            .iter()
            .map(|own| settings.keeps && own.now.is_some())
            .collect();
        let staying = staying(scene, &is_kept);
        let fixed: Vec<Band> = staying.iter().map(|carrier| carrier.band).collect();
        let occupied = air.with(scene.others.iter().map(|other| other.band));
        let wanted_count = is_kept.iter().filter(|is_kept| !**is_kept).count();
        let plan = plan::plan(&Request {
            table: &scene.table,
            occupied: &occupied,
            fixed: &fixed,
            link_count: wanted_count,
            rules: settings.rules,
        });
        let plan = plan.map_err(|error| Failure::new("not-planned", error.to_string()))?;
        Ok(Self {
            rows: assigned(scene, &is_kept, &plan),
            scene,
            occupied,
            plan,
            wanted_count,
            staying,
            is_kept,
        })
    }

    /// All that send as planned: those that stay first.
    pub fn carriers(&self) -> Vec<Carrier> {
        let links = self.scene.own.iter().zip(&self.rows).zip(&self.is_kept);
        let placed = links.filter_map(|((own, row), is_kept)| {
            let row = row.filter(|_| !is_kept)?;
            Some(carrier(self.scene, &own.link, row))
        });
        self.staying.iter().cloned().chain(placed).collect()
    }
}

fn carrier(scene: &Scene, link: &str, row: usize) -> Carrier {
    let channel = &scene.table.channels()[row];
    Carrier {
        link: link.to_owned(),
        channel: channel.name.clone(),
        band: channel.band,
    }
}

fn staying(scene: &Scene, is_kept: &[bool]) -> Vec<Carrier> {
    let others = scene.others.iter().map(|other| Carrier {
        link: other.link.clone(),
        channel: other.channel.clone(),
        band: other.band,
    });
    let kept = scene.own.iter().zip(is_kept).filter_map(|(own, is_kept)| {
        let row = own.now.filter(|_| *is_kept)?;
        Some(carrier(scene, &own.link, row))
    });
    others.chain(kept).collect()
}

/// Gives the planned rows to the links: whoever is on one of them already keeps it, so that as few
/// as can be are set anew; the others get the rest in order, what has a flaw last, for links that
/// are not there yet come last.
fn assigned(scene: &Scene, is_kept: &[bool], plan: &Plan) -> Vec<Option<usize>> {
    let has_flaw = |row: &usize| plan.flaws.iter().any(|flaw| suffers(flaw, *row));
    let (flawed, clean): (Vec<usize>, Vec<usize>) = plan.rows.iter().partition(|row| has_flaw(row));
    let mut left = [clean, flawed].concat();
    let mut rows: Vec<Option<usize>> = Vec::with_capacity(scene.own.len());
    for (own, is_kept) in scene.own.iter().zip(is_kept) {
        let place = own
            .now
            .and_then(|now| left.iter().position(|row| *row == now));
        rows.push(match place {
            _ if *is_kept => own.now,
            Some(place) => Some(left.remove(place)),
            None => None,
        });
    }
    let mut left = left.into_iter();
    for row in rows.iter_mut().filter(|row| row.is_none()) {
        *row = left.next();
    }
    rows
}

/// True where it is `row` that a flaw is bad for.
fn suffers(flaw: &Flaw, row: usize) -> bool {
    let is_it = |member: &Member| *member == Member::Row(row);
    match flaw {
        Flaw::NotPlaced { .. } => false,
        Flaw::Overlap { first, second, .. } => is_it(first) || is_it(second),
        Flaw::Occupied { row: occupied, .. } => *occupied == row,
        Flaw::Product { victim, .. } => is_it(victim),
    }
}
