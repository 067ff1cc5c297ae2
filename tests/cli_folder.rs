//! A job's folder is there whole or not at all: runs that are killed, runs at the same time, full
//! and read-only disks, and files that people put beside the program's.

mod shop;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use shop::{
    Dice, SAMPLE, Shop, SmallDisk, all_names, assert_whole, changed, kills, mill, one_foot, ran, seen_names, sustent,
};
use sustent::job::sha256_hex;

const JOB: &str = "PATROL-07-r2";

/// The same job from another text: every program carries the ticket's checksum.
fn reworded() -> String {
    changed(&one_foot(), "Volunteer patrol", "Volunteer mountain patrol")
}

fn quietly(mut command: Command) -> Child {
    command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap()
}

#[test]
fn a_killed_run_never_leaves_half_a_job() {
    let shop = Shop::new();
    let (old, new) = (shop.write("old.toml", one_foot()), shop.write("new.toml", reworded()));
    let checksums = [&old, &new].map(|path| sha256_hex(&fs::read(path).unwrap()));
    let out = shop.path("jobs");
    let began = Instant::now();
    assert_eq!(ran(&mut mill(&old, &out)).code, 0);
    let whole_run_ms = began.elapsed().as_millis() as u64;

    let mut dice = Dice(20_261_125);
    let mut in_the_middle = 0;
    for round in 0..kills(20) {
        // Every fourth kill falls anywhere, with what the last one left still there; the others
        // fall into the moments that matter, while the files are being written.
        let anywhere = round % 4 == 0;
        if !anywhere {
            remove_leftovers(&out);
        }
        let mut child = quietly(mill([&new, &old][round % 2], &out));
        if anywhere {
            sleep(Duration::from_millis(dice.throw(whole_run_ms + 100)));
        } else {
            while child.try_wait().unwrap().is_none() && !leftovers(&out).iter().any(|leftover| leftover.is_dir()) {
                sleep(Duration::from_micros(200));
            }
            sleep(Duration::from_micros(dice.throw(15_000)));
        }
        // `Child::kill` is SIGKILL on Unix: the program cannot clean up.
        let _ = child.kill();
        child.wait().unwrap();
        in_the_middle += usize::from(!anywhere && !leftovers(&out).is_empty());
        assert_eq!(seen_names(&out), [JOB], "round {round}");
        let ticket = assert_whole(&out.join(JOB))["ticket_sha256"].as_str().unwrap().to_string();
        assert!(checksums.contains(&ticket));
    }
    println!("{in_the_middle} of the aimed kills fell while files were being written");
    assert!(in_the_middle > 0 || kills(20) < 20, "no kill fell where it was aimed");
    assert_eq!(ran(&mut mill(&new, &out)).code, 0);
    assert_eq!(all_names(&out), [JOB], "the next run sweeps what the killed ones left");
    assert_eq!(assert_whole(&out.join(JOB))["ticket_sha256"], checksums[1]);
}

/// What runs are writing, or have left unfinished.
fn leftovers(out: &Path) -> Vec<PathBuf> {
    all_names(out).iter().filter(|name| name.starts_with(".sustent-")).map(|name| out.join(name)).collect()
}

fn remove_leftovers(out: &Path) {
    for leftover in leftovers(out) {
        fs::remove_dir_all(&leftover).or_else(|_| fs::remove_file(&leftover)).unwrap();
    }
}

#[test]
fn runs_at_the_same_time_do_not_mix() {
    let shop = Shop::new();
    let out = shop.path("jobs");
    let tickets = [
        shop.write("a.toml", one_foot()),
        shop.write("b.toml", reworded()),
        shop.write("c.toml", changed(&one_foot(), "\"PATROL-07\"", "\"PATROL-08\"")),
    ];
    let runs: Vec<Child> = tickets.iter().map(|ticket| quietly(mill(ticket, &out))).collect();
    for mut run in runs {
        assert_eq!(run.wait().unwrap().code(), Some(0));
    }
    assert_eq!(all_names(&out), [JOB, "PATROL-08-r2"]);
    assert_whole(&out.join(JOB));
    assert_whole(&out.join("PATROL-08-r2"));
}

