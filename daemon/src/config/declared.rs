//! Limits held against the figures and curves that the installed analyses say they can give: one
//! that is misspelt would never apply, and nobody would be told.

use goodwire_proto::v1::Analysis;

use super::{nearest::nearest, section::Section, types::LimitConfig};

/// One figure or curve of an analysis: its id and the keys of its `at`.
type Declared<'a> = (&'a str, &'a [String]);

/// Notes what a limit names and its analysis never gives. Nothing is noted where the analysis is
/// not installed, or does not say what it gives.
pub(super) fn check(section: &Section<'_>, limit: &LimitConfig, analyses: &[Analysis]) {
    let name = format!("analyses/{}", limit.analysis);
    let Some(analysis) = analyses.iter().find(|one| one.name == name) else {
        return;
    };
    let figures = analysis.figures.iter();
    let figures: Vec<Declared<'_>> = figures.map(|one| (one.id.as_str(), &*one.at)).collect();
    let curves = analysis.curves.iter();
    let curves: Vec<Declared<'_>> = curves.map(|one| (one.id.as_str(), &*one.at)).collect();
    if figures.is_empty() && curves.is_empty() {
        return;
    }
    let of_figures = Kind {
        section,
        analysis: &limit.analysis,
        word: "figure",
        known: &figures,
        other: ("curve", &curves),
    };
    let of_curves = Kind {
        word: "curve",
        known: &curves,
        other: ("figure", &figures),
        ..of_figures
    };
    match &limit.curve {
        Some(curve) => {
            of_curves.check("curve", &curve.id, limit);
            if let Some(re) = &curve.re {
                of_figures.check("re", re, limit);
            }
        }
        None => of_figures.check("figure", &limit.figure, limit),
    }
}

/// What a key of a limit may name.
#[derive(Clone, Copy)]
struct Kind<'a> {
    section: &'a Section<'a>,
    analysis: &'a str,
    /// `figure` or `curve`.
    word: &'static str,
    known: &'a [Declared<'a>],
    /// The other kind, which is easily mistaken for this one.
    other: (&'static str, &'a [Declared<'a>]),
}

impl Kind<'_> {
    /// Notes an id at `key` that is unknown, and keys of `at` that the known one does not have.
    fn check(&self, key: &str, id: &str, limit: &LimitConfig) {
        if id.is_empty() {
            // It is missing, or no text: that is noted already.
            return;
        }
        match self.known.iter().find(|(known, _)| *known == id) {
            None => self.unknown(key, id),
            // `at` is about the figure or curve itself; empty also where it is no table.
            Some(_) if key == "re" || limit.at.is_empty() => {}
            Some((_, at)) => self.check_at(id, at),
        }
    }

    fn unknown(&self, key: &str, id: &str) {
        let (analysis, word) = (self.analysis, self.word);
        let ids = || self.known.iter().map(|(id, _)| *id);
        let (other, others) = self.other;
        let right = if key != "re" && others.iter().any(|(known, _)| *known == id) {
            format!("{other} = \"{id}\": it is a {other}")
        } else if let Some(near) = nearest(id, ids()) {
            format!("\"{near}\"")
        } else if self.known.is_empty() {
            format!("`{analysis}` has no {word}s")
        } else {
            format!("one of {}", ids().collect::<Vec<_>>().join(", "))
        };
        let wrong = format!("`{analysis}` has no {word} \"{id}\"");
        self.section.wrong(key, wrong, right);
    }

    fn check_at(&self, id: &str, known: &[String]) {
        let Some(at) = self.section.section("at", "at = { … }") else {
            return;
        };
        for (key, value) in at.entries() {
            if known.iter().any(|one| one == key) {
                continue;
            }
            let names = || known.iter().map(String::as_str);
            let right = if known.is_empty() {
                format!("no `at`: there is one `{id}` alone")
            } else if let Some(near) = nearest(key, names()) {
                format!("`{near}`")
            } else {
                format!("one of {}", known.join(", "))
            };
            let word = self.word;
            let wrong = format!("no {word} \"{id}\" is at a `{key}`");
            at.mistakes.wrong(value.span(), wrong, right);
        }
    }
}
