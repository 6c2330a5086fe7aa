//! The exact search: branch and bound over the channels in the order of their separation.

use super::ground::{Ground, Set, Steps};

/// What a search came to.
pub enum Outcome {
    /// The rows of a clean set whose least separation is the greatest possible.
    Found(Vec<usize>),
    /// There is no clean set of so many.
    None,
    /// The steps were used up before either was certain.
    Cut,
}

/// Looks for the clean set of `count` rows with the greatest least separation.
///
/// The candidates come with falling separation, so a set is worth what its last one is. For each
/// candidate in turn the sets are searched in which it is the last: the first set that is found
/// is a best one, and no set of less worth is ever looked at.
pub fn search(ground: &Ground<'_>, count: usize, steps: &mut Steps) -> Outcome {
    if count == 0 {
        return Outcome::Found(Vec::new());
    }
    let candidates = ground.candidates();
    for last in count - 1..candidates.len() {
        let mut search = Search {
            ground,
            steps,
            set: ground.fixed_set(),
            rows: Vec::new(),
            is_cut: false,
        };
        if search.descend(&candidates[..last], candidates[last], count - 1) {
            return Outcome::Found(search.rows);
        }
        if search.is_cut {
            return Outcome::Cut;
        }
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
        if need == 0 || self.choose(others, need) {
            return true;
        }
        self.set.pop();
        self.rows.pop();
        false
    }

    fn choose(&mut self, others: &[usize], need: usize) -> bool {
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
            if !self.steps.take() {
                self.is_cut = true;
                return Vec::new();
            }
            if self.set.takes(self.ground.bands[row]) {
                viable.push(row);
            }
        }
        viable
    }
}
