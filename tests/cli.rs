//! The command as scripts and people meet it: exit status, JSON names, messages. What happens to
//! files when things go wrong is in `cli_folder.rs`.

mod shop;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::sync::OnceLock;

use serde_json::Value;
use shop::{SAMPLE, Shop, all_names, assert_whole, changed, mill, one_foot, ran, sustent};

/// The names of the values, as the tickets have them.
const VALUES: [&str; 12] = [
    "heel_thickness",
    "heel_cup_depth",
    "heel_cup_width",
    "rearfoot_post",
    "medial_arch",
    "lateral_arch",
    "transverse_arch",
    "forefoot_thickness",
    "flex_zone_thickness",
    "length",
    "ball_width",
    "heel_width",
];

/// The figures of every proof.
const PROOF: [&str; 12] = [
    "max_gouge_mm",
    "scallop_p50_mm",
    "scallop_p99_mm",
    "scallop_max_mm",
    "unreached_max_mm",
    "rapid_contacts",
    "time_s",
    "cut_length_mm",
    "lines",
    "violations",
    "values",
    "pass",
];

/// A right medial arch past the seated foot's own 20 mm: a stop that a reason can outweigh.
fn past_a_limit() -> String {
    changed(&one_foot(), "medial_arch = 16.5", "medial_arch = 20.2")
}

/// The job of the one-foot ticket, made once for all tests that only read it.
fn made() -> &'static (PathBuf, PathBuf) {
    static MADE: OnceLock<(PathBuf, PathBuf)> = OnceLock::new();
    MADE.get_or_init(|| {
        let out = Path::new(env!("CARGO_TARGET_TMPDIR")).join("cli-made");
        let _ = fs::remove_dir_all(&out);
        fs::create_dir_all(&out).unwrap();
        let ticket = out.join("ticket.toml");
        fs::write(&ticket, one_foot()).unwrap();
        let ran = ran(&mut mill(&ticket, &out));
        assert_eq!(ran.code, 0, "{}", ran.err);
        (ticket, out.join("PATROL-07-r2"))
    })
}

fn program(step: &str) -> PathBuf {
    made().1.join(format!("PATROL-07-r2-R-{step}.ngc"))
}

fn prove(programs: &[&Path]) -> std::process::Command {
    let mut command = sustent(["prove"]);
    command.args(programs).arg("--ticket").arg(&made().0).args(["--side", "right"]);
    command
}

fn assert_keys(object: &Value, keys: &[&str]) {
    for key in keys {
        assert!(object.get(key).is_some(), "no {key:?} in {object:#}");
    }
}

#[test]
fn check_speaks_the_agreed_json() {
    let shop = Shop::new();
    let ticket = shop.write("ticket.toml", SAMPLE);
    let ran = ran(sustent(["check", "--json"]).arg(&ticket));
    let report = ran.json();
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    assert_keys(&report, &["ticket", "revision", "feet", "pass"]);
    assert_eq!(report["ticket"], "PATROL-07");
    assert_eq!(report["revision"], 2);
    assert_eq!(report["feet"].as_array().unwrap().len(), 2);
    for (foot, side) in report["feet"].as_array().unwrap().iter().zip(["left", "right"]) {
        assert_eq!(foot["side"], side);
        for name in VALUES {
            let value = &foot["values"][name];
            assert_keys(value, &["asked", "read_back", "unit", "feasible"]);
            assert_eq!(value["unit"], if name == "rearfoot_post" { "deg" } else { "mm" });
            let [lo, hi] = [&value["feasible"][0], &value["feasible"][1]].map(|x| x.as_f64().unwrap());
            // With a flat underside the flex zone is what the top leaves: an interval of one value.
            assert!(lo <= hi, "{name}: {lo} .. {hi}");
        }
        assert!((foot["values"]["medial_arch"]["asked"].as_f64().unwrap() - 17.0).abs() < 1.1);
        for finding in foot["findings"].as_array().unwrap() {
            assert_keys(
                finding,
                &["limit", "severity", "at_mm", "station", "measured", "allowed", "unit", "message", "advice"],
            );
            assert!(["stop", "caution", "note"].contains(&finding["severity"].as_str().unwrap()));
        }
    }
    assert_eq!(all_names(ticket.parent().unwrap()), ["ticket.toml"], "check writes nothing");
}

