//! Holds interface, reference and links against each other.

use std::collections::HashMap;

use super::{
    interface::InterfaceDraft,
    links::LinkDraft,
    mistakes::Mistakes,
    nearest::nearest,
    section::Section,
    types::{Backend, SafetyConfig},
};

/// One end of the wiring: who uses which channel, and where that is said.
struct Use<'a, 't> {
    section: &'a Section<'t>,
    /// `the reference`, `the link "lectern"`.
    owner: String,
    number: usize,
}

/// What `[reference]` says, beside its section.
pub(super) type ReferenceDraft<'t> = (Section<'t>, Option<usize>, Option<usize>);

/// How many sends and returns there are.
pub(super) struct Counts {
    pub(super) send_count: usize,
    pub(super) return_count: usize,
}

/// Checks that every channel exists and every return hears but one; gives the counts.
pub(super) fn check(
    interface: &InterfaceDraft<'_>,
    reference: Option<&ReferenceDraft<'_>>,
    links: &[LinkDraft<'_>],
) -> Counts {
    let (mut sends, mut returns) = (Vec::new(), Vec::new());
    if let Some((section, send, r#return)) = reference {
        let end = |number| Use {
            section,
            owner: "the reference".to_owned(),
            number,
        };
        sends.extend(send.map(end));
        returns.extend(r#return.map(end));
    }
    for link in links {
        let owner = format!("the link \"{}\"", link.name);
        let end = |number| Use {
            section: &link.section,
            owner: owner.clone(),
            number,
        };
        sends.extend(link.send.map(end));
        returns.extend(link.r#return.map(end));
    }
    refuse_shared_returns(&returns);
    // Where a simulated link is really plugged in: there, several may well be on one return.
    for link in links {
        let end = |number| Use {
            section: &link.section,
            owner: format!("the plug of the link \"{}\"", link.name),
            number,
        };
        sends.extend(link.simulated.fed_by.map(end));
        returns.extend(link.simulated.heard_at.map(end));
    }
    Counts {
        send_count: count(interface, "send", &sends),
        return_count: count(interface, "return", &returns),
    }
}

/// A return hears one receiver: two on one return could not be told apart.
fn refuse_shared_returns(returns: &[Use<'_, '_>]) {
    let mut first: HashMap<usize, &str> = HashMap::new();
    for end in returns {
        if let Some(other) = first.get(&end.number) {
            let wrong = format!("return {} belongs to {other} already", end.number);
            end.section.wrong(
                "return",
                wrong,
                "a return of its own for each link and the reference",
            );
        } else {
            first.insert(end.number, &end.owner);
        }
    }
}

/// How many sends or returns there are; refuses the use of others.
fn count(interface: &InterfaceDraft<'_>, side: &'static str, uses: &[Use<'_, '_>]) -> usize {
    let is_send = side == "send";
    let stated = if is_send {
        interface.stated_send_count
    } else {
        interface.stated_return_count
    };
    let (listed, described) = match &interface.backend {
        Some(Backend::Jack(jack)) => (
            if is_send {
                jack.sends.len()
            } else {
                jack.returns.len()
            },
            None,
        ),
        Some(Backend::Simulated(simulated)) => {
            let paths = if is_send {
                &simulated.sends
            } else {
                &simulated.returns
            };
            (0, paths.keys().max().copied())
        }
        _ => (0, None),
    };
    let section = &interface.section;
    let Some((known, by)) = stated
        .map(|count| (count, format!("[interface] states only {count}")))
        .or((listed > 0).then(|| (listed, format!("[interface.jack] lists only {listed}"))))
    else {
        let used = uses.iter().map(|end| end.number).max();
        return used.into_iter().chain(described).max().unwrap_or(0);
    };
    let right = format!("a number from 1 to {known}, or more {side}s in the interface");
    for end in uses.iter().filter(|end| end.number > known) {
        let wrong = format!("{} uses {side} {}, but {by}", end.owner, end.number);
        end.section.wrong(side, wrong, right.clone());
    }
    if let Some(number) = described.filter(|number| *number > known) {
        let wrong = format!("[[interface.simulated.{side}]] describes {side} {number}, but {by}");
        section.wrong("simulated", wrong, right.clone());
    }
    if listed > known {
        let wrong = format!("[interface.jack] lists {listed} {side}s, but {by}");
        section.wrong("jack", wrong, format!("as many ports as there are {side}s"));
    }
    known
}

/// Checks what only all links together can show: names and neighbours.
pub(super) fn check_names(links: &[LinkDraft<'_>]) {
    let named = || links.iter().filter(|link| !link.name.is_empty());
    for (index, link) in links.iter().enumerate() {
        if !link.name.is_empty() && links[..index].iter().any(|other| other.name == link.name) {
            let wrong = format!("there are two links \"{}\"", link.name);
            link.section
                .wrong("name", wrong, "a name of its own for each link");
        }
        let heard = link.simulated.hears.as_str();
        if heard.is_empty() || named().any(|other| other.name == heard && heard != link.name) {
            continue;
        }
        let others = named()
            .map(|other| other.name.as_str())
            .filter(|name| *name != link.name);
        let near = nearest(heard, others).map(|name| format!("\"{name}\""));
        let wrong = format!("there is no other link \"{heard}\" to be heard");
        let right = near.unwrap_or_else(|| "the name of another [[link]] of this file".to_owned());
        link.section
            .mistakes
            .wrong(link.hears_span.clone(), wrong, right);
    }
}

/// A link may lower the rig's ceiling, never raise it.
pub(super) fn check_ceilings(links: &[LinkDraft<'_>], safety: &SafetyConfig) {
    for link in links {
        if let Some(own_dbfs) = link.max_send_dbfs
            && own_dbfs > safety.max_send_dbfs
        {
            let wrong = format!(
                "`max_send_dbfs` is {own_dbfs} here, above the rig's {}",
                safety.max_send_dbfs
            );
            let right = format!(
                "{} or lower, or a higher `max_send_dbfs` in [safety]",
                safety.max_send_dbfs
            );
            link.section.wrong("max_send_dbfs", wrong, right);
        }
    }
}

/// Notes the mistakes of writing.
pub(super) fn note_writing(errors: &[toml::de::Error], mistakes: &Mistakes) {
    for error in errors {
        let message = error.message();
        let (wrong, right) = match message.split_once(", expected ") {
            Some((wrong, expected)) => (wrong, format!("{expected} here")),
            None if message.contains("duplicate") => (
                message,
                "each key once in a section, each section once".to_owned(),
            ),
            None => (
                message,
                "TOML: `key = value` lines under `[section]` lines".to_owned(),
            ),
        };
        mistakes.writing(error.span().unwrap_or(0..0), wrong.to_owned(), right);
    }
}
