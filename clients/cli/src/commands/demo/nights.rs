//! What happens at the fictional venue, night by night.

/// One night: what a person who was there would know, and what it does to the rig.
pub struct Night {
    /// What happened, in a sentence.
    pub story: &'static str,
    /// Settings of links that are not as on commissioning day: link, key, value as TOML.
    pub changes: &'static [(&'static str, &'static str, &'static str)],
}

/// The three nights after commissioning day.
pub const NIGHTS: [Night; 3] = [
    Night {
        story: "nothing happens, but the lectern's battery is no longer quite full",
        changes: &[("lectern", "gain_db", "-0.7")],
    },
    Night {
        story: "the lectern's battery fades, and somebody moved the foyer's input switch",
        changes: &[
            ("lectern", "gain_db", "-1.4"),
            ("foyer", "gain_db", "19.4"),
            ("foyer", "hard_clip_dbfs", "-26.0"),
        ],
    },
    Night {
        story: "the foyer's switch is back, the lectern's battery is all but empty",
        changes: &[("lectern", "gain_db", "-2.2")],
    },
];

/// The configuration with the changes of a night.
///
/// # Panics
/// Where the configuration has no such link or key: both are ours.
pub fn configuration(healthy: &str, night: &Night) -> String {
    let changed = |text: String, (link, key, value): &(&str, &str, &str)| {
        let link_at = text.find(&format!("name = \"{link}\"")).expect("our link");
        let key_at = link_at
            + text[link_at..]
                .find(&format!("\n{key} = "))
                .expect("our key")
            + 1;
        let end = key_at + text[key_at..].find('\n').expect("a line ends");
        format!("{}{key} = {value}{}", &text[..key_at], &text[end..])
    };
    night.changes.iter().fold(healthy.to_owned(), changed)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_touches_one_key_of_one_link() {
        let healthy = "[[link]]\nname = \"choir\"\ngain_db = 0.0\n\
                       [[link]]\nname = \"foyer\"\ngain_db = 0.5\ndelay_ms = 1.0\n";
        let night = Night {
            story: "",
            changes: &[("foyer", "gain_db", "20.0")],
        };
        assert_eq!(
            configuration(healthy, &night),
            healthy.replace("gain_db = 0.5", "gain_db = 20.0")
        );
    }

    #[test]
    fn every_night_fits_the_venue() {
        for night in &NIGHTS {
            let changed = configuration(super::super::LANTERN_CELLAR, night);
            let lines = changed.lines().zip(super::super::LANTERN_CELLAR.lines());
            let differences = lines.filter(|(one, other)| one != other).count();
            assert_eq!(differences, night.changes.len(), "{}", night.story);
        }
    }
}
