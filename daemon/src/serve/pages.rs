//! Pages of lists that are short enough to be held as a whole.

use crate::refusal::Refusal;

/// Items in a page where nobody says how many.
const SIZE_DEFAULT: usize = 50;
/// Items in a page at most.
const SIZE_MAX: usize = 500;

/// Cuts one page out of a list. Gives its items, and the token of the next page, which is empty
/// where there is none.
///
/// # Errors
/// A negative size, or a token that no page gave.
pub(super) fn cut<T>(items: Vec<T>, size: i32, token: &str) -> Result<(Vec<T>, String), Refusal> {
    let size = match usize::try_from(size) {
        Ok(0) => SIZE_DEFAULT,
        Ok(size) => size.min(SIZE_MAX),
        Err(_) => return Err(Refusal::field("page_size", format!("{size} is negative"))),
    };
    let begin = if token.is_empty() {
        Ok(0)
    } else {
        token.parse::<usize>()
    };
    let begin = begin
        .ok()
        .filter(|begin| *begin <= items.len())
        .ok_or_else(|| {
            Refusal::field(
                "page_token",
                "is none that this list gave; begin with an empty one",
            )
        })?;
    let end = (begin + size).min(items.len());
    let next = if end < items.len() {
        end.to_string()
    } else {
        String::new()
    };
    Ok((items.into_iter().skip(begin).take(size).collect(), next))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pages_of_2_neither_skip_nor_repeat() {
        let (mut seen, mut token) = (Vec::new(), String::new());
        loop {
            let (page, next) = cut(vec![1, 2, 3, 4, 5], 2, &token).expect("a good token");
            seen.extend(page);
            if next.is_empty() {
                break;
            }
            token = next;
        }
        assert_eq!(seen, [1, 2, 3, 4, 5]);
    }

    #[test]
    fn a_negative_size_and_a_made_up_token_are_refused() {
        assert!(cut(vec![1], -1, "").is_err());
        assert!(cut(vec![1], 0, "page two").is_err());
    }
}
