//! The preview in a real browser: what it shows is the model, it works by keys alone, at the size of a
//! telephone and of a desk, and it prints to one page. Skipped, with a word, where there is no browser.

mod chromium;

use std::path::PathBuf;

use serde_json::json;
use sustent::frame::{Point2, Side};
use sustent::job::{self, Paths, Precision};
use sustent::profile::Shelf;
use sustent::ticket::{self, Ticket};

use chromium::{Page, axe};

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn text(name: &str) -> String {
    std::fs::read_to_string(root().join(name)).unwrap()
}

fn ticket_of(text: &str) -> Ticket {
    let none = |_: &str| Err(String::new());
    ticket::read(text, "ticket.toml", &Shelf::built_in(), &none).unwrap()
}

/// A preview in a folder, opened at a size.
struct Opened {
    ticket: Ticket,
    page: Page,
    file: PathBuf,
    _folder: tempfile::TempDir,
}

fn opened(text: &str, paths: Paths, (width, height): (u32, u32)) -> Option<Opened> {
    let program = chromium::chromium()?;
    let ticket = ticket_of(text);
    let html = job::preview(&ticket, text, paths, Precision::SHOP).unwrap().html;
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("look.html");
    std::fs::write(&file, html).unwrap();
    let mut page = Page::start(&program);
    page.prefer("light", "reduce");
    page.open(&file, width, height);
    assert_eq!(page.eval("ready"), json!(true), "there is no view in the round");
    Some(Opened { ticket, page, file, _folder: folder })
}

const DEMO: &str = "output-samples/PATROL-07/ticket.toml";
const RELIEVED: &str = "tests/data/relieved.toml";

/// The van der Corput sequence: spread evenly and the same on every run.
fn spread(mut k: usize, base: usize) -> f64 {
    let (mut share, mut value) = (1.0, 0.0);
    while k > 0 {
        share /= base as f64;
        value += share * (k % base) as f64;
        k /= base;
    }
    value
}

/// Two hundred places inside an outline.
fn places(outline: &sustent::curve::Outline) -> Vec<Point2> {
    let box_of = outline.bounds();
    let at =
        |k: usize| Point2::new(box_of.x0 + box_of.width() * spread(k, 2), box_of.y0 + box_of.height() * spread(k, 3));
    (1..).map(at).filter(|p| outline.contains(*p)).take(200).collect()
}

#[test]
fn what_the_page_reads_is_the_model() {
    for name in [DEMO, RELIEVED] {
        let Some(mut opened) = opened(&text(name), Paths::LeftOut, (1280, 900)) else { return };
        let laid = job::laid(&opened.ticket, None).unwrap();
        for (design, _) in &laid {
            let (side, footbed) = (design.order.side.letter(), &design.footbed);
            let points = places(&footbed.outline);
            let asked = json!(points.iter().map(|p| [p.x, p.y]).collect::<Vec<_>>());
            let told = opened.page.eval(&format!("{asked}.map(([x, y]) => readAt('{side}', x, y))"));
            for (p, read) in points.iter().zip(told.as_array().unwrap()) {
                let (top, under) = (footbed.top_at(*p), footbed.underside_at(*p));
                for (told, model) in [(&read["top"], top), (&read["under"], under), (&read["thickness"], top - under)] {
                    let told = told.as_f64().unwrap_or_else(|| panic!("{name} {side} {p}: nothing read"));
                    assert!((told - model).abs() < 0.02, "{name} {side} {p}: page {told}, model {model}");
                }
            }
        }
    }
}

#[test]
fn the_number_under_the_pointer_is_the_models() {
    let Some(mut opened) = opened(&text(DEMO), Paths::LeftOut, (1920, 1080)) else { return };
    let page = &mut opened.page;
    let laid = job::laid(&opened.ticket, None).unwrap();
    for (design, _) in &laid {
        let (side, footbed) = (design.order.side.letter(), &design.footbed);
        for p in places(&footbed.outline).iter().step_by(10) {
            let at = page.eval(&format!(
                "(() => {{ const m = plans['{side}'].svg.getScreenCTM(), q = onPlan(feet['{side}'], {}, {}); \
                 return [m.a * q[0] + m.e, m.d * q[1] + m.f]; }})()",
                p.x, p.y
            ));
            let (x, y) = (at[0].as_f64().unwrap(), at[1].as_f64().unwrap());
            page.pointer("mouseMoved", x, y);
            let words = page.eval("document.getElementById('reading').textContent");
            let words = words.as_str().unwrap();
            let read: f64 = words
                .strip_prefix(&format!("{side} thickness "))
                .and_then(|w| w.split(' ').next())
                .unwrap()
                .parse()
                .unwrap();
            let model = footbed.top_at(*p) - footbed.underside_at(*p);
            // The number is printed to 0.01 mm.
            assert!((read - model).abs() < 0.02 + 0.005, "{side} {p}: {words}, model {model}");
        }
    }
    assert_eq!(page.complaints(), Vec::<String>::new());
}

