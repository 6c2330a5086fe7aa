//! The sheet that every page stands on: report, front page, history and refusal look alike.

use super::html::Safe;

/// The colours, for light and for dark.
pub(crate) const PALETTE: &str = include_str!("palette.css");
/// How pictures of channel plans look.
pub(crate) const PLAN: &str = include_str!("plan.css");
const STYLE: &str = include_str!("style.css");

/// A page before it is written. What is called HTML here is safe already.
#[derive(Debug, Clone, Default)]
pub(crate) struct Sheet {
    /// Heading and title of the page, as plain text.
    pub(crate) title: String,
    /// Name of the site, as plain text.
    pub(crate) site: String,
    /// Ways to other pages, as HTML; empty for a page that stands alone.
    pub(crate) ways: String,
    /// What stands below the heading, as HTML.
    pub(crate) lead: String,
    /// The main part, as HTML.
    pub(crate) main: String,
    /// What stands at the end, as HTML.
    pub(crate) end: String,
    /// After so many seconds the browser asks for the page again; `None`: never.
    pub(crate) reload_s: Option<u32>,
}

impl Sheet {
    /// Writes the page.
    pub(crate) fn render(&self) -> String {
        let reload = self.reload_s.map_or_else(String::new, |seconds| {
            format!("<meta http-equiv=\"refresh\" content=\"{seconds}\">\n")
        });
        let ways = match self.ways.is_empty() {
            true => String::new(),
            false => format!("<nav aria-label=\"Pages\">{}</nav>\n", self.ways),
        };
        format!(
            "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
             <meta name=\"color-scheme\" content=\"light dark\">\n{reload}<title>{title}</title>\n\
             <style>\n{PALETTE}{PLAN}{STYLE}</style>\n</head>\n<body>\n<header>\n{ways}\
             <p class=\"site\">{site}</p>\n<h1>{title}</h1>\n{lead}</header>\n\
             <main>\n{main}</main>\n<footer>\n{end}</footer>\n</body>\n</html>\n",
            title = Safe(&self.title),
            site = Safe(&self.site),
            lead = self.lead,
            main = self.main,
            end = self.end,
        )
    }
}

/// The words that everything from the simulated rig begins with.
pub(crate) const SIMULATED: &str = "<p class=\"simulated\"><strong>SIMULATED</strong> Measured on the \
     simulated rig: this says nothing of any real link.</p>\n";

/// The version, as the last line of a page.
pub(crate) fn version() -> String {
    format!("<p>goodwire {}</p>\n", env!("CARGO_PKG_VERSION"))
}
