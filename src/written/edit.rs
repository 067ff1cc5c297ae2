//! Changes to a text in TOML that leave everything else as it stands: comments, order, spacing, line ends. Knows TOML;
//! does not know what the keys are for. The only door to `toml_edit`.

use std::str::FromStr;

use toml_edit::{Array, ArrayOfTables, Datetime, DocumentMut, InlineTable, Item, Table, TableLike, Value};

/// What a key may be given.
#[derive(Clone, Debug)]
pub enum Given {
    /// Whole numbers are written without a point.
    Number(f64),
    /// Text in quotes.
    Text(String),
    /// A date without quotes where it is one of TOML's, else text.
    Date(String),
    /// A section on one line.
    Section(Copied),
}

/// A section without the comments and spaces of the place that it was copied from; empty at first.
#[derive(Clone, Debug, Default)]
pub struct Copied(InlineTable);

impl Copied {
    /// Whether it has this key.
    pub fn has(&self, key: &str) -> bool {
        self.0.contains_key(key)
    }

    /// Gives a key a value, or another.
    pub fn give(&mut self, key: &str, given: &Given) {
        self.0.insert(key, value_of(given));
    }
}

/// What stands at a place.
#[derive(Clone, Debug, PartialEq)]
pub enum Stands {
    /// Nothing.
    Nothing,
    /// A section, whichever way it is written.
    Section,
    /// Text.
    Text(String),
    /// A whole number.
    Whole(i64),
    /// Anything else.
    Other,
}

/// A text taken apart without losing anything of it.
#[derive(Clone, Debug)]
pub struct Draft {
    document: DocumentMut,
    marked: bool,
    returns: bool,
}

const MARK: char = '\u{feff}';

impl Draft {
    /// Takes a text apart; `None` when it is no TOML.
    pub fn of(text: &str) -> Option<Draft> {
        let (marked, body) = text.strip_prefix(MARK).map_or((false, text), |body| (true, body));
        // Lines come back with the ends that most of them have.
        let returns = body.matches("\r\n").count() * 2 > body.matches('\n').count();
        let document = DocumentMut::from_str(&body.replace("\r\n", "\n")).ok()?;
        Some(Draft { document, marked, returns })
    }

    /// The text, changed only where it was asked to.
    pub fn text(&self) -> String {
        let body = self.document.to_string();
        let body = if self.returns { body.replace('\n', "\r\n") } else { body };
        if self.marked { format!("{MARK}{body}") } else { body }
    }

    /// What stands at a path of keys.
    pub fn at(&self, path: &[&str]) -> Stands {
        let Some((last, sections)) = path.split_last() else { return Stands::Section };
        let mut table: &dyn TableLike = self.document.as_table();
        for key in sections {
            match table.get(key).and_then(Item::as_table_like) {
                Some(next) => table = next,
                None => return Stands::Nothing,
            }
        }
        match table.get(last) {
            None | Some(Item::None) => Stands::Nothing,
            Some(item) if item.is_table_like() => Stands::Section,
            Some(item) => match (item.as_str(), item.as_integer()) {
                (Some(text), _) => Stands::Text(text.to_owned()),
                (None, Some(whole)) => Stands::Whole(whole),
                (None, None) => Stands::Other,
            },
        }
    }

    /// Gives a key of an existing section another value, or adds it there; what stands beside the old value stays.
    /// Tells whether there was such a section.
    pub fn set(&mut self, section: &[&str], key: &str, given: &Given) -> bool {
        let Some(table) = self.section(section) else { return false };
        let mut value = value_of(given);
        match table.get_mut(key).and_then(Item::as_value_mut) {
            Some(old) => {
                *value.decor_mut() = old.decor().clone();
                *old = value;
            }
            None => {
                table.insert(key, Item::Value(value));
            }
        }
        true
    }

