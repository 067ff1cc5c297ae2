//! `sustent drift`: what many inspected pieces have in common.

use std::path::PathBuf;

use serde::Serialize;

use super::apart::keep_apart;
use super::failure::Failure;
use super::log::{self, PassedOver};
use super::output::Console;
use super::over::{self, Made};
use super::words::wrapped;
use super::{Outcome, folder};
use crate::draw::chart_svg;
use crate::drift::{Drift, drift};
use crate::value::signed;

/// What `--help` adds.
pub(super) const HELP: &str = "\
The log is what `sustent inspect --log FILE` writes, a line a piece. For every
value: how far it is off on average with a 95 % interval, how much it scatters,
and how that compares with the tolerance (Cp, Cpk: 1.33 and more is comfortable,
under 1 pieces fall out; both need some thirty pieces to mean much). Then what
in the workshop would explain it.

Examples:
  sustent drift workshop.jsonl
  sustent drift workshop.jsonl --chart drift.svg

Exit status: 0 read, 2 could not be done.";

/// Arguments of `drift`.
#[derive(Debug, clap::Args)]
pub(super) struct DriftVerb {
    /// The inspection log
    #[arg(value_name = "LOG")]
    log: PathBuf,
    /// Draw the control chart here
    #[arg(long, value_name = "FILE.svg")]
    chart: Option<PathBuf>,
}

/// What the log says, and which of its lines say nothing.
#[derive(Serialize)]
struct Told {
    #[serde(flatten)]
    drift: Drift,
    passed_over: Vec<PassedOver>,
}

impl DriftVerb {
    pub(super) fn run(&self, console: &Console) -> Outcome {
        match self.told() {
            Err(failure) => console.fail(&failure),
            Ok(told) => {
                console.tell(&told, || in_words(&told));
                Outcome::Good
            }
        }
    }

    fn told(&self) -> Result<Told, Failure> {
        keep_apart(&[("the log", Some(&self.log))], &[("the chart", self.chart.as_deref())])?;
        self.chart.as_deref().map_or(Ok(()), |chart| over::made(chart, Made::Chart))?;
        let (entries, passed_over) = log::read(&self.log)?;
        let drift = drift(&entries);
        if let Some(path) = &self.chart {
            folder::write_file(path, chart_svg(&drift).as_bytes())?;
        }
        Ok(Told { drift, passed_over })
    }
}

fn in_words(told: &Told) -> String {
    let drift = &told.drift;
    let verdicts: Vec<String> = drift.verdicts.iter().map(|(word, count)| format!("{count} {word}")).collect();
    let mut lines = vec![
        format!("{} pieces: {}", drift.pieces, verdicts.join(", ")),
        format!("  {:<20} {:>3} {:>15} {:>6} {:>6} {:>6}", "made minus asked", "n", "mean", "SD", "Cp", "Cpk"),
    ];
    let number = |x: Option<f64>| x.map_or("-".to_string(), |x| format!("{x:.2}"));
    for (value, trend) in &drift.values {
        let doubt = trend.spread.mean_uncertainty.map_or(String::new(), |u| format!(" +-{u:.2}"));
        let mean = format!("{}{doubt}", signed(trend.spread.mean, 2));
        let told = if trend.wandering { "  wandering" } else { "" };
        lines.push(format!(
            "  {:<20} {:>3} {mean:>15} {:>6} {:>6} {:>6} {}{told}",
            value.words(),
            trend.spread.count,
            number(trend.spread.sd),
            number(trend.cp),
            number(trend.cpk),
            trend.unit
        ));
    }
    for group in &drift.groups {
        let means: Vec<String> =
            group.values.iter().map(|(v, s)| format!("{} {}", v.words(), signed(s.mean, 2))).collect();
        lines.push(wrapped(
            "  ",
            &format!("{} {} ({} pieces): {}", group.by, group.name, group.pieces, means.join(", ")),
        ));
    }
    for cause in &drift.causes {
        lines.push(wrapped("  probable: ", &cause.evidence));
        lines.push(wrapped("     -> ", &cause.advice));
    }
    if drift.causes.is_empty() {
        lines.push("  nothing that all values have in common".into());
    }
    lines.extend(told.passed_over.iter().map(|p| wrapped("  passed over: ", &format!("line {}: {}", p.line, p.why))));
    lines.join("\n")
}