#[test]
fn tables_fit_eighty_columns_and_carry_no_colour_into_a_pipe() {
    let shop = Shop::new();
    let ticket = shop.write("ticket.toml", past_a_limit());
    let runs = [
        ran(sustent(["check"]).arg(&ticket)),
        ran(&mut sustent(["profiles"])),
        ran(&mut sustent(["profiles", "materials", "eva-firm"])),
        ran(&mut prove(&[&program("top-1-rough"), &program("top-2-finish")])),
    ];
    for ran in &runs {
        let widest = ran.out.lines().max_by_key(|line| line.chars().count()).unwrap();
        assert!(widest.chars().count() <= 80, "{widest}");
        assert!(!ran.out.contains('\u{1b}') && !ran.err.contains('\u{1b}'));
    }
    assert!(runs[0].out.contains("  stop: medial arch 20.2 mm"), "{}", runs[0].out);
}

#[test]
fn the_job_says_all_about_itself() {
    let (ticket, job) = made();
    let report = assert_whole(job);
    assert_keys(&report, &["ticket", "revision", "values", "findings", "files", "programs", "proof", "time_s", "pass"]);
    assert_eq!(report["ticket_sha256"], sustent::job::sha256_hex(&fs::read(ticket).unwrap()));
    assert_keys(&report["values"]["right"], &VALUES);
    assert_keys(&report["proof"], &PROOF);
    assert_keys(&report["proof"]["values"]["right"], &["medial_arch", "heel_thickness", "length"]);
    let programs = report["programs"].as_array().unwrap();
    let steps: Vec<&str> = programs.iter().map(|p| p["step"].as_str().unwrap()).collect();
    assert_eq!(steps, ["frame", "rough", "finish", "perimeter"]);
    for program in programs {
        let keys = ["file", "sha256", "side", "face", "step", "cutter", "bench_from_mill", "blank_box_mm", "safe_z_mm"];
        assert_keys(program, &keys);
        assert_keys(program, &["feed_mm_min", "spindle_rpm", "time_s", "bounded_by", "lines"]);
        let cutter = ["name", "kind", "diameter_mm", "corner_radius_mm", "half_angle_deg", "flute_mm"];
        assert_keys(&program["cutter"], &cutter);
        let matrix = program["bench_from_mill"].as_array().unwrap();
        assert_eq!(matrix.len(), 16);
        assert_eq!((&matrix[15], &matrix[0]), (&Value::from(1.0), &Value::from(1.0)));
        assert_eq!(program["blank_box_mm"].as_array().unwrap().len(), 6);
        assert_eq!(program["side"], "right");
    }
    let stem = "PATROL-07-r2-R";
    let mut expected: Vec<String> =
        ["-top-1-rough.ngc", "-top-2-finish.ngc", "-top-3-perimeter.ngc", "-frame.ngc", "-trim.svg", "-design.stl"]
            .map(|end| format!("{stem}{end}"))
            .to_vec();
    expected.extend(["-carved.stl", "-design.3mf"].map(|end| format!("{stem}{end}")));
    expected.extend(["sheet.html", "job.json", "wearer.html"].map(String::from));
    expected.sort();
    assert_eq!(all_names(job), expected);
}

#[test]
fn prove_repeats_the_proof_of_the_job() {
    let programs = ["frame", "top-1-rough", "top-2-finish", "top-3-perimeter"].map(program);
    let ran = ran(prove(&programs.each_ref().map(PathBuf::as_path)).arg("--json"));
    let proof = ran.json();
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    assert_keys(&proof, &PROOF);
    assert_eq!(proof["pass"], true);
    let made = assert_whole(&made().1);
    for figure in ["max_gouge_mm", "scallop_p99_mm", "rapid_contacts", "time_s", "cut_length_mm", "lines"] {
        assert_eq!(proof[figure], made["proof"][figure], "{figure}");
    }
    assert_eq!(proof["values"], made["proof"]["values"]["right"]);
}

