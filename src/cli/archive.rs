//! `sustent archive`: all that is kept of a code, in one file that says what is in it.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Component, Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use zip::write::SimpleFileOptions;
use zip::{DateTime, ZipArchive, ZipWriter};

use super::failure::Failure;
use super::kept::{Kept, Kind};
use super::output::Console;
use super::tickets::{open_file, read_bytes, read_text};
use super::{Outcome, folder, log, over, records};

/// What `--help` adds.
pub(super) const HELP: &str = "\
Puts tickets, measures, jobs, records of inspections and every other file that
names the code, or lies in a folder that does, into one zip file, with a list of
SHA-256. Records of others stay out, though a note in them names the code. It is
read back before it counts as written; nothing is taken away from where it is.
The same files give the same archive. `sustent forget` takes away.

Example:
  sustent archive PATROL-07 --in shop --out PATROL-07.zip

Exit status: 0 written, 2 could not be done.";

/// Arguments of `archive`.
#[derive(Debug, clap::Args)]
pub(super) struct Archive {
    /// The code
    #[arg(value_name = "CODE")]
    code: String,
    /// The folder to look through
    #[arg(long = "in", value_name = "DIR", default_value = ".")]
    folder: PathBuf,
    /// The archive to write; one that is there already is not written over
    #[arg(long, value_name = "FILE.zip")]
    out: PathBuf,
}

/// The list in an archive.
const LIST: &str = "archive.json";
/// The code's records, taken out of the log of this name.
const LOG_PART: &str = "inspections";
/// Where a file goes whose name another has in the archive.
const ALIKE: &str = "of-the-same-name";
/// Longest list that is read, bytes.
const LONGEST_LIST: u64 = 64 << 20;

/// What an archive says of itself.
#[derive(Serialize, Deserialize)]
struct List {
    archive_of: String,
    program: String,
    version: String,
    files: Vec<Listed>,
}

/// One file of an archive.
#[derive(Serialize, Deserialize)]
struct Listed {
    file: String,
    bytes: u64,
    sha256: String,
}

/// What was done.
#[derive(Serialize)]
struct Archived<'a> {
    archive: String,
    code: &'a str,
    files: usize,
    bytes: u64,
}

impl Archive {
    pub(super) fn run(&self, console: &Console) -> Outcome {
        match self.archived() {
            Err(failure) => console.fail(&failure),
            Ok(done) => {
                console.found(Outcome::Good, &done, || {
                    format!("{}: {} files of {}, read back and whole", done.archive, done.files, done.code)
                });
                Outcome::Good
            }
        }
    }

    fn archived(&self) -> Result<Archived<'_>, Failure> {
        over::nothing(&self.out)?;
        let kept = records::of_code(&self.folder, &self.code)?.kept;
        self.refuse_job_folders(&kept)?;
        let sources = sources(&self.folder, &kept, &self.code)?;
        folder::write_file_with(&self.out, |file| {
            let list = pack(&self.code, &sources, file)?;
            prove(&list, file)
        })?;
        let bytes = fs::metadata(&self.out).map_err(|e| Failure::of_io(&self.out, &e))?.len();
        Ok(Archived { archive: self.out.display().to_string(), code: &self.code, files: sources.len(), bytes })
    }

    /// What lies in a job's folder goes with the job.
    fn refuse_job_folders(&self, kept: &[Kept]) -> Result<(), Failure> {
        let Ok(out) = folder::folder_of(&self.out).canonicalize() else { return Ok(()) };
        let is_home = |kept: &Kept| {
            let job = self.folder.join(&kept.file).canonicalize();
            kept.kind == Kind::Job && job.is_ok_and(|job| out.starts_with(job))
        };
        match kept.iter().any(is_home) {
            true => Err(Failure::of(
                &self.out,
                "this lies in the folder of a job, which could not go with it there; name another place",
            )),
            false => Ok(()),
        }
    }
}

/// One file to be packed: its name in the archive, and where its bytes come from.
enum Source {
    File { name: String, path: PathBuf },
    Text { name: String, text: String },
}

/// Every file of what is kept; archives are not packed into archives.
fn sources(root: &Path, kept: &[Kept], code: &str) -> Result<Vec<Source>, Failure> {
    let mut sources = vec![];
    for kept in kept.iter().filter(|kept| kept.kind != Kind::Archive) {
        let path = root.join(&kept.file);
        match kept.kind {
            Kind::Log => {
                let text = read_bytes(&path, log::LONGEST_LOG)?;
                let text: String =
                    log::lines_of(&String::from_utf8_lossy(&text), code).map(|line| format!("{line}\n")).collect();
                sources.push(Source::Text { name: format!("{LOG_PART}/{}", slashed(&kept.file)), text });
            }
            Kind::Job => files_below(&path, &kept.file, &mut sources)?,
            // A log names it in the records of others, which are not this code's to hand on.
            Kind::Other if log::is_log(&path)? => {}
            // The list of an archive that was taken up again says nothing that the new one's does not.
            Kind::Other if kept.file == Path::new(LIST) && is_list(&path) => {}
            _ => sources.push(Source::File { name: slashed(&kept.file), path }),
        }
    }
    let mut taken = BTreeSet::from([LIST.to_owned()]);
    for source in &mut sources {
        let (Source::File { name, .. } | Source::Text { name, .. }) = source;
        while !taken.insert(name.clone()) {
            *name = format!("{ALIKE}/{name}");
        }
    }
    Ok(sources)
}

/// Whether a file is the list of an archive.
fn is_list(path: &Path) -> bool {
    let text = read_text(path, LONGEST_LIST as usize);
    text.is_ok_and(|text| serde_json::from_str::<List>(&text).is_ok_and(|list| list.program == env!("CARGO_PKG_NAME")))
}