    /// Takes a key out of a section.
    pub fn remove(&mut self, section: &[&str], key: &str) {
        if let Some(table) = self.section(section) {
            table.remove(key);
        }
    }

    /// Adds a section to the end of a list of sections at the top, which is begun when it is not there. Tells whether
    /// the list could take it.
    pub fn append(&mut self, list: &str, keys: &[(&str, Given)]) -> bool {
        let top = self.document.as_table_mut();
        let item = top.entry(list).or_insert(Item::ArrayOfTables(ArrayOfTables::new()));
        if let Some(sections) = item.as_array_of_tables_mut() {
            let mut section = Table::new();
            for (key, given) in keys {
                section.insert(key, Item::Value(value_of(given)));
            }
            sections.push(section);
            return true;
        }
        item.as_array_mut().map(|array| push_inline(array, keys)).is_some()
    }

    /// A copy of a section; `None` where none stands.
    pub fn copied(&self, path: &[&str]) -> Option<Copied> {
        let mut table: &dyn TableLike = self.document.as_table();
        for key in path {
            table = table.get(key)?.as_table_like()?;
        }
        Some(Copied(table.iter().map(|(key, item)| (key, bare(item))).collect()))
    }

    /// Every section of a list of sections at the top, each on one line without comments; none where none stand.
    pub fn list(&self, list: &str) -> Vec<String> {
        let Some(item) = self.document.get(list) else { return vec![] };
        let sections = item.as_array_of_tables().into_iter().flatten();
        let sections = sections.map(|section| bare(&Item::Table(section.clone())));
        let inline = item.as_array().into_iter().flatten().map(|section| bare(&Item::Value(section.clone())));
        sections.chain(inline).map(|section| section.to_string()).collect()
    }

    fn section(&mut self, path: &[&str]) -> Option<&mut dyn TableLike> {
        let mut table: &mut dyn TableLike = self.document.as_table_mut();
        for key in path {
            table = table.get_mut(key)?.as_table_like_mut()?;
        }
        Some(table)
    }
}

/// A value without the comments and spaces around it.
fn bare(item: &Item) -> Value {
    let inline = |table: &dyn TableLike| table.iter().map(|(key, item)| (key, bare(item))).collect::<InlineTable>();
    match item {
        Item::Table(table) => inline(table).into(),
        Item::Value(Value::InlineTable(table)) => inline(table).into(),
        Item::Value(value) => {
            let mut value = value.clone();
            value.decor_mut().clear();
            value
        }
        _ => Value::from(""),
    }
}

fn push_inline(array: &mut Array, keys: &[(&str, Given)]) {
    let mut section = InlineTable::new();
    for (key, given) in keys {
        section.insert(*key, value_of(given));
    }
    array.push(section);
}

/// Numbers below this are written whole where they are.
const WHOLE_BELOW: f64 = 1e9;

