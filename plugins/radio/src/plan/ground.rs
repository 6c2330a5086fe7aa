//! What a search stands on: the channels with their separations, and sets of carriers that grow.

use crate::band::Band;
use crate::products::{Product, keeps_guard, with_last};

use super::{Request, Rules};

/// The channels of a request, ready to be chosen from.
pub struct Ground<'a> {
    /// Where each row of the table is.
    pub bands: Vec<Band>,
    /// Separation of each row in MHz; infinite when nothing is occupied.
    pub separations_mhz: Vec<f64>,
    /// The rows that a clean plan may have, the greatest separation first, then by row.
    pub candidates: Vec<usize>,
    /// Links that stay where they are.
    pub fixed: &'a [Band],
    /// What counts as clean.
    pub rules: Rules,
}

impl<'a> Ground<'a> {
    pub fn of(request: &Request<'a>) -> Self {
        let bands = request.table.bands();
        let separation_mhz = |band| request.occupied.separation_mhz(band);
        let separations_mhz = bands
            .iter()
            .map(|band| separation_mhz(band).unwrap_or(f64::INFINITY))
            .collect();
        let mut ground = Self {
            bands,
            separations_mhz,
            candidates: Vec::new(),
            fixed: request.fixed,
            rules: request.rules,
        };
        ground.candidates = ground.candidates();
        ground
    }

    /// True when a row keeps the clearance.
    pub fn is_clear(&self, row: usize) -> bool {
        keeps_guard(self.separations_mhz[row], self.rules.clearance_mhz)
    }

    fn candidates(&self) -> Vec<usize> {
        let fixed = self.fixed_set();
        // Asked once for each row, so that it needs no limit of its own.
        let mut steps = Steps::up_to(u64::MAX);
        let mut rows: Vec<usize> = (0..self.bands.len())
            .filter(|&row| self.is_clear(row) && fixed.takes(self.bands[row], &mut steps))
            .collect();
        // A stable sort keeps equals in the order of the table.
        rows.sort_by(|&a, &b| self.separations_mhz[b].total_cmp(&self.separations_mhz[a]));
        rows
    }

    /// The set of the links that stay; whether they get on with each other is not asked.
    pub fn fixed_set(&self) -> Set {
        let mut set = Set::empty(self.rules);
        for &band in self.fixed {
            set.push(band);
        }
        set
    }

    /// Least separation of some rows in MHz, `None` when nothing is occupied or chosen.
    pub fn separation_mhz_least(&self, rows: &[usize]) -> Option<f64> {
        let separations = rows.iter().map(|&row| self.separations_mhz[row]);
        separations
            .min_by(f64::total_cmp)
            .filter(|mhz| mhz.is_finite())
    }
}

/// Carriers with their products, added and taken away again one by one.
pub struct Set {
    rules: Rules,
    carriers: Vec<Band>,
    products: Vec<Product>,
    /// How many products there were before each carrier.
    counts: Vec<usize>,
}

impl Set {
    fn empty(rules: Rules) -> Self {
        Self {
            rules,
            carriers: Vec::new(),
            products: Vec::new(),
            counts: Vec::new(),
        }
    }

    /// True when `band` overlaps no carrier, no product of the set hits it, and no product that it
    /// makes hits it or a carrier. What a set does not take, no larger set takes.
    pub fn takes(&self, band: Band, steps: &mut Steps) -> bool {
        let mut hits = |product: &Product, victim: &Band| {
            steps.spend(1);
            let gap_mhz = product.gap_mhz(victim, self.rules.extent);
            !keeps_guard(gap_mhz, self.rules.guard_mhz)
        };
        let is_hit = self.carriers.iter().any(|carrier| carrier.overlaps(&band))
            || self.products.iter().any(|product| hits(product, &band))
            || with_last(&self.carriers, band).any(|product| {
                hits(&product, &band) || self.carriers.iter().any(|carrier| hits(&product, carrier))
            });
        steps.spend(1);
        !is_hit
    }

    pub fn push(&mut self, band: Band) {
        self.counts.push(self.products.len());
        self.products.extend(with_last(&self.carriers, band));
        self.carriers.push(band);
    }

    /// Takes the last carrier away again.
    pub fn pop(&mut self) {
        self.carriers.pop();
        if let Some(count) = self.counts.pop() {
            self.products.truncate(count);
        }
    }
}

/// Steps that are left to a search; one compares one product with one link.
pub struct Steps(u64);

impl Steps {
    pub fn up_to(count: u64) -> Self {
        Self(count)
    }

    pub fn spend(&mut self, count: u64) {
        self.0 = self.0.saturating_sub(count);
    }

    pub fn are_left(&self) -> bool {
        self.0 > 0
    }
}