/// Every second of every program is charged to something.
#[test]
fn the_job_says_what_its_time_goes_into() {
    let report = assert_whole(&made().1);
    let seconds = |by: &Value| by.as_object().unwrap().values().map(|s| s.as_f64().unwrap()).sum::<f64>();
    let programs = report["programs"].as_array().unwrap();
    for told in programs.iter().chain([&report]) {
        let (total, bounded) = (told["time_s"].as_f64().unwrap(), seconds(&told["bounded_by"]));
        assert!((total - bounded).abs() < 1e-9 * total, "{total} {bounded}");
        assert!(told["bounded_by"]["feed_s"].as_f64().unwrap() > 0.5 * total, "{told}");
    }
    for cut in report["proof"]["feet"]["right"]["programs"].as_array().unwrap().iter().skip(1) {
        let (ordered, planned) = (&cut["chip_load_mm"], &cut["planned_chip_load_mm"]);
        assert!(planned[0].as_f64() < ordered[0].as_f64() && cut["rubbing_share"].as_f64().unwrap() < 0.05, "{cut}");
    }
}

#[test]
fn a_finish_alone_is_told_to_lack_its_roughing() {
    let (rough, finish) = (program("top-1-rough"), program("top-2-finish"));
    let alone = ran(&mut prove(&[&finish]));
    let said = alone.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("caution: roughing was not among the programs before"), "{said}");
    assert!(said.ends_with("proved, but for what the cautions say"), "{said}");
    let ordered = ran(prove(&[&rough, &finish]).arg("--json"));
    assert_eq!(ordered.json()["cautions"], serde_json::json!([]));
    let wrong_way = ran(prove(&[&finish, &rough]).arg("--json"));
    assert_eq!(wrong_way.json()["cautions"].as_array().unwrap().len(), 1);
}

#[test]
fn a_program_of_the_other_foot_is_refused() {
    let text = fs::read_to_string(program("top-2-finish")).unwrap();
    let shop = Shop::new();
    let other = shop.write("other.ngc", text.replace("(SIDE: R, RIGHT FOOT)", "(SIDE: L, LEFT FOOT)"));
    let ran = ran(&mut prove(&[&program("top-1-rough"), &other]));
    let said = ran.err.split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(ran.code, 2);
    assert!(said.contains("this program is for the left foot") && said.contains("--side left"), "{said}");
}

#[test]
fn a_program_for_another_cutter_is_refused() {
    let text = fs::read_to_string(program("top-2-finish")).unwrap();
    assert!(text.contains("(CUTTER: BALL-6, BALL, DIAMETER 6 MM,"));
    let shop = Shop::new();
    let edited = shop.write("edited.ngc", text.replace("BALL-6, BALL, DIAMETER 6 MM,", "BALL-8, BALL, DIAMETER 8 MM,"));
    let ran = ran(prove(&[&program("top-1-rough"), &edited]).arg("--json"));
    let proof = ran.json();
    assert_eq!((ran.code, &proof["pass"]), (1, &Value::from(false)));
    let (violation, totals) = (&proof["violations"][0], proof["totals"].as_array().unwrap());
    assert_eq!((&violation["kind"], totals.len()), (&Value::from("other_cutter"), 1));
    assert_eq!((&violation["file"], &violation["line"]), (&Value::from("edited.ngc"), &Value::from(5)));
    let message = violation["message"].as_str().unwrap();
    assert!(message.contains("BALL-8") && message.contains("ball-6"), "{message}");
}

