//! What a written file may take the place of: nothing, an empty file, or what the program wrote there itself and loses
//! nothing by. One rule for every file that a verb is told to write. Does not know how files are written.

use std::fs::{self, File};
use std::io::Read;
use std::path::Path;

use super::apart::same;
use super::failure::Failure;
use super::folder::PROTECTED;
use super::kept::{self, Kind};
use super::tickets::read_text;
use crate::written::{Draft, LONGEST_TEXT};

/// What can be made again from its inputs at any time, and is known by how it begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Made<'a> {
    /// The page of `preview`.
    Preview,
    /// The page of `compare`.
    Comparison,
    /// The record of `inspect`, of the piece that this says. That of another piece is not made again by the same inputs.
    Record(&'a str),
    /// The control chart of `drift`.
    Chart,
    /// A page of the manual.
    Manual,
}

impl Made<'_> {
    /// What it is, how its text begins, and words that only its own beginning has.
    fn signs(self) -> (String, &'static str, String) {
        let page = |what: &str, title: &str| (what.to_owned(), "<!doctype html>", format!("{title}</title>"));
        match self {
            Made::Preview => page("page of `preview`", " – footbeds to look at"),
            Made::Comparison => page("page of `compare`", " – comparison"),
            Made::Record(piece) => page(&format!("record of {piece}"), &format!("<title>{piece} – inspection record")),
            Made::Chart => ("chart of `drift`".into(), "<svg ", "<title>Made minus asked, ".into()),
            Made::Manual => ("page of this manual".into(), ".TH sustent", String::new()),
        }
    }
}

/// How much of a file is looked at, bytes: the signs stand within its first kilobyte.
const BEGINNING: u64 = 4096;

/// What to do where a file is not written over.
const INSTEAD: &str = "name another file, or take this one away first";

/// Refuses where something else lies than what was made by the same verb earlier.
pub(super) fn made(path: &Path, made: Made) -> Result<(), Failure> {
    if is_free(path)? {
        return Ok(());
    }
    let mut beginning = vec![];
    let file = File::open(path).map_err(|e| Failure::of_io(path, &e))?;
    file.take(BEGINNING).read_to_end(&mut beginning).map_err(|e| Failure::of_io(path, &e))?;
    let beginning = String::from_utf8_lossy(&beginning);
    let (what, start, words) = made.signs();
    if beginning.contains(start) && beginning.contains(&words) {
        return Ok(());
    }
    Err(Failure::of(path, format!("this file is there already and is no {what}; {INSTEAD}")))
}

/// Refuses where anything lies: for what people fill in, and for what is to last.
pub(super) fn nothing(path: &Path) -> Result<(), Failure> {
    if is_free(path)? { Ok(()) } else { Err(Failure::of(path, "this file is there already; name a new one")) }
}

/// Refuses where something else lies than this ticket as it was: no ticket, that of another code, a later revision, the
/// same one with another text, or a history that `text` does not tell. `own` is the ticket that `text` was made from, and its
/// text: it may replace that file, and any with the same text.
pub(super) fn ticket(path: &Path, text: &str, own: Option<(&Path, &str)>) -> Result<(), Failure> {
    if own.is_some_and(|(own, _)| same(own, path)) || is_free(path)? {
        return Ok(());
    }
    let there = read_text(path, LONGEST_TEXT).map_err(|failure| failure.and(INSTEAD))?;
    let refused = |what: &str| Err(Failure::of(path, format!("{what}; {INSTEAD}")));
    let (code, revision) = match kept::head(&there) {
        Some((code, Kind::Ticket, revision)) => (code, revision.unwrap_or(1)),
        Some((code, ..)) => {
            return refused(&format!("these are the measures of {code}, and no ticket is written over them"));
        }
        None => return refused("this is no ticket, and none is written over it"),
    };
    let (new_code, new_revision) =
        kept::head(text).map_or((String::new(), 1), |(code, _, revision)| (code, revision.unwrap_or(1)));
    if code != new_code {
        return refused(&format!("this is the ticket of {code}, and that of {new_code} is not written over it"));
    }
    if revision > new_revision {
        return refused(&format!(
            "this ticket is revision {revision} already, and revision {new_revision} is not written over it"
        ));
    }
    let history = |text: &str| Draft::of(text).map_or(vec![], |draft| draft.list("history"));
    let new_history = history(text);
    if !history(&there).iter().all(|past| new_history.contains(past)) {
        return refused("this ticket's [[history]] tells of changes that the one to be written does not know of");
    }
    let own_revision = own.and_then(|(_, text)| kept::head(text)).and_then(|(_, _, revision)| revision);
    let is_otherwise = match own {
        Some((_, own)) if own_revision == Some(revision) => there != own,
        _ => revision == new_revision && there != text,
    };
    if is_otherwise {
        return refused(&format!(
            "this ticket is another revision {revision} of {code}, changed by hand perhaps; the one to be written would lose that"
        ));
    }
    Ok(())
}

