//! The preview page as text: whole, self-contained, small, the same every time, and safe with whatever a
//! ticket says. What it does in a browser is in `browser.rs`.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use sha2::{Digest, Sha256};
use sustent::job::{self, Paths, Precision};
use sustent::profile::Shelf;
use sustent::ticket;

fn text(name: &str) -> String {
    std::fs::read_to_string(PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(name)).unwrap()
}

fn page(text: &str, paths: Paths) -> String {
    let none = |_: &str| Err(String::new());
    let ticket = ticket::read(text, "ticket.toml", &Shelf::built_in(), &none).unwrap();
    job::preview(&ticket, text, paths, Precision::SHOP).unwrap().html
}

fn sustent(arguments: &[&str], folder: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sustent")).args(arguments).current_dir(folder).output().unwrap()
}

const DEMO: &str = "output-samples/PATROL-07/ticket.toml";

/// What stands between the first `from` and the next `to`.
fn between<'a>(text: &'a str, from: &str, to: &str) -> &'a str {
    let rest = text.split_once(from).unwrap_or_else(|| panic!("no {from}")).1;
    rest.split_once(to).unwrap_or_else(|| panic!("no {to}")).0
}

#[test]
fn one_file_that_asks_for_nothing() {
    let html = page(&text(DEMO), Paths::Planned);
    assert!(html.len() < 3_000_000, "{} bytes", html.len());
    // The name of SVG's own vocabulary is no address that is asked.
    assert!(!html.replace("http://www.w3.org/2000/svg", "").contains("://"));
    for wanting in ["<link", "<img", "<iframe", "@import", "src=", "url(h", "fetch(", "XMLHttpRequest", "import("] {
        assert!(!html.contains(wanting), "{wanting}");
    }
    for acting in [" onclick=", " onload=", " onerror=", " style=", "javascript:", "eval(", "new Function", "innerHTML"]
    {
        assert!(!html.contains(acting), "{acting}");
    }
}

/// The policy names the very style and script that stand in the page (SHA-256, base64).
#[test]
fn the_policy_lets_the_pages_own_style_and_script_act_and_nothing_else() {
    let html = page(&text(DEMO), Paths::LeftOut);
    let policy = between(&html, "Content-Security-Policy\" content=\"", "\"");
    assert!(policy.starts_with("default-src 'none'; script-src 'sha256-") && !policy.contains("unsafe"), "{policy}");
    let script = html.rsplit_once("<script>").unwrap().1.split_once("</script>").unwrap().0;
    for part in [between(&html, "<style>", "</style>"), script] {
        let sum: Vec<u8> = Sha256::digest(part.as_bytes()).to_vec();
        assert!(policy.contains(&base64(&sum)), "{policy}");
    }
    assert_eq!(html.matches("<script").count(), 2);
    assert_eq!(html.matches("<style").count(), 1);
}

/// Base64 (RFC 4648) by whole numbers.
fn base64(bytes: &[u8]) -> String {
    let letters: Vec<char> = ('A'..='Z').chain('a'..='z').chain('0'..='9').chain(['+', '/']).collect();
    let mut bits: Vec<bool> = bytes.iter().flat_map(|b| (0..8).rev().map(move |k| b >> k & 1 == 1)).collect();
    bits.resize(bits.len().div_ceil(6) * 6, false);
    let letter = |six: &[bool]| letters[six.iter().fold(0, |v, b| v * 2 + usize::from(*b))];
    let text: String = bits.chunks(6).map(letter).collect();
    format!("{text:=<width$}", width = bytes.len().div_ceil(3) * 4)
}

#[test]
fn same_ticket_same_bytes() {
    assert!(page(&text(DEMO), Paths::Planned) == page(&text(DEMO), Paths::Planned));
}

#[test]
fn every_picture_stands_in_the_page_without_a_script() {
    let html = page(&text(DEMO), Paths::LeftOut);
    let still = html.split("<script").next().unwrap();
    // For each foot a plan, sections B-B, C-C, D-D and E-E; then the pictorial view, left against right
    // and the check bar; a balloon for each note.
    for (class, count) in [
        ("drawing plan", 2),
        ("drawing cut\"", 6),
        ("drawing cut free", 2),
        ("drawing pictorial", 1),
        ("drawing apart", 1),
    ] {
        assert_eq!(still.matches(&format!("class=\"{class}")).count(), count, "{class}");
    }
    for words in [
        "A-A L",
        "A-A R",
        "B-B heel L",
        "C-C arch R",
        "D-D ball L",
        "E-E R",
        "heel cup depth 12",
        "medial arch 16.5",
        "least 3.4",
    ] {
        assert!(still.contains(words), "{words}");
    }
    let names: Vec<&str> = still.split(" id=\"").skip(1).filter_map(|t| t.split('"').next()).collect();
    let mut once = names.clone();
    once.sort_unstable();
    once.dedup();
    assert_eq!(once.len(), names.len(), "an id stands twice: {names:?}");
    for target in still.split("href=\"#").skip(1).filter_map(|t| t.split('"').next()) {
        assert!(names.contains(&target), "nothing is called {target}");
    }
}

