//! The book says what the code does, where that can be checked cheaply: names of limits, verbs,
//! files, violations and links.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use std::process::Command;
use sustent::value::Value;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn text(name: &str) -> String {
    fs::read_to_string(root().join(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
}

/// The source of a file without its unit tests.
fn code(path: &Path) -> String {
    let whole = fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    whole.split("#[cfg(test)]").next().unwrap_or_default().to_string()
}

fn files_of(folder: &str, ending: &str) -> Vec<PathBuf> {
    let entries = fs::read_dir(root().join(folder)).unwrap_or_else(|e| panic!("{folder}: {e}"));
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
    paths.retain(|path| path.to_string_lossy().ends_with(ending));
    paths.sort();
    paths
}

/// Words between backticks.
fn quoted(text: &str) -> impl Iterator<Item = &str> {
    text.split('`').skip(1).step_by(2)
}

/// String literals that are one lower-case word, such as `least_thickness`; those of attributes
/// speak to the compiler.
fn literals(code: &str) -> impl Iterator<Item = &str> {
    let lines = code.lines().filter(|line| !line.trim_start().starts_with("#["));
    lines.flat_map(|line| line.split('"').skip(1).step_by(2)).filter(|word| is_name(word))
}

fn is_name(word: &str) -> bool {
    word.contains('_') && word.bytes().all(|b| b.is_ascii_lowercase() || b == b'_')
}

/// Names in the first column of the page's tables.
fn first_column(page: &str) -> BTreeSet<String> {
    let rows = page.lines().filter_map(|line| line.strip_prefix("| `"));
    rows.flat_map(|row| {
        let cell = row.split('|').next().unwrap_or_default();
        quoted(&format!("`{cell}")).map(str::to_string).collect::<Vec<_>>()
    })
    .collect()
}

#[test]
fn the_page_of_limits_names_every_limit_and_no_other() {
    let sources: Vec<String> = files_of("src/limits", ".rs").iter().map(|path| code(path)).collect();
    // A limit's name may also be a value's; what is no limit but only a value's name in a table of
    // advice must not be asked for.
    let advised: BTreeSet<&str> =
        ["heel_thickness", "forefoot_thickness", "ball_thickness", "ball_width", "heel_width"].into();
    let in_code: BTreeSet<String> = sources
        .iter()
        .flat_map(|source| literals(source))
        .filter(|name| !advised.contains(name))
        .map(str::to_string)
        .collect();
    assert!(in_code.len() > 20 && in_code.contains("least_thickness"), "limits in the code: {in_code:?}");
    assert_eq!(first_column(&text("docs/limits.md")), in_code);
}

#[test]
fn the_readme_names_every_verb() {
    let help = Command::new(env!("CARGO_BIN_EXE_sustent")).arg("--help").output().unwrap();
    let help = String::from_utf8(help.stdout).unwrap();
    let verbs = help.lines().skip_while(|line| !line.starts_with("Commands:")).skip(1);
    let verbs: Vec<&str> = verbs
        .take_while(|line| line.starts_with("  "))
        .filter(|line| !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|&verb| verb != "help")
        .collect();
    assert!(verbs.len() >= 5 && verbs.contains(&"mill"), "{verbs:?}");
    let readme = text("README.md");
    for verb in verbs {
        let shown = readme.contains(&format!("sustent {verb}")) || readme.contains(&format!("-- {verb}"));
        assert!(shown, "README.md shows no `sustent {verb}`");
    }
}

/// Endings of file names, from the literals of the room that names them.
#[test]
fn the_page_of_output_files_names_every_file() {
    let page = text("docs/formats-output.md");
    let endings = [".ngc", ".svg", ".stl", ".3mf", ".html", ".json"];
    let mut named = 0;
    for path in files_of("src/job", ".rs") {
        let source = code(&path);
        for literal in source.split('"').skip(1).step_by(2) {
            let Some(ending) = endings.iter().find(|ending| literal.ends_with(**ending)) else { continue };
            // `{stem}-design.stl`: what follows the last placeholder is the same in every name.
            let fixed = literal.rsplit('}').next().unwrap_or(literal);
            if fixed == *ending || fixed.contains(' ') {
                continue;
            }
            named += 1;
            assert!(page.contains(fixed), "docs/formats-output.md does not name {literal} of {}", path.display());
        }
    }
    assert!(named >= 7, "only {named} file names were found in src/job");
    for step in ["top-1-rough", "top-2-finish", "top-2-rest", "top-3-perimeter", "frame"] {
        assert!(code(&root().join("src/job/programs.rs")).contains(&format!("\"{step}\"")), "no step {step}");
        assert!(page.contains(&format!("<S>-{step}.ngc")), "docs/formats-output.md has no row for {step}");
    }
}

#[test]
fn every_value_is_defined_and_listed() {
    let (geometry, output) = (text("docs/geometry.md"), text("docs/formats-output.md"));
    let defined = first_column(&geometry);
    for value in Value::ALL {
        assert!(defined.contains(value.name()), "docs/geometry.md does not define {}", value.name());
        assert!(quoted(&output).any(|word| word == value.name()), "docs/formats-output.md lacks {}", value.name());
    }
}

/// Variants of the enum, as JSON spells them.
#[test]
fn every_violation_is_explained() {
    let source = code(&root().join("src/carve/violation.rs"));
    let body = source.split("pub enum ViolationKind {").nth(1).and_then(|rest| rest.split("\n}").next()).unwrap();
    let kinds: Vec<String> = body
        .lines()
        .filter_map(|line| line.trim().strip_suffix(','))
        .filter(|line| !line.starts_with("//"))
        .map(snake)
        .collect();
    assert!(kinds.len() >= 15, "{kinds:?}");
    let explained = first_column(&text("docs/milling.md"));
    for kind in kinds {
        assert!(explained.contains(&kind), "docs/milling.md does not explain {kind}");
    }
}

fn snake(name: &str) -> String {
    let mut out = String::new();
    for c in name.chars() {
        if c.is_uppercase() && !out.is_empty() {
            out.push('_');
        }
        out.extend(c.to_lowercase());
    }
    out
}

#[test]
fn the_readme_begins_with_the_job_and_has_two_commands_to_set_up() {
    let readme = text("README.md");
    let first: String = readme.lines().take_while(|line| !line.is_empty()).collect::<Vec<_>>().join(" ");
    assert!(first.starts_with(char::is_alphabetic), "the first paragraph is no prose: {first}");
    assert!(first.split(' ').count() > 40, "the first paragraph says too little: {first}");

    let set_up = readme.split("\n## Set up\n").nth(1).and_then(|rest| rest.split("\n## ").next()).unwrap();
    let blocks: Vec<&str> = set_up.split("```").skip(1).step_by(2).map(|b| b.trim_start_matches("sh").trim()).collect();
    let wanted = ["cargo run --release -- mill output-samples/PATROL-07/ticket.toml --out jobs", "cargo test"];
    assert_eq!(blocks, wanted);
    assert!(root().join("output-samples/PATROL-07/ticket.toml").is_file());
}

#[test]
fn links_lead_somewhere() {
    let mut pages = files_of("docs", ".md");
    pages.extend(["README.md", "DEVELOPERS.md"].map(|name| root().join(name)));
    let mut links = 0;
    for page in &pages {
        let folder = page.parent().unwrap();
        let whole = fs::read_to_string(page).unwrap();
        for target in whole.split("](").skip(1).filter_map(|rest| rest.split(')').next()) {
            let file = target.split('#').next().unwrap_or_default();
            if file.is_empty() || file.contains("://") {
                continue;
            }
            links += 1;
            assert!(folder.join(file).exists(), "{}: the link to {target} leads nowhere", page.display());
        }
    }
    assert!(links > 20, "only {links} links were found");
    let readme = text("README.md");
    for page in files_of("docs", ".md") {
        let name = format!("docs/{}", page.file_name().unwrap().to_string_lossy());
        assert!(readme.contains(&name), "README.md does not link {name}");
    }
}
