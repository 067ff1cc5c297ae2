//! The command: arguments, files, progress, exit status. Nothing here knows mathematics.

mod adjust;
mod apart;
mod archive;
mod batch;
mod before;
mod check;
mod compare;
mod desk;
mod drift;
mod failure;
mod folder;
mod forget;
mod impression;
mod inspect;
mod intake;
mod kept;
mod log;
mod manual;
mod mill;
mod new;
mod output;
mod over;
mod preview;
mod profiles;
mod prove;
mod records;
mod repair;
mod tickets;
mod words;

use std::ffi::OsString;
use std::path::PathBuf;

use clap::{CommandFactory, Parser, Subcommand};
use serde::Serialize;

use crate::frame::Side;
use failure::Failure;
use output::{Console, Detail, Form};
use words::COLUMNS;

/// How a run ends; the number is the exit status.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Outcome {
    /// Done, and good.
    Good = 0,
    /// Done, and not good: a stop, a refused proof.
    NotGood = 1,
    /// Could not be done: bad usage, unreadable or invalid input.
    CouldNot = 2,
}

/// Ski-boot footbeds from measured feet: design, check, mill and prove.
#[derive(Debug, Parser)]
#[command(name = "sustent", version, arg_required_else_help = true, max_term_width = COLUMNS, after_help = HELP)]
struct Arguments {
    #[command(subcommand)]
    verb: Verb,
    /// One JSON document on standard output and nothing else there
    #[arg(long, global = true)]
    json: bool,
    /// A folder of profiles that add to the built-in ones or take their place
    #[arg(long, global = true, value_name = "DIR")]
    profiles: Option<PathBuf>,
    /// Tell only what is not good; the exit status tells the rest
    #[arg(long, short, global = true, conflicts_with = "verbose")]
    quiet: bool,
    /// Tell everything: the values of a milled job, and of each of many tickets
    #[arg(long, short, global = true)]
    verbose: bool,
}

impl Arguments {
    fn detail(&self) -> Detail {
        match (self.quiet, self.verbose) {
            (true, _) => Detail::Little,
            (false, true) => Detail::Much,
            (false, false) => Detail::Usual,
        }
    }
}

