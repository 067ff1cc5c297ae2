//! What a person has changed since the ticket was saved, and may take back. A state is the ticket's whole text, so that
//! what is seen is what would be saved. Knows neither what a text says nor where it is kept.

/// Steps that can be taken back; a day at the desk has fewer.
const MOST_STEPS: usize = 1000;

/// A text as it is saved, as it is now, and the states between.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Edits {
    saved: String,
    now: String,
    past: Vec<String>,
    future: Vec<String>,
}

impl Edits {
    /// Nothing has been changed.
    pub fn open(saved: String) -> Edits {
        Edits { now: saved.clone(), saved, past: vec![], future: vec![] }
    }

    /// The text as it is saved, as far as the desk knows.
    pub fn saved(&self) -> &str {
        &self.saved
    }

    /// The text as it is now.
    pub fn now(&self) -> &str {
        &self.now
    }

    /// Whether there is something to save.
    pub fn is_changed(&self) -> bool {
        self.now != self.saved
    }

    /// Another text; the present one can be gone back to. The same text is no step.
    pub fn change(&mut self, to: String) {
        if to == self.now {
            return;
        }
        self.past.push(std::mem::replace(&mut self.now, to));
        self.future.clear();
        if self.past.len() > MOST_STEPS {
            self.past.remove(0);
        }
    }

    /// Another text in place of the one that the last step led to; a step of its own where there was none.
    pub fn go_on(&mut self, to: String) {
        if self.past.is_empty() || !self.future.is_empty() {
            return self.change(to);
        }
        self.now = to;
    }

    /// The text that one step back leads to.
    pub fn before(&self) -> Option<&str> {
        self.past.last().map(String::as_str)
    }

    /// The text that one step forward leads to.
    pub fn after(&self) -> Option<&str> {
        self.future.last().map(String::as_str)
    }

    /// One step back, where there is one.
    pub fn undo(&mut self) {
        if let Some(before) = self.past.pop() {
            self.future.push(std::mem::replace(&mut self.now, before));
        }
    }

    /// One step forward, where one was taken back.
    pub fn redo(&mut self) {
        if let Some(after) = self.future.pop() {
            self.past.push(std::mem::replace(&mut self.now, after));
        }
    }

    /// `text` was saved and is what is worked on. Steps before belong to the revision before: they cannot be taken back.
    pub fn saved_as(&mut self, text: String) {
        *self = Edits::open(text);
    }

    /// Another text was found to be saved; `now` is what is worked on from here, and what was worked on before can be
    /// gone back to.
    pub fn found(&mut self, saved: String, now: String) {
        self.saved = saved;
        self.change(now);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn on(edits: &Edits) -> (&str, bool, Option<&str>, Option<&str>) {
        (edits.now(), edits.is_changed(), edits.before(), edits.after())
    }

    #[test]
    fn steps_go_back_and_forward_and_a_new_one_ends_what_was_taken_back() {
        let mut edits = Edits::open("a".into());
        for text in ["b", "b", "c"] {
            edits.change(text.into());
        }
        assert_eq!(on(&edits), ("c", true, Some("b"), None));
        edits.undo();
        edits.undo();
        edits.undo();
        assert_eq!(on(&edits), ("a", false, None, Some("b")));
        edits.redo();
        assert_eq!(on(&edits), ("b", true, Some("a"), Some("c")));
        edits.change("d".into());
        edits.redo();
        assert_eq!(on(&edits), ("d", true, Some("b"), None));
    }

    #[test]
    fn a_step_that_goes_on_is_one_step() {
        let mut edits = Edits::open("a".into());
        edits.go_on("b".into());
        edits.go_on("c".into());
        assert_eq!(on(&edits), ("c", true, Some("a"), None));
        edits.undo();
        edits.go_on("d".into());
        assert_eq!(on(&edits), ("d", true, Some("a"), None));
    }

    #[test]
    fn saving_and_finding_another_file_keep_what_was_worked_on() {
        let mut edits = Edits::open("a".into());
        edits.change("b".into());
        edits.found("x".into(), "xb".into());
        assert_eq!((edits.saved(), edits.now(), edits.before()), ("x", "xb", Some("b")));
        edits.saved_as("y".into());
        assert_eq!(on(&edits), ("y", false, None, None));
    }

    #[test]
    fn the_oldest_steps_are_forgotten() {
        let mut edits = Edits::open("start".into());
        for k in 0..MOST_STEPS + 5 {
            edits.change(k.to_string());
        }
        for _ in 0..MOST_STEPS + 5 {
            edits.undo();
        }
        assert_eq!(edits.now(), "4");
    }
}
