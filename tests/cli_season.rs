//! A season's work by command: many tickets at once, what is kept of a code, a ticket from answers, pages of the manual.

mod shop;

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use shop::{Ran, SAMPLE, Shop, all_names, assert_whole, changed, one_foot, ran, sustent};

/// Runs with answers on standard input.
fn fed(mut command: Command, input: &str) -> Ran {
    let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    // A run that has seen enough closes its end.
    let _ = child.stdin.take().unwrap().write_all(input.as_bytes());
    let output = child.wait_with_output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    Ran { code: output.status.code().unwrap_or(255), out: text(output.stdout), err: text(output.stderr) }
}

/// Four tickets: two that pass, one that is stopped, one that is none.
fn monday(shop: &Shop) {
    let coded = |code: &str| changed(&one_foot(), "\"PATROL-07\"", &format!("\"{code}\""));
    shop.write("monday/a.toml", coded("PATROL-01"));
    shop.write("monday/b.toml", changed(&coded("PATROL-02"), "height = 29.7", "height = 12"));
    shop.write("monday/c.toml", "x = [");
    shop.write("monday/d.toml", coded("PATROL-03"));
}

#[test]
fn of_many_tickets_a_bad_one_stops_only_itself() {
    let shop = Shop::new();
    monday(&shop);
    let out = shop.path("jobs");
    let run = |more: &[&str]| {
        let mut command = sustent(["mill"]);
        command.current_dir(shop.path("")).arg("monday").arg("--out").arg(&out).args(more);
        ran(&mut command)
    };
    let told = run(&[]);
    assert_eq!(told.code, 2, "{}", told.err);
    let lines: Vec<&str> = told.out.lines().collect();
    assert!(lines[0].starts_with("ticket") && lines[1].starts_with("PATROL-01 ") && lines[1].contains(" proven "));
    assert!(lines[2].starts_with("PATROL-02 ") && lines[2].contains(" stopped "), "{}", told.out);
    assert!(told.out.contains("right foot: the top stands"), "{}", told.out);
    let last = lines.last().unwrap();
    assert!(last.starts_with("4 tickets: 2 proven and written, 1 stopped, 1 not done;"), "{last}");
    assert!(lines.iter().all(|line| line.chars().count() <= 200 && !line.contains('\t')));
    assert!(told.err.contains("monday/c.toml:1:"), "{}", told.err);
    assert_eq!(all_names(&out), ["PATROL-01-r2", "PATROL-03-r2"]);
    ["PATROL-01-r2", "PATROL-03-r2"].iter().for_each(|job| drop(assert_whole(&out.join(job))));

    let quiet = run(&["--quiet"]);
    assert!(!quiet.out.contains("PATROL-01") && quiet.out.contains("PATROL-02"), "{}", quiet.out);
    let document = run(&["--json"]).json();
    let folders: Vec<bool> = document.as_array().unwrap().iter().map(|job| job["folder"].is_string()).collect();
    assert_eq!(folders, [true, false, false, true], "one ending a ticket, in their order");
    let whole = run(&["--verbose"]);
    assert!(whole.out.contains("heel cup depth") && whole.out.contains("carved"), "{}", whole.out);
}

#[test]
fn quiet_says_nothing_of_what_is_good() {
    let shop = Shop::new();
    let ticket = shop.write("ticket.toml", one_foot());
    let mut command = sustent(["check", "-q"]);
    let told = ran(command.arg(&ticket));
    assert_eq!((told.code, told.out.as_str(), told.err.as_str()), (0, "", ""));
    let both = ran(sustent(["check", "-q", "-v"]).arg(&ticket));
    assert_eq!(both.code, 2);
    // An intake that writes a ticket has its ticket to show; one that does not is asked for its words.
    let measures = shop.write("measures.toml", include_str!("../output-samples/PATROL-11/measures.toml"));
    let mut command = sustent(["intake", "-q"]);
    let told = ran(command.arg(&measures).arg("--out").arg(shop.path("new.toml")));
    assert_eq!((told.code, told.out.as_str(), told.err.as_str()), (0, "", ""));
    assert!(ran(sustent(["intake", "-q"]).arg(&measures)).out.contains("heel cup depth"));
}