#[test]
fn notes_stay_and_names_with_spaces_and_accents_do() {
    let shop = Shop::new();
    let ticket = shop.write("für die Patrouille/ticket.toml", one_foot());
    let out = shop.path("jobs été 雪");
    assert_eq!(ran(&mut mill(&ticket, &out)).code, 0);
    let notes = out.join(JOB).join("notes.txt");
    fs::write(&notes, "left: ground 1 mm at the toe").unwrap();
    fs::write(&ticket, reworded()).unwrap();
    assert_eq!(ran(&mut mill(&ticket, &out)).code, 0);
    assert_eq!(fs::read_to_string(notes).unwrap(), "left: ground 1 mm at the toe");
    assert_eq!(assert_whole(&out.join(JOB))["ticket_sha256"], sha256_hex(reworded().as_bytes()));
    assert_eq!(all_names(&out), [JOB]);
}

#[test]
fn a_goal_that_is_no_folder_is_told_and_left_alone() {
    let shop = Shop::new();
    let ticket = shop.write("ticket.toml", one_foot());
    let file = shop.write("jobs", "a file");
    let told = ran(&mut mill(&ticket, &file));
    assert_eq!(told.code, 2);
    assert!(told.err.contains(file.to_str().unwrap()), "{}", told.err);
    assert_eq!(fs::read_to_string(&file).unwrap(), "a file");

    let blocked = shop.write("other/PATROL-07-r2", "a file");
    let told = ran(&mut mill(&ticket, &shop.path("other")));
    assert_eq!(told.code, 2);
    assert!(told.err.contains("PATROL-07-r2: this is not a folder"), "{}", told.err);
    assert_eq!(fs::read_to_string(&blocked).unwrap(), "a file");
    assert_eq!(all_names(&shop.path("other")), [JOB]);
}

/// Each of these wrote over it without a word.
#[test]
fn what_somebody_else_wrote_is_never_written_over() {
    const NOTE: &str = "a note that is nobody's ticket\n";
    let shop = Shop::new();
    let ticket = shop.write("ticket.toml", changed(&one_foot(), "height = 29.7", "height = 22"));
    let other = shop.write("other.toml", reworded());
    let measures = shop.write("measures.toml", sustent::intake::TEMPLATE);
    let readings = shop.write("left.csv", "value,reading\nheel_thickness,4.5\n");
    let season = concat!(env!("CARGO_MANIFEST_DIR"), "/docs/examples/season.jsonl");
    let note = shop.write("note", NOTE);
    shop.write("man/sustent-mill.1", NOTE);
    let (ticket, other, measures) = (ticket.to_str().unwrap(), other.to_str().unwrap(), measures.to_str().unwrap());
    let (readings, man) = (readings.to_str().unwrap(), shop.path("man"));
    for (arguments, out) in [
        (vec!["intake", measures, "--out"], &note),
        (vec!["intake", "--template", "--out"], &note),
        (vec!["adjust", ticket, "--complaint", "arch_pressure", "--side", "right", "--out"], &note),
        (vec!["check", ticket, "--repair-out"], &note),
        (vec!["preview", ticket, "--no-paths", "--out"], &note),
        (vec!["compare", ticket, other, "--out"], &note),
        (vec!["inspect", ticket, "--side", "right", "--readings", readings, "--record"], &note),
        (vec!["drift", season, "--chart"], &note),
        (vec!["manual", "--out"], &man),
    ] {
        let told = ran(sustent(&arguments).arg(out));
        assert_eq!(told.code, 2, "{arguments:?}: {}", told.out);
        assert!(told.err.contains("name"), "{arguments:?}: {}", told.err);
        assert_eq!(fs::read_to_string(&note).unwrap(), NOTE, "{arguments:?}");
        assert_eq!(all_names(&man), ["sustent-mill.1"], "{arguments:?}");
        // An empty file is nobody's, and what the program wrote there is its own.
        let own = shop.write("own", "");
        let told = ran(sustent(&arguments).arg(if out == &man { &man } else { &own }));
        if out == &man {
            shop.write("man/sustent-mill.1", "");
            assert_eq!(ran(sustent(&arguments).arg(&man)).code, 0);
            assert_eq!(ran(sustent(&arguments).arg(&man)).code, 0);
            continue;
        }
        assert!(told.code <= 1, "{arguments:?}: {}", told.err);
        let first = fs::read(&own).unwrap();
        assert!(!first.is_empty(), "{arguments:?}: {}", told.out);
        let again = ran(sustent(&arguments).arg(&own));
        assert_eq!(again.code > 1, arguments.contains(&"--template"), "{arguments:?}: {}", again.err);
        assert_eq!(fs::read(&own).unwrap(), first, "{arguments:?}");
    }
}

