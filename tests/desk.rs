//! The desk from outside, by requests written by hand: it changes and saves a ticket as a careful person would, loses
//! nothing, and answers to nobody but its own page.

mod desk_server;

use std::process::Command;
use std::time::Duration;

use desk_server::{DEMO, OWN, Served};
use serde_json::json;

fn asked(state: &serde_json::Value, foot: usize, value: &str) -> f64 {
    state["feet"][foot]["values"][value]["asked"].as_f64().unwrap()
}

#[test]
fn a_change_is_the_tickets_and_saving_writes_a_revision_and_keeps_the_rest() {
    let desk = Served::start(DEMO);
    let state = desk.turn("left", "medial_arch", 19.0).json();
    assert_eq!((asked(&state, 0, "medial_arch"), asked(&state, 1, "medial_arch")), (19.0, 16.5));
    assert_eq!(state["feet"][0]["values"]["medial_arch"]["read_back"].as_f64().unwrap().round(), 19.0);
    assert_eq!(state["changes"], json!(["left medial arch 18 -> 19"]));
    assert_eq!(desk.text(), DEMO, "nothing is written before it is saved");
    let refused = desk.ask(json!({"ask": "save", "why": "  ", "date": ""}));
    assert_eq!((refused.status, desk.text().as_str()), (422, DEMO), "{}", refused.body);
    let saved = desk.ask(json!({"ask": "save", "why": "more \"hold\" asked", "date": "2026-11-26"}));
    assert_eq!((saved.status, saved.json()["revision"].as_u64()), (200, Some(3)), "{}", saved.body);
    let wanted = DEMO.replacen("revision = 2 ", "revision = 3 ", 1).replacen(
        "medial_arch = 18 ",
        "medial_arch = 19 ",
        1,
    ) + "\n[[history]]\nrevision = 2\ndate = 2026-11-26\nchange = \"left medial arch 18 -> 19\"\nreason = 'more \"hold\" asked'\n";
    assert_eq!(desk.text(), wanted);
    let names: Vec<_> =
        std::fs::read_dir(desk.file().parent().unwrap()).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(names, ["ticket.toml"], "nothing is left lying about");
}

#[test]
fn steps_go_back_and_forward() {
    let desk = Served::start(DEMO);
    desk.turn("left", "medial_arch", 19.0);
    let on = json!({"ask": "change", "side": "left", "value": "medial_arch", "to": 19.5, "more": true});
    desk.ask(on);
    desk.turn("right", "length", 272.0);
    for (ask, left, right) in
        [("undo", 19.5, 268.0), ("undo", 18.0, 268.0), ("undo", 18.0, 268.0), ("redo", 19.5, 268.0)]
    {
        let state = desk.ask(json!({"ask": ask})).json();
        assert_eq!((asked(&state, 0, "medial_arch"), asked(&state, 1, "length")), (left, right), "{ask}");
    }
    let state = desk.ask(json!({"ask": "drop"})).json();
    assert_eq!((state["changes"].as_array().unwrap().len(), state["undo"].as_bool()), (0, Some(true)));
    assert_eq!(desk.ask(json!({"ask": "save", "why": "w", "date": ""})).status, 409, "there is nothing to save");
}

