//! `sustent intake`: measured feet become a ticket with starting values, each with its reason.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::apart::keep_apart;
use super::failure::Failure;
use super::output::Console;
use super::words::{self, wrapped};
use super::{Outcome, folder, over, tickets};
use crate::intake::{self, Asked, DerivedReport, FootIntake, Intake, IntakeError, JudgeError, Suggestion};
use crate::job::CheckReport;
use crate::limits::Finding;
use crate::profile::Shelf;

/// What `--help` adds.
pub(super) const HELP: &str = "\
Referral flags come first: past one that stops, no shape is suggested. Then what
the measures deserve to be asked, with the line; then every value with its
range, what it rests on, and its last reason. The rules are data: `sustent
profiles rules starting` shows them, --profiles DIR adds or changes them.

Examples:
  sustent intake --template --out measures.toml    the page to fill in
  sustent intake measures.toml --out ticket.toml
  sustent intake measures.toml --explain medial_arch

Exit status: 0 suggested, 1 no ticket (a flag, or a question that must be
answered first) or one that a limit stops, 2 could not be done.";

/// Longest file of measures that is read, bytes: a page is some kB.
const LONGEST_MEASURES: usize = 1 << 20;

/// Arguments of `intake`.
#[derive(Debug, clap::Args)]
pub(super) struct IntakeVerb {
    /// The measures
    #[arg(value_name = "MEASURES.toml", required_unless_present = "template")]
    measures: Option<PathBuf>,
    /// Write the ticket (or the template) here
    #[arg(long, value_name = "FILE.toml")]
    out: Option<PathBuf>,
    /// Print a page of measures to fill in
    #[arg(long, conflicts_with_all = ["measures", "explain"])]
    template: bool,
    /// Tell the whole chain behind one value, such as medial_arch
    #[arg(long, value_name = "VALUE")]
    explain: Option<String>,
    #[arg(skip)]
    open: OpenQuestions,
}

/// What an open question is to whoever runs the intake.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum OpenQuestions {
    /// Told, and no more.
    #[default]
    Told,
    /// Not good: nobody was there to answer it.
    NotGood,
}

/// What is told under `--json`.
#[derive(Serialize)]
struct Report<'a> {
    #[serde(flatten)]
    intake: &'a Intake,
    /// The chain of the value asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    explained: Option<Vec<String>>,
    /// The ticket's text; `null` when there is none.
    ticket: Option<&'a str>,
    /// Where it was written.
    written: Option<String>,
    /// What the limits find in it.
    findings: Vec<&'a Finding>,
    /// Whether the mill would take it.
    pass: bool,
}

impl IntakeVerb {
    /// The intake of these measures into that ticket.
    pub(super) fn of(measures: PathBuf, ticket: PathBuf, open: OpenQuestions) -> IntakeVerb {
        IntakeVerb { measures: Some(measures), out: Some(ticket), template: false, explain: None, open }
    }

    pub(super) fn run(&self, shelf: &Shelf, console: &Console) -> Outcome {
        let done = match &self.measures {
            Some(path) => self.taken(path, shelf, console),
            None => self.template(console),
        };
        done.unwrap_or_else(|failure| console.fail(&failure))
    }

