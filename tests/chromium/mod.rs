//! Drives a headless Chromium through its DevTools pipe (one JSON message after another, each ended by
//! a zero byte), so that tests need neither a driver program nor a crate. Knows nothing of footbeds.
#![allow(dead_code)] // each test program uses its part

use std::collections::VecDeque;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use serde_json::{Value, json};

/// Set where a browser must be there: its absence is then a failure and not a reason to skip.
pub const REQUIRED: &str = "SUSTENT_REQUIRE_BROWSER";

/// A browser that does not answer for so long is stuck.
const STUCK: Duration = Duration::from_secs(120);

/// The browser's program, or `None` with a word about what is skipped.
pub fn chromium() -> Option<PathBuf> {
    let names = ["chromium", "chromium-browser", "google-chrome"];
    let folders: Vec<PathBuf> =
        std::env::var_os("PATH").map(|p| std::env::split_paths(&p).collect()).unwrap_or_default();
    let found = names.iter().flat_map(|name| folders.iter().map(move |folder| folder.join(name))).find(|p| p.is_file());
    if found.is_none() {
        assert!(std::env::var_os(REQUIRED).is_none(), "{REQUIRED} is set and there is no chromium on the PATH");
        eprintln!("skipped: no chromium on the PATH; on Debian: apt-get install chromium");
    }
    found
}

/// The script of axe-core, when `.ci/axe.sh` has fetched it.
pub fn axe() -> Option<String> {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/outside/axe/package/axe.min.js");
    if !file.is_file() {
        eprintln!("skipped: no axe-core; .ci/axe.sh fetches it");
        return None;
    }
    Some(std::fs::read_to_string(file).expect("axe-core is text"))
}

/// A page in a browser of its own.
pub struct Page {
    browser: Child,
    to: Option<ChildStdin>,
    from: Receiver<Value>,
    events: VecDeque<Value>,
    session: String,
    next: u64,
    _profile: tempfile::TempDir,
}

impl Page {
    /// What the audit says of the page as it stands: each serious, critical or moderate finding with its places.
    pub fn audited(&mut self, axe: &str) -> Value {
        self.call("Runtime.evaluate", json!({"expression": axe}));
        self.eval(
            "axe.run().then((r) => r.violations.filter((v) => ['serious', 'critical', 'moderate'].includes(v.impact)) \
             .map((v) => v.id + ': ' + v.help + ' | ' + v.nodes.slice(0, 4).map((n) => n.html.slice(0, 160) + ' ' + (n.failureSummary || '')).join(' || ')))",
        )
    }

    /// Starts a browser.
    pub fn start(program: &Path) -> Page {
        let profile = tempfile::tempdir().expect("a folder for the browser's profile");
        // The browser reads commands from descriptor 3 and answers on 4.
        let mut browser = Command::new("sh")
            .args(["-c", "exec \"$0\" \"$@\" 3<&0 4>&1 </dev/null >/dev/null 2>&1"])
            .arg(program)
            .args(["--headless=new", "--no-sandbox", "--remote-debugging-pipe", "--no-first-run", "--hide-scrollbars"])
            .args(["--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--disable-dev-shm-usage"])
            .arg(format!("--user-data-dir={}", profile.path().display()))
            .arg("about:blank")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the browser starts");
        let to = browser.stdin.take();
        let mut lines = BufReader::new(browser.stdout.take().expect("a pipe"));
        let (send, from) = channel();
        std::thread::spawn(move || {
            let mut message = vec![];
            while lines.read_until(0, &mut message).is_ok_and(|n| n > 0) {
                let told = serde_json::from_slice(message.strip_suffix(&[0]).unwrap_or(&message)).unwrap_or_default();
                if send.send(told).is_err() {
                    break;
                }
                message.clear();
            }
        });
        let mut page =
            Page { browser, to, from, events: VecDeque::new(), session: String::new(), next: 0, _profile: profile };
        let target = page.call("Target.createTarget", json!({"url": "about:blank"}))["targetId"].clone();
        let attached = page.call("Target.attachToTarget", json!({"targetId": target, "flatten": true}));
        page.session = attached["sessionId"].as_str().expect("a session").to_string();
        for domain in ["Page.enable", "Runtime.enable", "Log.enable"] {
            page.call(domain, json!({}));
        }
        page
    }

