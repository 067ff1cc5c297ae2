//! The desk in a real browser: dimensions turned by keys, wheel, number and finger move the surface and the drawing,
//! saving writes the revision, a stale save is refused on the screen, two windows agree. Skipped, with a word, where there
//! is no browser.

mod chromium;
mod desk_server;

use chromium::{Page, axe};
use desk_server::{DEMO, Served};
use serde_json::{Value, json};
use sustent::job::{self, Design};
use sustent::profile::Shelf;
use sustent::ticket;

fn opened(text: &str, size: (u32, u32)) -> Option<(Served, Page)> {
    let program = chromium::chromium()?;
    let desk = Served::start(text);
    let mut page = Page::start(&program);
    page.prefer("light", "reduce");
    page.visit(&desk.url, size.0, size.1);
    page.eval("ready");
    Some((desk, page))
}

/// Nothing is being asked, drawn or worked out.
const STILL: &str = "!asking && !asks.length && !undrawn && !drawing && state.settled";

fn take_up(page: &mut Page, side: &str, value: &str) {
    page.eval(&format!("document.activeElement.blur(); handles.{side}.{value}.focus()"));
    assert_eq!(page.eval("held && held.name"), json!(value));
}

/// The left foot of a text as the library designs it.
fn with_left<T>(text: &str, look: impl FnOnce(&Design) -> T) -> T {
    let ticket = ticket::read(text, "t", &Shelf::built_in(), &|_| Err(String::new())).unwrap();
    let design = job::design(&ticket, &ticket.feet[0]).unwrap();
    look(&design)
}

#[test]
fn a_key_moves_the_surface_its_dimension_and_the_number_at_the_pointer() {
    let Some((desk, mut page)) = opened(DEMO, (1920, 1080)) else { return };
    take_up(&mut page, "L", "medial_arch");
    let before = page.eval(
        "sections.find((s) => s.side === 'L' && s.letter === 'C').svg.querySelector('.w50.open').getAttribute('d')",
    );
    page.key("ArrowUp", 0);
    // Pages land on whole mm.
    page.key("PageUp", 0);
    page.key("PageUp", 0);
    page.until(STILL);
    assert_eq!(page.eval("valueOf('L', 'medial_arch').asked"), json!(20));
    let words = page.eval("handles.L.medial_arch.text.textContent.trim()");
    assert_eq!(words, json!("medial arch 20"));
    let drawn = "sections.find((s) => s.side === 'L' && s.letter === 'C').svg";
    let after = page.eval(&format!("{drawn}.querySelector('.w50.open').getAttribute('d')"));
    assert_ne!(before, after, "the section has moved");
    assert_eq!(page.eval(&format!("{drawn}.querySelectorAll('.ghost path').length")), json!(1), "what is saved stays");
    assert_eq!(page.eval("document.activeElement === handles.L.medial_arch"), json!(true), "it stays in hand");
    // What is read under the pointer is the model of the changed ticket; the strip may not lie over the place.
    page.eval("hold(null)");
    let text = DEMO.replace("medial_arch = 18 ", "medial_arch = 20 ");
    let places: Vec<[f64; 2]> = (0..40).map(|k| [f64::from(k % 5) * 12.0 - 24.0, 20.0 + 5.5 * f64::from(k)]).collect();
    with_left(&text, |design| {
        for [x, y] in &places {
            let p = sustent::frame::Point2::new(*x, *y);
            if !design.footbed.outline.contains(p) {
                continue;
            }
            let at = page.eval(&format!(
                "(() => {{ const m = plans.L.svg.getScreenCTM(), q = onPlan(feet.L, {x}, {y}); return [m.a * q[0] + m.e, m.d * q[1] + m.f]; }})()"
            ));
            page.pointer("mouseMoved", at[0].as_f64().unwrap(), at[1].as_f64().unwrap());
            let read = page.eval("point.side === 'L' && point.thickness").as_f64().unwrap();
            let model = design.footbed.top_at(p) - design.footbed.underside_at(p);
            assert!((read - model).abs() < 0.02, "{x} {y}: page {read}, model {model}");
        }
    });
    page.eval("document.querySelector('[data-map=change]').click()");
    assert_eq!(page.eval("plans.L.svg.querySelectorAll('.map.change').length > 0 && plans.R.svg.querySelectorAll('.map.change').length"), json!(0));
    assert_eq!(desk.text(), DEMO);
    assert_eq!(page.complaints(), Vec::<String>::new());
}

