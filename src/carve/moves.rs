//! Holds every movement to the rules that do not need the finished piece: rapids, spindle, feed,
//! reach of blank, bed and machine, flutes, shank and holder.

use super::proof::{Cut, Rules};
use super::stock::Contact;
use super::violation::{Blame, Ledger, ViolationKind as Kind};
use super::walk::Encounter;
use crate::frame::{Point2, Point3};
use crate::nc::{self, Travel};
use crate::path::Target;

/// Numbers in program text have three decimals; anything nearer to a limit than this is rounding.
const ROUNDING_MM: f64 = 1e-6;

/// Judges the travels of one cut by what each met.
pub(super) fn judge(cut: &Cut<'_>, met: &[Encounter], target: &Target, rules: &Rules, ledger: &mut Ledger) {
    for (travel, met) in cut.program.travels.iter().zip(met) {
        let mut judge = Judge { cut, travel, ledger };
        if travel.rapid {
            judge.rapid(met, target.safe_z_mm);
        } else {
            judge.feed(met);
            judge.blank(target, rules.overrun_mm);
        }
        judge.bed(rules.bed_cut_mm);
        judge.holding(met);
    }
    end(cut, target.safe_z_mm, ledger);
    cutter(cut, ledger);
    machine(cut, rules.travel_mm, ledger);
}

/// The next program, or the hand that changes the cutter, begins where this one ends.
fn end(cut: &Cut<'_>, safe_z: f64, ledger: &mut Ledger) {
    let Some(last) = cut.program.travels.last().filter(|last| last.to.z < safe_z - ROUNDING_MM) else { return };
    let blame = Blame { file: cut.name, line: last.line };
    ledger.add(Kind::EndsLow, blame, last.to, (last.to.z, safe_z), || {
        format!(
            "the program ends with the tip at z {:.3}; the safe height is {safe_z:.3}: lift before the end",
            last.to.z
        )
    });
}

/// Whoever reads the program's comments puts in the cutter they name, and then another piece comes
/// out than was proved.
fn cutter(cut: &Cut<'_>, ledger: &mut Ledger) {
    let Some((line, said)) = nc::other_cutter(cut.program, cut.cutter) else { return };
    let (blame, name) = (Blame { file: cut.name, line }, &cut.cutter.name);
    ledger.add(Kind::OtherCutter, blame, Point3::origin(), (1.0, 0.0), || {
        format!("written for CUTTER: {said}; the ticket puts in {name}: name that one on the ticket, or mill again")
    });
}

struct Judge<'a, 'b> {
    cut: &'a Cut<'a>,
    travel: &'a Travel,
    ledger: &'b mut Ledger,
}

impl Judge<'_, '_> {
    fn add(&mut self, kind: Kind, at: Point3, pair: (f64, f64), message: impl FnOnce() -> String) {
        self.ledger.add(kind, Blame { file: self.cut.name, line: self.travel.line }, at, pair, message);
    }

    /// The place of a contact, at the height of the move's lowest tip.
    fn over(&self, at: Point2) -> Point3 {
        Point3::new(at.x, at.y, low(self.travel).z)
    }

    fn rapid(&mut self, met: &Encounter, safe_z: f64) {
        let low = low(self.travel);
        let (dx, dy) = (self.travel.to.x - self.travel.from.x, self.travel.to.y - self.travel.from.y);
        if (dx != 0.0 || dy != 0.0) && low.z < safe_z - ROUNDING_MM {
            self.add(Kind::RapidLow, low, (low.z, safe_z), || {
                format!("rapid in x and y at z {:.3}; the safe height is {safe_z:.3}: lift first", low.z)
            });
        }
        if let Some(contact) = met.cutter {
            self.contact(Kind::RapidContact, contact, "the cutter", "lift first, and go down at feed");
        }
    }

