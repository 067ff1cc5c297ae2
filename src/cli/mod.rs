//! The command: arguments, files, progress, exit status. Nothing here knows mathematics.

mod check;
mod mill;
mod output;
mod profiles;
mod prove;
mod tickets;

use std::ffi::OsString;
use std::path::PathBuf;

use clap::{CommandFactory, Parser, Subcommand};

use crate::frame::Side;
use output::Console;

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
#[command(name = "sustent", version, arg_required_else_help = true, after_help = EXAMPLES)]
struct Arguments {
    #[command(subcommand)]
    verb: Verb,
    /// One JSON document on standard output and nothing else
    #[arg(long, global = true)]
    json: bool,
    /// A folder of profiles that add to the built-in ones or take their place
    #[arg(long, global = true, value_name = "DIR")]
    profiles: Option<PathBuf>,
}

const EXAMPLES: &str = "\
Examples:
  sustent check ticket.toml                what will not stand, and how far each value may go
  sustent mill ticket.toml --out jobs      programs, proof, trim outline, meshes and job sheet
  sustent prove jobs/*/*-L-top-*.ngc --ticket ticket.toml --side left
  sustent profiles materials eva-firm      every number of a profile and where it comes from

Exit status: 0 good, 1 checked and not good, 2 could not be done.";

#[derive(Debug, Subcommand)]
enum Verb {
    /// Turn tickets into proven programs, trim outlines, meshes and a job sheet
    Mill(mill::Mill),
    /// Show all findings and how far each value may go; writes nothing
    Check(check::Check),
    /// Carve programs from their own text and judge what they leave
    Prove(prove::Prove),
    /// Show materials, blanks, cutters, machines, starting supports and tolerances
    Profiles(profiles::Profiles),
    /// Print the completion script of a shell
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
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(error) => {
            // A closed pipe is not worth a second message.
            let _ = error.print();
            return if error.use_stderr() { Outcome::CouldNot } else { Outcome::Good };
        }
    };
    let console = Console::new(arguments.json);
    let shelf = match profiles::shelf(arguments.profiles.as_deref()) {
        Ok(shelf) => shelf,
        Err(message) => {
            console.error(&message);
            return Outcome::CouldNot;
        }
    };
    match arguments.verb {
        Verb::Mill(mill) => mill.run(&shelf, &console),
        Verb::Check(check) => check.run(&shelf, &console),
        Verb::Prove(prove) => prove.run(&shelf, &console),
        Verb::Profiles(profiles) => profiles.run(&shelf, &console),
        Verb::Completions { shell } => {
            let mut script = vec![];
            clap_complete::generate(shell, &mut Arguments::command(), "sustent", &mut script);
            console.raw(&script);
            Outcome::Good
        }
    }
}