    /// One command and its answer.
    pub fn call(&mut self, method: &str, parameters: Value) -> Value {
        let told = self.ask(method, parameters);
        assert!(told["error"].is_null(), "{method}: {}", told["error"]);
        told["result"].clone()
    }

    /// The same, whether the answer is one or an error.
    fn ask(&mut self, method: &str, parameters: Value) -> Value {
        self.next += 1;
        let mut message = json!({"id": self.next, "method": method, "params": parameters});
        if !self.session.is_empty() {
            message["sessionId"] = self.session.clone().into();
        }
        let to = self.to.as_mut().expect("an open pipe");
        to.write_all(format!("{message}\0").as_bytes()).and_then(|()| to.flush()).expect("the browser listens");
        loop {
            let told = self.from.recv_timeout(STUCK).unwrap_or_else(|_| panic!("no answer to {method}"));
            if told["id"] == self.next {
                return told;
            }
            self.events.push_back(told);
        }
    }

    /// Waits for an event.
    fn wait(&mut self, method: &str) {
        while !self.events.iter().any(|event| event["method"] == method) {
            let told = self.from.recv_timeout(STUCK).unwrap_or_else(|_| panic!("{method} does not come"));
            self.events.push_back(told);
        }
        self.events.retain(|event| event["method"] != method);
    }

    /// Opens a file in a window of this size.
    pub fn open(&mut self, file: &Path, width: u32, height: u32) {
        self.visit(&format!("file://{}", file.display()), width, height);
    }

    /// Opens an address in a window of this size.
    pub fn visit(&mut self, url: &str, width: u32, height: u32) {
        self.resize(width, height);
        self.call("Page.navigate", json!({"url": url}));
        self.wait("Page.loadEventFired");
        self.eval("new Promise((go) => requestAnimationFrame(() => requestAnimationFrame(go)))");
    }

    /// Another size of window.
    pub fn resize(&mut self, width: u32, height: u32) {
        let size = json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": false});
        self.call("Emulation.setDeviceMetricsOverride", size);
    }

    /// The value of an expression, waited for when it is a promise.
    pub fn eval(&mut self, expression: &str) -> Value {
        let wanted = json!({"expression": expression, "returnByValue": true, "awaitPromise": true});
        let told = self.call("Runtime.evaluate", wanted);
        assert!(told["exceptionDetails"].is_null(), "{expression}: {}", told["exceptionDetails"]);
        told["result"]["value"].clone()
    }

    /// `light` or `dark`, and whether motion is reduced.
    pub fn prefer(&mut self, scheme: &str, motion: &str) {
        let features = json!([{"name": "prefers-color-scheme", "value": scheme}, {"name": "prefers-reduced-motion", "value": motion}]);
        self.call("Emulation.setEmulatedMedia", json!({"features": features}));
    }

    /// Presses a key, with Shift (8), Control (2) or without (0).
    pub fn key(&mut self, key: &str, modifiers: u32) {
        let code = match key {
            "Tab" => 9,
            "Enter" => 13,
            "Escape" => 27,
            "ArrowLeft" => 37,
            "ArrowUp" => 38,
            "ArrowRight" => 39,
            "ArrowDown" => 40,
            "PageUp" => 33,
            "PageDown" => 34,
            "End" => 35,
            "Home" => 36,
            _ => i32::from(key.as_bytes().first().copied().unwrap_or(0).to_ascii_uppercase()),
        };
        let text = match key {
            "Enter" => "\r",
            one if one.len() == 1 && modifiers & 6 == 0 => one,
            _ => "",
        };
        for kind in ["keyDown", "keyUp"] {
            let mut event =
                json!({"type": kind, "key": key, "code": key, "windowsVirtualKeyCode": code, "modifiers": modifiers});
            if kind == "keyDown" && !text.is_empty() {
                event["text"] = text.into();
            }
            self.call("Input.dispatchKeyEvent", event);
        }
    }

