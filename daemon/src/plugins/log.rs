//! What a plugin prints: forwarded while it is little, its end kept for error messages.

use std::collections::VecDeque;

/// Most bytes of one session's log that are forwarded.
const FORWARDED_BYTES_MAX: usize = 64 << 10;
/// Bytes of the log's end that are kept.
const KEPT_BYTES_MAX: usize = 4 << 10;
/// Most lines of the log's end in an error message.
const TAIL_LINE_COUNT: usize = 3;
/// Most characters of the log's end in an error message.
const TAIL_CHARACTERS_MAX: usize = 400;

/// The log of one host.
#[derive(Debug, Default)]
pub(super) struct Log {
    kept: VecDeque<u8>,
    /// The line that has not ended yet.
    line: Vec<u8>,
    forwarded_bytes: usize,
}

impl Log {
    /// Takes what was printed by the plugin named `plugin`.
    pub fn take(&mut self, plugin: &str, bytes: &[u8]) {
        let last = &bytes[bytes.len().saturating_sub(KEPT_BYTES_MAX)..];
        let excess = (self.kept.len() + last.len()).saturating_sub(KEPT_BYTES_MAX);
        self.kept.drain(..excess);
        self.kept.extend(last);
        self.forward(plugin, bytes);
    }

    fn forward(&mut self, plugin: &str, bytes: &[u8]) {
        if self.forwarded_bytes >= FORWARDED_BYTES_MAX {
            return;
        }
        let bytes = &bytes[..bytes.len().min(FORWARDED_BYTES_MAX - self.forwarded_bytes)];
        self.forwarded_bytes += bytes.len();
        self.line.extend(bytes);
        while let Some(end) = self.line.iter().position(|&byte| byte == b'\n') {
            let line: Vec<u8> = self.line.drain(..=end).collect();
            tracing::debug!(plugin, "{}", plain(&line));
        }
        if self.forwarded_bytes == FORWARDED_BYTES_MAX {
            tracing::debug!(plugin, "the plugin's log is too long: the rest is dropped");
            self.line = Vec::new();
        }
    }

    /// The last lines in one, for an error message. Empty where nothing was printed.
    pub fn tail(&mut self) -> String {
        let text = String::from_utf8_lossy(self.kept.make_contiguous());
        let lines: Vec<String> = text
            .lines()
            .map(|line| plain(line.as_bytes()))
            .filter(|line| !line.is_empty())
            .collect();
        let tail = lines[lines.len().saturating_sub(TAIL_LINE_COUNT)..].join(" / ");
        let excess = tail.chars().count().saturating_sub(TAIL_CHARACTERS_MAX);
        tail.chars().skip(excess).collect()
    }
}

/// A line without its end and without control characters: a plugin must not paint on a terminal.
fn plain(line: &[u8]) -> String {
    let text = String::from_utf8_lossy(line);
    let kept = |character: &char| !character.is_control();
    text.trim().chars().filter(kept).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tail_is_the_last_3_lines_without_control_characters() {
        let mut log = Log::default();
        log.take("p", b"one\ntwo\n\x1b[31mthree\n");
        log.take("p", b"fo");
        log.take("p", b"ur\n");
        assert_eq!(log.tail(), "two / [31mthree / four");
    }

    #[test]
    fn of_a_megabyte_4_kib_are_kept_and_64_kib_forwarded() {
        let mut log = Log::default();
        for _ in 0..1024 {
            log.take("p", &[b'x'; 1024]);
        }
        assert_eq!(log.kept.len(), KEPT_BYTES_MAX);
        assert_eq!(log.forwarded_bytes, FORWARDED_BYTES_MAX);
        assert_eq!(log.tail().len(), TAIL_CHARACTERS_MAX);
    }
}