#[test]
fn wheel_number_ruler_and_buttons_turn_too_and_steps_go_back() {
    let Some((_desk, mut page)) = opened(DEMO, (1280, 1000)) else { return };
    take_up(&mut page, "R", "rearfoot_post");
    let at = page.eval("(() => { const r = handles.R.rearfoot_post.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]; })()");
    page.wheel(at[0].as_f64().unwrap(), at[1].as_f64().unwrap(), -60.0);
    page.until("valueOf('R', 'rearfoot_post').asked === 2.5");
    page.until(STILL);
    page.key("Enter", 0);
    page.eval("stripField.select()");
    page.key("4", 0);
    page.key("Enter", 0);
    page.until("!asking && valueOf('R', 'rearfoot_post').asked === 4");
    // A finger on the ruler.
    let at =
        page.eval("(() => { const r = stripRuler.getBoundingClientRect(); return [r.x, r.y, r.width, r.height]; })()");
    let number = |k: usize| at[k].as_f64().unwrap();
    page.pointer("mousePressed", number(0) + 0.5 * number(2), number(1) + 0.6 * number(3));
    page.pointer("mouseReleased", number(0) + 0.5 * number(2), number(1) + 0.6 * number(3));
    page.until("!asking && valueOf('R', 'rearfoot_post').asked !== 4");
    page.eval("document.getElementById('strip-more').click()");
    page.until(STILL);
    page.key("z", 2);
    page.until("!asking && state.redo");
    while page.eval("state.undo") == json!(true) {
        page.eval("document.getElementById('undo').click()");
        page.until("!asking");
    }
    assert_eq!(page.eval("[valueOf('R', 'rearfoot_post').asked, state.changes.length]"), json!([2, 0]));
    assert_eq!(page.complaints(), Vec::<String>::new());
}

#[test]
fn by_keys_alone_a_value_is_turned_and_saved() {
    let Some((desk, mut page)) = opened(DEMO, (1280, 900)) else { return };
    let focused = "document.activeElement.getAttribute('aria-label') || document.activeElement.id";
    let tab_to = |page: &mut Page, wanted: &str| {
        for _ in 0..150 {
            page.key("Tab", 0);
            if page.eval(focused) == json!(wanted) {
                return;
            }
        }
        panic!("{wanted} is not reached by Tab");
    };
    tab_to(&mut page, "heel cup depth, left");
    page.key("ArrowDown", 0);
    page.until("!asking && valueOf('L', 'heel_cup_depth').asked === 11.5");
    page.key("Escape", 0);
    assert_eq!(page.eval("strip.hidden"), json!(true));
    tab_to(&mut page, "why");
    for key in ["f", "i", "t"] {
        page.key(key, 0);
    }
    page.key("Enter", 0);
    page.until("!asking && state.revision === 3");
    assert!(
        desk.text().contains("heel_cup_depth = 11.5\n") && desk.text().ends_with("reason = \"fit\"\n"),
        "{}",
        desk.text()
    );
    page.until(STILL);
    assert_eq!(page.eval("[state.changes.length, document.querySelectorAll('.ghost').length, document.getElementById('revision').textContent]"), json!([0, 0, "3"]));
    assert_eq!(page.complaints(), Vec::<String>::new());
}

#[test]
fn two_windows_agree_and_a_stale_save_is_told_on_the_screen() {
    let Some((desk, mut one)) = opened(DEMO, (1280, 900)) else { return };
    let Some(program) = chromium::chromium() else { return };
    let mut two = Page::start(&program);
    two.visit(&desk.url, 1024, 800);
    take_up(&mut one, "L", "lateral_arch");
    one.key("ArrowUp", 0);
    two.until("valueOf('L', 'lateral_arch').asked === 3.5");
    two.until(STILL);
    assert_eq!(two.eval("handles.L.lateral_arch.text.textContent.trim()"), json!("lateral arch 3.5"));
    take_up(&mut two, "R", "lateral_arch");
    two.key("ArrowUp", 0);
    one.until("valueOf('R', 'lateral_arch').asked === 3.5 && valueOf('L', 'lateral_arch').asked === 3.5");
    let other = DEMO.replace("transverse_arch = 1\n\n[right.foot]", "transverse_arch = 1.5\n\n[right.foot]");
    assert_ne!(other, DEMO);
    std::fs::write(desk.file(), &other).unwrap();
    one.until("!document.getElementById('disk').hidden");
    one.eval("why.value = 'w'; document.getElementById('save').click()");
    one.until("document.getElementById('said').textContent.startsWith('not saved')");
    assert_eq!(desk.text(), other);
    one.eval("document.getElementById('keep').click()");
    one.until("document.getElementById('disk').hidden && valueOf('L', 'transverse_arch').asked === 1.5");
    two.until("valueOf('L', 'transverse_arch').asked === 1.5");
    one.eval("why.value = 'w'; document.getElementById('save').click()");
    two.until("state.revision === 3 && !state.changes.length");
    assert!(desk.text().contains("lateral_arch = 3.5") && desk.text().contains("transverse_arch = 1.5"));
    let told: Vec<String> = one.complaints().into_iter().filter(|c| !c.contains("409")).collect();
    assert_eq!(told, Vec::<String>::new());
}