    /// Moves the pointer, or presses and lets go.
    pub fn pointer(&mut self, kind: &str, x: f64, y: f64) {
        let buttons = i32::from(kind != "mouseReleased" && kind != "mouseMoved");
        let button = if kind == "mouseMoved" { "none" } else { "left" };
        let event = json!({"type": kind, "x": x, "y": y, "button": button, "buttons": buttons, "clickCount": 1});
        self.call("Input.dispatchMouseEvent", event);
    }

    /// Turns the wheel at a place; down is more than 0.
    pub fn wheel(&mut self, x: f64, y: f64, by: f64) {
        let event = json!({"type": "mouseWheel", "x": x, "y": y, "deltaX": 0, "deltaY": by});
        self.call("Input.dispatchMouseEvent", event);
    }

    /// Waits until an expression is true, also while the page is loaded again.
    pub fn until(&mut self, expression: &str) {
        let wanted = json!({"expression": format!("Boolean({expression})"), "returnByValue": true});
        for _ in 0..600 {
            if self.ask("Runtime.evaluate", wanted.clone())["result"]["result"]["value"] == json!(true) {
                return;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        panic!("{expression} does not come true");
    }

    /// Errors and exceptions that the page has told so far.
    pub fn complaints(&mut self) -> Vec<String> {
        let bad = |event: &&Value| {
            let level = event["params"]["entry"]["level"].as_str().or(event["params"]["type"].as_str());
            event["method"] == "Runtime.exceptionThrown" || matches!(level, Some("error" | "warning"))
        };
        self.events.iter().filter(bad).map(Value::to_string).collect()
    }

    /// The window as it stands, as WebP.
    pub fn picture(&mut self) -> Vec<u8> {
        let taken = self.call("Page.captureScreenshot", json!({"format": "webp", "quality": 72}));
        decoded(taken["data"].as_str().unwrap_or_default())
    }

    /// How many pages it prints to on paper of this size, in inches, turned as the page's own style asks.
    pub fn printed_pages(&mut self, paper: (f64, f64)) -> usize {
        let wanted =
            json!({"preferCSSPageSize": true, "printBackground": true, "paperWidth": paper.0, "paperHeight": paper.1});
        let printed = self.call("Page.printToPDF", wanted);
        let pdf = decoded(printed["data"].as_str().unwrap_or_default());
        let text = String::from_utf8_lossy(&pdf);
        text.matches("/Type /Page").count() - text.matches("/Type /Pages").count()
    }
}

impl Drop for Page {
    fn drop(&mut self) {
        // Asked to close it takes its helpers with it; killed, it would leave them.
        if let Some(mut to) = self.to.take() {
            let _ = to.write_all(b"{\"id\":0,\"method\":\"Browser.close\"}\0");
        }
        let _ = self.browser.wait();
    }
}

/// Base64 (RFC 4648).
fn decoded(text: &str) -> Vec<u8> {
    let value = |c: u8| match c {
        b'A'..=b'Z' => c - b'A',
        b'a'..=b'z' => c - b'a' + 26,
        b'0'..=b'9' => c - b'0' + 52,
        b'+' => 62,
        _ => 63,
    };
    let letters: Vec<u8> = text.bytes().filter(|c| *c != b'=').map(value).collect();
    let bytes = |four: &[u8]| -> Vec<u8> {
        let bits = four.iter().fold(0_u32, |bits, v| bits << 6 | u32::from(*v)) << (6 * (4 - four.len()));
        bits.to_be_bytes()[1..four.len()].to_vec()
    };
    letters.chunks(4).flat_map(bytes).collect()
}
