//! What tests of the command share: the sample ticket with changes, a folder to work in, the
//! program, and a look at what it left.
#![allow(dead_code)] // each test program uses its part

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use serde_json::Value;
use sustent::job::sha256_hex;
use tempfile::TempDir;

/// The sample ticket, two feet.
pub const SAMPLE: &str = include_str!("../../output-samples/PATROL-07/ticket.toml");

/// The sample ticket's right foot alone: half the work.
pub fn one_foot() -> String {
    let (before, rest) = SAMPLE.split_once("[left.foot]").expect("the sample has a left foot");
    let (_, right) = rest.split_once("[right.foot]").expect("the sample has a right foot");
    format!("{before}[right.foot]{right}")
}

/// `text` with one piece replaced, which must be there exactly once.
pub fn changed(text: &str, old: &str, new: &str) -> String {
    assert_eq!(text.matches(old).count(), 1, "the ticket has {old:?} once");
    text.replace(old, new)
}

/// A folder of its own for one test.
pub struct Shop {
    folder: TempDir,
}

impl Shop {
    pub fn new() -> Shop {
        Shop { folder: tempfile::tempdir().unwrap() }
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn write(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, bytes).unwrap();
        path
    }
}

/// How many times a run is killed: as many as `SUSTENT_KILLS` asks for, or this many.
pub fn kills(usual: usize) -> usize {
    std::env::var("SUSTENT_KILLS").ok().and_then(|n| n.parse().ok()).unwrap_or(usual)
}

/// Numbers that look random and are the same each time (Lehmer's generator; Park and Miller 1988).
pub struct Dice(pub u64);

impl Dice {
    pub fn throw(&mut self, sides: u64) -> u64 {
        self.0 = self.0 * 48_271 % 2_147_483_647;
        self.0 % sides
    }
}

/// A small disk, which only root can make.
pub struct SmallDisk {
    pub at: PathBuf,
}

impl SmallDisk {
    pub fn new(at: PathBuf, size: &str) -> Option<SmallDisk> {
        fs::create_dir_all(&at).unwrap();
        let mount =
            Command::new("mount").args(["-t", "tmpfs", "-o", &format!("size={size}"), "tmpfs"]).arg(&at).output();
        let mounted = mount.is_ok_and(|output| output.status.success());
        if !mounted {
            println!("no right to mount a small disk: full and read-only disks are not tested");
        }
        mounted.then_some(SmallDisk { at })
    }

    pub fn make_read_only(&self) {
        let remount = Command::new("mount").args(["-o", "remount,ro"]).arg(&self.at).status().unwrap();
        assert!(remount.success());
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(&self.at).status();
    }
}

/// The program, not yet started.
pub fn sustent<A: AsRef<std::ffi::OsStr>>(arguments: impl IntoIterator<Item = A>) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sustent"));
    command.args(arguments).stdin(Stdio::null()).env_remove("NO_COLOR");
    command
}

/// `mill TICKET --out OUT`.
pub fn mill(ticket: &Path, out: &Path) -> Command {
    let mut command = sustent(["mill"]);
    command.arg(ticket).arg("--out").arg(out);
    command
}

/// How a run ended.
pub struct Ran {
    pub code: i32,
    pub out: String,
    pub err: String,
}

pub fn ran(command: &mut Command) -> Ran {
    let Output { status, stdout, stderr } = command.output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    let ran = Ran { code: status.code().unwrap_or(255), out: text(stdout), err: text(stderr) };
    assert!(!ran.err.contains("panicked"), "{}", ran.err);
    ran
}

impl Ran {
    /// Standard output as the one JSON document that it must be.
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.out)
            .unwrap_or_else(|e| panic!("standard output is not one JSON document: {e}\n{}\n{}", self.out, self.err))
    }
}

/// What lies in a folder, hidden files too.
pub fn all_names(folder: &Path) -> Vec<String> {
    let Ok(entries) = fs::read_dir(folder) else { return vec![] };
    let mut names: Vec<String> = entries.map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

/// What a person sees in a folder.
pub fn seen_names(folder: &Path) -> Vec<String> {
    all_names(folder).into_iter().filter(|name| !name.starts_with('.')).collect()
}

/// Checks every file of a job's folder against its report, which names the ticket it was made from.
pub fn assert_whole(job: &Path) -> Value {
    let report: Value = serde_json::from_slice(&fs::read(job.join("job.json")).unwrap()).unwrap();
    let files = report["files"].as_array().unwrap();
    assert!(files.len() > 5);
    for file in files {
        let name = file["file"].as_str().unwrap();
        let bytes = fs::read(job.join(name)).unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!(file["sha256"].as_str().unwrap(), sha256_hex(&bytes), "{name} is not what job.json says");
    }
    report
}