#[test]
fn a_job_that_comes_out_otherwise_is_told() {
    let shop = Shop::new();
    let ticket = shop.write("ticket.toml", one_foot());
    let out = shop.path("jobs");
    assert!(!ran(&mut shop::mill(&ticket, &out)).out.contains("other programs before"));
    assert!(!ran(&mut shop::mill(&ticket, &out)).out.contains("other programs before"));
    // The shop's own cutters run at another speed from today.
    let cutter = include_str!("../profiles/cutters/ball-6.toml");
    shop.write("own/cutters/ball-6.toml", changed(cutter, "flutes = 2", "flutes = 1"));
    let mut command = shop::mill(&ticket, &out);
    let told = ran(command.arg("--profiles").arg(shop.path("own")));
    assert!(told.out.contains("the same ticket gave other programs before"), "{}\n{}", told.out, told.err);
}

fn records_in(shop: &Shop) {
    for code in ["PATROL-01", "PATROL-011"] {
        let ticket = shop.write(&format!("tickets/{code}.toml"), SAMPLE.replace("PATROL-07", code));
        let readings = shop.write("readings.csv", "value,reading\nheel_thickness,4.5\n");
        let mut command = sustent(["inspect", "--side", "left"]);
        command.arg(&ticket).arg("--readings").arg(readings).arg("--log").arg(shop.path("log été.jsonl"));
        assert!(ran(&mut command).code <= 1);
    }
    // The folder of a job, as it lies there after the mill.
    let report = r#"{"program": "sustent", "ticket": "PATROL-01", "revision": 2, "files": []}"#;
    shop.write("jobs/PATROL-01-r2/job.json", report);
    shop.write("jobs/PATROL-01-r2/PATROL-01-r2-L-trim.svg", "<svg/>");
    shop.write("jobs/PATROL-01-r2/pictures/left.jpg", [0xff, 0xd8, 0xff]);
    shop.write("notes.txt", "PATROL-01 called: presses at the left arch");
    shop.write("other.txt", "PATROL-011 has paid");
    shop.write("measures.toml", "[person]\ncode = \"PATROL-01\"\n");
}

fn of(verb: &str, shop: &Shop, more: &[&str]) -> Ran {
    let mut command = sustent([verb, "PATROL-01", "--in"]);
    ran(command.arg(shop.path("")).args(more))
}

