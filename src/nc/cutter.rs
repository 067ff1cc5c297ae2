//! What a program says of itself in comments as [`super::write()`] makes them, and whether the cutter that it was written
//! for is the one it is to run with.

use super::Program;
use super::write::{cutter_form, plain};
use crate::profile::Cutter;

/// The line and the words of a program's `CUTTER` comment when they name another cutter than
/// `cutter`, by its name or by its form; `None` when they agree or when there is no such comment.
///
/// How many flutes it has and how far it stands out may have changed since: the proof takes those
/// from the profile.
pub fn other_cutter(program: &Program, cutter: &Cutter) -> Option<(usize, String)> {
    let (line, said) = said(program, "CUTTER")?;
    let (name, form) = (plain(&cutter.name), plain(&cutter_form(cutter)));
    (said != name && said != form && !said.starts_with(&format!("{form}, "))).then_some((line, said))
}

/// The line of a program's comment `label: words`, and its words with the lines they go on in, in plain capitals.
pub fn said(program: &Program, label: &str) -> Option<(usize, String)> {
    let mut comments = program.comments.iter().skip_while(|(_, words)| label_cut(words, label).is_none());
    let (line, first) = comments.next()?;
    let rest = comments.map_while(|(_, words)| words.strip_prefix("- "));
    let words: Vec<&str> = label_cut(first, label).into_iter().chain(rest).collect();
    Some((*line, plain(&words.join(" "))))
}

fn label_cut<'a>(words: &'a str, label: &str) -> Option<&'a str> {
    let (own, rest) = words.split_at_checked(label.len())?;
    own.eq_ignore_ascii_case(label).then(|| rest.strip_prefix(':')).flatten()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernel::Shape;

    fn ball(name: &str, radius: f64) -> Cutter {
        Cutter {
            name: name.into(),
            shape: Shape::Ball { radius },
            flutes: 2,
            flute_length_mm: 22.0,
            shank_diameter_mm: 6.0,
            stickout_mm: 35.0,
            holder_diameter_mm: 25.0,
        }
    }

    fn program(comments: &[&str]) -> Program {
        let comments = comments.iter().enumerate().map(|(k, words)| (k + 1, words.to_string())).collect();
        Program { travels: vec![], opening: 0, offset: 54, dwells: vec![], comments, lines: 9 }
    }

    #[test]
    fn the_same_cutter_is_no_other() {
        let cutter = ball("ball-6", 3.0);
        for comments in [
            &["CUTTER: BALL-6, BALL, DIAMETER 6 MM, 2 FLUTES, 35 MM OUT"][..],
            &["STEP: FINISH", "cutter: ball-6, ball, diameter 6 mm, 1 flutes, 50 mm out"],
            &["CUTTER: BALL-6, BALL,", "- DIAMETER 6 MM, 2 FLUTES", "ZERO: HERE"],
            &["CUTTER: Ball-6"],
            &["CUTTING WITH BALL-9"],
            &[],
        ] {
            assert_eq!(other_cutter(&program(comments), &cutter), None, "{comments:?}");
        }
    }

    #[test]
    fn another_name_or_another_form_is() {
        let said = program(&["SIDE: L", "CUTTER: BALL-6, BALL, DIAMETER 6 MM, 2 FLUTES,", "- 35 MM OUT"]);
        let words = "BALL-6, BALL, DIAMETER 6 MM, 2 FLUTES, 35 MM OUT".to_string();
        assert_eq!(other_cutter(&said, &ball("ball-3", 1.5)), Some((2, words.clone())));
        // The profile of that name holds another ball by now.
        assert_eq!(other_cutter(&said, &ball("ball-6", 4.0)), Some((2, words)));
        assert!(other_cutter(&program(&["CUTTER: BALL-60"]), &ball("ball-6", 3.0)).is_some());
        assert!(other_cutter(&program(&["CUTTER:"]), &ball("ball-6", 3.0)).is_some());
    }
}