#[test]
fn keys_alone_read_move_the_section_and_turn_the_piece() {
    let Some(mut opened) = opened(&text(DEMO), Paths::Planned, (1280, 900)) else { return };
    let page = &mut opened.page;
    let reached = tab_stops(page);
    for wanted in ["slider", "plan", "canvas", "number", "select", "link", "button"] {
        assert!(reached.iter().any(|stop| stop == wanted), "{wanted} is not reached by Tab: {reached:?}");
    }
    page.eval("document.querySelector('[data-plan=\"L\"]').focus()");
    let before = page.eval("[point.x, point.y]");
    page.key("ArrowUp", 0);
    page.key("ArrowRight", 8);
    let after = page.eval("[point.x, point.y]");
    let moved = |k: usize| after[k].as_f64().unwrap() - before[k].as_f64().unwrap();
    assert!((moved(0) - 5.0).abs() < 1e-9 && (moved(1) - 1.0).abs() < 1e-9, "{before} {after}");
    page.key("Enter", 0);
    assert_eq!(page.eval("freeAt"), after[1]);
    page.eval("plans.L.line.focus()");
    page.key("ArrowUp", 0);
    let free = page.eval("freeAt").as_f64().unwrap();
    assert!((free - after[1].as_f64().unwrap() - 1.0).abs() < 1e-9);
    assert!(page.eval("freeSections.L.svg.textContent").as_str().unwrap().contains(&format!("{free:.1} from rear")));
    page.eval("canvas.focus()");
    for (key, view) in [("1", [0, 0]), ("2", [180, 180]), ("5", [0, 90]), ("6", [180, 90])] {
        page.key(key, 0);
        assert_eq!(page.eval("[look.yaw, look.tilt]"), json!(view), "view {key}");
    }
    page.key("ArrowLeft", 0);
    assert_eq!(page.eval("look.yaw"), json!(175));
    page.key("f", 0);
    assert_eq!(page.eval("round.classList.contains('large')"), json!(true));
    page.key("Escape", 0);
    assert_eq!(page.eval("round.classList.contains('large')"), json!(false));
    assert_eq!(page.complaints(), Vec::<String>::new());
}

/// What Tab reaches, until it comes round.
fn tab_stops(page: &mut Page) -> Vec<String> {
    let what = "(() => { const e = document.activeElement; if (e === document.body) return 'body'; \
                const s = getComputedStyle(e); if (s.visibility === 'hidden') return 'hidden'; \
                return e.getAttribute('role') === 'slider' ? 'slider' : e.dataset.plan ? 'plan' : e.type === 'number' ? 'number' \
                : e.localName === 'a' ? 'link' : e.localName; })()";
    let mut stops = vec![];
    for _ in 0..120 {
        page.key("Tab", 0);
        let stop = page.eval(what).as_str().unwrap_or_default().to_string();
        if stop == "body" {
            break;
        }
        stops.push(stop);
    }
    stops
}

#[test]
fn a_note_leads_to_its_place() {
    let Some(mut opened) = opened(&text(DEMO), Paths::LeftOut, (1280, 900)) else { return };
    let page = &mut opened.page;
    let places = page.eval("Array.from(document.querySelectorAll('.to-place'), (a) => a.getAttribute('href'))");
    assert!(!places.as_array().unwrap().is_empty());
    for place in places.as_array().unwrap() {
        let href = place.as_str().unwrap();
        page.eval(&format!("document.querySelector('.to-place[href=\"{href}\"]').focus()"));
        page.key("Enter", 0);
        let (number, side) = href.strip_prefix("#place-").unwrap().split_once('-').unwrap();
        let apart = page.eval(&format!(
            "(() => {{ const n = feet['{side}'].notes.find((n) => n.number === {number}); \
             return point.side === '{side}' && Math.hypot(n.x - point.x, n.y - point.y); }})()"
        ));
        assert_eq!(apart.as_f64(), Some(0.0), "{href}");
        assert_eq!(page.eval("location.hash"), *place);
    }
}

