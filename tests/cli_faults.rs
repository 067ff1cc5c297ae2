//! What a season does to files and computers: runs killed while a log is added to or a code forgotten, full disks, files that
//! may not be written, odd paths, other languages' numbers, files from other systems.

mod shop;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::thread::sleep;
use std::time::Duration;

use shop::{Dice, SAMPLE, Shop, SmallDisk, all_names, assert_whole, kills, mill, one_foot, ran, sustent};

const READINGS: &str = "value,reading\nheel_thickness,4.5\nmedial_arch,18.1\n";

fn inspect(ticket: &Path, readings: &Path, log: &Path) -> Command {
    let mut command = sustent(["inspect", "--side", "left"]);
    command.arg(ticket).arg("--readings").arg(readings).arg("--log").arg(log);
    command
}

/// A shop with a ticket, readings, and a log with one record of each of two codes.
fn shop_with_a_log() -> (Shop, PathBuf, PathBuf, PathBuf) {
    let shop = Shop::new();
    let ticket = shop.write("ticket.toml", SAMPLE);
    let other = shop.write("other.toml", SAMPLE.replace("PATROL-07", "PATROL-08"));
    let readings = shop.write("readings.csv", READINGS);
    let log = shop.path("log/workshop.jsonl");
    fs::create_dir(log.parent().unwrap()).unwrap();
    for ticket in [&ticket, &other] {
        assert!(ran(&mut inspect(ticket, &readings, &log)).code <= 1);
    }
    (shop, ticket, readings, log)
}

/// Kills a run at some moment of its life.
fn killed(mut command: Command, after: Duration) {
    let mut child = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    sleep(after);
    // `Child::kill` is SIGKILL on Unix: the program cannot clean up.
    let _ = child.kill();
    child.wait().unwrap();
}

/// Every line of a log is a whole record.
fn assert_whole_log(log: &Path) -> Vec<String> {
    let text = fs::read_to_string(log).unwrap();
    assert!(text.is_empty() || text.ends_with('\n'), "{text}");
    let code = |line: &str| -> String {
        let record: serde_json::Value = serde_json::from_str(line).unwrap_or_else(|e| panic!("{e}: {line}"));
        record["ticket"].as_str().unwrap().to_string()
    };
    text.lines().map(code).collect()
}

/// How long a run that is not killed takes, so that kills fall all over it.
fn life(command: &mut Command) -> Duration {
    let began = std::time::Instant::now();
    ran(command);
    began.elapsed()
}

#[test]
fn a_killed_inspection_never_harms_the_log() {
    let (_shop, ticket, readings, log) = shop_with_a_log();
    let whole = life(&mut inspect(&ticket, &readings, &log)).as_micros() as u64;
    let mut dice = Dice(20_261_126);
    let mut before = assert_whole_log(&log);
    for round in 0..kills(20) {
        killed(inspect(&ticket, &readings, &log), Duration::from_micros(dice.throw(whole + whole / 5)));
        let now = assert_whole_log(&log);
        assert!(now.len() == before.len() || now.len() == before.len() + 1, "round {round}");
        assert_eq!(now[..before.len()], before);
        before = now;
    }
}

#[test]
fn a_killed_forgetting_leaves_a_log_before_or_after() {
    let (shop, _, _, log) = shop_with_a_log();
    let text = fs::read_to_string(&log).unwrap();
    let forget = || {
        let mut command = sustent(["forget", "PATROL-07", "--yes", "--in"]);
        command.arg(log.parent().unwrap());
        command
    };
    let whole = life(&mut forget()).as_micros() as u64;
    let mut dice = Dice(7_202_611);
    for _ in 0..kills(20) {
        fs::write(&log, &text).unwrap();
        killed(forget(), Duration::from_micros(dice.throw(whole + whole / 5)));
        let codes = assert_whole_log(&log);
        assert!(codes == ["PATROL-07", "PATROL-08"] || codes == ["PATROL-08"], "{codes:?}");
    }
    fs::write(&log, &text).unwrap();
    assert_eq!(ran(&mut forget()).code, 0);
    assert_eq!(assert_whole_log(&log), ["PATROL-08"]);
    assert_eq!(all_names(log.parent().unwrap()), ["workshop.jsonl"], "what the killed ones left is gone");
    drop(shop);
}

