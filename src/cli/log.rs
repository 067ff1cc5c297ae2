//! The inspection log on disk: lines are only ever added, whole or not at all.

use std::borrow::Cow;
use std::fs::{File, OpenOptions};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::failure::Failure;
use super::folder::{self, folder_of};
use super::tickets::{open_file, read_bytes};
use crate::inspect::Entry;

/// Longest log that is read, bytes: a hundred thousand pieces.
pub(super) const LONGEST_LOG: usize = 256 << 20;

/// What every record begins with as it is written here, and nothing else that lies about in a workshop.
const BEGINNING: &[u8] = br#"{"ticket":"#;

/// Longest first line that tells a log which other programs have written anew, bytes.
const LONGEST_FIRST: u64 = 16 << 10;

/// No value of a piece is as much, mm or degrees.
const MOST: f64 = 1e4;

/// A line of a log that is no record.
#[derive(Clone, Debug, Serialize)]
pub(super) struct PassedOver {
    /// From 1.
    pub(super) line: usize,
    pub(super) why: String,
}

/// Adds an entry. Should the disk fill up on the way, the log ends where it ended before.
pub(super) fn append(path: &Path, entry: &Entry) -> Result<(), Failure> {
    let fault = |e: std::io::Error| Failure::of_io(path, &e).and("nothing was added to the log");
    // The others wait in the folder of the file itself.
    let path = &folder::through_links(path);
    if std::fs::metadata(path).is_ok_and(|there| !there.is_file()) {
        return Err(Failure::of(path, "this is no plain file; nothing was added to it: name another"));
    }
    // Two benches may add to one log at once, while a third forgets a code.
    let _lock = folder::lock(folder_of(path)).map_err(fault)?;
    let mut file = OpenOptions::new().create(true).read(true).append(true).open(path).map_err(fault)?;
    let mut before = file.metadata().map_err(fault)?.len();
    if !is_a_log(&mut file).map_err(fault)? {
        return Err(Failure::of(path, "this file is no inspection log; nothing was added: name another"));
    }
    if (1..BEGINNING.len() as u64).contains(&before) {
        // What a run left that broke off in its first word says nothing, and the next line would hide that this is a log.
        OpenOptions::new().write(true).truncate(true).open(path).map_err(fault)?;
        before = 0;
    }
    let mut line = String::new();
    if !ends_a_line(&mut file, before).map_err(fault)? {
        // What a broken-off run left stays a line of its own.
        line.push('\n');
    }
    line.push_str(&entry.line());
    file.write_all(line.as_bytes()).and_then(|()| file.sync_data()).map_err(|error| {
        let _ = file.set_len(before);
        fault(error)
    })
}

/// Takes the records of a code out of a log and leaves every other line as it stands; tells how many went.
pub(super) fn forget(path: &Path, code: &str) -> Result<usize, Failure> {
    let fault = |e: std::io::Error| Failure::of_io(path, &e).and("the log is as it was");
    let _lock = folder::lock(folder_of(path)).map_err(fault)?;
    let text = read_bytes(path, LONGEST_LOG)?;
    let is_kept = |line: &&[u8]| code_of(&String::from_utf8_lossy(line)).is_none_or(|own| own != code);
    let (kept, gone): (Vec<&[u8]>, Vec<&[u8]>) = text.split_inclusive(|&byte| byte == b'\n').partition(is_kept);
    if !gone.is_empty() {
        folder::put(path, |file| file.write_all(&kept.concat()))?;
    }
    Ok(gone.len())
}

/// The lines of a log that are a code's, broken ones too.
pub(super) fn lines_of<'a>(text: &'a str, code: &'a str) -> impl Iterator<Item = &'a str> {
    text.lines().filter(move |line| code_of(line).is_some_and(|own| own == code))
}

/// The code of the record that a line is, or of one that was broken off, however it was written by others since.
pub(super) fn code_of(line: &str) -> Option<Cow<'_, str>> {
    let begun = || {
        let words = ["{", "\"ticket\"", ":", "\""];
        let rest = words.iter().try_fold(line, |rest, word| rest.trim_start().strip_prefix(word))?;
        Some(Cow::Borrowed(rest.split_once('"')?.0))
    };
    record(line).map(|record| record.ticket).or_else(begun)
}

