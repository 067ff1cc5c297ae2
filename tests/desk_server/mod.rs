//! A desk of its own for a test: the program serving a ticket in a folder, and requests written by hand, so that they can
//! be as wrong as they like.
#![allow(dead_code)] // each test program uses its part

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::PathBuf;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::Duration;

use serde_json::{Value, json};

/// The demo's ticket, two feet.
pub const DEMO: &str = include_str!("../../output-samples/PATROL-07/ticket.toml");

/// A desk that does not answer for so long is stuck.
const STUCK: Duration = Duration::from_secs(60);

/// A program that serves a desk.
pub struct Served {
    child: Option<Child>,
    pub url: String,
    pub port: u16,
    pub token: String,
    folder: tempfile::TempDir,
}

/// Status, headers in lower case, body.
pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: String,
}

impl Answer {
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|e| panic!("{e}: {}", self.body))
    }

    /// Why it was refused.
    pub fn error(&self) -> String {
        self.json()["error"].as_str().unwrap_or_default().to_string()
    }
}

impl Served {
    pub fn start(text: &str) -> Served {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("ticket.toml"), text).unwrap();
        Served::over(folder)
    }

    fn over(folder: tempfile::TempDir) -> Served {
        let mut child = Command::new(env!("CARGO_BIN_EXE_sustent"))
            .args(["desk", "--json"])
            .arg(folder.path().join("ticket.toml"))
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut told = String::new();
        let mut lines = BufReader::new(child.stdout.take().unwrap());
        while !told.ends_with("}\n") {
            assert!(lines.read_line(&mut told).unwrap() > 0, "the desk ended: {told}");
        }
        let url = serde_json::from_str::<Value>(&told).unwrap()["url"].as_str().unwrap().to_string();
        let (port, token) =
            url.strip_prefix("http://127.0.0.1:").unwrap().trim_end_matches('/').split_once('/').unwrap();
        Served { port: port.parse().unwrap(), token: token.to_string(), url: url.clone(), child: Some(child), folder }
    }

    pub fn file(&self) -> PathBuf {
        self.folder.path().join("ticket.toml")
    }

    pub fn text(&self) -> String {
        std::fs::read_to_string(self.file()).unwrap()
    }

    /// Sends these bytes and reads whatever comes back until the other end closes.
    pub fn raw(&self, bytes: &[u8]) -> Answer {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.set_read_timeout(Some(STUCK)).unwrap();
        // Whoever is refused early may find the way closed while still sending.
        let _ = stream.write_all(bytes);
        let mut told = vec![];
        let _ = stream.read_to_end(&mut told);
        let told = String::from_utf8_lossy(&told).into_owned();
        let (head, body) = told.split_once("\r\n\r\n").unwrap_or((&told, ""));
        let status = head.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0);
        Answer { status, head: head.to_lowercase(), body: body.to_string() }
    }

    /// A request with these header lines; `{port}` stands for the port.
    pub fn request(&self, method: &str, path: &str, headers: &[&str], body: &str) -> Answer {
        let mut text = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\nContent-Length: {}\r\n", body.len());
        for header in headers {
            text.push_str(&header.replace("{port}", &self.port.to_string()));
            text.push_str("\r\n");
        }
        self.raw(format!("{text}\r\n{body}").as_bytes())
    }

    /// A word of the page.
    pub fn post(&self, word: &str, body: &str) -> Answer {
        self.request("POST", &format!("/{}/{word}", self.token), &OWN, body)
    }

    pub fn ask(&self, what: Value) -> Answer {
        self.post("ask", &json!({"have": {}, "ask": what}).to_string())
    }

    pub fn turn(&self, side: &str, value: &str, to: f64) -> Answer {
        self.ask(json!({"ask": "change", "side": side, "value": value, "to": to, "more": false}))
    }

    /// What the desk is.
    pub fn state(&self) -> Value {
        self.post("wait", &json!({"have": {}, "news": 0}).to_string()).json()
    }

    /// Sends a signal by its name and waits; the exit status and what stood on standard error.
    pub fn end(mut self, signal: &str) -> (ExitStatus, String, tempfile::TempDir) {
        let mut child = self.child.take().unwrap();
        assert!(Command::new("kill").arg(format!("-{signal}")).arg(child.id().to_string()).status().unwrap().success());
        let mut words = String::new();
        child.stderr.take().unwrap().read_to_string(&mut words).unwrap();
        let status = child.wait().unwrap();
        let folder = std::mem::replace(&mut self.folder, tempfile::tempdir().unwrap());
        (status, words, folder)
    }
}

/// What the own page's requests say of themselves.
pub const OWN: [&str; 3] =
    ["Host: 127.0.0.1:{port}", "Origin: http://127.0.0.1:{port}", "Content-Type: application/json"];

impl Drop for Served {
    fn drop(&mut self) {
        if let Some(child) = &mut self.child {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}