/// The files of a folder, by name, those in folders too; links are not followed, as nowhere here.
fn files_below(folder: &Path, name: &Path, sources: &mut Vec<Source>) -> Result<(), Failure> {
    let fault = |e: io::Error| Failure::of_io(folder, &e);
    let entries: Vec<_> = fs::read_dir(folder).map_err(fault)?.collect::<Result<_, _>>().map_err(fault)?;
    let mut paths: Vec<PathBuf> = entries.into_iter().map(|entry| entry.path()).collect();
    paths.sort();
    for path in paths {
        let name = name.join(path.file_name().unwrap_or_default());
        let there = fs::symlink_metadata(&path).map_err(|e| Failure::of_io(&path, &e))?;
        if there.is_dir() {
            files_below(&path, &name, sources)?;
        } else if there.is_file() && !(is_zip(&path) && code_of(&path).is_some()) {
            sources.push(Source::File { name: slashed(&name), path });
        }
    }
    Ok(())
}

/// A path as archives write it.
fn slashed(path: &Path) -> String {
    let parts = path.components().filter(|part| matches!(part, Component::Normal(_)));
    parts.map(|part| part.as_os_str().to_string_lossy()).collect::<Vec<_>>().join("/")
}

/// Writes an archive and gives the list of what is in it.
fn pack(code: &str, sources: &[Source], out: &mut File) -> io::Result<List> {
    // The zip format's first date stands for none, so that the same files give the same archive.
    let options = SimpleFileOptions::default().last_modified_time(DateTime::DEFAULT).large_file(true);
    let mut out = Heard { out, error: None };
    let list = packed(code, sources, ZipWriter::new(&mut out), options);
    match out.error {
        Some(error) => Err(error),
        None => list,
    }
}

fn packed(
    code: &str,
    sources: &[Source],
    mut zip: ZipWriter<&mut Heard>,
    options: SimpleFileOptions,
) -> io::Result<List> {
    let mut files = vec![];
    for source in sources {
        let name = source.name().to_owned();
        zip.start_file(name.as_str(), options)?;
        let (bytes, sha256) = match source {
            Source::Text { text, .. } => copy(&mut text.as_bytes(), &mut zip)?,
            Source::File { path, .. } => copy(&mut open(path)?, &mut zip)?,
        };
        files.push(Listed { file: name, bytes, sha256 });
    }
    let list = List {
        archive_of: code.to_owned(),
        program: env!("CARGO_PKG_NAME").into(),
        version: env!("CARGO_PKG_VERSION").into(),
        files,
    };
    zip.start_file(LIST, options)?;
    zip.write_all(serde_json::to_string_pretty(&list)?.as_bytes())?;
    zip.finish()?;
    Ok(list)
}

/// A file whose first fault is kept and not told: the writer of archives would complain of each on standard error.
struct Heard<'a> {
    out: &'a mut File,
    error: Option<io::Error>,
}

impl Heard<'_> {
    fn heard<T>(&mut self, done: io::Result<T>, otherwise: T) -> io::Result<T> {
        Ok(done.unwrap_or_else(|error| {
            self.error.get_or_insert(error);
            otherwise
        }))
    }
}

impl Write for Heard<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        // Past the first fault nothing counts any more.
        let done = if self.error.is_some() { Ok(bytes.len()) } else { self.out.write(bytes) };
        self.heard(done, bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        let done = self.out.flush();
        self.heard(done, ())
    }
}

impl Seek for Heard<'_> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let done = self.out.seek(to);
        self.heard(done, 0)
    }
}

impl Source {
    fn name(&self) -> &str {
        match self {
            Source::File { name, .. } | Source::Text { name, .. } => name,
        }
    }
}

fn open(path: &Path) -> io::Result<File> {
    open_file(path).map(|(file, _)| file).map_err(|failure| io::Error::other(failure.to_string()))
}

/// Copies to the end; the number of bytes and their SHA-256.
fn copy(from: &mut impl Read, to: &mut impl Write) -> io::Result<(u64, String)> {
    let (mut digest, mut total, mut part) = (Sha256::new(), 0, vec![0; 1 << 16]);
    loop {
        let read = from.read(&mut part)?;
        if read == 0 {
            let hex = digest.finalize().iter().map(|byte| format!("{byte:02x}")).collect();
            return Ok((total, hex));
        }
        digest.update(&part[..read]);
        to.write_all(&part[..read])?;
        total += read as u64;
    }
}

/// Reads an archive back, every file of it.
fn prove(list: &List, file: &mut File) -> io::Result<()> {
    let mut zip = ZipArchive::new(file)?;
    for listed in &list.files {
        let (bytes, sha256) = copy(&mut zip.by_name(&listed.file)?, &mut io::sink())?;
        if (bytes, &sha256) != (listed.bytes, &listed.sha256) {
            return Err(io::Error::other(format!("{} does not come back from the archive as it went in", listed.file)));
        }
    }
    Ok(())
}

/// Whether a file has the ending of an archive.
pub(super) fn is_zip(path: &Path) -> bool {
    path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("zip"))
}

/// The code whose archive a zip file is; `None` where it is none of ours.
pub(super) fn code_of(path: &Path) -> Option<String> {
    let (file, _) = open_file(path).ok()?;
    let mut zip = ZipArchive::new(file).ok()?;
    let mut text = String::new();
    zip.by_name(LIST).ok()?.take(LONGEST_LIST).read_to_string(&mut text).ok()?;
    let list: List = serde_json::from_str(&text).ok()?;
    (list.program == env!("CARGO_PKG_NAME")).then_some(list.archive_of)
}
