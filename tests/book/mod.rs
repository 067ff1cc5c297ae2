//! Reads a page of the book as a script: what it says to type is typed, what it says comes out is
//! compared, and its pictures are cut out of the files that came out. Does not know what any of it means.

pub mod picture;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The variable that accepts pictures, and blocks that leave nothing out, as they are made now.
pub const ACCEPT: &str = "SUSTENT_ACCEPT";

/// A line of a page that stands for lines left out.
const LEFT_OUT: &str = "...";

/// What lies in the folder of the program, where the pages tell to copy from.
const COPIED: [&str; 5] = [
    "output-samples/PATROL-07",
    "output-samples/PATROL-07/PATROL-07-r2",
    "docs/examples",
    "profiles/machines",
    "profiles/blanks",
];

/// A thing that a page says is so.
enum Step {
    /// A block `text` of commands after `$ `, with what they print; `exits` is that of its commands.
    Run { at: usize, exits: i32, lines: Vec<String> },
    /// A block `... file NAME`: the reader writes this file.
    File { name: String, text: String },
    /// A block `toml into FILE [SECTION]`: the reader writes these lines into that section, or before the first.
    Into { name: String, section: String, lines: Vec<String> },
    /// A comment `<!-- run: COMMAND -->`: what the text tells in words.
    Hidden { at: usize, command: String },
    /// A comment `<!-- picture: FILE, CLASS, NUMBER -->` under a picture, or `<!-- picture: FILE -->` when
    /// the whole file is the picture.
    Picture { at: usize, picture: String, from: String },
}

/// What a page's run counted.
#[derive(Default)]
pub struct Seen {
    /// Commands typed.
    pub commands: usize,
    /// Pictures compared byte for byte.
    pub pictures: usize,
}

/// The folder of this project.
pub fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Types what the page says into a fresh folder that holds the examples, and compares.
///
/// # Panics
/// With every place where the page is not true.
pub fn keep_true(page: &str) -> Seen {
    let path = root().join(page);
    let text = fs::read_to_string(&path).unwrap_or_else(|e| panic!("{page}: {e}"));
    let desk = tempfile::tempdir().expect("a folder to type in");
    for folder in COPIED {
        copy(&root().join(folder), &desk.path().join(folder));
    }
    let accepting = std::env::var_os(ACCEPT).is_some();
    let (mut seen, mut untrue, mut accepted) = (Seen::default(), vec![], vec![]);
    for step in steps(page, &text) {
        match step {
            Step::Run { at, exits, lines } => {
                seen.commands += lines.iter().filter(|line| line.starts_with("$ ")).count();
                match run_block(desk.path(), exits, &lines) {
                    Some((_, now)) if accepting && lines.iter().all(|line| line.trim() != LEFT_OUT) => {
                        accepted.push((lines, now));
                    }
                    Some((why, _)) => untrue.push(format!("{page}:{at}: {why}")),
                    None => {}
                }
            }
            Step::Hidden { at, command } => {
                let (status, told) = run(desk.path(), &command);
                if status == 2 {
                    untrue.push(format!("{page}:{at}: `{command}` could not be done:\n{told}"));
                }
            }
            Step::File { name, text } => fs::write(desk.path().join(name), text).expect("the folder can be written to"),
            Step::Into { name, section, lines } => write_into(&desk.path().join(name), &section, &lines),
            Step::Picture { at, picture, from } => {
                seen.pictures += 1;
                let kept = path.parent().expect("a page lies in a folder").join(&picture);
                let problem = picture::cut(desk.path(), &from).and_then(|made| picture::compare(&kept, &made));
                untrue.extend(problem.err().map(|why| format!("{page}:{at}: {picture}: {why}")));
            }
        }
    }
    if accepting {
        accept(&path, &text, &accepted);
    }
    assert!(untrue.is_empty(), "\n{}\n", untrue.join("\n\n"));
    seen
}

/// Commands that a page shows without running them, in blocks tagged `sh`.
pub fn shown_only(page: &str) -> Vec<String> {
    let text = fs::read_to_string(root().join(page)).unwrap_or_else(|e| panic!("{page}: {e}"));
    let (mut inside, mut commands) = (false, vec![]);
    for line in text.lines() {
        match line.trim_start().strip_prefix("```") {
            Some(info) => inside = !inside && info == "sh",
            None if inside && !line.is_empty() => commands.push(line.to_string()),
            None => {}
        }
    }
    commands
}

/// The page's steps in its order.
fn steps(page: &str, text: &str) -> Vec<Step> {
    let (mut steps, mut picture) = (vec![], String::new());
    let mut lines = text.lines().enumerate();
    while let Some((index, line)) = lines.next() {
        let at = index + 1;
        if let Some(info) = line.strip_prefix("```") {
            let body = lines.by_ref().map(|(_, line)| line).take_while(|line| !line.starts_with("```"));
            let body = body.map(str::to_string).collect();
            steps.extend(block(page, at, info, body));
        } else if let Some(image) = line.strip_prefix("![") {
            picture = image.split("](").nth(1).and_then(|rest| rest.split(')').next()).unwrap_or_default().to_string();
        } else if let Some(said) = line.strip_prefix("<!-- ").and_then(|rest| rest.strip_suffix(" -->")) {
            steps.extend(comment(at, said, &picture));
        }
    }
    steps
}