/// Markup in what people type is text; a reason outweighs a stop on the screen.
#[test]
fn what_is_typed_is_text_and_a_reason_settles_a_stop() {
    let Some((_desk, mut page)) = opened(DEMO, (1280, 900)) else { return };
    take_up(&mut page, "L", "rearfoot_post");
    page.eval("turnTo('L', 'rearfoot_post', 7)");
    page.until(STILL);
    assert_eq!(
        page.eval(
            "document.querySelectorAll('#notes li.stop').length > 0 && !document.getElementById('reason-L').hidden"
        ),
        json!(true)
    );
    page.eval("(() => { const f = document.querySelector('#reason-L textarea'); f.value = '<img src=x onerror=\"window.hurt=1\">'; f.dispatchEvent(new Event('change')); })()");
    page.until("!asking && !state.feet[0].stopped");
    page.until(STILL);
    assert_eq!(page.eval("[typeof window.hurt, document.images.length, document.querySelector('#notes .accepted').textContent.includes('<img src=x')]"), json!(["undefined", 0, true]));
    assert_eq!(page.complaints(), Vec::<String>::new());
}

#[test]
fn every_size_of_window_holds_it_and_it_prints_to_one_page() {
    let Some((_desk, mut page)) = opened(DEMO, (390, 844)) else { return };
    page.eval("turnTo('L', 'heel_thickness', 7)");
    page.until(STILL);
    for (width, height) in [(390, 844), (768, 1024), (1024, 768), (1920, 1080)] {
        page.resize(width, height);
        take_up(&mut page, "L", "medial_arch");
        let wide = page.eval("document.documentElement.scrollWidth").as_u64().unwrap();
        assert!(wide <= u64::from(width), "at {width}: the page is {wide} wide");
        let inside = page.eval("(() => { const r = strip.getBoundingClientRect(); return r.left >= 0 && r.right <= innerWidth && r.width > 200; })()");
        assert_eq!(inside, json!(true), "the strip at {width}");
        let small = "Array.from(document.querySelectorAll('button, select, input, textarea, .to-place')) \
                     .filter((e) => e.offsetParent && e.getBoundingClientRect().height < 43.9).map((e) => e.outerHTML.slice(0, 80))";
        assert_eq!(page.eval(small), json!([]), "at {width}: smaller than a finger");
        let reached = page.eval("sides.every((side) => names.every((name) => { const h = handles[side][name]; const r = h.getBoundingClientRect(); return r.width >= 24 && r.height >= 24; }))");
        assert_eq!(reached, json!(true), "dimensions at {width}");
        page.eval("hold(null)");
    }
    for paper in [(8.27, 11.69), (8.5, 11.0)] {
        assert_eq!(page.printed_pages(paper), 1, "on {paper:?} inches");
    }
    assert_eq!(page.complaints(), Vec::<String>::new());
}

/// The audit of axe-core, when `.ci/axe.sh` has fetched it.
#[test]
fn an_accessibility_audit_finds_nothing_serious() {
    let Some(axe) = axe() else { return };
    let Some((desk, mut page)) = opened(DEMO, (1280, 900)) else { return };
    page.eval("turnTo('L', 'heel_thickness', 7)");
    page.until(STILL);
    for (scheme, width) in [("light", 1280), ("dark", 1280), ("light", 390), ("dark", 390)] {
        page.prefer(scheme, "reduce");
        page.visit(&desk.url, width, 900);
        page.eval("ready");
        page.until(STILL);
        take_up(&mut page, "L", "medial_arch");
        assert_eq!(page.audited(&axe), json!([]), "{scheme}, {width} wide");
    }
}

/// How long from a key to the new surface on the screen's side: printed, for a person to judge.
#[test]
fn the_round_trip_is_told() {
    let Some((_desk, mut page)) = opened(DEMO, (1280, 900)) else { return };
    page.until(STILL);
    take_up(&mut page, "L", "medial_arch");
    page.eval("trips.length = 0");
    for k in 0..40 {
        page.eval(&format!("turnTo('L', 'medial_arch', {})", 18.0 + 0.05 * f64::from(k % 7 + 1)));
        page.until("!asking");
    }
    let Value::Array(trips) = page.eval("trips.slice().sort((a, b) => a - b)") else { panic!("no trips") };
    let trips: Vec<f64> = trips.iter().filter_map(Value::as_f64).collect();
    assert!(trips.len() >= 30, "{trips:?}");
    let at = |share: f64| trips[((trips.len() - 1) as f64 * share).round() as usize];
    println!("turn to told surface, ms: median {:.1}, p95 {:.1}, most {:.1}", at(0.5), at(0.95), at(1.0));
}
