mod examples;
mod golden;
mod mistakes;
mod properties;

use super::*;

/// The mistakes of a text, each as `LINE:COLUMN wrong`.
fn mistakes(text: &str) -> Vec<String> {
    match Config::parse(text, "rig.toml", &[]) {
        Ok(config) => panic!("no mistake was found in {config:?}"),
        Err(ConfigErrors::Mistakes { mistakes, .. }) => mistakes
            .iter()
            .map(|mistake| format!("{}:{} {}", mistake.line, mistake.column, mistake.wrong))
            .collect(),
        Err(other) => panic!("{other}"),
    }
}

/// A right configuration on the simulated rig, with `more` after it.
fn simulated(more: &str) -> String {
    format!(
        "site = \"lantern-cellar\"\n\
         [interface]\nbackend = \"simulated\"\ntime = \"virtual\"\nrate = 48000\n{more}"
    )
}

/// One link, with `more` after it.
fn link(name: &str, send: usize, r#return: usize, more: &str) -> String {
    format!("[[link]]\nname = \"{name}\"\nsend = {send}\nreturn = {return}\n{more}\n")
}