fn value_of(given: &Given) -> Value {
    match given {
        Given::Number(number) if number.fract() == 0.0 && number.abs() < WHOLE_BELOW => Value::from(*number as i64),
        Given::Number(number) => Value::from(*number),
        Given::Text(text) => Value::from(text.as_str()),
        Given::Date(text) => Datetime::from_str(text).map_or_else(|_| Value::from(text.as_str()), Value::from),
        Given::Section(section) => Value::InlineTable(section.0.clone()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "# head\n[a]\nx = 1.5   # of x\n\n  [a.b] # section\ny=2\n";

    fn changed(text: &str, by: impl FnOnce(&mut Draft)) -> String {
        let mut draft = Draft::of(text).unwrap();
        by(&mut draft);
        draft.text()
    }

    #[test]
    fn a_text_that_is_not_changed_comes_back_as_it_was() {
        for text in [TEXT, "\u{feff}[a]\r\nx = 1\r\n", "x = {y = 1,z=2} # odd\n# end", ""] {
            assert_eq!(changed(text, |_| ()), text);
        }
        assert!(Draft::of("x = = 1").is_none());
    }

    #[test]
    fn a_value_changes_and_what_stands_beside_it_stays() {
        let to = |text: &str, section: &[&str], key: &str, given: Given| {
            changed(text, |draft| assert!(draft.set(section, key, &given)))
        };
        assert_eq!(to(TEXT, &["a"], "x", Given::Number(2.0)), TEXT.replace("1.5 ", "2 "));
        assert_eq!(to(TEXT, &["a", "b"], "y", Given::Number(2.25)), TEXT.replace("y=2", "y=2.25"));
        let dated = to(TEXT, &["a", "b"], "d", Given::Date("2026-11-25".into()));
        assert_eq!(dated, format!("{TEXT}d = 2026-11-25\n"));
        let inline = "a = { x = 1, y = 2 } # both\n";
        assert_eq!(to(inline, &["a"], "y", Given::Text("\"q\"".into())), "a = { x = 1, y = '\"q\"' } # both\n");
        assert_eq!(to("a.x = 1 # one\r\na.y = 2\r\n", &["a"], "x", Given::Number(3.0)), "a.x = 3 # one\r\na.y = 2\r\n");
        assert!(!Draft::of(TEXT).unwrap().set(&["c"], "x", &Given::Number(1.0)));
    }

    #[test]
    fn sections_are_added_to_a_list_that_is_there_or_not() {
        let keys = [("n", Given::Number(1.0)), ("w", Given::Date("spring".into()))];
        let first = changed(TEXT, |draft| assert!(draft.append("h", &keys)));
        assert!(first.starts_with(TEXT) && first.contains("[[h]]\nn = 1\nw = \"spring\"\n"), "{first}");
        let second = changed(&first, |draft| assert!(draft.append("h", &keys)));
        assert!(second.starts_with(&first) && second.matches("[[h]]").count() == 2, "{second}");
        let inline = changed("h = [{ n = 0 }]\n", |draft| assert!(draft.append("h", &keys)));
        assert_eq!(inline, "h = [{ n = 0 }, { n = 1, w = \"spring\" }]\n");
        assert!(!Draft::of("h = 1").unwrap().append("h", &keys));
        let listed = |text: &str| Draft::of(text).unwrap().list("h");
        assert_eq!(listed("[[h]] # first\nn=0 # none\n\n[[h]]\nn = 1\n"), ["{ n = 0 }", "{ n = 1 }"]);
        assert_eq!(listed("h = [{n = 0},\n { n = 1 }]\n"), ["{ n = 0 }", "{ n = 1 }"]);
        assert!(listed("h = 1").is_empty() && listed("").is_empty());
    }

    #[test]
    fn a_section_is_copied_onto_one_line_without_what_stands_around_it() {
        let mut copied = Draft::of(TEXT).unwrap().copied(&["a"]).unwrap();
        copied.give("n", &Given::Number(3.0));
        assert!(copied.has("x") && copied.has("b") && !copied.has("y"));
        let put = changed("c = \"as a\" # alike\n", |draft| assert!(draft.set(&[], "c", &Given::Section(copied))));
        assert_eq!(put, "c = { x = 1.5, b = { y = 2 }, n = 3 } # alike\n");
        assert!(Draft::of(TEXT).unwrap().copied(&["a", "x"]).is_none());
    }

    #[test]
    fn what_stands_where_is_told() {
        let draft = Draft::of("a = \"as b\"\nn = 1\nh = 0.5\n[b.c]\n").unwrap();
        assert_eq!(draft.at(&["a"]), Stands::Text("as b".into()));
        assert_eq!((draft.at(&["b", "c"]), draft.at(&["n"])), (Stands::Section, Stands::Whole(1)));
        assert_eq!(draft.at(&["h"]), Stands::Other);
        assert_eq!((draft.at(&["a", "x"]), draft.at(&["z"])), (Stands::Nothing, Stands::Nothing));
    }
}