#[test]
fn a_tampered_program_is_refused_at_its_line() {
    let text = fs::read_to_string(program("top-2-finish")).unwrap();
    let mut lines: Vec<String> = text.lines().map(String::from).collect();
    let heights = |line: &String| line.contains('Z') && !line.starts_with('G') && !line.starts_with('(');
    let tampered = (lines.len() / 2..).find(|&k| heights(&lines[k])).unwrap();
    let (before, z) = lines[tampered].split_once('Z').unwrap();
    lines[tampered] = format!("{before}Z{:.3}", z.parse::<f64>().unwrap() - 0.8);
    let shop = Shop::new();
    // The name says nothing: what the program is for stands in its text.
    let edited = shop.write("edited.ngc", lines.join("\n") + "\n");

    let ran_json = ran(prove(&[&program("top-1-rough"), &edited]).arg("--json"));
    let proof = ran_json.json();
    assert_eq!((ran_json.code, &proof["pass"]), (1, &Value::from(false)));
    assert!(proof["max_gouge_mm"].as_f64().unwrap() > 0.3, "{}", proof["max_gouge_mm"]);
    let violation = &proof["violations"][0];
    assert_eq!(violation["file"], "edited.ngc");
    let line = violation["line"].as_u64().unwrap() as i64;
    assert!((line - (tampered as i64 + 1)).abs() <= 1, "line {line} is blamed, {} was changed", tampered + 1);

    let words = ran(&mut prove(&[&program("top-1-rough"), &edited]));
    assert_eq!(words.code, 1);
    assert!(words.out.contains(&format!("refused: edited.ngc:{line}: ")), "{}", words.out);
}