/// Revision 4, changed by hand, became revision 1; another wearer's measures became a ticket.
#[test]
fn a_ticket_is_not_written_over_another_ticket_or_over_measures() {
    let shop = Shop::new();
    let measures = shop.write("measures.toml", sustent::intake::TEMPLATE);
    let out = shop.path("ticket.toml");
    let intake = || ran(sustent(["intake"]).arg(&measures).arg("--out").arg(&out));
    assert!(intake().code <= 1 && intake().code <= 1, "what it wrote itself it may write again");
    let adjust = |ticket: &Path, out: &Path| {
        let mut command = sustent(["adjust", "--complaint", "arch_pressure", "--side", "right"]);
        ran(command.arg(ticket).arg("--out").arg(out))
    };
    let first = fs::read_to_string(&out).unwrap();
    let kept = shop.write("kept.toml", &first);
    assert_eq!(adjust(&out, &out).code, 0, "its own input is its own");
    let second = fs::read_to_string(&out).unwrap();
    let refused = intake();
    assert_eq!(refused.code, 2, "{}", refused.out);
    assert!(refused.err.contains("revision 2 already, and revision 1 is not written over it"), "{}", refused.err);
    // Of the same code and revision, but of another history.
    let lifted = shop.write("lifted.toml", second.replace("arch_pressure", "heel_lift"));
    let refused = adjust(&kept, &lifted);
    assert!(refused.code == 2 && refused.err.contains("[[history]] tells of changes"), "{}", refused.err);
    let other = shop.write("other.toml", SAMPLE);
    let refused = adjust(&kept, &other);
    assert!(refused.code == 2 && refused.err.contains("this is the ticket of PATROL-07"), "{}", refused.err);
    let refused = adjust(&kept, &measures);
    assert!(refused.code == 2 && refused.err.contains("these are the measures of PATROL-11"), "{}", refused.err);
    assert_eq!(fs::read_to_string(&out).unwrap(), second);
    assert_eq!(fs::read_to_string(&other).unwrap(), SAMPLE);
    assert_eq!(fs::read_to_string(&measures).unwrap(), sustent::intake::TEMPLATE);
}

