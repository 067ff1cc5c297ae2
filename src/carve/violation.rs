//! What a program did that it must not: kinds, measurements, and words that say what to do. The
//! list stays short however bad a program is; the totals do not.

use serde::Serialize;

use crate::frame::Point3;

/// Most violations of one kind that are listed; more are only counted. A person mends the first.
pub const MOST_LISTED: usize = 50;

/// The kinds of violation, in the order of the list.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ViolationKind {
    /// A rapid in x or y below the safe height.
    RapidLow,
    /// A program that ends with the tip below the safe height.
    EndsLow,
    /// A rapid that meets standing stock.
    RapidContact,
    /// A feed move that cuts while the spindle stands.
    SpindleOff,
    /// A feed move without a feed.
    NoFeed,
    /// A tip lower than the bed may be cut.
    BelowBed,
    /// A cutting move away from the blank.
    OutsideBlank,
    /// Movement longer than the machine's travel.
    OutsideMachine,
    /// Stock against the cutter above its flutes.
    AboveFlutes,
    /// The shank meets stock.
    Shank,
    /// The holder meets stock.
    Holder,
    /// The piece is cut too deep.
    Gouge,
    /// Stock is left standing on the piece that the cutter could have reached.
    LeftStanding,
    /// The piece is thinner than its least thickness.
    Thin,
    /// The piece is not cut free between its tabs.
    NotCutFree,
    /// Tabs are missing or too slight.
    Tabs,
    /// The program says that it was written for another cutter.
    OtherCutter,
}

/// One violation.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Violation {
    /// What kind.
    pub kind: ViolationKind,
    /// The program's file.
    pub file: String,
    /// The line in it, from 1; 0 when no one line is to blame.
    pub line: usize,
    /// Where, in program coordinates, mm.
    pub at_mm: [f64; 3],
    /// What was measured; mm unless the message says otherwise.
    pub measured: f64,
    /// What is allowed, in the same unit.
    pub allowed: f64,
    /// The same in words, with what to do.
    pub message: String,
}

/// How many violations of a kind there are, listed or not.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[allow(missing_docs)]
pub struct Total {
    pub kind: ViolationKind,
    pub count: usize,
}

/// Which line of which program is to blame.
#[derive(Clone, Copy, Debug)]
pub(super) struct Blame<'a> {
    pub(super) file: &'a str,
    pub(super) line: usize,
}

/// Violations as they are found.
#[derive(Default)]
pub(super) struct Ledger {
    list: Vec<Violation>,
    totals: Vec<Total>,
}

impl Ledger {
    /// Counts a violation, and lists it while there are few of its kind. The words are only made
    /// for those that are listed.
    pub(super) fn add(
        &mut self,
        kind: ViolationKind,
        blame: Blame<'_>,
        at: Point3,
        (measured, allowed): (f64, f64),
        message: impl FnOnce() -> String,
    ) {
        let count = self.count(kind);
        if *count <= MOST_LISTED {
            let (file, at_mm) = (blame.file.to_owned(), [at.x, at.y, at.z]);
            self.list.push(Violation { kind, file, line: blame.line, at_mm, measured, allowed, message: message() });
        }
    }

    /// The list and the totals, both in order of kinds; the order in which they were found within
    /// a kind stays.
    pub(super) fn close(mut self) -> (Vec<Violation>, Vec<Total>) {
        self.list.sort_by_key(|violation| violation.kind);
        self.totals.sort_by_key(|total| total.kind);
        (self.list, self.totals)
    }

    /// The total of `kind`, already raised by one.
    fn count(&mut self, kind: ViolationKind) -> &usize {
        let k = self.totals.iter().position(|total| total.kind == kind).unwrap_or_else(|| {
            self.totals.push(Total { kind, count: 0 });
            self.totals.len() - 1
        });
        self.totals[k].count += 1;
        &self.totals[k].count
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_list_is_bounded_and_the_total_is_not() {
        let mut ledger = Ledger::default();
        for line in 1..=200 {
            let blame = Blame { file: "a.ngc", line };
            ledger.add(ViolationKind::RapidLow, blame, Point3::origin(), (1.0, 5.0), || format!("line {line}"));
        }
        ledger.add(ViolationKind::NoFeed, Blame { file: "a.ngc", line: 3 }, Point3::origin(), (0.0, 1.0), String::new);
        let (list, totals) = ledger.close();
        assert_eq!(list.len(), MOST_LISTED + 1);
        assert_eq!(list[MOST_LISTED].kind, ViolationKind::NoFeed);
        assert_eq!(totals[0], Total { kind: ViolationKind::RapidLow, count: 200 });
    }
}