/// Whether nothing lies here, or an empty file; what is no plain file is not written over.
fn is_free(path: &Path) -> Result<bool, Failure> {
    match fs::metadata(path) {
        // A link that leads nowhere is a name that is taken all the same.
        Err(_) => Ok(fs::symlink_metadata(path).is_err()),
        Ok(there) if there.is_dir() => Err(Failure::of(path, "this is a folder; name a file")),
        Ok(there) if there.is_file() && there.permissions().readonly() => {
            Err(Failure::of(path, PROTECTED).and(INSTEAD))
        }
        Ok(there) if there.is_file() => Ok(there.len() == 0),
        Ok(_) => Err(Failure::of(path, "this is no plain file; name another")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ticket::Colour;

    const OLD: &str = "[ticket]\ncode = \"A\"\nrevision = 2\n\n[[history]]\nrevision = 1\nchange = \"cup\" # once\n";

    /// What is said against writing `text` over `there`; nothing where it may be.
    fn against(there: &str, text: &str) -> String {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("t.toml");
        fs::write(&path, there).unwrap();
        ticket(&path, text, None).map_or_else(|failure| failure.words(Colour::Plain), |()| String::new())
    }

    #[test]
    fn a_ticket_takes_the_place_of_itself_only() {
        let next = "[ticket]\ncode = \"A\"\nrevision = 3\n[[history]]\nrevision=1\nchange = \"cup\"\n\
                    [[history]]\nrevision = 2\nchange = \"arch\"\n";
        let inline = "history = [{ revision = 1, change = \"cup\" }]\n[ticket]\ncode = \"A\"\nrevision = 2\n";
        let later = &inline.replace("revision = 2", "revision = 3");
        for (there, text) in [("", next), (OLD, OLD), (OLD, next), (inline, next), (OLD, later)] {
            assert_eq!(against(there, text), "", "{there}");
        }
        for (there, text, said) in [
            (OLD, next.replace("\"A\"", "\"B\""), "this is the ticket of A, and that of B is not written over it"),
            (next, OLD.into(), "this ticket is revision 3 already, and revision 2 is not written over it"),
            (OLD, next.replace("cup", "post"), "[[history]] tells of changes"),
            (OLD, "[ticket]\ncode = \"A\"\nrevision = 3\n".into(), "[[history]] tells of changes"),
            (OLD, OLD.replace("once", "twice"), "this ticket is another revision 2 of A"),
            ("[person]\ncode = \"A\"\n", next.into(), "these are the measures of A"),
            ("a note\n", next.into(), "this is no ticket"),
            ("[make]\n", next.into(), "this is no ticket"),
        ] {
            let told = against(there, &text);
            assert!(told.contains(said) && told.contains(INSTEAD), "{there}: {told}");
        }
    }

    #[test]
    fn the_next_revision_takes_the_place_of_the_one_that_it_comes_from() {
        let folder = tempfile::tempdir().unwrap();
        let (path, own) = (folder.path().join("there.toml"), folder.path().join("own.toml"));
        let next = OLD.replace("revision = 2", "revision = 3");
        for (there, may) in [(OLD.to_owned(), true), (OLD.replace("once", "twice"), false)] {
            fs::write(&path, there).unwrap();
            assert_eq!(ticket(&path, &next, Some((&own, OLD))).is_ok(), may);
        }
    }

    #[test]
    fn what_is_made_takes_the_place_of_its_own_kind() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("look.html");
        assert!(made(&path, Made::Preview).is_ok());
        for (text, may) in [
            ("", true),
            ("<!doctype html>\n<title>A revision 1 – footbeds to look at</title>", true),
            ("<!doctype html>\n<title>A revision 1 L – inspection record</title>", false),
            ("<!doctype html>\n<title>opening hours</title>", false),
        ] {
            fs::write(&path, text).unwrap();
            assert_eq!(made(&path, Made::Preview).is_ok(), may, "{text}");
            assert_eq!(nothing(&path).is_ok(), text.is_empty());
        }
        assert!(made(folder.path(), Made::Preview).is_err());
        fs::write(&path, "<!doctype html>\n<title>A revision 1 L – inspection record</title>").unwrap();
        for (piece, may) in [("A revision 1 L", true), ("A revision 1 R", false), ("B revision 1 L", false)] {
            assert_eq!(made(&path, Made::Record(piece)).is_ok(), may, "{piece}");
        }
    }
}
