//! Switches that stand otherwise than in the configuration, as a request says.

use std::collections::HashMap;

use crate::{config::LinkConfig, refusal::Violation};

/// Most keys in a request.
const COUNT_MAX: usize = 32;
/// Most bytes of a key or a value.
const BYTES_MAX: usize = 200;

/// Puts the keys of a request over those of the configuration, in every link's setup.
pub fn put_over(
    links: &mut [LinkConfig],
    setup: &HashMap<String, String>,
    wrong: &mut Vec<Violation>,
) {
    if setup.len() > COUNT_MAX {
        let text = format!("has {} keys, of at most {COUNT_MAX}", setup.len());
        wrong.push(Violation::new("setup", text));
    }
    let fits = |(key, value): (&String, &String)| {
        !key.is_empty() && key.len().max(value.len()) <= BYTES_MAX
    };
    if !setup.iter().all(fits) {
        let text = format!("needs keys of 1 to {BYTES_MAX} bytes, and values of at most as many");
        wrong.push(Violation::new("setup", text));
    }
    for link in links {
        let said = setup.iter();
        link.setup
            .extend(said.map(|(key, value)| (key.clone(), value.clone())));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::Config;

    fn setup(pairs: &[(&str, &str)]) -> HashMap<String, String> {
        let owned = |(key, value): &(&str, &str)| (key.to_string(), value.to_string());
        pairs.iter().map(owned).collect()
    }

    #[test]
    fn what_a_request_says_stands_over_the_configuration_and_the_rest_stays() {
        let text = "site = \"x\"\n[interface]\nbackend = \"simulated\"\nrate = 48000\n\
                    [[link]]\nname = \"a\"\n\
                    send = 1\nreturn = 1\n[link.setup]\ninput = \"mic\"\nchannel = \"2\"\n";
        let mut links = Config::parse(text, "rig.toml", &[]).unwrap().links;
        let mut wrong = Vec::new();
        put_over(&mut links, &setup(&[("input", "line")]), &mut wrong);
        let expected = setup(&[("channel", "2"), ("input", "line")]);
        assert_eq!(links[0].setup, expected.into_iter().collect());
        assert_eq!(wrong, []);
    }

    #[test]
    fn an_empty_key_a_long_value_and_too_many_keys_are_refused() {
        let refused = |said: &HashMap<String, String>| {
            let mut wrong = Vec::new();
            put_over(&mut [], said, &mut wrong);
            wrong.len()
        };
        assert_eq!(refused(&setup(&[("", "line")])), 1);
        assert_eq!(refused(&setup(&[("input", &"x".repeat(201))])), 1);
        let many = (0..33).map(|n| (n.to_string(), String::new())).collect();
        assert_eq!(refused(&many), 1);
    }
}