#[test]
fn what_a_ticket_may_not_say_is_refused_in_words_and_changes_nothing() {
    let desk = Served::start(DEMO);
    let before = desk.state();
    let change = |to: &str| {
        format!(
            r#"{{"have":{{}},"ask":{{"ask":"change","side":"left","value":"medial_arch","to":{to},"more":false}}}}"#
        )
    };
    for (body, status) in [
        (change("NaN"), 400),
        (change("\"19\""), 400),
        (change("1e999"), 400),
        (change("41"), 422),
        (change("-1"), 422),
        (change("19").replace("medial_arch", "medial_arc"), 400),
        (change("19").replace("left", "middle"), 400),
        (change("19").replace("\"more\"", "\"less\""), 400),
        (change("19").replace("{\"have\"", "{\"odd\":1,\"have\""), 400),
        (change("19").replace("change", "chance"), 400),
        ("".into(), 400),
        ("{".into(), 400),
        ("[".repeat(30_000), 400),
        (format!("\u{feff}{}", change("19")), 400),
        (
            format!(
                "{{\"have\":{{}},\"ask\":{{\"ask\":\"reason\",\"side\":\"left\",\"reason\":\"{}\"}}}}",
                "x".repeat(601)
            ),
            422,
        ),
        (r#"{"have":{},"ask":{"ask":"reason","side":"left","reason":"a\u0007b"}}"#.into(), 422),
        (format!("{}{}", change("19"), " ".repeat(40_000)), 413),
    ] {
        let refused = desk.post("ask", &body);
        let short: String = body.chars().take(120).collect();
        assert_eq!(refused.status, status, "{short}: {}", refused.body);
        assert!(refused.error().len() > 10, "{short}: {}", refused.body);
    }
    assert_eq!(desk.post("chance", "{}").status, 404);
    let after = desk.state();
    assert_eq!((&before["feet"][0]["values"], &before["changes"]), (&after["feet"][0]["values"], &after["changes"]));
}

#[test]
fn only_the_own_page_is_answered() {
    let desk = Served::start(DEMO);
    let page = format!("/{}/", desk.token);
    let word = format!("/{}/wait", desk.token);
    let body = r#"{"have":{},"news":0}"#;
    let good = desk.request("GET", &page, &OWN[..1], "");
    assert_eq!(good.status, 200);
    for header in [
        "content-security-policy: default-src 'none'; script-src 'sha256-",
        "x-content-type-options: nosniff",
        "cache-control: no-store",
        "referrer-policy: no-referrer",
        "frame-ancestors 'none'",
    ] {
        assert!(good.head.contains(header), "{header}: {}", good.head);
    }
    assert!(!good.head.contains("unsafe"), "{}", good.head);
    let (host, own, kind) = (OWN[0], OWN[1], OWN[2]);
    let post = |headers: &[&str]| desk.request("POST", &word, headers, body);
    assert_eq!(post(&OWN).status, 200);
    assert_eq!(post(&["Host: localhost:{port}", "Origin: http://localhost:{port}", kind]).status, 200);
    for (headers, status) in [
        (vec![own, kind], 400), // no host at all: HTTP/1.1 itself forbids it
        (vec!["Host: evil.example", own, kind], 403),
        (vec!["Host: evil.example:{port}", own, kind], 403),
        (vec!["Host: 127.0.0.1", own, kind], 403),
        (vec!["Host: [::1]:{port}", own, kind], 403),
        (vec![host, "Host: evil.example", own, kind], 403),
        (vec![host, kind], 403),
        (vec![host, "Origin: null", kind], 403),
        (vec![host, "Origin: http://evil.example", kind], 403),
        (vec![host, "Origin: https://127.0.0.1:{port}", kind], 403),
        (vec![host, own, "Origin: http://evil.example", kind], 403),
        (vec![host, own, kind, "Sec-Fetch-Site: cross-site"], 403),
        (vec![host, own], 415),
        (vec![host, own, "Content-Type: text/plain"], 415),
    ] {
        let got = post(&headers);
        assert!(
            got.status == status || (status == 400 && got.status == 403),
            "{headers:?}: {} {}",
            got.status,
            got.head
        );
    }
    let other: String = desk.token.chars().rev().collect();
    for path in [
        "/",
        "/favicon.ico",
        "/ticket.toml",
        "/../../etc/passwd",
        "//",
        &format!("/{other}/"),
        &format!("/{}", desk.token),
    ] {
        assert_eq!(desk.request("GET", path, &OWN[..1], "").status, 404, "{path}");
    }
    for path in ["ticket.toml", "../ticket.toml", "%2e%2e/ticket.toml", "x/y"] {
        let got = desk.post(path, body);
        assert!(got.status == 404 && !got.body.contains("medial_arch"), "{path}: {} {}", got.status, got.body);
    }
    for (method, path) in [("PUT", &page), ("DELETE", &page), ("POST", &page), ("OPTIONS", &word), ("GET", &word)] {
        assert_eq!(desk.request(method, path, &OWN, "").status, 405, "{method} {path}");
    }
    let long = [[b'A'; 200_000].as_slice(), b"\r\n\r\n"].concat();
    for bytes in [&b"\0\0\0\0\r\n\r\n"[..], b"GET / HTTP/9.9\r\n\r\n", b"\x16\x03\x01\x02\x00\x01\r\n\r\n", &long] {
        assert_ne!(desk.raw(bytes).status, 200);
    }
    assert_eq!(post(&OWN).status, 200, "it still answers its page");
}

#[test]
fn it_stands_on_the_loopback_address_alone_and_its_key_is_new_each_time() {
    let (one, two) = (Served::start(DEMO), Served::start(DEMO));
    assert!(one.token != two.token && one.token.len() == 64, "{} {}", one.token, two.token);
    // 127.0.0.2 is this computer too, and is not the address that was bound.
    let other = std::net::SocketAddr::from(([127, 0, 0, 2], one.port));
    assert!(std::net::TcpStream::connect_timeout(&other, Duration::from_secs(5)).is_err());
    let taken = Command::new(env!("CARGO_BIN_EXE_sustent"))
        .arg("desk")
        .arg(one.file())
        .args(["--port", &one.port.to_string()])
        .output()
        .unwrap();
    let words = String::from_utf8_lossy(&taken.stderr).into_owned();
    assert!(taken.status.code() == Some(2) && words.contains("another --port"), "{words}");
}

#[test]
fn a_file_that_was_changed_elsewhere_is_never_overwritten() {
    let desk = Served::start(DEMO);
    desk.turn("left", "medial_arch", 19.0);
    let other = DEMO.replace("lateral_arch = 3\n", "lateral_arch = 4 # by another hand\n");
    std::fs::write(desk.file(), &other).unwrap();
    let refused = desk.ask(json!({"ask": "save", "why": "w", "date": ""}));
    assert!(refused.status == 409 && refused.error().contains("still here"), "{}", refused.body);
    assert_eq!(desk.text(), other);
    let state = desk.state();
    assert_eq!((state["disk"].as_str(), asked(&state, 0, "medial_arch")), (Some("changed"), 19.0));
    // The other's change with ours on it; one step back is what was here.
    let state = desk.ask(json!({"ask": "keep"})).json();
    assert_eq!((asked(&state, 0, "medial_arch"), asked(&state, 0, "lateral_arch")), (19.0, 4.0));
    assert_eq!((state["disk"].as_str(), &state["changes"]), (Some("same"), &json!(["left medial arch 18 -> 19"])));
    assert_eq!(desk.ask(json!({"ask": "save", "why": "w", "date": ""})).status, 200);
    assert!(desk.text().contains("medial_arch = 19 ") && desk.text().contains("lateral_arch = 4 # by another hand"));
    // Taken as it is, the file goes before what was changed here.
    desk.turn("left", "medial_arch", 20.0);
    std::fs::write(desk.file(), &other).unwrap();
    let state = desk.ask(json!({"ask": "take"})).json();
    assert_eq!((asked(&state, 0, "medial_arch"), state["revision"].as_u64()), (18.0, Some(2)));
    let state = desk.ask(json!({"ask": "undo"})).json();
    assert_eq!(asked(&state, 0, "medial_arch"), 20.0, "nothing is lost");
}

#[test]
fn a_file_that_is_gone_or_broken_is_told_and_nothing_is_lost() {
    let desk = Served::start(DEMO);
    desk.turn("left", "medial_arch", 19.0);
    std::fs::write(desk.file(), "[ticket\n").unwrap();
    assert_eq!(desk.ask(json!({"ask": "save", "why": "w", "date": ""})).status, 409);
    assert_eq!(desk.ask(json!({"ask": "keep"})).status, 422);
    assert_eq!(desk.text(), "[ticket\n");
    std::fs::remove_file(desk.file()).unwrap();
    assert_eq!(desk.ask(json!({"ask": "save", "why": "w", "date": ""})).status, 500);
    assert_eq!(desk.ask(json!({"ask": "take"})).status, 409);
    std::fs::write(desk.file(), DEMO).unwrap();
    assert_eq!(desk.ask(json!({"ask": "save", "why": "w", "date": ""})).status, 200);
}

#[test]
fn a_stop_is_saved_with_its_reason_and_the_text_of_a_reason_is_text() {
    let desk = Served::start(DEMO);
    let state = desk.turn("left", "rearfoot_post", 7.0).json();
    assert_eq!((&state["feet"][0]["stopped"], &state["feet"][0]["wants_reason"]), (&json!(true), &json!(true)));
    let hostile = "</script><img src=x onerror=alert(1)> \"\"\" ''' \\";
    let state = desk.ask(json!({"ask": "reason", "side": "left", "reason": hostile})).json();
    assert_eq!(state["feet"][0]["stopped"], json!(false));
    let notes = state["words"]["notes"].as_str().unwrap();
    assert!(notes.contains("&lt;img src=x") && !notes.contains("<img"), "{notes}");
    let page = desk.request("GET", &format!("/{}/", desk.token), &OWN[..1], "");
    assert!(page.body.len() < 3_000_000 && !page.body.contains("<img"), "{} bytes", page.body.len());
    assert_eq!(desk.ask(json!({"ask": "save", "why": hostile, "date": "spring"})).status, 200);
    let read = sustent::ticket::read(&desk.text(), "t", &sustent::profile::Shelf::built_in(), &|_| Err(String::new()))
        .unwrap();
    assert_eq!((read.feet[0].reason.as_deref(), read.history[1].reason.as_str()), (Some(hostile), hostile));
}

/// Whatever moment the program dies at, the file is the old one or the new one.
#[test]
fn killed_at_any_moment_it_leaves_a_whole_file() {
    // `SUSTENT_KILLS` asks for more moments; most of them early, where the file is being written.
    let kills: u32 = std::env::var("SUSTENT_KILLS").ok().and_then(|n| n.parse().ok()).unwrap_or(7);
    for round in 0..kills {
        let share = f64::from(round) / f64::from(kills);
        let delay_ms = (40.0 * share * share) as u64;
        let desk = Served::start(DEMO);
        desk.turn("left", "medial_arch", 19.0);
        let (port, token) = (desk.port, desk.token.clone());
        let asking = std::thread::spawn(move || {
            let body = json!({"have": {}, "ask": {"ask": "save", "why": "w", "date": ""}}).to_string();
            let head = OWN.join("\r\n").replace("{port}", &port.to_string());
            let text = format!("POST /{token}/ask HTTP/1.1\r\n{head}\r\nContent-Length: {}\r\n\r\n{body}", body.len());
            // It may be dead before it is asked.
            let Ok(mut stream) = std::net::TcpStream::connect(("127.0.0.1", port)) else { return };
            let _ = std::io::Write::write_all(&mut stream, text.as_bytes());
            let _ = std::io::Read::read(&mut stream, &mut [0; 64]);
        });
        std::thread::sleep(Duration::from_millis(delay_ms));
        let (_, _, folder) = desk.end("KILL");
        asking.join().unwrap();
        let text = std::fs::read_to_string(folder.path().join("ticket.toml")).unwrap();
        let is_new = text.contains("revision = 3 ") && text.ends_with("reason = \"w\"\n");
        assert!(text == DEMO || is_new, "after {delay_ms} ms: {text}");
    }
}

#[test]
fn it_ends_when_asked_to_and_says_what_was_not_saved() {
    let desk = Served::start(DEMO);
    desk.turn("right", "transverse_arch", 1.5);
    let (status, words, _) = desk.end("INT");
    assert_eq!((status.code(), words.trim()), (Some(0), "not saved: right transverse arch 1 -> 1.5"));
}