#[test]
fn benches_may_add_while_another_forgets() {
    let (_shop, ticket, readings, log) = shop_with_a_log();
    let added = std::thread::scope(|scope| {
        let adding = scope.spawn(|| (0..6).filter(|_| ran(&mut inspect(&ticket, &readings, &log)).code <= 1).count());
        for _ in 0..6 {
            let mut forget = sustent(["forget", "PATROL-08", "--yes", "--in"]);
            ran(forget.arg(log.parent().unwrap()));
        }
        adding.join().unwrap()
    });
    assert_eq!(assert_whole_log(&log), vec!["PATROL-07"; 1 + added]);
}

#[test]
fn a_full_or_read_only_disk_keeps_log_and_archive_as_they_were() {
    let (shop, ticket, readings, log) = shop_with_a_log();
    let text = fs::read_to_string(&log).unwrap();
    let Some(disk) = SmallDisk::new(shop.path("disk"), "64k") else { return };
    let there = disk.at.join("log.jsonl");
    fs::write(&there, &text).unwrap();
    fs::write(disk.at.join("ticket.toml"), SAMPLE).unwrap();
    // The rest of the disk is somebody's pictures.
    let full = (0..).take_while(|k| fs::write(disk.at.join(format!("{k}.jpg")), [0; 4096]).is_ok()).count();
    assert!(full > 2);
    // A tmpfs keeps whole pages, so what still fits is less than one.
    let mut room_is_left = 0;
    while ran(&mut inspect(&ticket, &readings, &there)).code <= 1 {
        room_is_left += 1;
        assert!(room_is_left < 20, "the disk does not fill up");
    }
    let codes = assert_whole_log(&there);
    assert_eq!(codes.len(), 2 + room_is_left);
    let told = ran(&mut inspect(&ticket, &readings, &there));
    assert!(told.code == 2 && told.err.contains("nothing was added to the log"), "{}", told.err);
    let mut archive = sustent(["archive", "PATROL-07", "--in"]);
    archive.arg(&disk.at).arg("--out").arg(disk.at.join("a.zip"));
    let told = ran(&mut archive);
    assert!(told.code == 2 && !disk.at.join("a.zip").exists(), "{}", told.err);
    assert!(!all_names(&disk.at).iter().any(|name| name.starts_with(".sustent-new")));
    disk.make_read_only();
    let told = ran(&mut inspect(&ticket, &readings, &there));
    assert!(told.code == 2 && told.err.contains("read-only"), "{}", told.err);
    let told = ran(sustent(["forget", "PATROL-07", "--yes", "--in"]).arg(&disk.at));
    assert!(told.code == 2, "{}", told.err);
    assert_eq!(assert_whole_log(&there), codes);
}

#[test]
fn language_zone_and_clock_of_the_computer_change_nothing() {
    let shop = Shop::new();
    let ticket = shop.write("ticket.toml", one_foot());
    let job = |out: &str, changes: &[(&str, &str)]| -> PathBuf {
        let out = shop.path(out);
        let mut command = mill(&ticket, &out);
        command.envs(changes.iter().copied());
        assert_eq!(ran(&mut command).code, 0);
        out.join("PATROL-07-r2")
    };
    let here = job("here", &[]);
    let elsewhere = job(
        "elsewhere",
        &[
            ("LC_ALL", "de_DE.UTF-8"),
            ("LANG", "de_DE.UTF-8"),
            ("LC_NUMERIC", "de_DE.UTF-8"),
            ("TZ", "Pacific/Kiritimati"),
        ],
    );
    let plain = job("plain", &[("LC_ALL", "C"), ("TZ", "UTC"), ("HOME", "/nonexistent"), ("TERM", "dumb")]);
    for name in all_names(&here) {
        let bytes = fs::read(here.join(&name)).unwrap();
        assert!([&elsewhere, &plain].iter().all(|job| fs::read(job.join(&name)).unwrap() == bytes), "{name}");
    }
}

#[test]
fn a_ticket_from_another_system_at_an_odd_place_is_the_same_job() {
    let shop = Shop::new();
    let windows = format!("\u{feff}{}", one_foot().replace('\n', "\r\n"));
    let odd = shop.write("Büro 2/ 'a b' $x/雪 – ticket (1).toml", windows);
    let plain = shop.write("ticket.toml", one_foot());
    let [odd_job, plain_job] = [(odd, "été #1/out put"), (plain, "jobs")].map(|(ticket, out)| {
        let out = shop.path(out);
        let told = ran(&mut mill(&ticket, &out));
        assert_eq!(told.code, 0, "{}", told.err);
        out.join("PATROL-07-r2")
    });
    assert_whole(&odd_job);
    for name in all_names(&plain_job).iter().filter(|name| name.ends_with(".stl")) {
        assert_eq!(fs::read(odd_job.join(name)).unwrap(), fs::read(plain_job.join(name)).unwrap(), "{name}");
    }
}
