//! Pictures of the book that a browser takes of whole pages: what the book points at in them is seen in the
//! browser. They are no two times the same bytes, so they are only taken anew where that is asked:
//! `SUSTENT_ACCEPT=1 cargo test --test shots`. Skipped, with a word, where there is no browser.

mod chromium;
mod desk_server;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use chromium::Page;
use desk_server::{DEMO, Served};

/// The variable that accepts.
const ACCEPT: &str = "SUSTENT_ACCEPT";
/// The book is read on slow lines as well: no shot is larger, bytes.
const MOST_BYTES: usize = 250_000;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// A window of the light page, when there is a browser.
fn window() -> Option<Page> {
    let mut page = Page::start(&chromium::chromium()?);
    page.prefer("light", "reduce");
    Some(page)
}

/// The facts stand inside the window; the picture is kept anew where that is asked.
fn taken(page: &mut Page, name: &str, facts: &[&str]) {
    for fact in facts {
        let seen = page.eval(&format!(
            "(() => {{ const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT); \
             for (let at = walk.nextNode(); at; at = walk.nextNode()) {{ \
             if (!at.textContent.replace(/\\s+/g, ' ').includes({fact:?})) continue; \
             const range = document.createRange(); range.selectNodeContents(at); const box = range.getBoundingClientRect(); \
             if (box.width && box.top >= 0 && box.bottom <= innerHeight && box.right <= innerWidth) return true; }} return false; }})()"
        ));
        assert_eq!(seen, serde_json::json!(true), "{name}: {fact:?} is not in the window");
    }
    let picture = page.picture();
    assert!(picture.len() > 10_000 && picture.len() < MOST_BYTES, "{name} has {} bytes", picture.len());
    let kept = root().join("docs/pictures").join(name);
    if std::env::var_os(ACCEPT).is_some() {
        fs::write(&kept, picture).unwrap();
    }
    assert!(kept.is_file(), "{name} is not kept; {ACCEPT}=1 cargo test --test shots takes it");
}

fn open(page: &mut Page, file: &Path, width: u32, height: u32) {
    page.open(file, width, height);
    assert_eq!(page.complaints(), Vec::<String>::new());
}

#[test]
fn the_job_sheet_shows_what_the_guide_points_at() {
    let Some(mut page) = window() else { return };
    open(&mut page, &root().join("output-samples/PATROL-07/PATROL-07-r2/sheet.html"), 1500, 1100);
    let facts =
        ["B-B heel L", "carved", "possible", "SHA-256", "in this order, time in all", "Proof L", "Z zero", "X, Y zero"];
    taken(&mut page, "patrol-07-sheet.webp", &facts);
    taken(
        &mut page,
        "patrol-07-sheet.webp",
        &["check bar: must measure 100 mm", "fitter", "milled by", "checked by, date"],
    );
}

#[test]
fn the_preview_shows_what_the_readme_says_of_it() {
    let Some(mut page) = window() else { return };
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("look.html");
    let done = Command::new(env!("CARGO_BIN_EXE_sustent"))
        .args(["preview", "output-samples/PATROL-07/ticket.toml", "--out"])
        .arg(&file)
        .current_dir(root())
        .output();
    assert!(done.unwrap().status.success());
    open(&mut page, &file, 1800, 1200);
    let high = page.eval("document.documentElement.scrollHeight").as_u64().unwrap();
    page.resize(1800, high as u32);
    // The view in the round is drawn a frame after the size has changed.
    page.eval("new Promise((go) => setTimeout(go, 500))");
    taken(&mut page, "patrol-07-preview.webp", &["B-B", "E-E", "medial arch", "PATROL-07"]);
}

#[test]
fn the_desk_shows_a_dimension_in_hand() {
    let Some(mut page) = window() else { return };
    let desk = Served::start(DEMO);
    page.visit(&desk.url, 1500, 1000);
    page.eval("ready");
    page.eval("document.activeElement.blur(); handles.L.medial_arch.focus()");
    for _ in 0..3 {
        page.key("ArrowUp", 0);
    }
    page.until("!asking && !asks.length && !undrawn && !drawing && state.settled");
    taken(&mut page, "patrol-07-desk.webp", &["medial arch", "19.5", "done"]);
}
