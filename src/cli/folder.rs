//! A job's folder on disk, or a single file: there whole or not at all, whatever happens on the way.
//!
//! The files are written into a hidden folder beside the goal, which then changes places with it.
//! Where the system can exchange two names in one step (Linux, macOS) there is no moment without a
//! whole job; elsewhere the earlier job is renamed first, and comes back if the run dies there.
//! Only one run at a time writes into a folder, so that whatever hidden folder it finds there was
//! left by a run that died.
//!
//! Files in an earlier job's folder that are not the program's own (notes, pictures) stay; where one of its own was
//! changed by hand since, no other job takes its place.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use super::failure::Failure;
use super::tickets::{read_bytes, read_text};
use crate::job::{self, OutFile};
use crate::written::LONGEST_TEXT;

/// What begins so is hidden and on its way in or out.
pub(super) const HIDDEN: &str = ".sustent-";
/// A job on its way in.
const NEW: &str = ".sustent-new-";
/// An earlier job on its way out, where names cannot be exchanged.
const OLD: &str = ".sustent-old-";
/// Locked where a folder itself cannot be.
const LOCK: &str = ".sustent-lock";
/// Names the files that are the program's own.
pub(super) const REPORT: &str = "job.json";
/// What is said of a file that may only be read.
pub(super) const PROTECTED: &str = "this file is write-protected";
/// What a failure means for a single file.
const NOT_WRITTEN: &str = "it was not written";
/// What it means where there was nothing to write yet.
const NOTHING: &str = "nothing was written";
/// What it means for the workshop.
const UNWRITTEN: &str = "nothing of this job was written";
/// Longest report of an earlier job that is read, bytes.
pub(super) const LONGEST_REPORT: usize = 16 << 20;
/// Characters of a file's name that it keeps on its way.
const LONGEST_NAME: usize = 40;
/// Longest other file of an earlier job that is read, bytes: a longer one was not written by this program.
const LONGEST_OWN: usize = 1 << 30;

/// Writes the files of one job into `out/name`.
pub(super) fn write(out: &Path, name: &str, files: &[OutFile]) -> Result<(), Failure> {
    let folder = out.join(name);
    let fault = |path: &Path, e: io::Error| Failure::of_io(path, &e).and(UNWRITTEN);
    fs::create_dir_all(out).map_err(|e| fault(out, e))?;
    let _lock = lock(out).map_err(|e| fault(out, e))?;
    sweep(out).map_err(|e| fault(out, e))?;
    if fs::symlink_metadata(&folder).is_ok_and(|there| !there.is_dir()) {
        return Err(Failure::of(&folder, "this is not a folder; move it away").and(UNWRITTEN));
    }
    refuse_loss(&folder, files)?;
    let whole = out.join(format!("{NEW}{name}"));
    let aside = out.join(format!("{OLD}{name}"));
    let written = fill(&whole, files)
        .and_then(|()| keep_foreign(&folder, &whole, files))
        .and_then(|()| take_place(&whole, &folder, &aside));
    if let Err(error) = written {
        // What cannot be removed now is swept by the next run.
        let _ = fs::remove_dir_all(&whole);
        return Err(fault(&folder, error));
    }
    sync_folder(out);
    // The earlier job now lies where the new one was written, or aside.
    for old in [whole, aside] {
        if keep_foreign(&old, &folder, files).is_ok() {
            let _ = fs::remove_dir_all(old);
        }
    }
    Ok(())
}

/// Whether a file can be written here, tried before there is anything to write.
pub(super) fn can_write(path: &Path) -> Result<(), Failure> {
    let (folder, whole) = (folder_of(path), on_its_way(path)?);
    let fault = |e: io::Error| Failure::of_io(folder, &e);
    if let Err(error) = fs::symlink_metadata(path)
        && error.kind() != io::ErrorKind::NotFound
    {
        return Err(Failure::of_io(path, &error));
    }
    let _lock = lock(folder).map_err(fault)?;
    File::create(&whole).and_then(|_| fs::remove_file(&whole)).map_err(fault)
}

/// Whether files can be written into this folder, or into the one in which it is to be made.
pub(super) fn can_fill(out: &Path) -> Result<(), Failure> {
    let there = out.ancestors().map(|folder| if folder.as_os_str().is_empty() { Path::new(".") } else { folder });
    let nearest = there.into_iter().find(|folder| folder.exists()).unwrap_or(Path::new("."));
    // A link that leads nowhere is a name that is taken all the same.
    if !nearest.is_dir() || (!out.exists() && fs::symlink_metadata(out).is_ok()) {
        return Err(Failure::of(out, "--out wants a folder, and this is none"));
    }
    can_write(&nearest.join("trial")).map_err(|failure| failure.and(NOTHING))
}

