//! `sustent compare`: what two tickets differ in.

use std::path::{Path, PathBuf};

use super::apart::keep_apart;
use super::failure::Failure;
use super::output::Console;
use super::over::{self, Made};
use super::tickets::{self, Loaded};
use super::words::{self, wrapped};
use super::{Outcome, SideArgument, folder};
use crate::draw::place_words;
use crate::frame::Side;
use crate::job::{
    self, Change, CompareError, Comparison, Difference, Extreme, FootComparison, HistoryEntry, Pair, Told,
};
use crate::profile::Shelf;
use crate::value::signed;

/// What `--help` adds.
pub(super) const HELP: &str = "\
OLD and NEW are tickets: two revisions of one, or any two that share a foot.
Everything that differs is told: values asked and read back, sizes, material,
blank, machine, cutters, what it does to the surface and in the boot, and which
findings come and go. A ticket's [[history]] keeps earlier changes in words, not
their values, so that a revision is compared by the file that was kept of it.
TICKET@2 says which revision a file must hold.

Examples:
  sustent compare ticket-r1.toml ticket.toml
  sustent compare ticket-r1.toml ticket.toml --side right --out change.html

Exit status: 0 compared, whether they differ or not, 2 could not be done.";

/// Arguments of `compare`.
#[derive(Debug, clap::Args)]
pub(super) struct Compare {
    /// The ticket before
    #[arg(value_name = "OLD")]
    old: PathBuf,
    /// The ticket after
    #[arg(value_name = "NEW")]
    new: PathBuf,
    /// Only this foot
    #[arg(long, value_enum)]
    side: Option<SideArgument>,
    /// Draw maps of the difference and sections here
    #[arg(long, value_name = "FILE.html")]
    out: Option<PathBuf>,
}

impl Compare {
    pub(super) fn run(&self, shelf: &Shelf, console: &Console) -> Outcome {
        match self.compared(shelf) {
            Err(failure) => console.fail(&failure),
            Ok(comparison) => {
                console.tell(&comparison, || in_words(&comparison));
                Outcome::Good
            }
        }
    }

    fn compared(&self, shelf: &Shelf) -> Result<Comparison, Failure> {
        let (old, new) = (revision(&self.old, shelf)?, revision(&self.new, shelf)?);
        let read = [("the old ticket", Some(old.path.as_path())), ("the new ticket", Some(new.path.as_path()))];
        keep_apart(&read, &[("the comparison", self.out.as_deref())])?;
        self.out.as_deref().map_or(Ok(()), |out| over::made(out, Made::Comparison))?;
        let side = self.side.map(Side::from);
        let compared = job::compare(&old.ticket, &new.ticket, side).map_err(|error| match error {
            CompareError::Old(error) => Failure::of(&old.path, error),
            CompareError::New(error) => Failure::of(&new.path, error),
            CompareError::NoFoot { .. } => Failure::of(&new.path, error),
        })?;
        if let Some(path) = &self.out {
            let sums = [&old, &new].map(|loaded| job::sha256_hex(loaded.text.as_bytes()));
            let html = job::comparison_page(&compared, [&sums[0], &sums[1]]).map_err(|e| Failure::of(path, e))?;
            folder::write_file(path, html.as_bytes())?;
        }
        Ok(compared.report)
    }
}

/// Reads a ticket; `name@revision` is the file `name`, which must hold that revision.
fn revision(given: &Path, shelf: &Shelf) -> Result<Loaded, Failure> {
    let whole = given.to_string_lossy();
    let asked = whole.rsplit_once('@').and_then(|(path, number)| {
        let number = number.strip_prefix('r').unwrap_or(number);
        Some((PathBuf::from(path), number.parse::<u32>().ok()?))
    });
    let Some((path, asked)) = asked.filter(|_| !given.exists()) else { return tickets::load(given, shelf) };
    let loaded = tickets::load(&path, shelf)?;
    let held = loaded.ticket.revision;
    if held == asked {
        return Ok(loaded);
    }
    let recorded = loaded.ticket.history.iter().any(|past| past.revision == asked);
    let why = if recorded {
        "its [[history]] tells in words what changed then, not the values, so that revision cannot be built again"
    } else {
        "its [[history]] does not know that revision either"
    };
    let error = format!(
        "this file holds revision {held}, not {asked}; {why}: name the ticket file that was kept of revision {asked}"
    );
    Err(Failure::of(&path, error))
}

fn in_words(c: &Comparison) -> String {
    let (old, new) = (&c.old, &c.new);
    let mut lines = vec![format!("{} r{} -> {} r{}", old.ticket, old.revision, new.ticket, new.revision)];
    lines.extend(c.notes.iter().map(|note| wrapped("  note: ", note)));
    if c.same {
        lines.push("nothing changed".into());
        return lines.join("\n");
    }
    lines.extend(c.changes.iter().map(|change| changed("", change)));
    lines.extend(c.history.added.iter().map(|entry| past("history", entry)));
    lines.extend(c.history.gone.iter().map(|entry| past("no longer in the history:", entry)));
    lines.extend(c.feet.iter().map(foot));
    lines.join("\n")
}