/// The right foot's programs went without a line; a stopped change left the old ones there without one.
#[test]
fn what_becomes_of_an_earlier_job_is_told() {
    let shop = Shop::new();
    let ticket = shop.write("ticket.toml", SAMPLE);
    let out = shop.path("jobs");
    let first = ran(&mut mill(&ticket, &out));
    assert!(first.code == 0 && !first.out.contains("replaced"), "{}", first.out);
    let again = ran(&mut mill(&ticket, &out));
    assert!(again.code == 0 && !again.out.contains("replaced"), "{}", again.out);
    let edited = out.join(JOB).join("PATROL-07-r2-R-frame.ngc");
    let text = fs::read_to_string(&edited).unwrap();
    fs::write(&edited, format!("{text}\n")).unwrap();
    let left = ran(mill(&ticket, &out).args(["--side", "left"]));
    let told = left.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        told.contains("note: the earlier job of this ticket is replaced; 7 of its files are gone, among"),
        "{told}"
    );
    assert!(told.contains("PATROL-07-r2-R-top-2-finish.ngc"), "{told}");
    assert!(told.contains("no part of the job: PATROL-07-r2-R-frame.ngc") && edited.exists(), "{told}");
    fs::remove_file(edited).unwrap();
    shop.write("ticket.toml", one_foot());
    let other = ran(mill(&ticket, &out).arg("--json")).json();
    assert_eq!(other["replaced"]["other_ticket"], true);
    assert!(other["replaced"]["gone"].as_array().unwrap().iter().all(|file| file.as_str().unwrap().contains("-L-")));
    shop.write("ticket.toml", changed(&one_foot(), "height = 29.7", "height = 12"));
    let stopped = ran(&mut mill(&ticket, &out));
    let told = stopped.out.split_whitespace().collect::<Vec<_>>().join(" ");
    let lie = format!("note: programs of the earlier ticket still lie in {}", out.join(JOB).display());
    assert!(stopped.code == 1 && told.contains(&lie), "{told}");
    assert_whole(&out.join(JOB));
}

#[cfg(unix)]
#[test]
fn a_link_is_not_followed_out_of_the_folder() {
    let shop = Shop::new();
    let ticket = shop.write("ticket.toml", one_foot());
    let precious = shop.write("elsewhere/precious.txt", "keep me");
    fs::create_dir(shop.path("jobs")).unwrap();
    std::os::unix::fs::symlink(shop.path("elsewhere"), shop.path("jobs").join(JOB)).unwrap();
    let told = ran(&mut mill(&ticket, &shop.path("jobs")));
    assert_eq!(told.code, 2, "{}", told.out);
    assert_eq!(all_names(precious.parent().unwrap()), ["precious.txt"]);
}

fn bytes_in(folder: &Path) -> u64 {
    fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().metadata().unwrap().len()).sum()
}

#[test]
fn full_and_read_only_disks_keep_the_earlier_job() {
    let shop = Shop::new();
    let (old, new) = (shop.write("old.toml", one_foot()), shop.write("new.toml", reworded()));
    let roomy = shop.path("roomy");
    assert_eq!(ran(&mut mill(&old, &roomy)).code, 0);
    // There is room for one job and not for a second beside it.
    let size = format!("{}k", 3 * bytes_in(&roomy.join(JOB)) / 2 / 1024);
    let Some(disk) = SmallDisk::new(shop.path("disk"), &size) else { return };
    let first = ran(&mut mill(&old, &disk.at));
    assert_eq!(first.code, 0, "{}", first.err);

    let earlier_is_whole = |told: shop::Ran, words: &str| {
        assert_eq!((told.code, told.out.as_str()), (2, ""));
        assert!(told.err.contains(words), "{}", told.err);
        assert_eq!(all_names(&disk.at), [JOB]);
        let report = assert_whole(&disk.at.join(JOB));
        assert_eq!(report["ticket_sha256"], sha256_hex(one_foot().as_bytes()));
    };
    earlier_is_whole(ran(&mut mill(&new, &disk.at)), "the disk is full; nothing of this job was written");
    disk.make_read_only();
    earlier_is_whole(ran(&mut mill(&new, &disk.at)), "read-only; nothing was written");
}

#[cfg(unix)]
#[test]
fn a_folder_without_the_right_to_write_is_told() {
    use std::os::unix::fs::PermissionsExt;
    let shop = Shop::new();
    let out = shop.path("jobs");
    fs::create_dir(&out).unwrap();
    fs::set_permissions(&out, fs::Permissions::from_mode(0o555)).unwrap();
    if fs::write(out.join("probe"), "").is_ok() {
        println!("this user may write everywhere: a folder without the right is not tested");
        return;
    }
    let told = ran(&mut mill(&shop.write("ticket.toml", one_foot()), &out));
    assert_eq!(told.code, 2);
    assert!(told.err.contains("no right"), "{}", told.err);
    assert_eq!(all_names(&out), Vec::<String>::new());
}