/// The folder in which a file lies.
pub(super) fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// The hidden name that a file has until it is whole.
fn on_its_way(path: &Path) -> Result<PathBuf, Failure> {
    let name = path.file_name().ok_or_else(|| Failure::of(path, "this names no file"))?;
    // A name may be as long as the disk takes, this one too.
    let name: String = name.to_string_lossy().chars().take(LONGEST_NAME).collect();
    Ok(folder_of(path).join(format!("{NEW}{}-{name}", std::process::id())))
}

/// Writes one file: there whole, or as it was before.
pub(super) fn write_file(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    write_file_with(path, |file| file.write_all(bytes))
}

/// Writes one file bit by bit: there whole, or as it was before.
pub(super) fn write_file_with(path: &Path, fill: impl FnOnce(&mut File) -> io::Result<()>) -> Result<(), Failure> {
    if path.is_dir() {
        return Err(Failure::of(path, "this is a folder; name a file"));
    }
    let path = &through_links(path);
    let _lock = lock(folder_of(path)).map_err(|e| Failure::of_io(path, &e).and(NOT_WRITTEN))?;
    // What cannot be swept is not in the way.
    let _ = sweep(folder_of(path));
    put(path, fill)
}

/// The file itself, where a path is a link to it: the link stays one.
pub(super) fn through_links(path: &Path) -> PathBuf {
    let is_link = fs::symlink_metadata(path).is_ok_and(|there| there.is_symlink());
    if is_link { fs::canonicalize(path).unwrap_or_else(|_| path.to_owned()) } else { path.to_owned() }
}

/// The same for the holder of the folder's lock. What may be done with a file that is there already stays.
pub(super) fn put(path: &Path, fill: impl FnOnce(&mut File) -> io::Result<()>) -> Result<(), Failure> {
    let whole = on_its_way(path)?;
    let rights = fs::metadata(path).map(|there| there.permissions()).ok();
    if rights.as_ref().is_some_and(fs::Permissions::readonly) {
        return Err(Failure::of(path, PROTECTED).and(NOT_WRITTEN));
    }
    let fresh = File::options().read(true).write(true).create(true).truncate(true).open(&whole);
    let written = fresh.and_then(|mut file| {
        if let Some(rights) = rights {
            // A disk that cannot change them has none to keep.
            let _ = file.set_permissions(rights);
        }
        fill(&mut file)?;
        file.sync_all()?;
        fs::rename(&whole, path)
    });
    if let Err(error) = written {
        let _ = fs::remove_file(&whole);
        return Err(Failure::of_io(path, &error).and(NOT_WRITTEN));
    }
    sync_folder(folder_of(path));
    Ok(())
}

/// Puts `to` where a file holds `from`, whole or not at all, and leaves the file as it was when it holds something else:
/// that is given back then. What the file's owner may do with it stays.
pub(super) fn replace_file(path: &Path, from: &str, to: &str) -> Result<Option<String>, Failure> {
    let path = &through_links(path);
    let folder = folder_of(path);
    let _lock = lock(folder).map_err(|e| Failure::of_io(folder, &e))?;
    let there = read_text(path, LONGEST_TEXT)?;
    if there != from {
        return Ok(Some(there));
    }
    let _ = sweep(folder);
    put(path, |file| file.write_all(to.as_bytes()))?;
    Ok(None)
}

/// Takes a job's folder away with all it holds: from one moment to the next it is no job any more.
pub(super) fn remove_folder(folder: &Path) -> Result<(), Failure> {
    let fault = |e: io::Error| Failure::of_io(folder, &e).and("it is still there");
    let (Some(out), Some(name)) = (folder.parent(), folder.file_name()) else {
        return Err(Failure::of(folder, "this names no folder"));
    };
    let _lock = lock(out).map_err(fault)?;
    sweep(out).map_err(fault)?;
    // Under this name the next run sweeps away what this one could not.
    let going = out.join(format!("{NEW}{}", name.to_string_lossy()));
    fs::rename(folder, &going).map_err(fault)?;
    fs::remove_dir_all(&going).map_err(|e| Failure::of_io(&going, &e).and("delete it by hand"))?;
    sync_folder(out);
    Ok(())
}

