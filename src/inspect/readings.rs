//! Gauge readings as people write them down: a table in CSV, a line for each reading, repeats
//! welcome. Knows names, units and plausible sizes; does not know what was asked.
//!
//! ```text
//! value,reading,unit,arm,station,medial,resolution,note
//! medial_arch,18.2,mm,,,,0.05,first
//! medial_arch,18.1,mm,,,,0.05,
//! post_height_medial,5.4,mm,10,,,0.02,
//! thickness,6.1,mm,,42,-8,0.05,
//! ```

use std::ops::Range;

use csv::{ReaderBuilder, StringRecord, Trim};

use crate::value::Value;
use crate::written::{Problem, Problems, suggest};

/// Longest table that is read, bytes: thousands of readings.
pub const LONGEST_TABLE: usize = 1_000_000;
/// Problems listed of one table; more say that it is something else altogether.
const MOST_PROBLEMS: usize = 30;
/// Larger than anything on a footbed, mm or degrees.
const LARGEST: f64 = 500.0;

/// What a reading is of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Quantity {
    /// One of the values, read directly.
    Value(Value),
    /// Height of the heel seat above the plate the piece lies on, `arm_mm` to the medial side of the
    /// heel centre. With its lateral twin it gives the rearfoot post.
    PostHeightMedial {
        /// Distance from the heel centre, mm.
        arm_mm: f64,
    },
    /// The same on the lateral side.
    PostHeightLateral {
        /// Distance from the heel centre, mm.
        arm_mm: f64,
    },
    /// Thickness of the forefoot's flat on the medial side.
    ForefootMedial,
    /// The same on the lateral side.
    ForefootLateral,
    /// The widest gap under the piece on a flat plate, by feeler gauge.
    BaseFlatness,
    /// Thickness at a place.
    Thickness {
        /// Per cent of the foot's length from the rear of the heel.
        station_percent: f64,
        /// Distance from the long axis, mm, + = medial.
        medial_mm: f64,
    },
}

/// One reading, in mm or degrees.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Line in the table, from 1.
    pub line: usize,
    /// Of what.
    pub quantity: Quantity,
    /// As read, mm or deg.
    pub reading: f64,
    /// Whether the table says its unit.
    pub unit_is_said: bool,
    /// Least step of the gauge's scale, mm or deg.
    pub resolution: Option<f64>,
}

/// Distance of the two post heights from the heel centre where the table names none, mm: where the
/// post's own definition reads it.
const USUAL_ARM_MM: f64 = crate::footbed::POST_ARM_MM;

const COLUMNS: [&str; 8] = ["value", "reading", "unit", "arm", "station", "medial", "resolution", "note"];

/// Names of what is no value of its own.
const PARTS: [&str; 6] = [
    "post_height_medial",
    "post_height_lateral",
    "forefoot_thickness_medial",
    "forefoot_thickness_lateral",
    "base_flatness",
    "thickness",
];

/// Reads a table. Columns are divided by commas, or by semicolons, with which decimal commas are
/// understood; lines that begin with `#` are for people.
///
/// # Errors
/// Everything that is wrong, line by line.
pub fn read(file: &str, text: &str) -> Result<Vec<Reading>, Problems> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let whole = |message: String, help: &str| Problems::from(Problem::of_file(file, message, help));
    if text.len() > LONGEST_TABLE {
        let message = format!("the table is {} bytes long; at most {LONGEST_TABLE} are read", text.len());
        return Err(whole(message, "is this the right file?"));
    }
    let head = text.lines().find(|line| !line.trim().is_empty() && !line.starts_with('#')).unwrap_or("");
    let semicolons = head.contains(';');
    let mut table = Table { file, text, comma_decimals: semicolons, problems: vec![] };
    let mut rows = ReaderBuilder::new()
        .delimiter(if semicolons { b';' } else { b',' })
        .comment(Some(b'#'))
        .trim(Trim::All)
        .flexible(true)
        .has_headers(false)
        .from_reader(text.as_bytes());
    let mut columns: Option<Vec<Option<&'static str>>> = None;
    let mut readings = vec![];
    for row in rows.records() {
        // The text is UTF-8 and rows may be of any length, so that nothing is left to fail.
        let Ok(row) = row else { continue };
        match &columns {
            None => columns = Some(table.columns(&row)),
            Some(columns) => readings.extend(table.reading(columns, &row)),
        }
    }
    let mut problems = table.problems;
    if problems.is_empty() && readings.is_empty() {
        let help = "the first line names the columns: value,reading; then a line for each reading";
        return Err(whole("there are no readings in this table".into(), help));
    }
    if problems.is_empty() {
        return Ok(readings);
    }
    if problems.len() > MOST_PROBLEMS {
        let more = format!("and {} more problems", problems.len() - MOST_PROBLEMS);
        problems.truncate(MOST_PROBLEMS);
        problems.push(Problem::of_file(file, more, "mend these first, then run it again"));
    }
    Err(Problems::of_list(problems))
}

