//! How far measurements are, on standard error: bars on a terminal, lines elsewhere.

use std::io::{self, IsTerminal};

use goodwire_proto::v1::Figure;
use indicatif::{MultiProgress, ProgressBar, ProgressStyle};

use crate::{output, show::number, watch::News};

/// Steps of a bar; finer than any terminal is wide.
const STEPS: f64 = 1000.0;

/// The lines of several measurements.
#[derive(Debug, Clone)]
pub struct Board {
    bars: Option<MultiProgress>,
    unicode: bool,
}

impl Board {
    /// Bars where standard error is a terminal.
    pub fn new(unicode: bool) -> Self {
        Self {
            bars: io::stderr().is_terminal().then(MultiProgress::new),
            unicode,
        }
    }

    /// Says something above the lines.
    pub fn say(&self, text: &str) {
        match &self.bars {
            // Nobody hears a standard error that is gone.
            Some(bars) => drop(bars.println(text)),
            None => output::say(text),
        }
    }

    /// A line for one measurement.
    pub fn line(&self, label: &str) -> Line {
        let bar = self.bars.as_ref().map(|bars| {
            let bar = bars.add(ProgressBar::new(STEPS as u64));
            let style =
                ProgressStyle::with_template("{prefix:>14} {bar:24} {percent:>3} % {wide_msg}")
                    .expect("the template is well formed")
                    .progress_chars(if self.unicode { "━╸·" } else { "=>." });
            bar.set_style(style);
            bar.set_prefix(label.to_owned());
            bar
        });
        Line {
            bar,
            label: label.to_owned(),
            said: String::new(),
        }
    }
}

/// The line of one measurement; gone when dropped.
#[derive(Debug)]
pub struct Line {
    bar: Option<ProgressBar>,
    label: String,
    said: String,
}

impl Line {
    /// Shows what is new.
    pub fn show(&mut self, news: &News) {
        match news {
            News::State(measurement) => self.advance(measurement.progress),
            News::Progress(share) => {
                self.advance(*share);
                self.message(String::new());
            }
            News::Readings(figures) => {
                if let Some(bar) = &self.bar {
                    bar.set_message(readings(figures));
                }
            }
            News::Waiting(text) | News::Away(text) => self.message(text.clone()),
        }
    }

    fn advance(&self, share: f64) {
        if let Some(bar) = &self.bar {
            bar.set_position((share.clamp(0.0, 1.0) * STEPS) as u64);
        }
    }

    /// A sentence beside the bar; without a bar a line of its own, once.
    fn message(&mut self, text: String) {
        match &self.bar {
            Some(bar) => bar.set_message(text),
            None if text.is_empty() || text == self.said => {}
            None => {
                output::say(&format!("{}: {text}", self.label));
                self.said = text;
            }
        }
    }
}

/// `level -21.4 dBFS, dropouts 2`
fn readings(figures: &[Figure]) -> String {
    let one = |figure: &Figure| {
        let value = number::plain(figure.value?);
        let text = format!("{} {value} {}", figure.id.replace('_', " "), figure.unit);
        Some(text.trim_end().to_owned())
    };
    figures
        .iter()
        .filter_map(one)
        .collect::<Vec<_>>()
        .join(", ")
}

impl Drop for Line {
    fn drop(&mut self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}