/// Takes a file away.
pub(super) fn remove_file(path: &Path) -> Result<(), Failure> {
    fs::remove_file(path).map_err(|e| Failure::of_io(path, &e).and("it is still there"))?;
    sync_folder(folder_of(path));
    Ok(())
}

/// Removes what runs that died have left in a folder, and puts back what they had moved aside.
pub(super) fn tidy(folder: &Path) -> Result<(), Failure> {
    let fault = |e: io::Error| Failure::of_io(folder, &e).and("what a run that broke off left there is still there");
    let _lock = lock(folder).map_err(fault)?;
    sweep(folder).map_err(fault)
}

/// Waits until no other run writes here; the lock ends with the file, and with the process.
pub(super) fn lock(out: &Path) -> io::Result<File> {
    let folder = File::open(out).and_then(|folder| folder.lock().map(|()| folder));
    // Some systems and some network disks cannot lock a folder.
    folder.or_else(|_| {
        let file = File::options().create(true).truncate(false).write(true).open(out.join(LOCK))?;
        file.lock().map(|()| file)
    })
}

/// Removes what runs that died have left, and puts back an earlier job that one of them had moved
/// aside. Only for the holder of the lock. What cannot be removed is in no other job's way.
fn sweep(out: &Path) -> io::Result<()> {
    for entry in fs::read_dir(out)? {
        let entry = entry?;
        let name = entry.file_name();
        let Some(name) = name.to_str() else { continue };
        if name.starts_with(NEW) {
            let _ = fs::remove_dir_all(entry.path()).or_else(|_| fs::remove_file(entry.path()));
        } else if let Some(job) = name.strip_prefix(OLD) {
            let folder = out.join(job);
            if fs::symlink_metadata(&folder).is_err() {
                fs::rename(entry.path(), folder)?;
            } else {
                let _ = fs::remove_dir_all(entry.path());
            }
        }
    }
    Ok(())
}

fn fill(whole: &Path, files: &[OutFile]) -> io::Result<()> {
    fs::create_dir(whole)?;
    for file in files {
        let mut out = File::create_new(whole.join(&file.name))?;
        out.write_all(&file.bytes)?;
        out.sync_all()?;
    }
    sync_folder(whole);
    Ok(())
}

/// Refuses where a file to be written has the name of one that is not of the earlier job, or was changed since by hand.
fn refuse_loss(folder: &Path, files: &[OutFile]) -> Result<(), Failure> {
    let own = own_files(folder);
    for file in files {
        let path = folder.join(&file.name);
        let told = match own.get(&file.name) {
            _ if fs::symlink_metadata(&path).is_err() => continue,
            None => "this file is not of an earlier job; move it away, or name another folder",
            Some(own) if !own.is_as_written(&path) => {
                "this file was changed since its job was written; move it away, or delete it where the change may go"
            }
            Some(_) => continue,
        };
        return Err(Failure::of(&path, told).and(UNWRITTEN));
    }
    Ok(())
}

/// Gives `to` everything in `from` that a person put there. Both hold it then, so that it survives
/// whichever of the two folders is the one that stays.
fn keep_foreign(from: &Path, to: &Path, files: &[OutFile]) -> io::Result<()> {
    if !from.is_dir() {
        return Ok(());
    }
    let own = own_files(from);
    for entry in fs::read_dir(from)? {
        let entry = entry?;
        let (name, path) = (entry.file_name(), entry.path());
        let is_new = files.iter().any(|file| name == *file.name);
        let is_own = name.to_str().and_then(|name| own.get(name)).is_some_and(|own| own.is_as_written(&path));
        if !is_new && !is_own {
            duplicate(&path, &to.join(name))?;
        }
    }
    sync_folder(to);
    Ok(())
}

/// A file that a job says is its own.
struct Own {
    /// As it was written; `None` for the report, which does not list itself.
    sha256: Option<String>,
}

impl Own {
    /// Whether nobody has changed it since.
    fn is_as_written(&self, path: &Path) -> bool {
        let is_plain = || fs::symlink_metadata(path).is_ok_and(|there| there.is_file());
        let now = || read_bytes(path, LONGEST_OWN).map(|bytes| job::sha256_hex(&bytes));
        self.sha256.as_ref().is_none_or(|then| is_plain() && now().is_ok_and(|now| now == *then))
    }
}