    fn template(&self, console: &Console) -> Result<Outcome, Failure> {
        #[derive(Serialize)]
        struct Template<'a> {
            template: &'a str,
        }
        match &self.out {
            Some(path) => {
                over::nothing(path)?;
                folder::write_file(path, intake::TEMPLATE.as_bytes())?;
                let template = Template { template: intake::TEMPLATE };
                console.tell(&template, || format!("{}: fill it in", path.display()));
            }
            None => console.tell(&Template { template: intake::TEMPLATE }, || intake::TEMPLATE.trim_end().to_owned()),
        }
        Ok(Outcome::Good)
    }

    fn taken(&self, path: &Path, shelf: &Shelf, console: &Console) -> Result<Outcome, Failure> {
        keep_apart(&[("the page of measures", Some(path))], &[("the ticket", self.out.as_deref())])?;
        let text = tickets::read_text(path, LONGEST_MEASURES)?;
        let home = path.parent().unwrap_or(Path::new("."));
        let beside = |name: &str| tickets::beside(home, name);
        let mut taken =
            intake::intake(&text, &path.display().to_string(), shelf, &beside).map_err(|error| match error {
                IntakeError::Measures(_) if tickets::is_ticket(&text) => {
                    Failure::of(path, "this is a ticket and no page of measures: `sustent check` looks at it")
                }
                IntakeError::Measures(problems) => Failure::of_problems(path, problems),
                other => Failure::of(path, other),
            })?;
        let report = match intake::judged(&mut taken, shelf, &beside) {
            Ok(report) => report,
            Err(JudgeError::Ticket(problems)) => return Err(Failure::of_problems(path, problems)),
            // Measures of which no footbed can be made are the fitter's to look at, with the questions.
            Err(JudgeError::Job(error)) => {
                taken.ticket = None;
                taken.no_ticket.push(format!("no footbed can be made of these values: {error}"));
                None
            }
        };
        let explained = self.explain.as_deref().map(|value| intake::chain(&taken, value));
        let explained = explained.transpose().map_err(|why| Failure::of(path, why))?;
        if let (Some(out), Some(ticket)) = (&self.out, &taken.ticket) {
            over::ticket(out, ticket, None)?;
            folder::write_file(out, ticket.as_bytes())?;
        }
        self.tell(&taken, report.as_ref(), explained, console, path);
        let answered = self.open == OpenQuestions::Told || taken.questions.is_empty();
        let good = answered && report.is_some_and(|report| report.pass);
        Ok(if good { Outcome::Good } else { Outcome::NotGood })
    }

    fn tell(
        &self,
        taken: &Intake,
        judged: Option<&CheckReport>,
        explained: Option<Vec<String>>,
        console: &Console,
        path: &Path,
    ) {
        let findings: Vec<&Finding> = judged.iter().flat_map(|report| &report.feet).flat_map(|f| &f.findings).collect();
        let written = self.out.as_ref().filter(|_| taken.ticket.is_some()).map(|out| out.display().to_string());
        let report = Report {
            intake: taken,
            explained,
            ticket: taken.ticket.as_deref(),
            written,
            findings,
            pass: judged.is_some_and(|report| report.pass),
        };
        // With a file to write the ticket is what was asked for; else what is told is.
        if self.out.is_none() || report.explained.is_some() {
            return console.tell(&report, || in_words(&report, path));
        }
        let calm = report.pass && taken.questions.is_empty() && taken.flags.is_empty();
        let outcome = if calm { Outcome::Good } else { Outcome::NotGood };
        console.found(outcome, &report, || in_words(&report, path));
    }
}

fn in_words(report: &Report, path: &Path) -> String {
    let intake = report.intake;
    let mut lines = flag_lines(intake);
    if intake.stopped {
        // The flag is all that matters now: nothing that might be read as the start of a footbed.
        lines.push(wrapped("no ticket: ", STOPPED));
        return lines.join("\n");
    }
    if let Some(chain) = &report.explained {
        lines.extend(chain.iter().map(|line| wrapped("  ", line)));
        return lines.join("\n");
    }
    lines.push(format!("{}  from {}", intake.code, path.display()));
    let file = path.display().to_string();
    lines.extend(intake.questions.iter().map(|asked| asked_line("  question: ", asked, &file)));
    lines.extend(intake.within_error.iter().map(|asked| asked_line("  note: ", asked, &file)));
    for foot in &intake.feet {
        lines.extend(foot_lines(foot));
    }
    lines.extend(intake.making.iter().map(|words| wrapped("  made of: ", words)));
    lines.extend(intake.missing.iter().map(|missing| {
        wrapped(
            "  not measured: ",
            &format!("{}, would have its say in: {}", missing.input, missing.would_change.join(", ")),
        )
    }));
    for finding in &report.findings {
        lines.push(words::foot(finding.side));
        lines.push(words::finding(finding, None));
    }
    lines.extend(intake.no_ticket.iter().map(|why| wrapped("no ticket: ", why)));
    lines.extend(intake.questions.iter().map(|asked| open_line(asked, &file)));
    lines.extend(ending(report));
    lines.join("\n")
}