/// What the note of a record says; `None` for what is no whole record.
pub(super) fn note_of(line: &str) -> Option<Cow<'_, str>> {
    record(line).map(|record| record.note)
}

/// What of a record matters here.
#[derive(Deserialize)]
struct Record<'a> {
    #[serde(borrow)]
    ticket: Cow<'a, str>,
    /// What no other file of the kind has beside the ticket.
    #[serde(rename = "revision")]
    _revision: i64,
    #[serde(borrow, default)]
    note: Cow<'a, str>,
}

fn record(line: &str) -> Option<Record<'_>> {
    serde_json::from_str(line.trim_start_matches('\u{feff}')).ok()
}

/// Whether a file begins as a log does.
pub(super) fn is_log(path: &Path) -> Result<bool, Failure> {
    let (file, _) = open_file(path)?;
    begins_a_log(file).map_err(|e| Failure::of_io(path, &e))
}

/// Whether what is read begins with a record, as it is written here or by others since.
fn begins_a_log(text: impl Read) -> std::io::Result<bool> {
    let mut beginning = vec![];
    text.take(LONGEST_FIRST).read_to_end(&mut beginning)?;
    let first = beginning.split(|&byte| byte == b'\n').next().unwrap_or_default();
    Ok(first.starts_with(BEGINNING) || record(&String::from_utf8_lossy(first)).is_some())
}

/// Whether a line can be added to the file: it begins as a log does, or as one that was broken off at once.
fn is_a_log(file: &mut File) -> std::io::Result<bool> {
    file.seek(SeekFrom::Start(0))?;
    let mut beginning = vec![];
    file.take(BEGINNING.len() as u64).read_to_end(&mut beginning)?;
    file.seek(SeekFrom::Start(0))?;
    Ok(BEGINNING.starts_with(&beginning) || begins_a_log(file)?)
}

fn ends_a_line(file: &mut File, length: u64) -> std::io::Result<bool> {
    if length == 0 {
        return Ok(true);
    }
    let mut last = [0];
    file.seek(SeekFrom::Start(length - 1))?;
    file.read_exact(&mut last)?;
    Ok(last == *b"\n")
}

/// Whether a piece may have such a value, mm or degrees.
fn is_of_a_piece(value: f64) -> bool {
    value.abs() < MOST
}