/// The names of the files that the job in this folder says are its own.
pub(super) fn own_names(folder: &Path) -> BTreeSet<String> {
    own_files(folder).into_keys().collect()
}

/// The files that the job in this folder says are its own, and what says so, by name; none when nothing readable does.
fn own_files(folder: &Path) -> BTreeMap<String, Own> {
    let report = read_bytes(&folder.join(REPORT), LONGEST_REPORT).unwrap_or_default();
    let report: serde_json::Value = serde_json::from_slice(&report).unwrap_or_default();
    let Some(files) = report["files"].as_array() else { return BTreeMap::new() };
    let listed = files.iter().filter_map(|file| {
        let sha256 = file["sha256"].as_str().map(str::to_owned);
        Some((file["file"].as_str()?.to_owned(), Own { sha256 }))
    });
    listed.chain([(REPORT.to_owned(), Own { sha256: None })]).collect()
}

/// A second name for a file where the disk has them, else a copy; folders with all they hold.
fn duplicate(from: &Path, to: &Path) -> io::Result<()> {
    if fs::symlink_metadata(from)?.is_dir() {
        fs::create_dir_all(to)?;
        for entry in fs::read_dir(from)? {
            let entry = entry?;
            duplicate(&entry.path(), &to.join(entry.file_name()))?;
        }
        sync_folder(to);
        return Ok(());
    }
    if fs::symlink_metadata(to).is_ok() {
        return Ok(());
    }
    fs::hard_link(from, to).or_else(|_| fs::copy(from, to).and_then(|_| File::open(to)?.sync_all()))
}

/// Puts `whole` where `folder` is; an earlier job ends where `whole` was, or `aside`.
fn take_place(whole: &Path, folder: &Path, aside: &Path) -> io::Result<()> {
    if !folder.exists() {
        return fs::rename(whole, folder);
    }
    if exchange(whole, folder).is_ok() {
        return Ok(());
    }
    fs::rename(folder, aside)?;
    fs::rename(whole, folder).inspect_err(|_| {
        // The next run puts it back when this one cannot.
        let _ = fs::rename(aside, folder);
    })
}

/// Exchanges two names in one step.
#[cfg(any(target_os = "linux", target_os = "macos"))]
fn exchange(a: &Path, b: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    Ok(renameat_with(CWD, a, CWD, b, RenameFlags::EXCHANGE)?)
}

#[cfg(not(any(target_os = "linux", target_os = "macos")))]
fn exchange(_: &Path, _: &Path) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

