//! A job's folder is there whole or not at all: runs that are killed, runs at the same time, full
//! and read-only disks, and files that people put beside the program's.

mod shop;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use shop::{Dice, Shop, SmallDisk, all_names, assert_whole, changed, kills, mill, one_foot, ran, seen_names};
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
            while child.try_wait().unwrap().is_none() && leftovers(&out).is_empty() {
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
        fs::remove_dir_all(leftover).unwrap();
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
        assert!(told.err.contains(words) && told.err.contains("nothing of this job was written"), "{}", told.err);
        assert_eq!(all_names(&disk.at), [JOB]);
        let report = assert_whole(&disk.at.join(JOB));
        assert_eq!(report["ticket_sha256"], sha256_hex(one_foot().as_bytes()));
    };
    earlier_is_whole(ran(&mut mill(&new, &disk.at)), "the disk is full");
    disk.make_read_only();
    earlier_is_whole(ran(&mut mill(&new, &disk.at)), "read-only");
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
