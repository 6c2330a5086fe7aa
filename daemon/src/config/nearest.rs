//! The nearest known name, for everything that was probably misspelt.

/// No known name is nearly as long; the distance to a longer one is not worth its time.
const LENGTH_MAX: usize = 200;

/// The known name that `name` was probably meant to be; `None` where nothing is near.
///
/// Near means: at most a third of the longer name's characters have to be changed, swapped, added
/// or left out (the Damerau-Levenshtein distance). Upper and lower case count as the same.
#[must_use]
pub fn nearest<'a>(name: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    if name.chars().count() > LENGTH_MAX {
        return None;
    }
    let wanted = name.to_lowercase();
    known
        .into_iter()
        .map(|candidate| {
            let distance = strsim::damerau_levenshtein(&wanted, &candidate.to_lowercase());
            let length = wanted.chars().count().max(candidate.chars().count());
            (distance, length, candidate)
        })
        .filter(|&(distance, length, _)| 3 * distance <= length)
        .min_by_key(|&(distance, _, _)| distance)
        .map(|(_, _, candidate)| candidate)
}

#[cfg(test)]
mod tests {
    use super::nearest;

    #[test]
    fn one_swapped_pair_of_letters_is_near_and_another_word_is_not() {
        let known = ["send", "return", "pad_db"];
        assert_eq!(nearest("sedn", known), Some("send"));
        assert_eq!(nearest("retrun", known), Some("return"));
        assert_eq!(nearest("PAD_DB", known), Some("pad_db"));
        assert_eq!(nearest("volume", known), None);
        assert_eq!(nearest("", known), None);
    }
}