fn block(page: &str, at: usize, info: &str, body: Vec<String>) -> Option<Step> {
    let words: Vec<&str> = info.split(' ').collect();
    let whole = |body: &[String]| body.iter().map(|line| format!("{line}\n")).collect::<String>();
    match words.as_slice() {
        ["text", rest @ ..] if body.first().is_some_and(|line| line.starts_with("$ ")) => {
            let exits = match rest {
                [] => 0,
                ["exits", status] => status.parse().expect("an exit status is a number"),
                _ => panic!("{page}:{at}: what does {info:?} say?"),
            };
            Some(Step::Run { at, exits, lines: body })
        }
        [_, "file", name] => Some(Step::File { name: name.to_string(), text: whole(&body) }),
        [_, "into", name, section @ ..] => {
            Some(Step::Into { name: name.to_string(), section: section.concat(), lines: body })
        }
        _ => None,
    }
}

fn comment(at: usize, said: &str, picture: &str) -> Option<Step> {
    let picture = picture.to_string();
    if let Some(command) = said.strip_prefix("run: ") {
        return Some(Step::Hidden { at, command: command.to_string() });
    }
    let from = said.strip_prefix("picture: ")?;
    Some(Step::Picture { at, picture, from: from.to_string() })
}

/// What is not true of the block, and what it would have to be; `None` when all is.
fn run_block(folder: &Path, exits: i32, lines: &[String]) -> Option<(String, Vec<String>)> {
    let (mut now, mut problems) = (vec![], vec![]);
    let mut rest = lines;
    while let Some((command, after)) = rest.split_first() {
        let end = after.iter().position(|line| line.starts_with("$ ")).unwrap_or(after.len());
        let (told, next) = after.split_at(end);
        rest = next;
        let (status, out) = run(folder, command.trim_start_matches("$ "));
        let out: Vec<String> = out.lines().map(|line| line.trim_end().to_string()).collect();
        if status != exits {
            problems.push(format!("`{command}` ends with {status}, not {exits}:\n{}", out.join("\n")));
        }
        now.push(command.clone());
        match unlike(told, &out) {
            Some(why) if !told.is_empty() => {
                problems.push(format!("`{command}`: {why}\nit prints:\n{}", out.join("\n")));
                now.extend(out);
            }
            _ => now.extend_from_slice(told),
        }
    }
    (!problems.is_empty()).then(|| (problems.join("\n"), now))
}

/// A shell's answer to a command: exit status, and both of its outputs as they come.
fn run(folder: &Path, command: &str) -> (i32, String) {
    let binary = Path::new(env!("CARGO_BIN_EXE_sustent")).parent().expect("a program lies in a folder");
    let path = std::env::var("PATH").unwrap_or_default();
    let done = Command::new("sh")
        .args(["-c", &format!("{{ {command}\n}} 2>&1")])
        .current_dir(folder)
        .env("PATH", format!("{}:{path}", binary.display()))
        .env("NO_COLOR", "1")
        .env_remove("COLUMNS")
        .stdin(Stdio::null())
        .output()
        .expect("a shell");
    (done.status.code().unwrap_or(255), String::from_utf8_lossy(&done.stdout).into_owned())
}

/// Why the told lines are not the printed ones, with `...` standing for any; `None` when they are.
pub fn unlike(told: &[String], printed: &[String]) -> Option<String> {
    let parts: Vec<&[String]> = told.split(|line| line.trim() == LEFT_OUT).collect();
    let mut from = 0;
    for (number, part) in parts.iter().enumerate() {
        let (first, last) = (number == 0, number + 1 == parts.len());
        let fits = |&start: &usize| printed[start..].iter().zip(*part).all(|(a, b)| a == b.trim_end());
        let latest = printed.len().checked_sub(part.len()).filter(|&latest| latest >= from);
        let starts = match (latest, first, last && !part.is_empty()) {
            (None, ..) => return Some(format!("there is less of it than {}", part.join("\n"))),
            (Some(latest), true, true) if latest > 0 => return Some("it prints more".to_string()),
            (_, true, _) => from..=from,
            (Some(latest), false, true) => latest..=latest,
            (Some(latest), false, false) => from..=latest,
        };
        match starts.clone().find(fits) {
            Some(start) => from = start + part.len(),
            None => return Some(format!("it does not print, in its place:\n{}", part.join("\n"))),
        }
    }
    None
}

/// Writes lines into a section of a TOML file: a key that is there is changed, another one added.
fn write_into(file: &Path, section: &str, lines: &[String]) {
    let text = fs::read_to_string(file).unwrap_or_else(|e| panic!("{}: {e}", file.display()));
    let mut all: Vec<String> = text.lines().map(str::to_string).collect();
    let head = all.iter().position(|line| line.trim() == section).map(|head| head + 1);
    let head = if section.is_empty() { Some(0) } else { head };
    let head = head.unwrap_or_else(|| panic!("{} has no {section}", file.display()));
    let length = all[head..].iter().position(|line| line.starts_with('[')).unwrap_or(all.len() - head);
    let key = |line: &str| line.split('=').next().unwrap_or_default().trim().to_string();
    for line in lines.iter().rev() {
        match all[head..head + length].iter().position(|there| key(there) == key(line)) {
            Some(place) => all[head + place] = line.clone(),
            None => all.insert(head, line.clone()),
        }
    }
    fs::write(file, all.join("\n") + "\n").expect("the folder can be written to");
}

/// Puts what is printed now into these blocks.
fn accept(page: &Path, text: &str, blocks: &[(Vec<String>, Vec<String>)]) {
    let mut text = text.to_string();
    for (told, now) in blocks {
        text = text.replacen(&told.join("\n"), &now.join("\n"), 1);
    }
    fs::write(page, text).expect("the page can be written");
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).expect("the folder can be written to");
    for entry in fs::read_dir(from).unwrap_or_else(|e| panic!("{}: {e}", from.display())) {
        let path = entry.expect("the folder can be read").path();
        if path.is_file() {
            fs::copy(&path, to.join(path.file_name().expect("a file has a name"))).expect("the file can be copied");
        }
    }
}