/// A table on its way in.
struct Table<'a> {
    file: &'a str,
    text: &'a str,
    comma_decimals: bool,
    problems: Vec<Problem>,
}

impl Table<'_> {
    fn wrong(&mut self, row: &StringRecord, word: &str, message: String, help: impl Into<String>) {
        let place = place_of(self.text, row, word);
        self.problems.push(Problem::of_place(self.file, self.text, place, message, help));
    }

    fn columns(&mut self, head: &StringRecord) -> Vec<Option<&'static str>> {
        let columns: Vec<_> = head.iter().map(|name| COLUMNS.into_iter().find(|known| *known == name)).collect();
        for (name, known) in head.iter().zip(&columns) {
            if known.is_none() && !name.is_empty() {
                self.wrong(head, name, format!("there is no column `{name}`"), nearest(name, &COLUMNS));
            }
        }
        for (k, name) in head.iter().enumerate().filter(|(_, name)| !name.is_empty()) {
            if head.iter().take(k).any(|before| before == name) {
                self.wrong(head, name, format!("the column `{name}` is there twice"), "take one of them out");
            }
        }
        for needed in ["value", "reading"] {
            if !columns.contains(&Some(needed)) {
                self.wrong(head, "", format!("the column `{needed}` is missing"), "the first line names the columns");
            }
        }
        columns
    }

    fn reading(&mut self, columns: &[Option<&'static str>], row: &StringRecord) -> Option<Reading> {
        let cell = |name: &str| {
            let words = columns.iter().zip(row).filter(|(column, _)| **column == Some(name)).map(|(_, word)| word);
            words.last().filter(|word| !word.is_empty())
        };
        if row.len() > columns.len() {
            let message = format!("this line has {} columns, the first has {}", row.len(), columns.len());
            self.wrong(row, "", message, "put text that holds a comma into double quotes");
            return None;
        }
        let Some(name) = cell("value") else {
            self.wrong(row, "", "this line does not say what was read".into(), "name it in the column `value`");
            return None;
        };
        let Some(number) = cell("reading") else {
            self.wrong(row, "", format!("there is no reading of {name}"), "strike the line, or read it and fill it in");
            return None;
        };
        let problems_before = self.problems.len();
        let arm = self.optional(row, cell("arm"), 2.0..60.0, "mm from the heel centre");
        let station = self.optional(row, cell("station"), 1.0..120.0, "per cent of the foot's length");
        let medial = self.optional(row, cell("medial"), -80.0..80.0, "mm from the long axis, + = medial");
        let resolution = self.optional(row, cell("resolution"), 1e-4..5.0, "the least step of the gauge's scale");
        let quantity = self.quantity(row, name, arm, station, medial);
        let least = quantity.map_or(-LARGEST, Quantity::least);
        let reading = self.number(row, number, least..LARGEST, "a reading in mm or degrees");
        let (quantity, reading) = (quantity?, reading?);
        let scale = self.scale(row, quantity, cell("unit"))?;
        (self.problems.len() == problems_before).then_some(Reading {
            line: start_of(self.text, row).1,
            quantity,
            reading: reading * scale,
            unit_is_said: cell("unit").is_some(),
            resolution: resolution.map(|r| r * scale),
        })
    }

    fn quantity(
        &mut self,
        row: &StringRecord,
        name: &str,
        arm: Option<f64>,
        station: Option<f64>,
        medial: Option<f64>,
    ) -> Option<Quantity> {
        let arm_mm = arm.unwrap_or(USUAL_ARM_MM);
        match name {
            "post_height_medial" => Some(Quantity::PostHeightMedial { arm_mm }),
            "post_height_lateral" => Some(Quantity::PostHeightLateral { arm_mm }),
            "forefoot_thickness_medial" => Some(Quantity::ForefootMedial),
            "forefoot_thickness_lateral" => Some(Quantity::ForefootLateral),
            "base_flatness" => Some(Quantity::BaseFlatness),
            "thickness" => match station.zip(medial) {
                Some((station_percent, medial_mm)) => Some(Quantity::Thickness { station_percent, medial_mm }),
                None => {
                    let help = "fill in `station` (% of the foot's length) and `medial` (mm from the long axis)";
                    self.wrong(row, name, "this thickness has no place".into(), help);
                    None
                }
            },
            _ => match Value::ALL.into_iter().find(|value| value.name() == name) {
                Some(value) => Some(Quantity::Value(value)),
                None => {
                    let known: Vec<&str> = Value::ALL.iter().map(|value| value.name()).chain(PARTS).collect();
                    self.wrong(row, name, format!("`{name}` is nothing that can be read"), nearest(name, &known));
                    None
                }
            },
        }
    }

    fn optional(&mut self, row: &StringRecord, word: Option<&str>, allowed: Range<f64>, what: &str) -> Option<f64> {
        self.number(row, word?, allowed, what)
    }

    fn number(&mut self, row: &StringRecord, word: &str, allowed: Range<f64>, what: &str) -> Option<f64> {
        let plain = if self.comma_decimals { word.replace(',', ".") } else { word.to_string() };
        match plain.parse::<f64>() {
            Ok(number) if number >= allowed.start && number <= allowed.end => Some(number),
            Ok(number) => {
                let message = format!("{number} is not between {} and {}", allowed.start, allowed.end);
                self.wrong(row, word, message, format!("{what} is expected here"));
                None
            }
            Err(_) => {
                self.wrong(row, word, format!("`{word}` is not a number"), format!("{what}, without its unit"));
                None
            }
        }
    }

    /// Factor from the unit as written to mm or degrees.
    fn scale(&mut self, row: &StringRecord, quantity: Quantity, unit: Option<&str>) -> Option<f64> {
        let expected = quantity.unit();
        match unit {
            None => Some(1.0),
            Some(unit) if unit == expected => Some(1.0),
            Some("cm") if expected == "mm" => Some(10.0),
            // Exact by definition (international yard and pound agreement, 1959).
            Some("in") if expected == "mm" => Some(25.4),
            Some(unit) => {
                let message = format!("`{unit}` is no unit for this reading");
                let help = if expected == "mm" { "write mm, cm or in" } else { "write deg" };
                self.wrong(row, unit, message, help);
                None
            }
        }
    }
}