#[test]
fn garbage_is_no_program() {
    let shop = Shop::new();
    let garbage = shop.write("garbage.ngc", "G21\nhello\nG1 X\n");
    let ran_json = ran(prove(&[&garbage]).arg("--json"));
    let document = ran_json.json();
    assert_eq!(ran_json.code, 2);
    let lines: Vec<u64> =
        document["problems"].as_array().unwrap().iter().filter_map(|problem| problem["line"].as_u64()).collect();
    assert!(lines.contains(&2) && lines.contains(&3), "{document:#}");
    assert!(ran_json.err.contains("garbage.ngc:2: "), "{}", ran_json.err);
    let bytes: Vec<u8> = (0..20_000_u32).map(|k| (k.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
    for bad in [&shop.write("bytes.ngc", bytes), &shop.write("none.ngc", ""), &shop.path("missing.ngc"), &shop.path("")]
    {
        let ran = ran(&mut prove(&[bad]));
        assert_eq!((ran.code, ran.out.as_str()), (2, ""), "{}: {}", bad.display(), ran.err);
        assert!(ran.err.contains(bad.to_str().unwrap()), "{}", ran.err);
    }
}

#[test]
fn hostile_tickets_are_told_where_and_what() {
    let shop = Shop::new();
    let long = "# a comment that goes on\n".repeat(420_000);
    let nan = changed(&one_foot(), "medial_arch = 16.5", "medial_arch = nan");
    let escape = changed(&one_foot(), "code = \"PATROL-07\"", "code = \"../../PATROL\"");
    let cases: [(&str, Vec<u8>, &str); 6] = [
        ("empty.toml", vec![], "empty"),
        ("long.toml", long.into_bytes(), "at most"),
        ("nan.toml", nan.clone().into_bytes(), "medial_arch"),
        ("binary.toml", vec![b'a', b'\n', 0xff, 0xfe, 0], "binary.toml:2:1: "),
        ("escape.toml", escape.into_bytes(), "code"),
        ("misspelt.toml", changed(&one_foot(), "rearfoot_post = 2", "rearfot_post = 2").into_bytes(), "rearfoot_post"),
    ];
    for (name, bytes, words) in cases {
        let ticket = shop.write(name, bytes);
        let out = shop.path("jobs");
        let told = ran(&mut mill(&ticket, &out));
        assert_eq!((told.code, told.out.as_str()), (2, ""), "{name}");
        assert!(told.err.contains(name) && told.err.contains(words), "{name}: {}", told.err);
        assert!(!out.exists(), "{name}: nothing is written");
        let document = ran(mill(&ticket, &out).arg("--json"));
        assert_eq!(document.code, 2);
        assert!(document.json()["error"].as_str().unwrap().contains(words), "{name}: {}", document.out);
    }
    let line = 1 + nan.lines().position(|line| line.contains("nan")).unwrap();
    let problem = &ran(sustent(["check", "--json"]).arg(shop.path("nan.toml"))).json()["problems"][0];
    assert_eq!(problem["line"], line);
    assert!(problem["column"].as_u64().unwrap() >= 1);
    let told = ran(sustent(["check"]).arg(shop.path("nan.toml")));
    assert!(told.err.contains(&format!("nan.toml:{line}:")), "{}", told.err);
}

#[test]
fn folders_and_missing_files_are_told() {
    let shop = Shop::new();
    fs::create_dir(shop.path("bare")).unwrap();
    for path in [shop.path("bare"), shop.path("missing.toml")] {
        for verb in ["check", "mill"] {
            let mut command = sustent([verb, "--json"]);
            command.arg(&path);
            if verb == "mill" {
                command.arg("--out").arg(shop.path("jobs"));
            }
            let ran = ran(&mut command);
            assert_eq!(ran.code, 2);
            assert_eq!(ran.json()["file"], path.to_str().unwrap());
            assert!(ran.err.contains(path.to_str().unwrap()), "{}", ran.err);
        }
    }
    let foreign = shop.write("traced.toml", {
        let traced = "[boot.stock_insole]\noutline = { right = \"../secret.svg\" }";
        changed(&one_foot(), "[boot.stock_insole]", traced)
    });
    let ran = ran(sustent(["check"]).arg(foreign));
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("secret.svg"), "{}", ran.err);
}

#[test]
fn one_bad_ticket_stops_only_itself() {
    let shop = Shop::new();
    shop.write("in/a-good.toml", one_foot());
    shop.write("in/b-bad.toml", "[ticket]\n");
    shop.write("in/c-stopped.toml", changed(&past_a_limit(), "\"PATROL-07\"", "\"PATROL-08\""));
    shop.write("in/d-again.toml", one_foot());
    shop.write("in/notes.txt", "not a ticket");
    let out = shop.path("jobs");
    let ran = ran(mill(&shop.path("in"), &out).arg("--json"));
    let list = ran.json();
    assert_eq!((ran.code, list.as_array().unwrap().len()), (2, 4));
    assert_eq!(list[0]["pass"], true);
    assert_eq!(list[0]["folder"], out.join("PATROL-07-r2").to_str().unwrap());
    assert!(list[1]["error"].as_str().unwrap().contains("b-bad.toml"));
    assert_eq!((&list[2]["pass"], &list[2]["folder"]), (&Value::from(false), &Value::Null));
    assert!(list[3]["error"].as_str().unwrap().contains("a-good.toml"), "two jobs would share a folder: {}", list[3]);
    assert_eq!(all_names(&out), ["PATROL-07-r2"]);
    assert_whole(&out.join("PATROL-07-r2"));
}

#[test]
fn one_side_of_a_pair() {
    let shop = Shop::new();
    let ticket = shop.write("ticket.toml", SAMPLE);
    let out = shop.path("jobs");
    let both = ran(mill(&ticket, &out).args(["--side", "left", "--json"]));
    assert_eq!(both.code, 0, "{}", both.err);
    let names = all_names(&out.join("PATROL-07-r2"));
    assert!(names.iter().any(|n| n.contains("-L-")) && !names.iter().any(|n| n.contains("-R-")), "{names:?}");
    let single = shop.write("single.toml", one_foot());
    let none = ran(mill(&single, &shop.path("none")).args(["--side", "left"]));
    assert_eq!(none.code, 2);
    assert!(none.err.contains("no left foot") && !shop.path("none").exists(), "{}", none.err);
}

#[test]
fn a_stop_keeps_a_ticket_from_the_mill_and_a_reason_lets_it_pass() {
    let shop = Shop::new();
    let stopped = ran(mill(&shop.write("stopped.toml", past_a_limit()), &shop.path("stopped")).arg("--json"));
    let report = stopped.json();
    assert_eq!(stopped.code, 1, "{}", stopped.err);
    assert_eq!((&report["pass"], &report["findings"][0]["limit"]), (&Value::from(false), &Value::from("medial_arch")));
    assert_eq!(report["files"], Value::Array(vec![]));
    assert!(!shop.path("stopped").exists());

    let reason = "tried on for an hour, likes it";
    let accepted = changed(&past_a_limit(), "[right.foot]", &format!("[right]\nreason = \"{reason}\"\n[right.foot]"));
    let out = shop.path("accepted");
    let passed = ran(&mut mill(&shop.write("accepted.toml", accepted), &out));
    assert_eq!(passed.code, 0, "{}{}", passed.out, passed.err);
    let told = passed.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains(&format!("[accepted: {reason}]")), "{}", passed.out);
    let job = out.join("PATROL-07-r2");
    assert!(fs::read_to_string(job.join("sheet.html")).unwrap().contains(reason));
    assert_eq!(assert_whole(&job)["feet"][0]["accepted_reason"], reason);
}