/// The page's own carving, coarse as it is, leaves the design: within the scallop that was asked (0.08 mm)
/// and its cutter's profile in straight steps of 0.1 mm, and hardly anything below it.
#[test]
fn the_played_programs_leave_the_design() {
    let Some(mut opened) = opened(&text(DEMO), Paths::Planned, (1280, 900)) else { return };
    let page = &mut opened.page;
    let told = page.eval(
        "(() => { const last = feet.L.programs.length - 1; choose('L:' + last); const s = played.stock; let most = 0, least = 0, n = 0; \
         for (let j = 0; j < s.ny; j++) for (let i = 0; i < s.nx; i++) { const x = s.x0 + i, y = s.y0 + j; \
           if (![[0, 0], [4, 0], [-4, 0], [0, 4], [0, -4]].every((d) => feet.L.holds(x + d[0], y + d[1]))) continue; \
           const over = s.top[j * s.nx + i] - feet.L.topAt(x, y); most = Math.max(most, over); least = Math.min(least, over); n++; } \
         return [most, least, n]; })()",
    );
    let number = |k: usize| told[k].as_f64().unwrap();
    assert!(number(2) > 10_000.0 && number(0) < 0.15 && number(1) > -0.03, "{told}");
    // Half way through roughing the blank's face still stands somewhere.
    let half = page.eval(
        "(() => { const k = feet.L.programs.findIndex((p) => p.title === 'top-1-rough'); choose('L:' + k); playTo(played.path.seconds / 2); \
         return [Math.max(...played.stock.top), feet.L.blank.top, clock.textContent]; })()",
    );
    assert!((half[0].as_f64().unwrap() - half[1].as_f64().unwrap()).abs() < 1e-4, "{half}");
    assert_eq!(page.complaints(), Vec::<String>::new());
}

#[test]
fn no_size_of_window_needs_scrolling_sideways_and_it_prints_to_one_page() {
    for name in [DEMO, RELIEVED] {
        let Some(mut opened) = opened(&text(name), Paths::Planned, (390, 844)) else { return };
        let page = &mut opened.page;
        for (width, height) in [(390, 844), (768, 1024), (1024, 768), (1920, 1080)] {
            page.resize(width, height);
            let wide = page.eval("document.documentElement.scrollWidth").as_u64().unwrap();
            assert!(wide <= u64::from(width), "{name} at {width}: the page is {wide} wide");
            let small = "Array.from(document.querySelectorAll('button, select, input, .to-place')) \
                         .filter((e) => e.offsetParent && e.getBoundingClientRect().height < 44).map((e) => e.outerHTML.slice(0, 80))";
            assert_eq!(page.eval(small), json!([]), "{name} at {width}: smaller than a finger");
        }
        for paper in [(8.27, 11.69), (8.5, 11.0)] {
            assert_eq!(page.printed_pages(paper), 1, "{name} on {paper:?} inches");
        }
        assert_eq!(page.complaints(), Vec::<String>::new(), "{name}");
    }
}