    fn feed(&mut self, met: &Encounter) {
        let (feed, flute) = (self.travel.feed_mm_min, self.cut.cutter.flute_length_mm);
        if feed.is_nan() || feed <= 0.0 {
            self.add(Kind::NoFeed, self.travel.to, (feed, 0.0), || {
                format!("a feed move at {feed} mm/min; give F a number above 0 on this line or before it")
            });
        }
        let Some(taken) = met.taken else { return };
        let (rpm, at) = (self.travel.spindle_rpm, self.over(taken.at));
        if rpm.is_nan() || rpm <= 0.0 {
            self.add(Kind::SpindleOff, at, (rpm, 0.0), || {
                let depth = taken.depth_mm;
                format!("cuts {depth:.2} mm deep while the spindle stands: start it with M3 S.. above the blank")
            });
        }
        if met.engaged_mm > flute + ROUNDING_MM {
            self.add(Kind::AboveFlutes, at, (met.engaged_mm, flute), || {
                let engaged = met.engaged_mm;
                format!("stock stands {engaged:.2} mm up the cutter, its flutes end at {flute:.2}: cut in more levels")
            });
        }
    }

    fn holding(&mut self, met: &Encounter) {
        const ADVICE: &str = "use a longer cutter, clamp it further out, or clear more stock first";
        if let Some(contact) = met.shank {
            self.contact(Kind::Shank, contact, "the shank", ADVICE);
        }
        if let Some(contact) = met.holder {
            self.contact(Kind::Holder, contact, "the holder", ADVICE);
        }
    }

    fn contact(&mut self, kind: Kind, contact: Contact, part: &str, advice: &str) {
        let (depth, at) = (contact.depth_mm, contact.at);
        self.add(kind, self.over(at), (depth, 0.0), || {
            format!("{part} runs {depth:.2} mm deep into stock at ({:.1}, {:.1}): {advice}", at.x, at.y)
        });
    }

    /// A tip below the blank's top may stray from the blank by the cutter's radius and an overrun.
    fn blank(&mut self, target: &Target, overrun: f64) {
        let low = low(self.travel);
        if low.z >= target.blank_top_mm {
            return;
        }
        let allowed = self.cut.cutter.shape.radius() + overrun;
        let blank = target.blank;
        let out = |p: Point3| (blank.x0 - p.x).max(p.x - blank.x1).max(blank.y0 - p.y).max(p.y - blank.y1);
        let (from, to) = (self.travel.from, self.travel.to);
        let (far, at) = if out(from) > out(to) { (out(from), from) } else { (out(to), to) };
        if far > allowed + ROUNDING_MM {
            self.add(Kind::OutsideBlank, at, (far, allowed), || {
                format!("cutting height {far:.2} mm outside the blank, at most {allowed:.2}: check zero and blank size")
            });
        }
    }

    fn bed(&mut self, bed_cut: f64) {
        let low = low(self.travel);
        if low.z < -bed_cut - ROUNDING_MM {
            self.add(Kind::BelowBed, low, (-low.z, bed_cut), || {
                format!(
                    "the tip goes {:.3} mm below the bed, at most {bed_cut:.3} is allowed: check the z zero",
                    -low.z
                )
            });
        }
    }
}

/// Where the blank is clamped is the shop's choice, so only the extent of a program is held against
/// the machine's travel: the first line past it, on each axis.
fn machine(cut: &Cut<'_>, travel_mm: [f64; 3], ledger: &mut Ledger) {
    for (axis, &allowed) in travel_mm.iter().enumerate() {
        let (mut lo, mut hi) = (f64::INFINITY, f64::NEG_INFINITY);
        let past = cut.program.travels.iter().find(|t| {
            (lo, hi) = (lo.min(t.from[axis]).min(t.to[axis]), hi.max(t.from[axis]).max(t.to[axis]));
            hi - lo > allowed + ROUNDING_MM
        });
        if let Some(travel) = past {
            let (extent, name) = (hi - lo, ["x", "y", "z"][axis]);
            let blame = Blame { file: cut.name, line: travel.line };
            ledger.add(Kind::OutsideMachine, blame, travel.to, (extent, allowed), || {
                format!(
                    "the program spans {extent:.1} mm in {name}, the machine travels {allowed:.1}: \
                     turn the blank, or use another machine"
                )
            });
        }
    }
}

/// The lower end of a travel.
fn low(travel: &Travel) -> Point3 {
    if travel.to.z < travel.from.z { travel.to } else { travel.from }
}
