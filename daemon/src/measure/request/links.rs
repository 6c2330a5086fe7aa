//! The links that a request names.

use crate::{
    config::LinkConfig,
    measure::{complete::Desk, job::bare},
    names,
    refusal::Violation,
};

impl Desk {
    pub(super) fn links_of(&self, names: &[String], wrong: &mut Vec<Violation>) -> Vec<LinkConfig> {
        let known = &self.config.links;
        if names.iter().any(|name| bare(name) == "all") && names.len() == 1 {
            if known.is_empty() {
                wrong.push(Violation::new("links", "the configuration has no links"));
            }
            return known.clone();
        }
        if names.is_empty() {
            wrong.push(Violation::new(
                "links",
                "at least one link is needed, or 'all'",
            ));
        }
        let mut links: Vec<LinkConfig> = Vec::new();
        for name in names.iter().map(|name| bare(name)) {
            match known.iter().find(|link| link.name == name) {
                Some(link) if links.iter().any(|one| one.name == link.name) => {
                    wrong.push(Violation::new(
                        "links",
                        format!("the link '{name}' is named twice"),
                    ));
                }
                Some(link) => links.push(link.clone()),
                None => wrong.push(Violation::new("links", self.unknown_link(name))),
            }
        }
        links
    }

    /// The sentence about a link that does not exist.
    #[must_use]
    pub fn unknown_link(&self, name: &str) -> String {
        let known: Vec<&str> = self
            .config
            .links
            .iter()
            .map(|link| link.name.as_str())
            .collect();
        names::unknown("link", name, &known)
    }
}