/// Makes the names in a folder last through a power cut. Not every system and disk can; then there
/// is nothing better to do.
fn sync_folder(folder: &Path) {
    if let Ok(folder) = File::open(folder) {
        let _ = folder.sync_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn report(words: &[(&str, &str)]) -> String {
        let listed = words.iter().map(|(name, text)| {
            format!(r#"{{"file": "{name}", "sha256": "{}"}}"#, crate::job::sha256_hex(text.as_bytes()))
        });
        format!(r#"{{"files": [{}]}}"#, listed.collect::<Vec<_>>().join(", "))
    }

    fn job(words: &[(&str, &str)]) -> Vec<OutFile> {
        words.iter().map(|(name, text)| OutFile { name: name.to_string(), bytes: text.as_bytes().to_vec() }).collect()
    }

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> =
            fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    #[test]
    fn a_new_job_takes_the_place_of_the_old_and_leaves_what_people_put_there() {
        let out = tempfile::tempdir().unwrap();
        let folder = out.path().join("A-r1");
        let report = r#"{"files": [{"file": "a.ngc"}, {"file": "gone.ngc"}]}"#;
        write(out.path(), "A-r1", &job(&[("a.ngc", "old"), ("gone.ngc", "old"), ("job.json", report)])).unwrap();
        fs::write(folder.join("notes.txt"), "pressed at the arch").unwrap();
        fs::create_dir(folder.join("pictures")).unwrap();
        fs::write(folder.join("pictures/left.jpg"), "light").unwrap();

        write(out.path(), "A-r1", &job(&[("a.ngc", "new"), ("job.json", "{}")])).unwrap();
        assert_eq!(names(&folder), ["a.ngc", "job.json", "notes.txt", "pictures"]);
        assert_eq!(fs::read_to_string(folder.join("a.ngc")).unwrap(), "new");
        assert_eq!(fs::read_to_string(folder.join("notes.txt")).unwrap(), "pressed at the arch");
        assert_eq!(fs::read_to_string(folder.join("pictures/left.jpg")).unwrap(), "light");
        assert_eq!(names(out.path()), ["A-r1"]);
    }

    #[test]
    fn a_file_that_is_not_of_the_earlier_job_is_not_replaced() {
        let out = tempfile::tempdir().unwrap();
        let folder = out.path().join("A-r1");
        let report = r#"{"files": [{"file": "a.ngc"}, {"file": "sheet.html"}]}"#;
        let files = job(&[("a.ngc", "new"), ("sheet.html", "new"), ("job.json", report)]);
        fs::create_dir(&folder).unwrap();
        for (name, text) in [("job.json", "[\"jobs to be done\"]"), ("sheet.html", "bed sheets"), ("a.ngc", "mine")] {
            fs::write(folder.join(name), text).unwrap();
            let told = write(out.path(), "A-r1", &files).unwrap_err().to_string();
            assert!(told.contains(name) && told.contains("not of an earlier job"), "{told}");
            assert_eq!(fs::read_to_string(folder.join(name)).unwrap(), text);
            fs::remove_file(folder.join(name)).unwrap();
        }
        write(out.path(), "A-r1", &files).unwrap();
        write(out.path(), "A-r1", &files).unwrap();
    }

    /// A program that was edited at the bench is lost neither to a new one nor when the new job has none of its name.
    #[test]
    fn what_was_changed_by_hand_is_not_replaced() {
        let out = tempfile::tempdir().unwrap();
        let folder = out.path().join("A-r1");
        let (left, right) = (("left.ngc", "G0 X1"), ("right.ngc", "G0 X2"));
        let told = report(&[left, right]);
        let both = job(&[left, right, ("job.json", &told)]);
        write(out.path(), "A-r1", &both).unwrap();
        write(out.path(), "A-r1", &both).unwrap();
        fs::write(folder.join("right.ngc"), "G0 X2 F9").unwrap();
        let refused = write(out.path(), "A-r1", &both).unwrap_err().to_string();
        assert!(refused.contains("right.ngc") && refused.contains("changed since"), "{refused}");
        assert_eq!(names(out.path()), ["A-r1"]);

        let left_alone = job(&[left, ("job.json", &report(&[left]))]);
        write(out.path(), "A-r1", &left_alone).unwrap();
        assert_eq!(names(&folder), ["job.json", "left.ngc", "right.ngc"]);
        assert_eq!(fs::read_to_string(folder.join("right.ngc")).unwrap(), "G0 X2 F9");
    }

    /// Whoever writes a single file holds the folder, so that no other run takes what is on its way for a dead run's.
    #[test]
    fn a_file_on_its_way_is_not_swept() {
        let out = tempfile::tempdir().unwrap();
        let (begun, was_begun) = std::sync::mpsc::channel();
        std::thread::scope(|scope| {
            let folder = out.path();
            scope.spawn(move || was_begun.recv().map(|()| tidy(folder).unwrap()));
            write_file_with(&out.path().join("a.zip"), |file| {
                begun.send(()).unwrap();
                // The other has time to do harm; it waits for this run.
                std::thread::sleep(std::time::Duration::from_millis(50));
                file.write_all(b"whole")
            })
            .unwrap();
        });
        assert_eq!(names(out.path()), ["a.zip"]);
    }

    #[cfg(unix)]
    #[test]
    fn what_may_be_done_with_a_file_stays() {
        use std::os::unix::fs::PermissionsExt;
        let out = tempfile::tempdir().unwrap();
        let path = out.path().join("log.jsonl");
        fs::write(&path, "one").unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o664)).unwrap();
        write_file(&path, b"two").unwrap();
        assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o664);
    }

    #[test]
    fn what_dead_runs_left_is_swept_and_an_earlier_job_comes_back() {
        let out = tempfile::tempdir().unwrap();
        fs::create_dir(out.path().join(".sustent-new-B-r1")).unwrap();
        fs::write(out.path().join(".sustent-new-B-r1/half.ngc"), "G0").unwrap();
        fs::create_dir(out.path().join(".sustent-old-C-r1")).unwrap();
        fs::write(out.path().join(".sustent-old-C-r1/whole.ngc"), "G0").unwrap();
        write(out.path(), "A-r1", &job(&[("a.ngc", "new")])).unwrap();
        assert_eq!(names(out.path()), ["A-r1", "C-r1"]);
        assert_eq!(names(&out.path().join("C-r1")), ["whole.ngc"]);
    }
}