#[test]
fn markup_stays_text() {
    let hostile = text(DEMO).replace("note = \"Volunteer", "note = \"</script></style><b onclick='x()'>Volunteer");
    let html = page(&hostile, Paths::LeftOut);
    assert!(
        html.contains("&lt;&#x2f;script&gt;&lt;&#x2f;style&gt;&lt;b onclick=&#x27;x()&#x27;&gt;Volunteer"),
        "the note is shown"
    );
    assert_eq!(html.matches("</script>").count(), 2);
    let data = between(&html, "id=\"data\">", "</script>");
    assert!(!data.contains('<') && !data.contains('>') && !data.contains('&'));
    let told: serde_json::Value = serde_json::from_str(data).unwrap();
    assert_eq!(told["feet"].as_array().unwrap().len(), 2);
}

#[test]
fn paths_are_told_for_every_program_and_left_out_when_asked_or_stopped() {
    let programs = |html: &str| -> Vec<String> {
        let told: serde_json::Value = serde_json::from_str(between(html, "id=\"data\">", "</script>")).unwrap();
        let feet = told["feet"].as_array().unwrap().iter().flat_map(|f| f["programs"].as_array().unwrap().clone());
        feet.map(|p| p["file"].as_str().unwrap().to_string()).collect()
    };
    let demo = text(DEMO);
    let all = programs(&page(&demo, Paths::Planned));
    let report: serde_json::Value =
        serde_json::from_str(&text("output-samples/PATROL-07/PATROL-07-r2/job.json")).unwrap();
    let mut milled: Vec<&str> =
        report["programs"].as_array().unwrap().iter().map(|p| p["file"].as_str().unwrap()).collect();
    let mut shown: Vec<&str> = all.iter().map(String::as_str).collect();
    milled.sort_unstable();
    shown.sort_unstable();
    assert_eq!(shown, milled);
    assert!(programs(&page(&demo, Paths::LeftOut)).is_empty());
    let stopped = page(&demo.replace("medial_arch = 18 ", "medial_arch = 32 "), Paths::Planned);
    assert!(programs(&stopped).iter().all(|file| file.contains("-R-")), "the left foot is stopped");
    assert!(stopped.contains("A foot with a stop has no paths") && stopped.contains("<b>stop L"));
}

#[test]
fn one_foot_alone_has_no_other_to_compare_with() {
    let demo = text(DEMO);
    let (left, _) = demo.split_once("[right.foot]").unwrap();
    let html = page(left, Paths::LeftOut);
    assert!(html.contains("left foot alone") && !html.contains("drawing apart") && !html.contains("A-A R"));
}

#[test]
fn the_verb_writes_the_page_and_says_what_it_found() {
    let folder = tempfile::tempdir().unwrap();
    let ticket = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(DEMO);
    let ticket = ticket.to_str().unwrap();
    let run = sustent(&["preview", ticket, "--out", "look.html", "--no-paths", "--json"], folder.path());
    assert_eq!(run.status.code(), Some(0), "{}", String::from_utf8_lossy(&run.stderr));
    let told: serde_json::Value = serde_json::from_slice(&run.stdout).unwrap();
    let written = std::fs::read(folder.path().join("look.html")).unwrap();
    assert_eq!((told["file"].as_str(), told["bytes"].as_u64()), (Some("look.html"), Some(written.len() as u64)));
    assert_eq!((told["ticket"].as_str(), told["pass"].as_bool()), (Some("PATROL-07"), Some(true)));
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "nothing is left beside the page");

    let stopped = text(DEMO).replace("medial_arch = 18 ", "medial_arch = 32 ");
    std::fs::write(folder.path().join("stopped.toml"), stopped).unwrap();
    let run = sustent(&["preview", "stopped.toml", "--out", "stopped.html"], folder.path());
    assert_eq!(run.status.code(), Some(1));
    assert!(folder.path().join("stopped.html").is_file());
    assert!(String::from_utf8_lossy(&run.stdout).contains("stopped: the stopped feet have no paths on the page"));

    let run = sustent(&["preview", "missing.toml", "--out", "none.html"], folder.path());
    assert_eq!(run.status.code(), Some(2));
    assert!(!folder.path().join("none.html").exists());
    let run = sustent(&["preview", ticket, "--out", "no/such/folder/look.html", "--no-paths"], folder.path());
    assert_eq!(run.status.code(), Some(2));
}