#[test]
fn no_reason_makes_a_thin_blank_thicker() {
    let shop = Shop::new();
    let with_height = |height: f64| {
        let reasoned = changed(&one_foot(), "[right.foot]", "[right]\nreason = \"it will do\"\n[right.foot]");
        changed(&reasoned, "height = 29.7", &format!("height = {height:.2}"))
    };
    let check = |name: &str, height: f64| ran(sustent(["check", "--json"]).arg(shop.write(name, with_height(height))));
    // The finding itself says by how much a blank of 18 mm falls short.
    let low = check("low.toml", 18.0).json();
    let findings = low["feet"][0]["findings"].as_array().unwrap();
    let finding = findings.iter().find(|f| f["limit"] == "blank_height").unwrap();
    let short = finding["measured"].as_f64().unwrap() - finding["allowed"].as_f64().unwrap();
    let enough = 18.0 + short;

    assert_eq!(check("enough.toml", enough + 0.05).code, 0);
    let out = shop.path("jobs");
    let milled = ran(mill(&shop.write("thin.toml", with_height(enough - 0.5)), &out).arg("--json"));
    assert_eq!(milled.code, 1);
    assert_eq!(milled.json()["findings"][0]["limit"], "blank_height");
    assert!(!out.exists(), "a physical impossibility is never overruled");
}

#[test]
fn bad_usage_is_told_in_both_forms() {
    for arguments in
        [&["mill"][..], &["mill", "x.toml"], &["carve"], &["profiles", "boots"], &["check", "--side", "up"]]
    {
        let words = ran(&mut sustent(arguments));
        assert_eq!((words.code, words.out.as_str()), (2, ""), "{arguments:?}");
        assert!(words.err.starts_with("error: "), "{}", words.err);
        let json = ran(sustent(arguments).arg("--json"));
        assert_eq!(json.code, 2);
        assert!(json.json()["error"].is_string());
    }
}

#[test]
fn what_inspect_wants_names_the_scan_too() {
    let told = ran(&mut sustent(["inspect", "ticket.toml", "--side", "left"]));
    assert!(told.code == 2 && told.err.contains("<--readings <FILE.csv>|--scan <FILE>>"), "{}", told.err);
    let both = ran(&mut sustent(["inspect", "t.toml", "--side", "left", "--readings", "r.csv", "--scan", "s.stl"]));
    assert!(both.code == 2 && both.err.contains("cannot be used with"), "{}", both.err);
    // Both verbs that read scans take the unit by either word.
    for unit in ["--unit", "--units"] {
        let impression = ran(&mut sustent(["impression", "none.stl", "--side", "left", unit, "cm"]));
        let inspect = ran(&mut sustent(["inspect", "none.toml", "--side", "left", "--scan", "none.stl", unit, "cm"]));
        assert!(impression.err.contains("no such file") && inspect.err.contains("no such file"), "{}", inspect.err);
    }
}

#[test]
fn every_verb_explains_itself_with_an_example() {
    for verb in ["mill", "check", "prove", "profiles", "completions"] {
        let ran = ran(&mut sustent([verb, "--help"]));
        assert_eq!((ran.code, ran.err.as_str()), (0, ""));
        assert!(ran.out.contains(&format!("\n  sustent {verb} ")), "{}", ran.out);
    }
    assert_eq!(ran(&mut sustent(["--version"])).out, format!("sustent {}\n", env!("CARGO_PKG_VERSION")));
}

