//! What is bad about a plan.

use crate::band::Band;
use crate::products::{Product, keeps_guard, third_order};

use super::ground::Ground;

/// A link of a plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Member {
    /// One that stays where it is, by its place in the request, from 0.
    Fixed(usize),
    /// One that was placed, by the row of the table, from 0.
    Row(usize),
}

/// One thing that is bad about a plan.
#[derive(Debug, Clone, PartialEq)]
pub enum Flaw {
    /// The table has fewer rows than there are links.
    NotPlaced {
        /// Links that got no channel.
        link_count: usize,
    },
    /// Two links overlap.
    Overlap {
        /// One of them.
        first: Member,
        /// The other one.
        second: Member,
        /// What they have in common, in MHz.
        shared_mhz: f64,
    },
    /// A channel does not keep the clearance.
    Occupied {
        /// Its row.
        row: usize,
        /// Its separation in MHz, negative inside.
        separation_mhz: f64,
    },
    /// A product comes nearer to a link than the guard.
    Product {
        /// The link that it hits.
        victim: Member,
        /// The links it is made of: added, added, taken. Two that are the same make `2a - b`.
        made_of: [Member; 3],
        /// Where its centre is, in MHz.
        centre_mhz: f64,
        /// Gap in MHz between them, negative where it falls in.
        gap_mhz: f64,
    },
}

/// Everything that is bad about a plan of `rows` for `link_count` links; of the products, the
/// nearest to each link. What the links that stay do to each other is not the plan's.
pub fn of(ground: &Ground<'_>, rows: &[usize], link_count: usize) -> Vec<Flaw> {
    let placed = rows.len();
    let mut flaws = Vec::new();
    if placed < link_count {
        let link_count = link_count - placed;
        flaws.push(Flaw::NotPlaced { link_count });
    }
    let links = Links { ground, rows };
    flaws.extend(links.overlaps());
    flaws.extend(links.occupied());
    flaws.extend(links.hit());
    flaws
}

/// The links of a plan: first those that stay, then the rows.
struct Links<'a, 'b> {
    ground: &'a Ground<'b>,
    rows: &'a [usize],
}

impl Links<'_, '_> {
    fn bands(&self) -> Vec<Band> {
        let placed = self.rows.iter().map(|&row| self.ground.bands[row]);
        self.ground.fixed.iter().copied().chain(placed).collect()
    }

    fn member(&self, place: usize) -> Member {
        match place.checked_sub(self.ground.fixed.len()) {
            None => Member::Fixed(place),
            Some(index) => Member::Row(self.rows[index]),
        }
    }

    fn overlaps(&self) -> Vec<Flaw> {
        let bands = self.bands();
        let mut found = Vec::new();
        for second in self.ground.fixed.len()..bands.len() {
            for first in 0..second {
                if bands[first].overlaps(&bands[second]) {
                    found.push(Flaw::Overlap {
                        first: self.member(first),
                        second: self.member(second),
                        shared_mhz: bands[first].shared_mhz(&bands[second]),
                    });
                }
            }
        }
        found
    }

    fn occupied(&self) -> impl Iterator<Item = Flaw> {
        let taken = self.rows.iter().filter(|&&row| !self.ground.is_clear(row));
        taken.map(|&row| Flaw::Occupied {
            row,
            separation_mhz: self.ground.separations_mhz[row],
        })
    }

    fn hit(&self) -> Vec<Flaw> {
        let (bands, rules) = (self.bands(), self.ground.rules);
        let products = third_order(&bands);
        let is_ours = |product: &Product| product.mix.places().iter().any(|&p| self.is_row(p));
        let ours: Vec<Product> = products.iter().copied().filter(is_ours).collect();
        let mut found = Vec::new();
        for (place, band) in bands.iter().enumerate() {
            let of_concern = if self.is_row(place) { &products } else { &ours };
            let gap = |product: &Product| product.gap_mhz(band, rules.extent);
            let nearest = of_concern
                .iter()
                .min_by(|a, b| gap(a).total_cmp(&gap(b)))
                .filter(|product| !keeps_guard(gap(product), rules.guard_mhz));
            if let Some(product) = nearest {
                found.push(Flaw::Product {
                    victim: self.member(place),
                    made_of: product.mix.places().map(|p| self.member(p)),
                    centre_mhz: product.centre_mhz(),
                    gap_mhz: gap(product),
                });
            }
        }
        found
    }

    fn is_row(&self, place: usize) -> bool {
        place >= self.ground.fixed.len()
    }
}