/// What is left to do past a flag that stops.
const STOPPED: &str = "once a clinician has said that a footbed may be made, write who and when under [person] as cleared, \
                       and ask again";

/// Where the ticket is and how it stands; why there is none is told before.
fn ending(report: &Report) -> Option<String> {
    let state = match (report.ticket, report.pass) {
        (None, _) => return None,
        (Some(_), true) => "the limits let it pass",
        (Some(_), false) => "the limits stop it until the stops above are settled",
    };
    let state = match report.intake.questions.len() {
        0 => state.to_owned(),
        1 => format!("{state}; a question is open"),
        several => format!("{state}; {several} questions are open"),
    };
    Some(match &report.written {
        Some(out) => wrapped("", &format!("ticket in {out}; {state}")),
        None => wrapped("", &format!("no ticket was written (--out FILE); {state}")),
    })
}

fn flag_lines(intake: &Intake) -> Vec<String> {
    let line = |flag: &intake::FlagReport| {
        let what = match (&flag.cleared, flag.stops) {
            (Some(cleared), _) => format!("cleared: {cleared}"),
            (None, true) => "a clinician sees this before any footbed; no shape is suggested".into(),
            (None, false) => "say that a clinician should see it; a footbed may be tried all the same".into(),
        };
        wrapped("REFER: ", &format!("{}; {what} [{}]", flag.words, flag.source))
    };
    intake.flags.iter().map(line).collect()
}

fn asked_line(first: &str, asked: &Asked, file: &str) -> String {
    let place = if asked.line > 0 { format!("{file}:{}:{}: ", asked.line, asked.column) } else { String::new() };
    let side = asked.side.map_or(String::new(), |side| format!("{} foot: ", side.name()));
    wrapped(first, &format!("{place}{side}{} [{}]", asked.words, asked.source))
}

/// The same question once more where the eye ends: a long intake has scrolled it away.
fn open_line(asked: &Asked, file: &str) -> String {
    let place = if asked.line > 0 { format!("{file}:{}: ", asked.line) } else { String::new() };
    let side = asked.side.map_or(String::new(), |side| format!("{} foot: ", side.name()));
    wrapped("still to answer: ", &format!("{place}{side}{}", asked.words))
}

fn foot_lines(foot: &FootIntake) -> Vec<String> {
    let mut lines = vec![format!("{} foot", foot.side.name())];
    lines.extend(foot.derived.iter().map(derived_line));
    if !foot.values.is_empty() {
        lines.push(format!("  {:<22}{:>7}  {:<14} {}", "start", "", "range", "rests on"));
    }
    for value in &foot.values {
        lines.push(value_line(value));
        lines.extend(value.steps.iter().map(|step| wrapped("      ", &format!("{} [{}]", step.words, step.source))));
    }
    lines
}

fn derived_line(derived: &DerivedReport) -> String {
    let class = derived.class.as_ref().map_or_else(String::new, |class| format!(" ({class})"));
    let cut_offs =
        if derived.cut_offs.is_empty() { String::new() } else { format!("{}. ", capital(&derived.cut_offs)) };
    let head = format!("  {} {}{class}. ", derived.name.replace('_', " "), derived.value);
    let error = if derived.error.is_empty() { String::new() } else { format!("{}. ", capital(&derived.error)) };
    wrapped("  ", &format!("{}{cut_offs}{error}It is not {}. [{}]", head.trim_start(), derived.is_not, derived.source))
}

/// A sentence begins with a capital.
fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn value_line(value: &Suggestion) -> String {
    let unit = if value.unit == "deg" { ", deg" } else { "" };
    let name = format!("{}{unit}", value.name.replace('_', " "));
    let number = value.suggested.map_or("-".into(), |number| format!("{number}"));
    let range = value.range.map_or(String::new(), |[least, most]| format!("{least} to {most}"));
    let rests = match value.name {
        _ if value.suggested.is_some() => value.confidence.words(),
        "heel_cup_width" | "flex_zone_thickness" => "left to follow from the others",
        _ => "nothing to start from",
    };
    format!("  {name:<22}{number:>7}  {range:<14} {rests}")
}
