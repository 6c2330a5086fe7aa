//! The text that `iw dev … scan` prints on Linux: the Wi-Fi networks that an adapter heard.
//!
//! The form is taken from memory of that open-source tool: a line `BSS` for each network at the
//! margin, below it lines `key: value`, and below headings such as `HT operation:` lines that begin
//! with `*`. It is not meant for programs and changes; so what is not known is passed over, and
//! what is missing is said in a note. Addresses of networks are not kept.

mod block;

use super::{Note, Survey, SurveyError};
use block::Block;

/// What a text without networks gets to hear.
const RIGHT: &str =
    "is this what `iw dev … scan` printed? it has a line `BSS ...` for each network";

/// Reads every network of the text.
///
/// # Errors
///
/// A frequency that is no number, with its line; a text without any network.
pub fn parse(text: &str) -> Result<Survey, SurveyError> {
    let mut blocks: Vec<Block> = Vec::new();
    for (index, line) in text.lines().enumerate() {
        // Inside a block everything is indented, also `BSS Load:`.
        if line.starts_with("BSS ") {
            blocks.push(Block::begin(index + 1));
        } else if let Some(block) = blocks.last_mut() {
            block.read(index + 1, line.trim())?;
        }
    }
    if blocks.is_empty() {
        return Err(SurveyError::Empty { right: RIGHT });
    }
    let mut survey = Survey::default();
    for block in blocks {
        let line = block.line;
        match block.heard() {
            Ok((heard, note)) => {
                survey.heard.extend(heard);
                survey.notes.extend(note.map(|text| Note { line, text }));
            }
            Err(text) => survey.notes.push(Note { line, text }),
        }
    }
    Ok(survey)
}
