//! Who may ask what: the page that this desk has served, and nobody else. A page of another site can make a browser
//! send requests to this computer, so an address and a token alone are not enough. Knows nothing of tickets.

/// A request, as far as the guard looks at it; what was not sent is `None`.
#[derive(Clone, Copy, Debug, Default)]
#[allow(missing_docs)] // the names of the headers
pub struct Asked<'a> {
    pub method: &'a str,
    pub path: &'a str,
    pub host: Option<&'a str>,
    pub origin: Option<&'a str>,
    pub site: Option<&'a str>,
    pub content: Option<&'a str>,
}

/// What becomes of a request.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// The page itself is asked for.
    Page,
    /// One of the desk's words is asked, by its name.
    Word(String),
    /// Refused, with the status and why.
    Refused(u16, &'static str),
}

/// Where the desk stands and what its page knows.
#[derive(Clone, Debug)]
pub struct Guard {
    port: u16,
    token: String,
}

impl Guard {
    /// The desk at a port of this computer, for whoever knows the token.
    pub fn new(port: u16, token: String) -> Guard {
        Guard { port, token }
    }

    /// Judges a request. The first thing that is wrong refuses it; nothing about the token is said before host and
    /// origin are right.
    pub fn judge(&self, asked: &Asked) -> Verdict {
        if !asked.host.is_some_and(|host| self.is_here(host)) {
            return Verdict::Refused(403, "this desk answers to its own address only");
        }
        if asked.origin.is_some_and(|origin| !self.is_own(origin)) {
            return Verdict::Refused(403, "this desk answers to its own page only");
        }
        if asked.site.is_some_and(|site| !matches!(site, "same-origin" | "none")) {
            return Verdict::Refused(403, "this desk answers to its own page only");
        }
        let Some(word) = self.word(asked.path) else { return Verdict::Refused(404, "there is nothing here") };
        match (asked.method, word) {
            ("GET", "") => Verdict::Page,
            (_, "") => Verdict::Refused(405, "the page is only read"),
            ("POST", word) => self.judge_word(asked, word),
            _ => Verdict::Refused(405, "the desk is told things by POST"),
        }
    }

    fn judge_word(&self, asked: &Asked, word: &str) -> Verdict {
        if asked.origin.is_none() {
            return Verdict::Refused(403, "this desk answers to its own page only");
        }
        let kind = asked.content.unwrap_or_default().split(';').next().unwrap_or_default().trim();
        if !kind.eq_ignore_ascii_case("application/json") {
            return Verdict::Refused(415, "the desk is told things as JSON");
        }
        Verdict::Word(word.to_owned())
    }

    /// What follows the token in a path; `None` when the token is another one.
    fn word<'a>(&self, path: &'a str) -> Option<&'a str> {
        let (token, word) = path.strip_prefix('/')?.split_once('/')?;
        same(token.as_bytes(), self.token.as_bytes()).then_some(word)
    }

    fn is_here(&self, host: &str) -> bool {
        ["127.0.0.1", "localhost"].iter().any(|name| host == format!("{name}:{}", self.port))
    }

    fn is_own(&self, origin: &str) -> bool {
        origin.strip_prefix("http://").is_some_and(|host| self.is_here(host))
    }
}

/// Compares in a time that does not depend on where two texts differ.
fn same(a: &[u8], b: &[u8]) -> bool {
    a.len() == b.len() && a.iter().zip(b).fold(0, |differ, (x, y)| differ | (x ^ y)) == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    const TOKEN: &str = "00112233445566778899aabbccddeeff";

    fn good<'a>(path: &'a str) -> Asked<'a> {
        Asked {
            method: "POST",
            path,
            host: Some("127.0.0.1:8123"),
            origin: Some("http://127.0.0.1:8123"),
            site: Some("same-origin"),
            content: Some("application/json"),
        }
    }

    fn status(asked: Asked) -> u16 {
        match Guard::new(8123, TOKEN.into()).judge(&asked) {
            Verdict::Refused(status, _) => status,
            Verdict::Page | Verdict::Word(_) => 200,
        }
    }

    #[test]
    fn the_own_page_is_answered() {
        let (root, word) = (format!("/{TOKEN}/"), format!("/{TOKEN}/change"));
        let guard = Guard::new(8123, TOKEN.into());
        let page = Asked { method: "GET", origin: None, site: Some("none"), content: None, ..good(&root) };
        assert_eq!(guard.judge(&page), Verdict::Page);
        assert_eq!(guard.judge(&good(&word)), Verdict::Word("change".into()));
        let named = Asked { host: Some("localhost:8123"), origin: Some("http://localhost:8123"), ..good(&word) };
        assert_eq!(status(named), 200);
        assert_eq!(status(Asked { content: Some("application/json; charset=utf-8"), ..good(&word) }), 200);
    }

    #[test]
    fn everybody_else_is_refused() {
        let (root, word) = (format!("/{TOKEN}/"), format!("/{TOKEN}/change"));
        for host in [
            None,
            Some(""),
            Some("127.0.0.1"),
            Some("127.0.0.1:8124"),
            Some("evil.example:8123"),
            Some("127.0.0.1:8123.evil.example"),
        ] {
            assert_eq!(status(Asked { host, ..good(&word) }), 403, "{host:?}");
        }
        for origin in [
            None,
            Some("null"),
            Some("http://evil.example"),
            Some("https://127.0.0.1:8123"),
            Some("http://127.0.0.1:8124"),
        ] {
            assert_eq!(status(Asked { origin, ..good(&word) }), 403, "{origin:?}");
        }
        assert_eq!(status(Asked { site: Some("cross-site"), ..good(&word) }), 403);
        let wrong = word.replace("00", "01");
        for path in ["", "/", "/change", "/../change", "//change", wrong.as_str(), TOKEN] {
            assert_eq!(status(good(path)), 404, "{path}");
        }
        for (method, path) in [("GET", &word), ("PUT", &word), ("OPTIONS", &word), ("POST", &root), ("DELETE", &root)] {
            assert_eq!(status(Asked { method, ..good(path) }), 405, "{method} {path}");
        }
        for content in [None, Some("text/plain"), Some("application/x-www-form-urlencoded")] {
            assert_eq!(status(Asked { content, ..good(&word) }), 415, "{content:?}");
        }
    }

    #[test]
    fn texts_of_any_length_are_compared() {
        assert!(same(b"abc", b"abc") && same(b"", b""));
        assert!(!same(b"abc", b"abd") && !same(b"abc", b"ab") && !same(b"", b"a"));
    }
}