#[test]
fn what_is_kept_of_a_code_is_found_archived_and_taken_away() {
    let shop = Shop::new();
    records_in(&shop);
    let found = of("records", &shop, &["--json"]).json();
    let kinds = |found: &serde_json::Value| -> Vec<String> {
        found[0]["kept"].as_array().unwrap().iter().map(|kept| kept["kind"].as_str().unwrap().to_string()).collect()
    };
    assert_eq!(kinds(&found), ["measures", "ticket", "job", "log", "other"]);
    assert_eq!(found[0]["kept"][3]["lines"], 1);

    let archive = shop.path("PATROL-01.zip");
    let archived = of("archive", &shop, &["--out", archive.to_str().unwrap()]);
    assert_eq!(archived.code, 0, "{}", archived.err);
    let mut zip = zip::ZipArchive::new(fs::File::open(&archive).unwrap()).unwrap();
    let names: Vec<String> = zip.file_names().map(|name| name.unwrap().into_owned()).collect();
    for name in ["measures.toml", "jobs/PATROL-01-r2/pictures/left.jpg", "inspections/log été.jsonl", "archive.json"]
    {
        assert!(names.iter().any(|own| own == name), "{name} is not in {names:?}");
    }
    let mut log = String::new();
    std::io::Read::read_to_string(&mut zip.by_name("inspections/log été.jsonl").unwrap(), &mut log).unwrap();
    assert!(log.starts_with(r#"{"ticket":"PATROL-01","#) && log.lines().count() == 1, "{log}");
    let again = of("archive", &shop, &["--out", archive.to_str().unwrap()]);
    assert!(again.code == 2 && again.err.contains("there already"), "{}", again.err);

    let before = tree(&shop.path(""));
    let shown = of("forget", &shop, &[]);
    assert_eq!(shown.code, 0);
    assert!(shown.out.contains("would go") && shown.out.contains("nothing was changed"), "{}", shown.out);
    assert_eq!(tree(&shop.path("")), before);

    let gone = of("forget", &shop, &["--yes"]);
    assert_eq!(gone.code, 1, "the note still names the code\n{}", gone.out);
    assert!(gone.out.contains("notes.txt") && gone.out.contains("PATROL-01.zip"), "{}", gone.out);
    let left = tree(&shop.path(""));
    let expected = [
        "PATROL-01.zip",
        "jobs",
        "log été.jsonl",
        "notes.txt",
        "other.txt",
        "readings.csv",
        "tickets",
        "tickets/PATROL-011.toml",
    ];
    assert_eq!(left, expected);
    let log = fs::read_to_string(shop.path("log été.jsonl")).unwrap();
    assert!(log.lines().count() == 1 && log.contains("PATROL-011"), "{log}");
    let none = of("forget", &shop, &["--yes"]);
    assert_eq!(none.code, 1, "only what names it is left");
}

/// What a code has beside its own records: drawings that they name, folders with somebody else's things, what dead runs left.
#[test]
fn nothing_of_a_code_is_passed_over_and_nothing_of_another_goes() {
    let shop = Shop::new();
    records_in(&shop);
    let named =
        "[person]\ncode = \"PATROL-01\"\n[left]\nfootprint = \"print.svg\"\n[right]\nfootprint = \"linked/x.svg\"\n";
    shop.write("measures.toml", named);
    shop.write("print.svg", "<svg/>");
    shop.write("elsewhere/x.svg", "<svg/>");
    #[cfg(unix)]
    std::os::unix::fs::symlink("elsewhere", shop.path("linked")).unwrap();
    shop.write("jobs/PATROL-01-r2/other.toml", changed(&one_foot(), "\"PATROL-07\"", "\"PATROL-09\""));
    shop.write("archive.json", r#"{"archive_of":"PATROL-01","program":"sustent","version":"0","files":[]}"#);
    shop.write("jobs/.sustent-new-PATROL-01-r1/half.ngc", "(PATROL-01)");
    #[cfg(unix)]
    std::os::unix::fs::symlink(".", shop.path("jobs/PATROL-01-r2/again")).unwrap();

    // A note of another system, and one at the end of what is too long to be read at once.
    let utf16: Vec<u8> = "\u{feff}PATROL-01 hurts".encode_utf16().flat_map(u16::to_le_bytes).collect();
    shop.write("wide.txt", utf16);
    let mut long = fs::File::create(shop.path("long.bin")).unwrap();
    long.set_len(65 << 20).unwrap();
    std::io::Seek::seek(&mut long, std::io::SeekFrom::End(0)).unwrap();
    long.write_all(b" PATROL-01").unwrap();
    // A report that strayed into a folder of other things makes no job of that.
    fs::copy(shop.path("jobs/PATROL-01-r2/job.json"), shop.path("jobs/job.json")).unwrap();
    let inside = of("archive", &shop, &["--out", shop.path("jobs/PATROL-01-r2/PATROL-01.zip").to_str().unwrap()]);
    assert!(inside.code == 2 && inside.err.contains("the folder of a job"), "{}", inside.err);

    let archive = shop.path("PATROL-01.zip");
    let archived = of("archive", &shop, &["--out", archive.to_str().unwrap()]);
    assert_eq!(archived.code, 0, "{}", archived.err);
    let zip = zip::ZipArchive::new(fs::File::open(&archive).unwrap()).unwrap();
    let names: Vec<String> = zip.file_names().map(|name| name.unwrap().into_owned()).collect();
    assert!(names.iter().any(|name| name == "print.svg"), "{names:?}");
    assert!(!names.iter().any(|name| name.contains("again")), "{names:?}");

    // A run that breaks off leaves what names the rest.
    let log = shop.path("log été.jsonl");
    let rights = fs::metadata(&log).unwrap().permissions();
    let mut protected = rights.clone();
    protected.set_readonly(true);
    fs::set_permissions(&log, protected).unwrap();
    let broken = of("forget", &shop, &["--yes"]);
    assert!(broken.code == 2 && broken.err.contains("write-protected"), "{}", broken.err);
    assert!(shop.path("measures.toml").exists());
    fs::set_permissions(&log, rights).unwrap();
    let gone = of("forget", &shop, &["--yes"]);
    assert_eq!(gone.code, 1, "{}{}", gone.out, gone.err);
    let left = tree(&shop.path(""));
    assert!(!left.iter().any(|name| name == "print.svg" || name.contains("sustent-")), "{left:?}");
    for name in ["jobs/PATROL-01-r2/other.toml", "elsewhere/x.svg"] {
        assert!(left.iter().any(|own| own == name), "{name} is not in {left:?}");
    }
    let stays = gone.out.split_once("stays, and names").unwrap().1;
    for name in ["jobs/PATROL-01-r2", "wide.txt", "long.bin"] {
        assert!(stays.contains(name), "{name} is not in {}", gone.out);
    }

    fs::remove_file(shop.path("jobs/PATROL-01-r2/other.toml")).unwrap();
    of("forget", &shop, &["--yes"]);
    assert!(!shop.path("jobs/PATROL-01-r2").exists());
    assert!(shop.path("jobs/job.json").exists());
    let inside = ran(sustent(["records", "--in"]).arg(shop.path("jobs")));
    assert_eq!(inside.code, 1, "{}", inside.out);
}

/// A wearer's own folder, as the fitter's guide has it, and logs that others have written on.
#[test]
fn what_a_folder_or_a_record_of_another_names_is_told_and_stays() {
    let shop = Shop::new();
    records_in(&shop);
    shop.write("PATROL-01/foot-scan.stl", "solid foot");
    shop.write("PATROL-01/deeper/left.csv", "value,reading");
    shop.write("PATROL-01/PATROL-011.toml", SAMPLE.replace("PATROL-07", "PATROL-011"));
    shop.write("PATROL-011/foot-scan.stl", "solid foot");
    let log = shop.path("log été.jsonl");
    let text =
        fs::read_to_string(&log).unwrap().replace("\"PATROL-011\",", "\"PATROL-011\",\"note\":\"as PATROL-01\",");
    let [own, others] = text.lines().collect::<Vec<_>>()[..] else { panic!("{text}") };
    assert!(others.contains("as PATROL-01"), "{others}");
    let spaced = own.replacen("{\"ticket\":", "  {\"ticket\": ", 1);
    fs::write(&log, format!("{others}\n{own}\n{spaced}\n")).unwrap();

    let archive = shop.path("PATROL-01.zip");
    assert_eq!(of("archive", &shop, &["--out", archive.to_str().unwrap()]).code, 0);
    let mut zip = zip::ZipArchive::new(fs::File::open(&archive).unwrap()).unwrap();
    let mut packed = String::new();
    std::io::Read::read_to_string(&mut zip.by_name("inspections/log été.jsonl").unwrap(), &mut packed).unwrap();
    assert_eq!(packed, format!("{own}\n{spaced}\n"));
    let names: Vec<String> = zip.file_names().map(|name| name.unwrap().into_owned()).collect();
    let has = |name: &str| names.iter().any(|own| own == name);
    assert!(has("PATROL-01/foot-scan.stl") && has("PATROL-01/deeper/left.csv") && !has("log été.jsonl"), "{names:?}");
    assert!(!names.iter().any(|name| name.contains("PATROL-011")), "{names:?}");

    // Of one who works in that folder the program sees no name of it but by looking.
    shop.write("PATROL-01/PATROL-01.toml", SAMPLE.replace("PATROL-07", "PATROL-01"));
    shop.write("PATROL-01/PATROL-02-foot.stl", "solid foot");
    let mut command = sustent(["records", "PATROL-01"]);
    let within = ran(command.current_dir(shop.path("PATROL-01"))).out;
    assert!(within.contains("foot-scan.stl") && within.contains("left.csv") && !within.contains("011"), "{within}");

    let gone = of("forget", &shop, &["--yes"]);
    assert_eq!(gone.code, 1, "{}{}", gone.out, gone.err);
    let stays = gone.out.split_once("stays, and names").unwrap().1;
    for name in ["PATROL-01/foot-scan.stl", "PATROL-01/deeper/left.csv", "log été.jsonl"] {
        assert!(stays.contains(name), "{name} is not in {}", gone.out);
    }
    assert!(!stays.contains("PATROL-011"), "{stays}");
    assert_eq!(fs::read_to_string(&log).unwrap(), format!("{others}\n"));
}

/// Every file and folder below, by name.
fn tree(folder: &Path) -> Vec<String> {
    let mut found = vec![];
    let mut open = vec![folder.to_path_buf()];
    while let Some(next) = open.pop() {
        for name in all_names(&next) {
            let path = next.join(name);
            found.push(path.strip_prefix(folder).unwrap().to_str().unwrap().to_string());
            if path.is_dir() {
                open.push(path);
            }
        }
    }
    found.sort();
    found
}

#[test]
fn a_code_that_is_not_kept_is_told_with_the_nearest() {
    let shop = Shop::new();
    records_in(&shop);
    let mut command = sustent(["forget", "PATROL-1", "--yes", "--in"]);
    let told = ran(command.arg(shop.path("")));
    assert!(told.code == 2 && told.err.contains("is PATROL-01 meant?"), "{}", told.err);
    let empty = ran(sustent(["forget", "", "--yes", "--in"]).arg(shop.path("")));
    assert!(empty.code == 2 && empty.err.contains("an empty code"), "{}", empty.err);
    // It is a part of others' codes and a word in a note, and nobody's code.
    shop.write("PATROL.txt", "the PATROL called about PATROL-01");
    for verb in ["archive", "forget"] {
        let mut command = sustent([verb, "PATROL", "--in"]);
        command.arg(shop.path(""));
        match verb {
            "archive" => command.arg("--out").arg(shop.path("patrol.zip")),
            _ => command.arg("--yes"),
        };
        let told = ran(&mut command);
        assert_eq!((told.code, told.out.as_str()), (2, ""), "{verb}");
        let said =
            "nothing is kept here of the code PATROL; it is named in PATROL.txt; is PATROL-011 or PATROL-01 meant?";
        assert!(told.err.contains(said), "{}", told.err);
    }
    assert!(!shop.path("patrol.zip").exists());
    let part = ran(sustent(["records", "patrol", "--in"]).arg(shop.path("")));
    assert!(part.out.contains("PATROL-01\n") && part.out.contains("PATROL-011\n"), "{}", part.out);
    let nobody = ran(sustent(["records", "nobody", "--in"]).arg(shop.path("")));
    assert_eq!(nobody.code, 1);
}

const ANSWERS: &str = "\
# from the bench
person.code = PATROL-11
person.weight = 74,5
left.length.standing = 265
left.length.seated = 261
left.ball_width.standing = 98
left.heel_width.standing = 68
left.medial_arch.seated = 21
left.medial_arch.standing = 15
";

/// A code that begins another's has that other's files neither packed nor named.
#[test]
fn what_is_of_a_longer_code_is_not_of_the_shorter() {
    let shop = Shop::new();
    records_in(&shop);
    shop.write("tickets/PATROL-01-B.toml", SAMPLE.replace("PATROL-07", "PATROL-01-B"));
    shop.write("PATROL-01-B.html", "PATROL-01-B");
    let found = of("records", &shop, &["--json"]).json();
    let files = found[0]["kept"].as_array().unwrap().iter().map(|kept| kept["file"].as_str().unwrap());
    assert!(files.clone().count() == 5 && files.clone().all(|file| !file.contains("-B")), "{found}");
}

/// Thirty-six errors were told of the page of measures that lay beside its ticket.
#[test]
fn measures_beside_tickets_are_passed_over_with_a_line() {
    let shop = Shop::new();
    shop.write("monday/ticket.toml", one_foot());
    let measures = shop.write("monday/measures.toml", sustent::intake::TEMPLATE);
    let told = ran(sustent(["check", "-q"]).arg(shop.path("monday")));
    let said = format!("passed over: {}: these are measures\n", measures.display());
    assert_eq!((told.code, told.err), (0, said));
    let named = ran(sustent(["check"]).arg(&measures));
    assert!(named.code == 2 && named.err.lines().count() == 1, "{}", named.err);
    assert!(
        named.err.contains("these are the measures of PATROL-11: `sustent intake` makes a ticket"),
        "{}",
        named.err
    );
    fs::remove_file(shop.path("monday/ticket.toml")).unwrap();
    let only = ran(sustent(["check"]).arg(shop.path("monday")));
    assert!(only.code == 2 && only.err.contains("only measures in this folder"), "{}", only.err);
}

#[test]
fn a_ticket_comes_from_answers() {
    let shop = Shop::new();
    let ticket = shop.path("patrol-11.toml");
    let run = |answers: &str| {
        let mut command = sustent(["new", "--out"]);
        command.arg(&ticket);
        fed(command, answers)
    };
    let made = run(ANSWERS);
    assert!(made.code <= 1, "{}", made.err);
    let measures = fs::read_to_string(shop.path("patrol-11-measures.toml")).unwrap();
    assert!(measures.contains("length = { seated = 261, standing = 265 }"), "{measures}");
    let checked = ran(sustent(["check"]).arg(&ticket));
    assert!(checked.code <= 1 && checked.out.contains("PATROL-11 r1  left foot"), "{}", checked.err);
    let again = run(ANSWERS);
    assert!(again.code == 2 && again.err.contains("there already"), "{}", again.err);
}

/// It was printed, and then "the limits let it pass" and exit status 0.
#[test]
fn a_question_that_nobody_answered_is_left_open_and_said_to_be() {
    let shop = Shop::new();
    let answers = ANSWERS.replace("medial_arch.seated = 21", "medial_arch.seated = 14");
    let mut command = sustent(["new", "--out"]);
    command.current_dir(shop.path("")).arg("t.toml");
    let told = fed(command, &answers);
    assert_eq!(told.code, 1, "{}", told.err);
    let last: Vec<&str> = told.out.lines().rev().take(6).collect();
    assert!(last[0].starts_with("ticket in t.toml;") && last[0].contains("a question is open"), "{}", told.out);
    assert!(last.iter().any(|line| line.starts_with("still to answer: t-measures.toml:")), "{}", told.out);
    let words = told.err.split_whitespace().collect::<Vec<_>>().join(" ");
    let next = "correct them in t-measures.toml, then `sustent intake t-measures.toml --out t.toml`";
    assert!(words.contains(next), "{words}");
    let corrected = ran(sustent(["intake", "t-measures.toml", "--out", "t.toml"]).current_dir(shop.path("")));
    assert!(corrected.code <= 1, "{}", corrected.err);
}

#[test]
fn the_folder_of_a_new_ticket_is_looked_at_before_anything_is_asked() {
    let shop = Shop::new();
    let mut command = sustent(["new", "--out"]);
    command.arg(shop.path("nowhere/t.toml"));
    let told = fed(command, "no answers at all");
    assert!(told.code == 2 && told.err.contains("nowhere: there is no such file or folder; nothing was asked"));
}

#[test]
fn answers_that_will_not_do_are_told_with_their_line_and_nothing_is_written() {
    let shop = Shop::new();
    for (wrong, said) in [
        ("person.code = Anna B.", "standard input:2: person.code: `code` holds ' '"),
        ("left.length.standing = 10.4", "standard input:4: left.length.standing:"),
        ("left.lenght.standing = 265", "is left.length.standing meant?"),
        ("left.medial_arch.seated: 21", "a line is `key = answer`"),
        ("person.code = A\nperson.code = B", "is answered twice"),
    ] {
        let key = wrong.split(['=', ':']).next().unwrap().trim();
        let mut answers: Vec<&str> = ANSWERS.lines().filter(|line| !line.starts_with(key)).collect();
        let at = ANSWERS.lines().position(|line| line.starts_with(key)).unwrap_or(3);
        answers.insert(at, wrong);
        let mut command = sustent(["new", "--out"]);
        command.arg(shop.path("t.toml"));
        let told = fed(command, &answers.join("\n"));
        assert!(told.code == 2 && told.err.contains(said), "{wrong}: {}", told.err);
        assert!(all_names(&shop.path("")).is_empty());
    }
    let mut command = sustent(["new", "--out"]);
    command.arg(shop.path("t.toml"));
    let nothing = fed(command, "");
    assert!(nothing.code == 2 && nothing.err.contains("person.code is needed"), "{}", nothing.err);
}

/// That a page of help fits a terminal of 80 columns.
fn assert_fits(help: &str) {
    let wide: Vec<&str> = help.lines().filter(|line| line.chars().count() > 80).collect();
    assert!(wide.is_empty(), "wider than a terminal: {wide:#?}");
}

#[test]
fn every_verb_has_a_page_in_the_manual_and_examples_in_its_help() {
    let shop = Shop::new();
    let pages = ran(sustent(["manual", "--out"]).arg(shop.path("man")));
    assert_eq!(pages.code, 0, "{}", pages.err);
    let help = ran(&mut sustent(["--help"]));
    let verbs: Vec<&str> = help
        .out
        .lines()
        .skip_while(|line| !line.starts_with("Commands:"))
        .skip(1)
        .take_while(|line| !line.is_empty())
        .filter_map(|line| line.strip_prefix("  ")?.split_whitespace().next().filter(|_| !line.starts_with("    ")))
        .filter(|verb| *verb != "help")
        .collect();
    assert!(verbs.len() > 15, "{verbs:?}");
    assert_fits(&help.out);
    for verb in verbs {
        let page = fs::read_to_string(shop.path(&format!("man/sustent-{verb}.1"))).unwrap();
        assert!(page.contains(".TH") && page.contains(".SH NOTES\n.nf\n") && page.contains("\n.fi\n"), "{verb}");
        let help = ran(&mut sustent([verb, "--help"])).out;
        assert!(help.contains("Example"), "{verb} --help shows no example");
        assert_fits(&help);
    }
    assert!(shop.path("man/sustent.1").exists());
}

#[test]
fn a_ticket_of_a_later_format_is_refused() {
    let shop = Shop::new();
    let ticket = |format: &str| changed(SAMPLE, "revision = 2 ", &format!("format = {format}\nrevision = 2 "));
    let told = ran(sustent(["check"]).arg(shop.write("one.toml", ticket("1"))));
    assert_eq!(told.code, 0, "{}", told.err);
    let told = ran(sustent(["check"]).arg(shop.write("two.toml", ticket("2"))));
    assert!(told.code == 2 && told.err.contains("this ticket is of format 2"), "{}", told.err);
}