impl Quantity {
    /// `deg` for the post read as an angle, `mm` for everything else.
    pub fn unit(self) -> &'static str {
        match self {
            Quantity::Value(value) => value.unit(),
            _ => "mm",
        }
    }

    /// The least that a reading of it can be: a post may lean the other way and an arch may have been sanded into a
    /// hollow, and everything else is a size.
    fn least(self) -> f64 {
        match self {
            Quantity::Value(Value::RearfootPost | Value::MedialArch | Value::LateralArch | Value::TransverseArch) => {
                -LARGEST
            }
            _ => 0.0,
        }
    }
}

fn nearest(name: &str, known: &[&str]) -> String {
    match suggest(name, known.iter().copied()) {
        Some(near) => format!("did you mean `{near}`?"),
        None => format!("there are: {}", known.join(", ")),
    }
}

/// The byte at which a row starts, and its line from 1. The reader's own position may be that of
/// comments and blank lines before the row.
fn start_of(text: &str, row: &StringRecord) -> (usize, usize) {
    let at = row.position().map_or((0, 1), |at| (at.byte() as usize, at.line() as usize));
    let (mut start, mut number) = (at.0.min(text.len()), at.1);
    while let Some(rest) = text.get(start..) {
        let line = rest.split_inclusive('\n').next().unwrap_or("");
        if line.is_empty() || !(line.trim().is_empty() || line.starts_with('#')) {
            break;
        }
        start += line.len();
        number += 1;
    }
    (start, number)
}

