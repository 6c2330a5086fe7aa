//! The picture as a file of its own, light or dark as its viewer is.
//!
//! Many programs that show SVG know no variables of CSS: their values are written out, those for
//! the light first, so that whoever does not know media queries either sees the light picture.

use goodwire_proto::v1::ChannelPlan;

use super::picture;
use crate::report::sheet::{PALETTE, PLAN};

/// The SVG file of a plan; `None` where it shows nothing.
pub(crate) fn file(plan: &ChannelPlan, title: &str) -> Option<String> {
    let picture = picture::of_plan(plan, "plan", title)?;
    let paper = "<path class=\"paper\" d=\"M-9999 -9999H9999V9999H-9999Z\"/>\n";
    let first = format!("<style>\n{}</style>\n{paper}", style());
    let attributes = " xmlns=\"http://www.w3.org/2000/svg\"";
    Some(picture.element(attributes, &first))
}

/// The style of the picture without variables.
fn style() -> String {
    let (light, dark) = PALETTE
        .split_once("@media")
        .expect("the dark palette stands in a media query");
    format!(
        "{}@media (prefers-color-scheme: dark) {{\n{}}}\n",
        written_out(PLAN, light),
        written_out(PLAN, dark)
    )
}

/// The rules with the values of a palette's variables.
fn written_out(rules: &str, palette: &str) -> String {
    let mut rules = rules.to_owned();
    for variable in palette
        .split(['{', ';'])
        .filter_map(|one| one.split_once(':'))
    {
        let (name, value) = (variable.0.trim(), variable.1.trim());
        rules = rules.replace(&format!("var({name})"), value);
    }
    rules
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_variable_is_left_and_the_links_are_blue_in_the_light_and_the_dark() {
        let style = style();
        assert!(!style.contains("var("), "{style}");
        assert!(!style.contains("--"), "{style}");
        let (light, dark) = style.split_once("@media").unwrap();
        assert!(light.contains("#0072b2") && dark.contains("#56b4e9"));
        assert_eq!(light.matches('{').count(), light.matches('}').count());
    }
}
