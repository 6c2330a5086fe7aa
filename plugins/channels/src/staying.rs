//! What the links that stay do to each other and what is in the air to them: no plan mends that.

use goodwire_radio::band::TOUCHING_MHZ;
use goodwire_radio::products::{Product, third_order};

use crate::air::Air;
use crate::chosen::{Carrier, Chosen};
use crate::settings::Settings;
use crate::words;

/// Each trouble in a sentence; of products the nearest to each link.
pub fn troubles(chosen: &Chosen<'_>, air: &Air, settings: &Settings) -> Vec<String> {
    let mut troubles = overlaps(&chosen.staying);
    troubles.extend(occupied(chosen, air, settings));
    troubles.extend(products(&chosen.staying, settings));
    troubles
}

fn overlaps(staying: &[Carrier]) -> Vec<String> {
    let mut found = Vec::new();
    for (index, first) in staying.iter().enumerate() {
        for second in &staying[index + 1..] {
            if first.band.overlaps(&second.band) {
                let shared_mhz = first.band.shared_mhz(&second.band);
                let [first, second] = [first, second].map(words::carrier);
                found.push(words::overlap(&first, &second, shared_mhz));
            }
        }
    }
    found
}

/// Those of the plan's own table alone: of others nobody asked.
fn occupied(chosen: &Chosen<'_>, air: &Air, settings: &Settings) -> Vec<String> {
    let clearance_mhz = settings.rules.clearance_mhz;
    let kept = &chosen.staying[chosen.scene.others.len()..];
    let trouble = |carrier: &Carrier| {
        let separation_mhz = chosen.occupied.separation_mhz(&carrier.band)?;
        let is_clear = separation_mhz >= clearance_mhz - TOUCHING_MHZ;
        let beside = words::nearest(chosen, air, &carrier.band);
        let who = words::carrier(carrier);
        (!is_clear).then(|| words::occupied(&who, separation_mhz, &beside, clearance_mhz))
    };
    kept.iter().filter_map(trouble).collect()
}

fn products(staying: &[Carrier], settings: &Settings) -> Vec<String> {
    let bands: Vec<_> = staying.iter().map(|carrier| carrier.band).collect();
    let products = third_order(&bands);
    let trouble = |victim: &Carrier| {
        let gap_mhz = |product: &Product| product.gap_mhz(&victim.band, settings.rules.extent);
        let nearest = products
            .iter()
            .min_by(|a, b| gap_mhz(a).total_cmp(&gap_mhz(b)))?;
        let is_clear = gap_mhz(nearest) >= settings.rules.guard_mhz - TOUCHING_MHZ;
        let made_of = nearest
            .mix
            .places()
            .map(|place| words::carrier(&staying[place]));
        let made_of = made_of.each_ref().map(String::as_str);
        let who = words::carrier(victim);
        (!is_clear).then(|| words::product(&who, made_of, nearest.centre_mhz(), gap_mhz(nearest)))
    };
    staying.iter().filter_map(trouble).collect()
}