/// Every record of a log, in order, and the lines that are none.
pub(super) fn read(path: &Path) -> Result<(Vec<Entry>, Vec<PassedOver>), Failure> {
    let text = read_bytes(path, LONGEST_LOG)?;
    let (mut entries, mut passed_over) = (vec![], vec![]);
    let lines = text.split(|&byte| byte == b'\n').map(<[u8]>::trim_ascii).enumerate();
    for (k, line) in lines.filter(|(_, line)| !line.is_empty()) {
        match serde_json::from_slice::<Entry>(line) {
            Ok(entry) if entry.values.values().all(|v| [v.made, v.asked].into_iter().all(is_of_a_piece)) => {
                entries.push(entry)
            }
            Ok(_) => passed_over.push(PassedOver { line: k + 1, why: "a number in it is that of no piece".into() }),
            Err(error) => passed_over.push(PassedOver { line: k + 1, why: error.to_string() }),
        }
    }
    if entries.is_empty() {
        let first = passed_over.first().map_or("it is empty".to_string(), |p| format!("line {}: {}", p.line, p.why));
        return Err(Failure::of(
            path,
            format!("there is no inspection record in this log ({first}); `sustent inspect --log` writes them"),
        ));
    }
    Ok((entries, passed_over))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Side;
    use crate::inspect::{Logged, Verdict};
    use crate::value::Value;

    fn entry(code: &str) -> Entry {
        let logged = Logged {
            asked: 18.0,
            made: 18.4,
            uncertainty: 0.2,
            shared_uncertainty: 0.0,
            tolerance: 1.0,
            verdict: Verdict::Accept,
        };
        Entry {
            ticket: code.into(),
            revision: 1,
            side: Side::Left,
            material: "eva-firm".into(),
            machine: "fast-router".into(),
            blank: "foam-300".into(),
            finishing: "ball-6".into(),
            perimeter: "flat-6".into(),
            verdict: Verdict::Accept,
            values: [(Value::MedialArch, logged)].into(),
            signature: None,
            note: "2026-11-20".into(),
        }
    }

    #[test]
    fn what_is_added_is_read_back_and_a_broken_line_loses_only_itself() {
        let folder = tempfile::tempdir().unwrap();
        let log = folder.path().join("log.jsonl");
        append(&log, &entry("P-1")).unwrap();
        let whole = std::fs::read_to_string(&log).unwrap();
        std::fs::write(&log, format!("{whole}{}", &whole[..40])).unwrap();
        append(&log, &entry("P-2")).unwrap();
        let (entries, passed_over) = read(&log).unwrap();
        assert_eq!(entries, [entry("P-1"), entry("P-2")]);
        assert_eq!(passed_over.iter().map(|p| p.line).collect::<Vec<_>>(), [2]);
        std::fs::write(&log, "nothing\n").unwrap();
        assert!(read(&log).unwrap_err().words(crate::ticket::Colour::Plain).contains("no inspection record"));
    }

    #[test]
    fn a_record_is_its_codes_however_it_is_written() {
        let whole = entry("P-1").line();
        let spaced = whole.replacen("{\"ticket\":", "  { \"ticket\" : ", 1);
        let sorted = "\u{feff}{\"blank\": \"foam-300\", \"revision\": 2, \"ticket\": \"P-1\"}";
        let coded = whole.replacen("P-1", "P\\u002d1", 1);
        for line in [&whole, &spaced, sorted, &coded, &whole[..30], &spaced[..30]] {
            assert_eq!(code_of(line).as_deref(), Some("P-1"), "{line}");
        }
        for line in ["", "{", "{\"ticket\":\"P-1", "{\"note\":\"P-1\"}", "P-1"] {
            assert_eq!(code_of(line), None, "{line}");
        }
        let noted = Entry { note: "as P-1".into(), ..entry("P-2") };
        assert_eq!(lines_of(&noted.line(), "P-1").count(), 0);
        assert_eq!(note_of(&noted.line()).as_deref(), Some("as P-1"));
        for (text, is) in [(sorted, true), (&whole, true), (&whole[..30], true), ("{ \"ticket\": \"P-1\"}", false)] {
            assert_eq!(begins_a_log(text.as_bytes()).unwrap(), is, "{text}");
        }
    }

    #[test]
    fn nothing_is_added_to_what_is_no_log() {
        let folder = tempfile::tempdir().unwrap();
        let notes = folder.path().join("ticket.toml");
        for text in ["[ticket]\ncode = \"P-1\"\n", "\n", "{\"ticket\" : 1}\n"] {
            std::fs::write(&notes, text).unwrap();
            assert!(append(&notes, &entry("P-1")).is_err());
            assert_eq!(std::fs::read_to_string(&notes).unwrap(), text);
        }
        std::fs::write(&notes, &entry("P-1").line()[..5]).unwrap();
        for code in ["P-2", "P-3"] {
            append(&notes, &entry(code)).unwrap();
        }
        let (entries, passed_over) = read(&notes).unwrap();
        assert_eq!((entries, passed_over.len()), (vec![entry("P-2"), entry("P-3")], 0));
    }

    #[test]
    fn benches_that_add_at_once_lose_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let log = folder.path().join("log.jsonl");
        std::thread::scope(|scope| {
            for bench in 0..4 {
                let log = &log;
                scope.spawn(move || (0..25).for_each(|k| append(log, &entry(&format!("P-{bench}-{k}"))).unwrap()));
            }
        });
        let (entries, passed_over) = read(&log).unwrap();
        assert_eq!((entries.len(), passed_over.len()), (100, 0));
    }
}
