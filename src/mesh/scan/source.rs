//! Bytes of a file as a stream: by number or by line, counted, never more in memory than one
//! buffer. Knows no format.

use std::io::{ErrorKind, Read};

use super::error::{Place, ScanError};

/// Read at once. Large enough that calls to the system do not count, small beside any scan.
const BUFFER: usize = 1 << 20;

/// The longest line worth reading, bytes. A polygon of [`super::polygon::MOST_CORNERS`] corners
/// with three indices each, all of 8 digits, needs less.
const LONGEST_LINE: usize = 1 << 17;

/// Larger files are refused, bytes (1 GiB). Twelve million triangles, the most that are kept, are
/// 0.6 GB of binary STL; a larger file is text, or holds more than can be kept.
pub const LARGEST_FILE: u64 = 1 << 30;

/// A file as it is being read.
pub(super) struct Source<'a> {
    from: &'a mut dyn Read,
    buffer: Vec<u8>,
    /// What is buffered and not yet taken.
    start: usize,
    end: usize,
    /// Bytes taken before `start`.
    taken: u64,
    lines: u64,
    /// Whether nothing follows what is buffered.
    ended: bool,
    /// Whether the first line ended with a carriage return alone: then all do, and a line feed
    /// after one belongs to what follows.
    bare_returns: bool,
}

impl<'a> Source<'a> {
    pub(super) fn new(from: &'a mut dyn Read) -> Source<'a> {
        let buffer = vec![0; BUFFER];
        Source { from, buffer, start: 0, end: 0, taken: 0, lines: 0, ended: false, bare_returns: false }
    }

    /// The place of the next byte.
    pub(super) fn byte(&self) -> Place {
        Place::Byte(self.taken)
    }

    /// The place of the line given last.
    pub(super) fn line_place(&self) -> Place {
        Place::Line(self.lines)
    }

    /// The place of the line that comes next.
    pub(super) fn next_line_place(&self) -> Place {
        Place::Line(self.lines + 1)
    }

    /// All that is buffered and not taken, at least `least` bytes unless the file ends sooner.
    /// `least` is at most the buffer's size.
    #[inline]
    pub(super) fn ahead(&mut self, least: usize) -> Result<&[u8], ScanError> {
        if self.end - self.start < least {
            self.fill(least)?;
        }
        Ok(&self.buffer[self.start..self.end])
    }

    /// Takes `count` bytes of those that `ahead` showed.
    #[inline]
    pub(super) fn pass(&mut self, count: usize) {
        let count = count.min(self.end - self.start);
        self.start += count;
        self.taken += count as u64;
    }

    /// The next `count` bytes, at most a buffer's; `None` when there are fewer.
    #[inline]
    pub(super) fn take(&mut self, count: usize) -> Result<Option<&[u8]>, ScanError> {
        if self.ahead(count)?.len() < count {
            return Ok(None);
        }
        self.pass(count);
        Ok(Some(&self.buffer[self.start - count..self.start]))
    }

    /// Passes over `count` bytes; false when the file ends before.
    pub(super) fn skip(&mut self, mut count: u64) -> Result<bool, ScanError> {
        while count > 0 {
            let there = self.ahead(1)?.len();
            if there == 0 {
                return Ok(false);
            }
            let now = there.min(usize::try_from(count).unwrap_or(usize::MAX));
            self.pass(now);
            count -= now as u64;
        }
        Ok(true)
    }

    /// The next line without its end, `None` behind the last. A line ends with a line feed, a
    /// carriage return, or both.
    pub(super) fn line(&mut self) -> Result<Option<&[u8]>, ScanError> {
        let mut looked = 0;
        let length = loop {
            let buffered = &self.buffer[self.start..self.end];
            if let Some(more) = buffered[looked..].iter().position(|&b| b == b'\n' || b == b'\r') {
                break looked + more;
            }
            looked = buffered.len();
            if self.ended || looked > LONGEST_LINE {
                break looked;
            }
            self.fill(looked + 1)?;
        };
        if length == 0 && self.start == self.end {
            return Ok(None);
        }
        self.lines += 1;
        if length > LONGEST_LINE {
            let problem = format!("the line is longer than {LONGEST_LINE} bytes");
            return Err(ScanError::damaged(self.line_place(), problem));
        }
        let ending = self.line_ending(length)?;
        let begin = self.start;
        self.pass(length + ending);
        // Filling may have moved what is buffered, so the line is cut out only now.
        Ok(Some(&self.buffer[begin..begin + length]))
    }

    /// How many bytes end the line of `length` bytes that comes next.
    fn line_ending(&mut self, length: usize) -> Result<usize, ScanError> {
        match self.ahead(length + 1)?.get(length).copied() {
            None => return Ok(0),
            Some(b'\n') => return Ok(1),
            Some(_) if self.bare_returns => return Ok(1),
            Some(_) => {}
        }
        let both = self.ahead(length + 2)?.get(length + 1) == Some(&b'\n');
        self.bare_returns = !both && self.lines == 1;
        Ok(if both { 2 } else { 1 })
    }

    /// What follows the end of what a format promised: how many bytes of filling, which are
    /// zeros, blanks and line ends. Anything else would be a part of the piece left out.
    pub(super) fn only_filling_follows(&mut self) -> Result<u64, ScanError> {
        let mut filling = 0;
        loop {
            let rest = self.ahead(1)?;
            if rest.is_empty() {
                return Ok(filling);
            }
            let meant = |&b: &u8| b != 0 && b != 0x1a && !b.is_ascii_whitespace();
            let there = rest.len();
            if let Some(k) = rest.iter().position(meant) {
                self.pass(k);
                let problem = "more data follows where the file says it ends";
                return Err(ScanError::remedied(self.byte(), problem, "export one body a file, or export it again"));
            }
            self.pass(there);
            filling += there as u64;
        }
    }

    fn fill(&mut self, least: usize) -> Result<(), ScanError> {
        if self.buffer.len() - self.start < least {
            self.buffer.copy_within(self.start..self.end, 0);
            (self.start, self.end) = (0, self.end - self.start);
        }
        while !self.ended && self.end - self.start < least {
            match self.from.read(&mut self.buffer[self.end..]) {
                Ok(0) => self.ended = true,
                Ok(n) => self.end += n,
                Err(e) if e.kind() == ErrorKind::Interrupted => {}
                Err(e) => return Err(ScanError::Unreadable { place: self.byte(), problem: e.to_string() }),
            }
        }
        let read = self.taken + (self.end - self.start) as u64;
        if read > LARGEST_FILE {
            return Err(too_many_bytes(self.byte(), read));
        }
        Ok(())
    }
}

pub(super) fn too_many_bytes(place: Place, bytes: u64) -> ScanError {
    ScanError::TooLarge { place, what: format!("{bytes} bytes or more"), most: LARGEST_FILE }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Gives a few bytes at a time, as a slow pipe does.
    struct Drips<'a>(&'a [u8], usize);

