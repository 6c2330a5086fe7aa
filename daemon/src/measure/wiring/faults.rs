//! What is wrong with the wiring, from what hears what.

use super::{Fault, Pair, Path};

/// Within so many dB of the loudest, at a return and of a send, something is plugged in; what is
/// lower is crosstalk (common practice, no source: neighbouring lines are 40 dB and more apart).
const COMPARABLE_DB: f64 = 20.0;

/// All that departs from the configuration; in the order of the returns.
#[must_use]
pub fn faults(paths: &[Path], pairs: &[Pair]) -> Vec<Fault> {
    let view = View { paths, pairs };
    let mut faults = Vec::new();
    for path in paths {
        faults.extend(view.fault_of(path));
        faults.extend(view.polarity_of(path));
    }
    faults.extend(view.unexpected());
    faults
}

struct View<'a> {
    paths: &'a [Path],
    pairs: &'a [Pair],
}

impl View<'_> {
    fn gain_db(&self, send: usize, r#return: usize) -> Option<f64> {
        let of = |pair: &&Pair| pair.send == send && pair.r#return == r#return;
        Some(self.pairs.iter().find(of)?.heard?.gain_db)
    }

    /// Whether the send is plugged into the return: it is heard, and not much lower than the
    /// loudest there or than where it is heard loudest.
    fn is_plugged(&self, send: usize, r#return: usize) -> bool {
        let Some(gain_db) = self.gain_db(send, r#return) else {
            return false;
        };
        let related = |pair: &&Pair| pair.send == send || pair.r#return == r#return;
        let others = self.pairs.iter().filter(related);
        others
            .filter_map(|pair| pair.heard)
            .all(|other| gain_db >= other.gain_db - COMPARABLE_DB)
    }

    /// The sends that are plugged into a return.
    fn sends_at(&self, r#return: usize) -> Vec<usize> {
        let mut sends: Vec<usize> = self.pairs.iter().map(|pair| pair.send).collect();
        sends.sort_unstable();
        sends.dedup();
        sends.retain(|send| self.is_plugged(*send, r#return));
        sends
    }

    fn fault_of(&self, path: &Path) -> Option<Fault> {
        let sends = self.sends_at(path.r#return);
        let is_own = sends.contains(&path.send);
        match (is_own, sends.len()) {
            (true, 1) => None,
            (true, _) => self.shorted(path, &sends),
            (false, 0) => Some(missing(path)),
            (false, _) => self.crossed(path, &sends),
        }
    }

    fn crossed(&self, path: &Path, sends: &[usize]) -> Option<Fault> {
        let other = self.paths.iter().find(|other| {
            let theirs = self.sends_at(other.r#return);
            sends.contains(&other.send)
                && theirs.contains(&path.send)
                && !theirs.contains(&other.send)
        });
        let Some(other) = other else {
            let text = format!(
                "Return {0} hears {1} instead of send {2}: put the plug of send {2} where {3} \
                 takes it in, and look where that of {1} belongs.",
                path.r#return,
                listed("send", sends),
                path.send,
                path.name
            );
            return Some(fault("crossed", text));
        };
        // Both see it; the first of them tells it.
        (path.r#return < other.r#return).then(|| {
            let text = format!(
                "{} and {} are crossed: return {} hears send {}, and return {} hears send {}. Swap \
                 the plugs of sends {} and {}, or those of returns {} and {}.",
                path.name,
                other.name,
                path.r#return,
                other.send,
                other.r#return,
                path.send,
                path.send,
                other.send,
                path.r#return,
                other.r#return
            );
            fault("crossed", text)
        })
    }

    fn shorted(&self, path: &Path, sends: &[usize]) -> Option<Fault> {
        let same: Vec<usize> = self
            .paths
            .iter()
            .filter(|other| self.sends_at(other.r#return) == sends)
            .map(|other| other.r#return)
            .collect();
        // All see it; the first of them tells it.
        if same.iter().any(|other| *other < path.r#return) {
            return None;
        }
        let text = if same.len() > 1 {
            format!(
                "{} hear {} alike: the lines are joined somewhere; look for a Y-cable, a mixer or \
                 a patch that brings them together.",
                listed("return", &same),
                listed("send", sends)
            )
        } else {
            let others: Vec<usize> = sends.iter().copied().filter(|s| *s != path.send).collect();
            format!(
                "{} hears {} besides its own send {}: find out where they come together, or \
                 whether two transmitters are on one channel.",
                path.name,
                listed("send", &others),
                path.send
            )
        };
        Some(fault("shorted", capital(&text)))
    }

    fn polarity_of(&self, path: &Path) -> Option<Fault> {
        let own = |pair: &&Pair| pair.send == path.send && pair.r#return == path.r#return;
        let is_inverted = self.pairs.iter().find(own)?.heard?.is_inverted;
        (is_inverted && self.is_plugged(path.send, path.r#return)).then(|| {
            let text = format!(
                "The polarity of {} is swapped: look for a cable with pins 2 and 3 swapped, or a \
                 switch for it on the way.",
                path.name
            );
            fault("polarity", text)
        })
    }

    /// Returns of which the configuration knows nothing.
    fn unexpected(&self) -> Vec<Fault> {
        let is_known = |number| self.paths.iter().any(|path| path.r#return == number);
        let mut returns: Vec<usize> = self.pairs.iter().map(|pair| pair.r#return).collect();
        returns.sort_unstable();
        returns.dedup();
        returns.retain(|number| !is_known(*number));
        let unexpected = |number: usize| {
            let sends = self.sends_at(number);
            let text = format!(
                "Return {number} hears {}, but the configuration has nothing there: move the plug, \
                 or write down what it is.",
                listed("send", &sends)
            );
            (!sends.is_empty()).then(|| fault("unexpected", text))
        };
        returns.into_iter().filter_map(unexpected).collect()
    }
}

fn missing(path: &Path) -> Fault {
    let Path { name, send, .. } = path;
    let text = if name == "reference" {
        format!(
            "Return {} hears nothing, neither of the reference's send {send} nor of any other: look \
             whether its cable is plugged in at both ends.",
            path.r#return
        )
    } else {
        format!(
            "Return {} hears nothing, neither of send {send} nor of any other: look whether {name} \
             is switched on, both ends are on one channel, and both plugs are in.",
            path.r#return
        )
    };
    fault("missing", text)
}

fn fault(id: &'static str, text: String) -> Fault {
    Fault { id, text }
}

/// `send 2`, `sends 1 and 2`, `sends 1, 2 and 3`.
fn listed(word: &str, numbers: &[usize]) -> String {
    let texts: Vec<String> = numbers.iter().map(ToString::to_string).collect();
    match texts.split_last() {
        Some((last, [])) => format!("{word} {last}"),
        Some((last, before)) => format!("{word}s {} and {last}", before.join(", ")),
        None => format!("no {word}"),
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|letter| letter.to_ascii_uppercase());
    first.into_iter().chain(letters).collect()
}

#[cfg(test)]
mod tests {
    use super::{super::codes::Heard, *};

    /// `lectern` 1→1, `foyer` 2→2, `choir` 2→4 (shares a send), `reference` 3→3.
    fn paths() -> Vec<Path> {
        let path = |name: &str, send, r#return| Path {
            name: name.into(),
            send,
            r#return,
        };
        vec![
            path("lectern", 1, 1),
            path("foyer", 2, 2),
            path("reference", 3, 3),
            path("choir", 2, 4),
        ]
    }

    /// What is heard: send, return, gain.
    fn told(heard: &[(usize, usize, f64)]) -> Vec<(&'static str, String)> {
        let pair = |&(send, r#return, gain_db): &(usize, usize, f64)| Pair {
            send,
            r#return,
            heard: Some(Heard {
                gain_db,
                delay_ms: 4.0,
                is_inverted: false,
            }),
            level_dbfs: Some(-80.0),
        };
        let pairs: Vec<Pair> = heard.iter().map(pair).collect();
        let faults = faults(&paths(), &pairs);
        faults.into_iter().map(|one| (one.id, one.text)).collect()
    }

    fn ids(heard: &[(usize, usize, f64)]) -> Vec<&'static str> {
        told(heard).into_iter().map(|(id, _)| id).collect()
    }

    #[test]
    fn links_that_share_a_send_and_crosstalk_40_db_down_are_no_fault() {
        let right = [(1, 1, 0.0), (2, 2, -3.0), (2, 4, 3.0), (3, 3, 0.0)];
        assert!(told(&right).is_empty());
        let with_crosstalk = [&right[..], &[(2, 1, -40.0), (1, 5, -40.0)]].concat();
        assert!(told(&with_crosstalk).is_empty());
    }

    #[test]
    fn a_crossed_pair_is_told_once_with_both_plugs() {
        let crossed = told(&[(3, 1, 0.0), (2, 2, 0.0), (1, 3, 0.0), (2, 4, 0.0)]);
        assert_eq!(crossed.len(), 1, "{crossed:?}");
        assert_eq!(crossed[0].0, "crossed");
        assert!(
            crossed[0].1.contains("Swap the plugs of sends 1 and 3"),
            "{crossed:?}"
        );
    }

    #[test]
    fn what_hears_nothing_is_missing_and_what_hears_two_is_shorted() {
        assert_eq!(ids(&[(2, 2, 0.0), (2, 4, 0.0), (3, 3, 0.0)]), ["missing"]);
        let right = [(1, 1, 0.0), (2, 2, 0.0), (2, 4, 0.0), (3, 3, 0.0)];
        assert_eq!(ids(&[&right[..], &[(1, 2, -6.0)]].concat()), ["shorted"]);
        let both = told(&[&right[..], &[(1, 3, -6.0), (3, 1, -6.0)]].concat());
        assert_eq!(both.len(), 1, "{both:?}");
        assert!(
            both[0].1.starts_with("Returns 1 and 3 hear sends 1 and 3"),
            "{both:?}"
        );
    }

    #[test]
    fn a_plug_in_a_return_that_is_not_configured_is_missing_here_and_unexpected_there() {
        let moved = [(1, 5, 0.0), (2, 2, 0.0), (2, 4, 0.0), (3, 3, 0.0)];
        assert_eq!(ids(&moved), ["missing", "unexpected"]);
    }
}
