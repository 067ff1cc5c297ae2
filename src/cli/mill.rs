//! `sustent mill`: the main job, for one ticket or many.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use rayon::prelude::*;
use serde::Serialize;

use super::check::finding_words;
use super::output::Console;
use super::tickets::{self, Loaded};
use super::{Outcome, SideArgument};
use crate::job::{self, JobReport, Made, OutFile, Precision};
use crate::profile::Shelf;

/// Arguments of `mill`.
#[derive(Debug, clap::Args)]
pub(super) struct Mill {
    /// Tickets, or folders of tickets
    #[arg(required = true, value_name = "TICKET")]
    tickets: Vec<PathBuf>,
    /// Folder in which each job gets a folder of its own
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Only this foot
    #[arg(long, value_enum)]
    side: Option<SideArgument>,
}

/// What became of one ticket.
#[derive(Serialize)]
#[serde(untagged)]
enum Ending {
    Made(Box<JobReport>),
    Failed { file: String, error: String },
}

impl Ending {
    fn outcome(&self) -> Outcome {
        match self {
            Ending::Made(report) if report.pass => Outcome::Good,
            Ending::Made(_) => Outcome::NotGood,
            Ending::Failed { .. } => Outcome::CouldNot,
        }
    }
}

impl Mill {
    pub(super) fn run(&self, shelf: &Shelf, console: &Console) -> Outcome {
        let files = match tickets::files(&self.tickets) {
            Ok(files) => files,
            Err(message) => {
                console.error(&message);
                return Outcome::CouldNot;
            }
        };
        let bar = console.progress(files.len());
        let endings: Vec<Ending> = files
            .par_iter()
            .map(|path| {
                let ending = self.one(path, shelf, console);
                bar.inc(1);
                ending
            })
            .collect();
        bar.finish_and_clear();
        self.tell(&endings, console);
        endings.iter().map(Ending::outcome).max().unwrap_or(Outcome::CouldNot)
    }

    fn one(&self, path: &Path, shelf: &Shelf, console: &Console) -> Ending {
        let failed = |error: String| Ending::Failed { file: path.display().to_string(), error };
        let loaded = match tickets::load(path, shelf, console) {
            Ok(loaded) => loaded,
            Err(error) => return failed(error),
        };
        if let Some(missing) = self.missing_side(&loaded) {
            return failed(format!("{}: {missing}", path.display()));
        }
        match job::make(&loaded.ticket, &loaded.text, self.side.map(Into::into), Precision::SHOP) {
            Err(error) => failed(format!("{}: {error}", path.display())),
            Ok(Made { report, files }) => match write_job(&self.folder(&report), &files) {
                Ok(()) => Ending::Made(Box::new(report)),
                Err(error) => failed(error),
            },
        }
    }

    fn missing_side(&self, loaded: &Loaded) -> Option<String> {
        let side = self.side.map(crate::frame::Side::from)?;
        let there = loaded.ticket.feet.iter().any(|order| order.side == side);
        (!there).then(|| format!("the ticket has no {} foot", side.name()))
    }

    fn folder(&self, report: &JobReport) -> PathBuf {
        self.out.join(format!("{}-r{}", report.ticket, report.revision))
    }

    fn tell(&self, endings: &[Ending], console: &Console) {
        for ending in endings {
            match ending {
                Ending::Made(report) => console.say(&words(report, &self.folder(report))),
                Ending::Failed { error, .. } => console.error(error),
            }
        }
        match endings {
            [one] => console.document(one),
            many => console.document(&many),
        }
    }
}

fn words(report: &JobReport, folder: &Path) -> String {
    let mut lines = vec![format!("{} r{}", report.ticket, report.revision)];
    for foot in &report.feet {
        lines.push(format!("  {} foot", foot.side.name()));
        lines.extend(foot.findings.iter().map(|f| finding_words(f, foot.accepted_reason.as_deref())));
    }
    if let Some(proof) = &report.proof {
        lines.extend(proof.violations.iter().map(|v| format!("  refused: {}:{}: {}", v.file, v.line, v.message)));
        lines.push(format!(
            "  proof: {:.3} mm below the design at most, scallop {} (99 %), {} rapids in stock",
            proof.max_gouge_mm,
            proof.scallop_p99_mm.map_or("unknown".into(), |h| format!("{h:.3} mm")),
            proof.rapid_contacts
        ));
    }
    lines.extend(
        report.programs.iter().map(|p| format!("  {:<36} {:>6.1} min  {}", p.file, p.time_s / 60.0, p.cutter.name)),
    );
    lines.push(if report.pass {
        format!("  {} files in {}", report.files.len() + 1, folder.display())
    } else {
        "  stopped: nothing was written".into()
    });
    lines.join("\n")
}

/// Temporary folders are private; a job's folder is for the workshop.
#[cfg(unix)]
fn make_readable(folder: &Path) -> std::io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    fs::set_permissions(folder, fs::Permissions::from_mode(0o755))
}

#[cfg(not(unix))]
fn make_readable(_: &Path) -> std::io::Result<()> {
    Ok(())
}

/// Writes the files of one job: all of them into a folder of their own beside the goal, which then
/// takes the goal's place, so that a job is there whole or not at all.
fn write_job(folder: &Path, files: &[OutFile]) -> Result<(), String> {
    if files.is_empty() {
        return Ok(());
    }
    let parent = folder.parent().unwrap_or(Path::new("."));
    let fault = |path: &Path| {
        let path = path.display().to_string();
        move |e: std::io::Error| format!("{path}: {e}; nothing of this job was written")
    };
    fs::create_dir_all(parent).map_err(fault(parent))?;
    let whole = tempfile::Builder::new().prefix(".sustent-").tempdir_in(parent).map_err(fault(parent))?;
    for file in files {
        let path = whole.path().join(&file.name);
        let mut out = fs::File::create(&path).map_err(fault(&path))?;
        out.write_all(&file.bytes).and_then(|()| out.sync_all()).map_err(fault(&path))?;
    }
    make_readable(whole.path()).map_err(fault(whole.path()))?;
    replace(whole, folder).map_err(fault(folder))
}

/// Puts `whole` where `folder` is. An earlier job of the same revision is moved aside first and
/// moved back when the new one cannot take its place.
fn replace(whole: tempfile::TempDir, folder: &Path) -> std::io::Result<()> {
    if !folder.exists() {
        fs::rename(whole.path(), folder)?;
        let _ = whole.keep();
        return Ok(());
    }
    let parent = folder.parent().unwrap_or(Path::new("."));
    let aside = tempfile::Builder::new().prefix(".sustent-old-").tempdir_in(parent)?;
    let old = aside.path().join("job");
    fs::rename(folder, &old)?;
    if let Err(error) = fs::rename(whole.path(), folder) {
        fs::rename(&old, folder)?;
        return Err(error);
    }
    let _ = whole.keep();
    Ok(())
}