    impl Read for Drips<'_> {
        fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
            let n = self.1.min(self.0.len()).min(into.len());
            into[..n].copy_from_slice(&self.0[..n]);
            self.0 = &self.0[n..];
            Ok(n)
        }
    }

    fn lines(bytes: &[u8], at_once: usize) -> Vec<Vec<u8>> {
        let mut drips = Drips(bytes, at_once);
        let mut source = Source::new(&mut drips);
        let mut all = Vec::new();
        while let Some(line) = source.line().unwrap() {
            all.push(line.to_vec());
        }
        all
    }

    #[test]
    fn lines_end_in_any_of_three_ways() {
        let expected: [&[u8]; 4] = [b"a", b"", b"bc", b"d"];
        for at_once in [1, 2, 100] {
            assert_eq!(lines(b"a\n\nbc\nd", at_once), expected);
            assert_eq!(lines(b"a\r\n\r\nbc\r\nd\r\n", at_once), expected);
            assert_eq!(lines(b"a\r\rbc\rd\r", at_once), expected);
        }
        assert!(lines(b"", 1).is_empty());
    }

    #[test]
    fn a_line_feed_after_bare_returns_is_data() {
        let mut drips = Drips(b"ply\rend\r\nxy", 1);
        let mut source = Source::new(&mut drips);
        assert_eq!(source.line().unwrap(), Some(&b"ply"[..]));
        assert_eq!(source.line().unwrap(), Some(&b"end"[..]));
        assert_eq!(source.byte(), Place::Byte(8));
        assert_eq!(source.take(3).unwrap(), Some(&b"\nxy"[..]));
        assert_eq!(source.take(1).unwrap(), None);
    }

    #[test]
    fn a_line_across_the_end_of_the_buffer_is_whole() {
        let mut text = vec![b'x'; LONGEST_LINE];
        text.push(b'\n');
        let text = text.repeat(2 * BUFFER / LONGEST_LINE + 3);
        assert!(lines(&text, 70_001).iter().all(|line| line.len() == LONGEST_LINE));
        let refused = |bytes: &[u8]| {
            let mut drips = Drips(bytes, 1000);
            Source::new(&mut drips).line().unwrap_err().to_string()
        };
        assert!(refused(&[b'x'; LONGEST_LINE + 1]).contains("line 1: the line is longer"));
    }

    #[test]
    fn filling_is_told_from_data() {
        let follows = |bytes: &[u8]| Source::new(&mut Drips(bytes, 3)).only_filling_follows();
        assert_eq!(follows(b"\0\0 \r\n\0"), Ok(6));
        assert!(follows(b"\n\n\n\nv").unwrap_err().to_string().starts_with("byte 4: more data"));
    }

    #[test]
    fn what_the_system_says_is_told() {
        struct Broken;
        impl Read for Broken {
            fn read(&mut self, _: &mut [u8]) -> std::io::Result<usize> {
                Err(std::io::Error::other("Is a directory"))
            }
        }
        let text = Source::new(&mut Broken).line().unwrap_err().to_string();
        assert!(text.contains("byte 0: Is a directory: look whether it is a file"), "{text}");
    }

    #[test]
    fn an_endless_file_is_stopped() {
        let text = Source::new(&mut std::io::repeat(b'\0')).only_filling_follows().unwrap_err().to_string();
        assert!(text.contains("at most 1073741824 are read: thin it"), "{text}");
    }
}
