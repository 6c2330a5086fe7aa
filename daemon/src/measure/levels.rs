//! The parameters of a request, link by link. Levels that nobody asked for are lowered to what each
//! link takes; links that take nearly the same play at one level, so that they are measured together.

use goodwire_proto::v1::{Note, Parameter, note::Level};
use prost_types::{Struct, Value, value::Kind};

use super::{
    complete::{Desk, note},
    request::{Found, of_parameter},
};
use crate::{config::LinkConfig, plugins::check_parameters, refusal::Violation, safety};

/// Links whose levels lie no further apart play at the lowest of them, in dB. More would cost the
/// one that takes most too much of its signal over noise; less, and links of one kind fall apart
/// into batches of their own, each as long as all together.
const TOGETHER_DB: f64 = 10.0;

/// What is measured with: the parameters of a link, and what has to be known of them.
pub(super) type Checked = (Struct, Vec<Note>);

impl Desk {
    /// Completes the parameters for each link: defaults are lowered to what its send may play,
    /// explicit levels above it are refused.
    pub(super) fn checked(
        &self,
        found: &Found,
        given: &Struct,
        links: &[LinkConfig],
        wrong: &mut Vec<Violation>,
    ) -> Vec<Checked> {
        let parameters = match check_parameters(&found.schema, given) {
            Ok(parameters) => parameters,
            Err(violations) => {
                wrong.extend(violations.into_iter().map(of_parameter));
                return Vec::new();
            }
        };
        let mut checked = vec![(parameters, Vec::new()); links.len()];
        for parameter in found.schema.iter().filter(|parameter| parameter.level) {
            if given.fields.contains_key(&parameter.id) {
                let value = checked
                    .first()
                    .and_then(|(all, _)| all.fields.get(&parameter.id));
                if let Some(level_dbfs) = value.and_then(greatest) {
                    self.refuse_above_ceiling(&parameter.id, level_dbfs, links, wrong);
                }
            } else {
                self.lower_defaults(parameter, links, &mut checked);
            }
        }
        checked
    }

    fn refuse_above_ceiling(
        &self,
        parameter: &str,
        level_dbfs: f64,
        links: &[LinkConfig],
        wrong: &mut Vec<Violation>,
    ) {
        for link in links {
            let ceiling_dbfs = self.config.send_ceiling_dbfs(link.send);
            if level_dbfs > ceiling_dbfs {
                let text = format!(
                    "{level_dbfs} dBFS is above the {ceiling_dbfs} dBFS that the send of link '{}' \
                     may play at most",
                    link.name
                );
                wrong.push(Violation::new(format!("parameters.{parameter}"), text));
            }
        }
    }

    fn lower_defaults(&self, parameter: &Parameter, links: &[LinkConfig], all: &mut [Checked]) {
        let of_first = all
            .first()
            .and_then(|(parameters, _)| parameters.fields.get(&parameter.id));
        let Some(usual_dbfs) = of_first.and_then(greatest) else {
            return;
        };
        let limits = links
            .iter()
            .map(|link| self.default_ceiling(parameter, link));
        let (most, why): (Vec<f64>, Vec<&str>) = limits.unzip();
        let own: Vec<f64> = most
            .iter()
            .map(|most_dbfs| most_dbfs.min(usual_dbfs))
            .collect();
        let shared = together(&own);
        for (index, (parameters, notes)) in all.iter_mut().enumerate() {
            let (own_dbfs, shared_dbfs) = (own[index], shared[index]);
            let because = match shared_dbfs < own_dbfs {
                true => "the most that a link measured together with it takes",
                false => why[index],
            };
            if shared_dbfs < usual_dbfs
                && let Some(value) = parameters.fields.get_mut(&parameter.id)
            {
                lower(value, shared_dbfs);
                let text = format!(
                    "{} was lowered from {usual_dbfs} to {shared_dbfs:.2} dBFS: {because}",
                    parameter.id
                );
                notes.push(note(Level::Info, "level-lowered", text));
            }
        }
    }

    /// How loud a level may be that nobody asked for, and why.
    fn default_ceiling(&self, parameter: &Parameter, link: &LinkConfig) -> (f64, &'static str) {
        let ceiling_dbfs = self.config.send_ceiling_dbfs(link.send);
        // Searching for the clip point must be free to find it again; all else stays clear of it.
        let clip = (parameter.id == "level_dbfs")
            .then(|| self.last_clip_point_dbfs(link))
            .flatten();
        match clip.map(|clip_dbfs| clip_dbfs - safety::CLIP_MARGIN_DB) {
            Some(clear_dbfs) if clear_dbfs < ceiling_dbfs => {
                (clear_dbfs, "20 dB below the link's last clip point")
            }
            _ => (ceiling_dbfs, "the most that its send may play"),
        }
    }

    pub(super) fn last_clip_point_dbfs(&self, link: &LinkConfig) -> Option<f64> {
        let simulated = self.config.interface.backend.is_simulated();
        safety::last_clip_point_dbfs(&self.store, &link.name, simulated)
    }
}

/// The level of each link: the lowest of those that lie within [`TOGETHER_DB`] of the highest, then
/// the same with those that are left.
fn together(levels_dbfs: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..levels_dbfs.len()).collect();
    order.sort_by(|a, b| levels_dbfs[*b].total_cmp(&levels_dbfs[*a]));
    let mut shared = levels_dbfs.to_vec();
    let mut rest = order.as_slice();
    while let Some(first) = rest.first() {
        let is_near = |index: &&usize| levels_dbfs[*first] - levels_dbfs[**index] <= TOGETHER_DB;
        let count = rest.iter().take_while(is_near).count().max(1);
        let (near, further) = rest.split_at(count);
        for index in near {
            shared[*index] = levels_dbfs[near[count - 1]];
        }
        rest = further;
    }
    shared
}

/// The greatest number of a parameter's value; `None` where it has none.
fn greatest(value: &Value) -> Option<f64> {
    match &value.kind {
        Some(Kind::NumberValue(number)) => Some(*number),
        Some(Kind::ListValue(list)) => list.values.iter().filter_map(greatest).reduce(f64::max),
        _ => None,
    }
}

/// Lowers every number of a parameter's value to `most`.
fn lower(value: &mut Value, most: f64) {
    match &mut value.kind {
        Some(Kind::NumberValue(number)) => *number = number.min(most),
        Some(Kind::ListValue(list)) => list.values.iter_mut().for_each(|one| lower(one, most)),
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn links_within_10_db_play_at_the_lowest_of_them_and_others_by_themselves() {
        assert_eq!(
            together(&[-24.0, -12.0, -60.0, -20.0, -22.0, -31.0]),
            [-31.0, -22.0, -60.0, -22.0, -22.0, -31.0]
        );
        assert_eq!(together(&[-3.0]), [-3.0]);
        assert_eq!(together(&[]), [0.0; 0]);
    }
}