/// Several accepted stops with long reasons, cautions and notes on both feet: the job sheet tells every stop and caution on
/// its one page, and how many notes it has no room for.
#[test]
fn job_sheet_and_wearers_page_print_to_one_page_each_with_every_note_on_it() {
    let Some(program) = chromium::chromium() else { return };
    let reason = format!("reason = \"{}\"\n", "told at length why this is meant ".repeat(18));
    let crowd = text(DEMO)
        .replace("rearfoot_post = 1 ", "rearfoot_post = 7\nheel_thickness = 8 ")
        .replace("rearfoot_post = 2\n", "rearfoot_post = -7\nheel_thickness = 8\n")
        .replace("medial_arch = 18 ", "medial_arch = 14 ")
        .replace("medial_arch = 16.5", "medial_arch = 13")
        .replace("lateral_arch = 3\n", "lateral_arch = 9\n")
        .replace("transverse_arch = 1\n", &format!("transverse_arch = 5\n{reason}"));
    let folder = tempfile::tempdir().unwrap();
    let mut page = Page::start(&program);
    for ticket in [crowd, text(DEMO), text(RELIEVED)] {
        let made = job::make(&ticket_of(&ticket), &ticket, None, Precision::SHOP).unwrap();
        for name in ["sheet.html", "wearer.html"] {
            let out = made.files.iter().find(|file| file.name == name).unwrap_or_else(|| {
                panic!("no {name}: {:?}", made.report.findings.iter().map(|f| f.limit).collect::<Vec<_>>())
            });
            let file = folder.path().join(name);
            std::fs::write(&file, &out.bytes).unwrap();
            page.open(&file, 1280, 900);
            for paper in [(8.27, 11.69), (8.5, 11.0)] {
                assert_eq!(page.printed_pages(paper), 1, "{name} on {paper:?} inches");
            }
        }
        page.open(&folder.path().join("sheet.html"), 1280, 900);
        page.call("Emulation.setEmulatedMedia", json!({"media": "print"}));
        let told = page.eval(
            "(() => { const seen = Array.from(document.querySelectorAll('.notes li, .notes .brief > span')).filter((e) => e.getClientRects().length); \
             const sheet = document.querySelector('.sheet').getBoundingClientRect(), block = document.querySelector('.notes').getBoundingClientRect(); \
             const low = Math.max(...seen.map((e) => e.getBoundingClientRect().bottom)); \
             const grave = document.querySelectorAll('.notes li.stop, .notes li.caution').length, more = document.querySelector('.notes .more'); \
             const left = more && more.getClientRects().length ? parseInt(more.textContent, 10) : 0; \
             return [seen.length + left, document.querySelectorAll('.notes li').length, low - Math.min(sheet.bottom, block.bottom), sheet.height * 25.4 / 96, seen.length - grave]; })()",
        );
        page.call("Emulation.setEmulatedMedia", json!({"media": ""}));
        let number = |k: usize| told[k].as_f64().unwrap();
        assert_eq!(told[0], told[1], "a note is not told of on the paper: {told}");
        assert!(number(4) >= 0.0, "a stop or a caution is not on the paper: {told}");
        assert!(number(2) < 1.0 && number(3) < 194.5, "something is cut off: {told}");
    }
}

#[test]
fn markup_in_a_note_is_text_and_a_ticket_with_stops_shows_them() {
    let demo = text(DEMO);
    let hostile = demo.replace(
        "note = \"Volunteer",
        "note = \"</script><script>window.hurt = 1</script><img src=x onerror='hurt = 1'>Volunteer",
    );
    let stopped = hostile.replace("medial_arch = 18 ", "medial_arch = 32 ");
    assert!(hostile != demo && stopped != hostile);
    let Some(mut opened) = opened(&stopped, Paths::Planned, (1280, 900)) else { return };
    let page = &mut opened.page;
    assert_eq!(page.eval("typeof window.hurt"), json!("undefined"));
    assert_eq!(page.eval("document.images.length"), json!(0));
    assert!(
        page.eval("document.querySelector('.cautions').textContent").as_str().unwrap().contains("<img src=x onerror=")
    );
    assert_eq!(page.eval("document.querySelectorAll('.notes .stop').length > 0"), json!(true));
    assert_eq!(
        page.eval("[feet.L.programs.length, feet.R.programs.length > 0]"),
        json!([0, true]),
        "the left foot is stopped"
    );
    assert_eq!(page.complaints(), Vec::<String>::new());
}

/// The audit of axe-core, when `.ci/axe.sh` has fetched it.
#[test]
fn an_accessibility_audit_finds_nothing_serious() {
    let Some(axe) = axe() else { return };
    let Some(mut opened) = opened(&text(DEMO), Paths::Planned, (1280, 900)) else { return };
    let file = opened.file.clone();
    for (scheme, width) in [("light", 1280), ("dark", 1280), ("light", 390), ("dark", 390)] {
        opened.page.prefer(scheme, "reduce");
        opened.page.open(&file, width, 900);
        opened.page.eval("ready");
        assert_eq!(opened.page.audited(&axe), json!([]), "{scheme}, {width} wide");
    }
}

#[test]
fn sides_stay_sides() {
    let Some(mut opened) = opened(&text(DEMO), Paths::LeftOut, (1280, 900)) else { return };
    // Seen from above with toes up, the left foot's medial edge is on its right.
    for (side, medial) in [(Side::Left, 1.0), (Side::Right, -1.0)] {
        let letter = side.letter();
        let way = opened.page.eval(&format!("onPlan(feet.{letter}, 10, 0)[0] - onPlan(feet.{letter}, 0, 0)[0]"));
        assert!(way.as_f64().unwrap() * medial > 0.0, "{letter} {way}");
    }
    let order = opened.page.eval(
        "Array.from(document.querySelectorAll('[data-plan]'), (e) => [e.dataset.plan, e.getBoundingClientRect().x])",
    );
    assert!(order[0][1].as_f64() < order[1][1].as_f64() && order[0][0] == "L", "{order}");
}