/// What `--help` adds.
const HELP: &str = "\
Examples:
  sustent new --out ticket.toml            asked one by one, from nothing
  sustent intake measures.toml --out ticket.toml   measured feet to start from
  sustent impression left.stl --side left  a scan of a foot, measured
  sustent check ticket.toml                what will not stand, and the way out
  sustent preview ticket.toml --out look.html   the drawing to look at, one page
  sustent desk ticket.toml                 the same, its values to be changed
  sustent mill ticket.toml --out jobs      programs, proof, outline, mesh, sheet
  sustent prove jobs/PATROL-07-r2/*-L-top-*.ngc --ticket ticket.toml --side left
  sustent inspect ticket.toml --side left --readings left.csv
  sustent compare ticket-r1.toml ticket.toml --out change.html
  sustent profiles materials eva-firm      every number and where it comes from

Messages go to standard error. Under --json a failure, too, is one document on
standard output: {\"file\", \"error\", \"problems\": [{\"line\", \"column\", ...}]}.

Exit status: 0 good, 1 checked and not good, 2 could not be done.";

/// What `completions --help` adds.
const COMPLETIONS_HELP: &str = "\
Example:
  sustent completions bash > ~/.local/share/bash-completion/completions/sustent";

#[derive(Debug, Subcommand)]
enum Verb {
    /// Ask for the measures one by one, and write them and a ticket
    #[command(after_help = new::HELP)]
    New(new::New),
    /// Turn measured feet into a ticket, each value with its reason
    #[command(after_help = intake::HELP)]
    Intake(intake::IntakeVerb),
    /// Suggest one change of 1 mm or 1 degree for a complaint
    #[command(after_help = adjust::HELP)]
    Adjust(adjust::Adjust),
    /// Measure a scan of a foot or its mould, and make a ticket of it
    #[command(after_help = impression::HELP)]
    Impression(impression::ImpressionVerb),
    /// Turn tickets into proven programs, outlines, meshes and sheets
    #[command(after_help = mill::HELP)]
    Mill(mill::Mill),
    /// Show all findings, how far each value may go, and the way out
    #[command(after_help = check::HELP)]
    Check(check::Check),
    /// Draw one page to look at before a blank is committed
    #[command(after_help = preview::HELP)]
    Preview(preview::PreviewVerb),
    /// Change values on the drawing, live, and save a new revision
    #[command(after_help = desk::HELP)]
    Desk(desk::DeskVerb),
    /// Carve programs from their own text and judge what they leave
    #[command(after_help = prove::HELP)]
    Prove(prove::Prove),
    /// Judge a made piece by gauge readings or a scan, value by value
    #[command(override_usage = inspect::USAGE, after_help = inspect::HELP)]
    Inspect(inspect::Inspect),
    /// Show what inspected pieces have in common and what explains it
    #[command(after_help = drift::HELP)]
    Drift(drift::DriftVerb),
    /// Show what two tickets or revisions differ in, with a map
    #[command(after_help = compare::HELP)]
    Compare(compare::Compare),
    /// Show materials, blanks, cutters, machines and all other profiles
    #[command(after_help = profiles::HELP)]
    Profiles(profiles::Profiles),
    /// Show what a folder keeps, by code: tickets, jobs, inspections
    #[command(after_help = records::HELP)]
    Records(records::Records),
    /// Put all that is kept of a code into one file
    #[command(after_help = archive::HELP)]
    Archive(archive::Archive),
    /// Take away all that is kept of a code
    #[command(after_help = forget::HELP)]
    Forget(forget::Forget),
    /// Write the manual pages of every verb
    #[command(after_help = manual::HELP)]
    Manual(manual::Manual),
    /// Print the completion script of a shell
    #[command(after_help = COMPLETIONS_HELP)]
    Completions {
        /// The shell
        shell: clap_complete::Shell,
    },
}

/// Which foot, on the command line.
#[derive(Clone, Copy, Debug, clap::ValueEnum)]
enum SideArgument {
    Left,
    Right,
}

impl From<SideArgument> for Side {
    fn from(side: SideArgument) -> Side {
        match side {
            SideArgument::Left => Side::Left,
            SideArgument::Right => Side::Right,
        }
    }
}

/// Runs the command with these arguments, the program's name first.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> Outcome {
    let given: Vec<OsString> = arguments.into_iter().collect();
    let arguments = match Arguments::try_parse_from(&given) {
        Ok(arguments) => arguments,
        Err(error) => return not_understood(&given, &error),
    };
    let console = Console::new(if arguments.json { Form::Json } else { Form::Words }, arguments.detail());
    let outcome = match profiles::shelf(arguments.profiles.as_deref()) {
        Err(failure) => console.fail(&failure),
        Ok(shelf) => match arguments.verb {
            Verb::New(new) => new.run(&shelf, &console),
            Verb::Intake(intake) => intake.run(&shelf, &console),
            Verb::Impression(impression) => impression.run(&shelf, &console),
            Verb::Adjust(adjust) => adjust.run(&shelf, &console),
            Verb::Mill(mill) => mill.run(&shelf, &console),
            Verb::Check(check) => check.run(&shelf, &console),
            Verb::Preview(preview) => preview.run(&shelf, &console),
            Verb::Desk(desk) => desk.run(shelf, &console),
            Verb::Prove(prove) => prove.run(&shelf, &console),
            Verb::Inspect(inspect) => inspect.run(&shelf, &console),
            Verb::Drift(drift) => drift.run(&console),
            Verb::Compare(compare) => compare.run(&shelf, &console),
            Verb::Profiles(profiles) => profiles.run(&shelf, &console),
            Verb::Records(records) => records.run(&console),
            Verb::Archive(archive) => archive.run(&console),
            Verb::Forget(forget) => forget.run(&console),
            Verb::Manual(manual) => manual.run(&console),
            Verb::Completions { shell } => completions(shell, &console),
        },
    };
    console.close(outcome)
}

/// Help and version are asked for and good; anything else is bad usage.
fn not_understood(given: &[OsString], error: &clap::Error) -> Outcome {
    if !error.use_stderr() {
        // A closed pipe is not worth a message.
        let _ = error.print();
        return Outcome::Good;
    }
    if given.iter().any(|argument| argument == "--json") {
        let text = error.to_string();
        let text = text.trim_start_matches("error: ").trim_end().to_string();
        return Console::new(Form::Json, Detail::Usual).fail(&Failure::new(text));
    }
    let _ = error.print();
    Outcome::CouldNot
}

fn completions(shell: clap_complete::Shell, console: &Console) -> Outcome {
    #[derive(Serialize)]
    struct Completions<'a> {
        shell: String,
        script: &'a str,
    }
    let mut script = vec![];
    clap_complete::generate(shell, &mut Arguments::command(), "sustent", &mut script);
    let script = String::from_utf8_lossy(&script);
    let script = script.trim_end();
    console.tell(&Completions { shell: shell.to_string(), script }, || script.to_string());
    Outcome::Good
}