fn changed(foot: &str, change: &Change) -> String {
    let unit = change.unit.map_or(String::new(), |unit| format!(" {unit}"));
    let words = |told: &Option<Told>| told.as_ref().map_or("-".to_string(), Told::words);
    wrapped("  ", &format!("{foot}{}: {} -> {}{unit}", change.key, words(&change.old), words(&change.new)))
}

fn past(how: &str, entry: &HistoryEntry) -> String {
    let parts = [format!("r{}", entry.revision), entry.date.clone(), entry.change.clone(), entry.reason.clone()];
    let told: Vec<String> = parts.into_iter().filter(|part| !part.is_empty()).collect();
    wrapped("  ", &format!("{how} {}", told.join(", ")))
}

fn foot(foot: &FootComparison) -> String {
    let name = foot.side.name();
    if foot.same {
        return format!("{name} foot: the same piece, the same findings");
    }
    let mut lines = vec![format!("{name} foot")];
    lines.extend(foot.changes.iter().map(|change| changed(&format!("{name}."), change)));
    lines.extend(values(foot));
    lines.extend(boot(foot));
    lines.extend(surface("top", &foot.top));
    if foot.thickness != foot.top {
        lines.extend(surface("thickness", &foot.thickness));
    }
    let areas = &foot.areas;
    if areas.only_old_mm2 + areas.only_new_mm2 > 0.0 {
        lines.push(format!(
            "  outline: {:.1} cm2 only in the old one, {:.1} cm2 only in the new one",
            areas.only_old_mm2 / 100.0,
            areas.only_new_mm2 / 100.0
        ));
    }
    let reason = foot.accepted_reason.as_deref();
    for (how, findings, reason) in [("new", &foot.findings_appeared, reason), ("gone:", &foot.findings_gone, None)] {
        let words = findings.iter().map(|f| {
            let accepted = words::accepted(f, reason);
            wrapped("  ", &format!("{how} {}: {}{accepted}", f.severity.name(), f.message))
        });
        lines.extend(words);
    }
    lines.join("\n")
}

fn change_of(pair: &Pair) -> String {
    pair.change.map_or("-".into(), |change| signed(change, 2))
}

fn values(foot: &FootComparison) -> Vec<String> {
    let changed: Vec<_> = foot.values.iter().filter(|(_, value)| value.changed).collect();
    if changed.is_empty() {
        return vec![];
    }
    let row = |words: &str, cells: [String; 6], unit: &str| {
        let [a, b, c, d, e, f] = cells;
        format!("  {words:<20} {a:>7} {b:>7} {c:>7}   {d:>7} {e:>7} {f:>7} {unit}").trim_end().to_string()
    };
    let mut lines = vec![
        format!("  {:<20} {:>23}   {:>23}", "", "asked", "read back"),
        row("", ["old", "new", "change", "old", "new", "change"].map(String::from), ""),
    ];
    lines.extend(changed.into_iter().map(|(value, v)| {
        let three = |pair: &Pair| [words::hundredths(pair.old), words::hundredths(pair.new), change_of(pair)];
        let ([a, b, c], [d, e, f]) = (three(&v.asked), three(&v.read_back));
        row(&value.words(), [a, b, c, d, e, f], v.unit)
    }));
    lines
}

fn boot(foot: &FootComparison) -> Vec<String> {
    let told = foot.boot_effect.iter().filter(|(_, pair)| pair.old != pair.new).map(|(name, pair)| {
        let (words, unit) = name.rsplit_once('_').unwrap_or((name, ""));
        let words = words.replace('_', " ");
        format!(
            "  in the boot: {words} {} -> {} {unit} ({})",
            words::hundredths(pair.old),
            words::hundredths(pair.new),
            change_of(pair)
        )
    });
    told.collect()
}

fn surface(what: &str, d: &Difference) -> Vec<String> {
    let place = |e: &Extreme| format!("{} mm at {}", signed(e.mm, 2), place_words(e.station, e.at_mm[0]));
    let mut parts = vec![format!("mean change {} mm", signed(d.mean_mm, 2))];
    parts.extend((d.greatest.mm >= 0.005).then(|| place(&d.greatest)));
    parts.extend((d.least.mm <= -0.005).then(|| place(&d.least)));
    if parts.len() == 1 {
        return vec![format!("  {what}: no change of a hundredth of a mm")];
    }
    vec![wrapped("  ", &format!("{what}: {}", parts.join("; ")))]
}
