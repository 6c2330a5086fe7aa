//! What a watch has seen, as bytes that another process goes on from.

/// Writes numbers and texts one after the other, after a version.
#[derive(Debug, Clone)]
pub struct Writer(Vec<u8>);

impl Writer {
    /// Starts with the version of the layout.
    #[must_use]
    pub fn new(version: u32) -> Self {
        Self(version.to_le_bytes().to_vec())
    }

    /// Appends a number.
    pub fn number(&mut self, number: f64) {
        self.0.extend(number.to_le_bytes());
    }

    /// Appends a count.
    pub fn count(&mut self, count: u64) {
        self.0.extend(count.to_le_bytes());
    }

    /// Appends a number that may be absent.
    pub fn option(&mut self, number: Option<f64>) {
        self.count(u64::from(number.is_some()));
        self.number(number.unwrap_or_default());
    }

    /// Appends a text.
    pub fn text(&mut self, text: &str) {
        self.count(text.len() as u64);
        self.0.extend(text.as_bytes());
    }

    /// All that was written.
    #[must_use]
    pub fn finish(self) -> Vec<u8> {
        self.0
    }
}

/// Reads back what a [`Writer`] wrote, in its order. Everything is `None` past the end, and where
/// a number is not finite.
#[derive(Debug, Clone)]
pub struct Reader<'a>(&'a [u8]);

impl<'a> Reader<'a> {
    /// `None` where the bytes are of another version.
    #[must_use]
    pub fn new(bytes: &'a [u8], version: u32) -> Option<Self> {
        let (first, rest) = bytes.split_first_chunk::<4>()?;
        (u32::from_le_bytes(*first) == version).then_some(Self(rest))
    }

    /// The next number.
    pub fn number(&mut self) -> Option<f64> {
        let number = f64::from_le_bytes(self.eight()?);
        number.is_finite().then_some(number)
    }

    /// The next count.
    pub fn count(&mut self) -> Option<u64> {
        self.eight().map(u64::from_le_bytes)
    }

    /// The next number that may be absent.
    pub fn option(&mut self) -> Option<Option<f64>> {
        let is_there = self.count()? != 0;
        let number = self.number()?;
        Some(is_there.then_some(number))
    }

    /// The next text.
    pub fn text(&mut self) -> Option<String> {
        let length = usize::try_from(self.count()?).ok()?;
        let (text, rest) = self.0.split_at_checked(length)?;
        self.0 = rest;
        String::from_utf8(text.to_vec()).ok()
    }

    /// The next list: its length, then each item. At most `most` items.
    pub fn list<T>(
        &mut self,
        most: usize,
        mut item: impl FnMut(&mut Self) -> Option<T>,
    ) -> Option<Vec<T>> {
        let length = usize::try_from(self.count()?).ok()?;
        if length > most {
            return None;
        }
        (0..length).map(|_| item(self)).collect()
    }

    /// Whether all was read.
    #[must_use]
    pub fn is_at_end(&self) -> bool {
        self.0.is_empty()
    }

    fn eight(&mut self) -> Option<[u8; 8]> {
        let (first, rest) = self.0.split_first_chunk::<8>()?;
        self.0 = rest;
        Some(*first)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_written_is_read_back_and_damage_is_told() {
        let mut writer = Writer::new(3);
        writer.number(-0.25);
        writer.count(7);
        writer.option(None);
        writer.option(Some(12.5));
        writer.text("behind the bar");
        let bytes = writer.finish();
        let read = |bytes: &[u8]| {
            let mut reader = Reader::new(bytes, 3)?;
            let numbers = (reader.number()?, reader.count()?);
            let options = (reader.option()?, reader.option()?);
            Some((numbers, options, reader.text()?, reader.is_at_end()))
        };
        let want = (
            (-0.25, 7),
            (None, Some(12.5)),
            "behind the bar".to_owned(),
            true,
        );
        assert_eq!(read(&bytes), Some(want));
        for length in 0..bytes.len() {
            assert_eq!(read(&bytes[..length]), None, "{length} bytes");
        }
        assert!(Reader::new(&bytes, 4).is_none());
        let mut not_finite = Writer::new(3);
        not_finite.number(f64::NAN);
        assert_eq!(read(&not_finite.finish()), None);
    }
}