#[test]
fn profiles_are_shown_and_the_shops_own_come_first() {
    let all = ran(&mut sustent(["profiles", "--json"])).json();
    assert!(all.as_array().unwrap().len() > 20);
    let one = ran(&mut sustent(["profiles", "cutters", "ball-6", "--json"])).json();
    assert_keys(&one, &["kind", "name", "title", "values"]);
    let text = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("profiles/cutters/ball-6.toml")).unwrap();
    assert_eq!(ran(&mut sustent(["profiles", "cutters", "ball-6", "--toml"])).out, text);
    let unknown = ran(&mut sustent(["profiles", "cutters", "bal-6"]));
    assert_eq!(unknown.code, 2);
    assert!(unknown.err.contains("ball-6"), "{}", unknown.err);

    let shop = Shop::new();
    let built_in = Path::new(env!("CARGO_MANIFEST_DIR")).join("profiles");
    let own = fs::read_to_string(built_in.join("cutters/ball-6.toml")).unwrap();
    let machine = fs::read_to_string(built_in.join("machines/small-mill.toml")).unwrap();
    shop.write("own/cutters/ball-7.toml", &own);
    let added = ran(sustent(["profiles", "cutters", "--profiles"]).arg(shop.path("own")));
    assert!(added.code == 0 && added.out.contains("ball-7"), "{}{}", added.out, added.err);
    shop.write("own/cutters/ball-7.toml", format!("{own}\nteeth_of_gold = 3\n"));
    let broken = ran(sustent(["profiles", "cutters", "--profiles"]).arg(shop.path("own")));
    assert_eq!(broken.code, 2);
    assert!(broken.err.contains("ball-7.toml:") && broken.err.contains("teeth_of_gold"), "{}", broken.err);
    assert_eq!(ran(sustent(["profiles", "--profiles"]).arg(shop.path("none"))).code, 2);

    // One letter away from a folder that is looked at, beside a good one, and a folder of other things.
    shop.write("own/cutters/ball-7.toml", &own);
    shop.write("own/customers/PATROL-07.toml", "schema = 1\n");
    assert_eq!(ran(sustent(["profiles", "--profiles"]).arg(shop.path("own"))).code, 0);
    for slip in ["cutter", "Cutters"] {
        shop.write(&format!("slip/{slip}/ball-7.toml"), &own);
        shop.write("slip/machines/ours.toml", &machine);
        let told = ran(sustent(["profiles", "--profiles"]).arg(shop.path("slip")));
        assert!(told.code == 2 && told.err.contains("name this cutters"), "{}{}", told.out, told.err);
        fs::remove_dir_all(shop.path("slip")).unwrap();
    }
    // Beside the folders a ticket may lie, and no profile.
    shop.write("own/ticket.toml", SAMPLE);
    assert_eq!(ran(sustent(["profiles", "--profiles"]).arg(shop.path("own"))).code, 0);
    shop.write("own/fast-router.toml", &machine);
    let stray = ran(sustent(["profiles", "--profiles"]).arg(shop.path("own")));
    assert!(stray.code == 2 && stray.err.contains("fast-router.toml: a profile lies in"), "{}", stray.err);
}

#[test]
fn completions_are_a_script() {
    let script = ran(&mut sustent(["completions", "bash"]));
    assert!(script.code == 0 && script.out.contains("complete -F _sustent"), "{}", script.out);
    assert_eq!(ran(&mut sustent(["completions", "bash", "--json"])).json()["shell"], "bash");
}

#[test]
fn a_reader_that_leaves_is_no_fault_and_a_full_disk_is() {
    let mut child = sustent(["profiles", "--json"]).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    drop(child.stdout.take());
    let ended = child.wait_with_output().unwrap();
    assert_eq!((ended.status.code(), ended.stderr.as_slice()), (Some(0), &b""[..]));

    let full = Path::new("/dev/full");
    if !full.exists() {
        println!("no /dev/full on this system: a full disk behind standard output is not tested");
        return;
    }
    let full = fs::File::options().write(true).open(full).unwrap();
    let ended = sustent(["profiles"]).stdout(full).stderr(Stdio::piped()).output().unwrap();
    assert_eq!(ended.status.code(), Some(2));
    assert!(!ended.stderr.is_empty());
}