/// Where a word stands in its row, or the whole row.
fn place_of(text: &str, row: &StringRecord, word: &str) -> Range<usize> {
    let (start, _) = start_of(text, row);
    let line = text.get(start..).and_then(|rest| rest.lines().next()).unwrap_or("");
    match line.find(word).filter(|_| !word.is_empty()) {
        Some(at) => start + at..start + at + word.len(),
        None => start..start + line.len(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wrong(text: &str) -> String {
        read("piece.csv", text).expect_err("should be refused").to_string()
    }

    #[test]
    fn a_table_with_repeats_units_and_places_is_read() {
        let text = "\u{feff}# bench two\r\n\r\nvalue, reading ,unit,arm,station,medial,resolution,note\r\n\
                    medial_arch,18.2,,,,,0.05,first\r\n\
                    medial_arch,18.1,mm,,,,0.05,\"again, later\"\r\n\
                    length,10.65,in,,,,,\r\n\
                    post_height_medial,5.4,mm,12,,,,\r\n\
                    thickness,0.61,cm,,42,-8,0.005,\r\n";
        let readings = read("piece.csv", text).unwrap();
        assert_eq!(readings.len(), 5);
        assert_eq!(readings[0].quantity, Quantity::Value(Value::MedialArch));
        assert_eq!((readings[1].reading, readings[1].resolution), (18.1, Some(0.05)));
        assert_eq!(readings[2].reading, 10.65 * 25.4);
        assert_eq!(readings[3].quantity, Quantity::PostHeightMedial { arm_mm: 12.0 });
        assert_eq!(readings[4].quantity, Quantity::Thickness { station_percent: 42.0, medial_mm: -8.0 });
        assert_eq!((readings[4].reading, readings[4].resolution), (6.1, Some(0.05)));
    }

    #[test]
    fn semicolons_bring_decimal_commas() {
        let readings = read("piece.csv", "value;reading\nheel_thickness;4,55\n").unwrap();
        assert_eq!(readings[0].reading, 4.55);
    }

    #[test]
    fn what_is_wrong_is_told_with_line_and_column() {
        let text = "value,reading,unit\n# bench two\nmedial_ach,18,mm\nheel_thickness,4.5 mm,mm\n\
                    rearfoot_post,1,mm\nlength,nan,mm\nlength,9999,mm\nthickness,4,mm\n,3,mm\nlength,,mm\nlength,1,2,3,4\n";
        let told = wrong(text);
        for expected in [
            "piece.csv:3:1: `medial_ach` is nothing that can be read",
            "piece.csv:4:16: `4.5 mm` is not a number",
            "piece.csv:5:17: `mm` is no unit for this reading",
            "piece.csv:6:8: NaN is not between",
            "piece.csv:7:8: 9999 is not between 0 and 500",
            "piece.csv:8:1: this thickness has no place",
            "piece.csv:9:1: this line does not say what was read",
            "piece.csv:10:1: there is no reading of length",
            "piece.csv:11:1: this line has 5 columns, the first has 3",
        ] {
            assert!(told.contains(expected), "{expected}\n{told}");
        }
        assert!(wrong("value,reading,reading\nlength,270,280\n").contains("`reading` is there twice"));
    }

    #[test]
    fn tables_that_are_none_are_refused() {
        assert!(wrong("").contains("no readings"));
        assert!(wrong("value,reading\n").contains("no readings"));
        assert!(wrong("medial_arch,18\n").contains("there is no column `medial_arch`"));
        assert!(wrong("what,reading\nlength,270\n").contains("the column `value` is missing"));
        assert!(wrong(&"x".repeat(LONGEST_TABLE + 1)).contains("at most"));
        assert!(wrong(&format!("value,reading\n{}", "a,b,c\n".repeat(1000))).contains("more problems"));
    }
}
