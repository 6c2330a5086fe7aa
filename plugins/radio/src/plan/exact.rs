//! The exact search: branch and bound over the channels in the order of their separation.

use super::ground::{Ground, Set, Steps};

/// What a search came to.
pub enum Outcome {
    /// The rows of a clean set whose least separation is the greatest possible.
    Found(Vec<usize>),
    /// There is no clean set of so many.
    None,
    /// The steps were used up before either was certain.
    Cut {
        /// No clean set has a greater least separation than this, in MHz; infinite when all the
        /// steps went into channels that nothing occupied is near.
        bound_mhz: f64,
    },
}

/// Looks for the clean set of `count` rows with the greatest least separation.
///
/// The candidates come with falling separation, so a set is worth what its last one is. For each
/// candidate in turn the sets are searched in which it is the last: the first set that is found
/// is a best one, and no set of less worth is ever looked at. Those that share the greatest
/// separation are searched together, as no order among them matters.
pub fn search(ground: &Ground<'_>, count: usize, steps: &mut Steps) -> Outcome {
    let candidates = &ground.candidates;
    let separation_mhz = |place: usize| ground.separations_mhz[candidates[place]];
    let mut search = Search {
        ground,
        steps,
        set: ground.fixed_set(),
        rows: Vec::new(),
        is_cut: false,
    };
    let is_equal = |&place: &usize| separation_mhz(place) == separation_mhz(0);
    let equal_count = (0..candidates.len()).take_while(is_equal).count();
    let mut last = 0;
    let mut is_found = search.choose(&candidates[..equal_count], count);
    for place in equal_count.max(count.saturating_sub(1))..candidates.len() {
        if is_found || search.is_cut {
            break;
        }
        last = place;
        is_found = search.descend(&candidates[..last], candidates[last], count - 1);
    }
    if is_found {
        return Outcome::Found(search.rows);
    }
    if search.is_cut {
        let bound_mhz = separation_mhz(last);
        return Outcome::Cut { bound_mhz };
    }
    Outcome::None
}

struct Search<'a, 'b> {
    ground: &'a Ground<'b>,
    steps: &'a mut Steps,
    set: Set,
    rows: Vec<usize>,
    is_cut: bool,
}

impl Search<'_, '_> {
    /// Adds `row`, then `need` more out of `others`, of which each gets on with the set so far;
    /// true when they were found, and then `rows` has them.
    fn descend(&mut self, others: &[usize], row: usize, need: usize) -> bool {
        self.set.push(self.ground.bands[row]);
        self.rows.push(row);
        if self.choose(others, need) {
            return true;
        }
        self.set.pop();
        self.rows.pop();
        false
    }

    /// Adds `need` out of `others`; true when they were found.
    fn choose(&mut self, others: &[usize], need: usize) -> bool {
        if need == 0 {
            return true;
        }
        let viable = self.viable(others);
        for (index, &row) in viable.iter().enumerate() {
            // The bound: what is left must suffice.
            if self.is_cut || viable.len() - index < need {
                return false;
            }
            if self.descend(&viable[index + 1..], row, need - 1) {
                return true;
            }
        }
        false
    }

    /// Those of `others` that the set takes. None when the steps end: then nothing is certain.
    fn viable(&mut self, others: &[usize]) -> Vec<usize> {
        let mut viable = Vec::with_capacity(others.len());
        for &row in others {
            if !self.steps.are_left() {
                self.is_cut = true;
                return Vec::new();
            }
            if self.set.takes(self.ground.bands[row], self.steps) {
                viable.push(row);
            }
        }
        viable
    }
}
