//! One line of program text taken apart into words and comments, by the standard's rules for
//! blanks, case and numbers (NIST IR 6556, Kramer, Proctor and Messina 2000, section 3.3 [from
//! memory]). Knows no meaning of any word.

use super::Reason;

/// A letter and its number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Word {
    /// Upper case.
    pub(super) letter: char,
    pub(super) number: f64,
    /// Digits after the point.
    pub(super) decimals: usize,
}

/// What a line holds.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Line {
    pub(super) words: Vec<Word>,
    pub(super) comments: Vec<String>,
}

/// Characters that some controller acts on at once, wherever they stand, even in a comment:
/// feed hold, start, reset and the like.
const OBEYED_AT_ONCE: &str = "!?~$%";

/// Beginnings of comments that are orders to some controllers: show a message, write a file, run
/// code. Blanks and case do not count.
const ORDERING_COMMENTS: [&str; 7] = ["MSG", "DEBUG", "PRINT", "LOG", "PROBE", "PY,", "ABORT"];

/// Greatest number of characters of a number: more digits than this only hide something.
const LONGEST_NUMBER: usize = 20;

/// Splits a line. `line` is without its line end; its characters have been checked.
pub(super) fn split(line: &str) -> Result<Line, Reason> {
    let mut out = Line::default();
    let mut rest = line.trim_matches([' ', '\t']);
    while let Some(first) = rest.chars().next() {
        rest = match first {
            '(' => comment(rest, &mut out.comments)?,
            ')' => return Err(Reason::CommentNotOpened),
            _ => word(rest, &mut out.words)?,
        };
        rest = rest.trim_start_matches([' ', '\t']);
    }
    Ok(out)
}

/// Refuses what cannot be looked at as characters at all.
pub(super) fn check_characters(line: &[u8]) -> Result<&str, Reason> {
    let wrong = |b: &u8| !(matches!(b, b' '..=b'~') || *b == b'\t') || OBEYED_AT_ONCE.as_bytes().contains(b);
    match line.iter().copied().find(wrong) {
        Some(byte) => Err(Reason::Character { byte }),
        // Printable ASCII is always text.
        None => std::str::from_utf8(line).map_err(|_| Reason::Character { byte: 0 }),
    }
}

fn comment<'a>(rest: &'a str, comments: &mut Vec<String>) -> Result<&'a str, Reason> {
    let inner = rest.strip_prefix('(').unwrap_or(rest);
    let (text, rest) = inner.split_once(')').ok_or(Reason::CommentNotClosed)?;
    if text.contains('(') {
        return Err(Reason::CommentNested);
    }
    let start: String = text.chars().filter(|c| !c.is_whitespace()).take(8).collect();
    if let Some(order) = ORDERING_COMMENTS.iter().find(|order| start.to_ascii_uppercase().starts_with(**order)) {
        return Err(Reason::OrderInComment { order });
    }
    comments.push(text.trim().to_string());
    Ok(rest)
}

fn word<'a>(rest: &'a str, words: &mut Vec<Word>) -> Result<&'a str, Reason> {
    let mut chars = rest.chars();
    let letter = chars.next().map_or(' ', |c| c.to_ascii_uppercase());
    if !letter.is_ascii_alphabetic() {
        return Err(Reason::NotAWord { found: letter });
    }
    let rest = chars.as_str();
    let end = rest.find(|c: char| !(c.is_ascii_digit() || "+-. \t".contains(c))).unwrap_or(rest.len());
    let (digits, rest) = rest.split_at(end);
    let number: String = digits.chars().filter(|c| !c.is_whitespace()).collect();
    let decimals = number.split_once('.').map_or(0, |(_, part)| part.len());
    words.push(Word { letter, number: real(&number).ok_or(Reason::Number { letter, found: number })?, decimals });
    Ok(rest)
}

/// A real number of the standard: a sign or none, digits with one point or none, at least one
/// digit, no exponent.
fn real(text: &str) -> Option<f64> {
    let digits = text.strip_prefix(['+', '-']).unwrap_or(text);
    let (whole, part) = digits.split_once('.').unwrap_or((digits, ""));
    let plain = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    let any = !whole.is_empty() || !part.is_empty();
    if !any || !plain(whole) || !plain(part) || text.len() > LONGEST_NUMBER {
        return None;
    }
    text.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(line: &str) -> Vec<(char, f64)> {
        split(line).unwrap().words.iter().map(|w| (w.letter, w.number)).collect()
    }

    #[test]
    fn a_number_is_digits_with_one_point() {
        for text in ["", ".", "+", "+-5", "1.2.3", "1e5", "1.e5", "1e5.", "inf"] {
            assert_eq!(real(text), None, "{text}");
        }
        assert_eq!([real("-.5"), real("+5."), real("007")], [Some(-0.5), Some(5.0), Some(7.0)]);
        let long = "1".repeat(LONGEST_NUMBER);
        assert!(real(&long).is_some() && real(&format!("{long}1")).is_none());
    }

    /// The standard's own example: `g0x +0. 12 34y 7` means `g0 x+0.1234 y7` (NIST IR 6556,
    /// section 3.3 [from memory]).
    #[test]
    fn blanks_and_case_mean_nothing() {
        assert_eq!(words("g0x +0. 12 34y 7"), [('G', 0.0), ('X', 0.1234), ('Y', 7.0)]);
        assert_eq!(words("  G01X-.5\tF 6 0 0."), [('G', 1.0), ('X', -0.5), ('F', 600.0)]);
    }

    #[test]
    fn decimals_are_counted_as_written() {
        let decimals: Vec<usize> = split("X1 Y1. Z1.5 F0.1250").unwrap().words.iter().map(|w| w.decimals).collect();
        assert_eq!(decimals, [0, 0, 1, 4]);
    }

    #[test]
    fn comments_stand_anywhere_and_are_kept() {
        let line = split("(one) G1 (two) X1 ( three )").unwrap();
        assert_eq!(line.comments, ["one", "two", "three"]);
        assert_eq!(line.words.len(), 2);
    }

    #[test]
    fn numbers_that_are_none_are_refused() {
        for bad in ["X", "X-", "X.", "X1.2.3", "X1-2", "X--1", "X+-1", "X000000000000000000001", "XX1"] {
            let found = split(bad);
            assert!(matches!(found, Err(Reason::Number { .. })), "{bad}: {found:?}");
        }
        assert!(matches!(split("X#1"), Err(Reason::Number { .. })));
        assert!(matches!(split("#1=2"), Err(Reason::NotAWord { found: '#' })));
        assert!(matches!(split("/G0 X1"), Err(Reason::NotAWord { found: '/' })));
    }

    #[test]
    fn comments_that_give_orders_or_do_not_end_are_refused() {
        for bad in ["(MSG, stop)", "( m s g , hi)", "(LOGOPEN,file)", "(debug,#1)", "(print, x)", "(probeopen a)"] {
            assert!(matches!(split(bad), Err(Reason::OrderInComment { .. })), "{bad}");
        }
        assert_eq!(split("(a (b) c)"), Err(Reason::CommentNested));
        assert_eq!(split("(open"), Err(Reason::CommentNotClosed));
        assert_eq!(split("G0 ) X1"), Err(Reason::CommentNotOpened));
    }
}
