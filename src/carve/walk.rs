//! Carves every movement of every program, in order, and notes what each met: what it took, and
//! where cutter, shank or holder ran into stock as it stood then. Judges nothing.

use std::ops::Range;

use rayon::prelude::*;

use super::proof::Cut;
use super::stock::{Band, Contact, Stock, TOUCH_MM, slimmer};
use crate::frame::{Point2, Point3};
use crate::grid::Lattice;
use crate::kernel::{Shape, Sweep};
use crate::profile::Cutter;

/// What one travel met.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Encounter {
    /// Volume taken, mm3.
    pub(super) removed_mm3: f64,
    /// Where a feed move took most, if it took more than a touch.
    pub(super) taken: Option<Contact>,
    /// See [`super::Bite::engaged_mm`].
    pub(super) engaged_mm: f64,
    /// Where a rapid's cutter met stock.
    pub(super) cutter: Option<Contact>,
    /// Where the shank met stock.
    pub(super) shank: Option<Contact>,
    /// Where the holder met stock.
    pub(super) holder: Option<Contact>,
}

/// Carves `cuts` from `stock`; for each cut one encounter for each travel.
///
/// A move changes only the rows under it and depends on nothing else, so strips of rows are carved
/// side by side, each through all movements in order, and what they noted is put together in the
/// order of the strips: the result does not depend on the number of threads.
pub(super) fn walk(stock: &mut Stock, cuts: &[Cut<'_>]) -> Vec<Vec<Encounter>> {
    let (lattice, top_mm) = (stock.grid().lattice, stock.top_mm());
    let tools: Vec<Tool> = cuts.iter().map(|cut| Tool::of(cut.cutter)).collect();
    let passes = passes(cuts, &tools, &lattice, top_mm);
    let notes: Vec<_> = stock.bands().into_par_iter().map(|band| through(band, &passes, &tools, top_mm)).collect();
    let mut all: Vec<Vec<_>> = cuts.iter().map(|cut| vec![Encounter::default(); cut.program.travels.len()]).collect();
    for (pass, note) in notes.into_iter().flatten() {
        all[pass.cut][pass.travel].join(note);
    }
    all
}

/// A travel, ready to be carved.
#[derive(Clone, Copy)]
struct Pass {
    cut: usize,
    travel: usize,
    rapid: bool,
    /// Whether it begins where the travel before it, a feed move of the same cutter, ended.
    goes_on: bool,
    from: Point3,
    to: Point3,
}

/// A cutter with what holds it. Contact is looked for with every part made slimmer by a touch.
struct Tool {
    shape: Shape,
    slim: Option<Shape>,
    /// `None` for a shank no thicker than the cutter: stock that it could meet stands above the
    /// flutes against the cutter's own path, which is measured already.
    shank: Option<Part>,
    holder: Option<Part>,
}

/// A cylinder about the cutter's axis.
#[derive(Clone, Copy)]
struct Part {
    shape: Shape,
    /// From the cutter's tip to its lower end, mm.
    above_tip: f64,
}

impl Tool {
    fn of(cutter: &Cutter) -> Tool {
        let part = |diameter: f64, above_tip: f64| {
            let radius = 0.5 * diameter - TOUCH_MM;
            (radius > cutter.shape.radius())
                .then_some(Part { shape: Shape::Flat { radius }, above_tip: above_tip + TOUCH_MM })
        };
        Tool {
            shape: cutter.shape,
            slim: slimmer(&cutter.shape, TOUCH_MM),
            shank: part(cutter.shank_diameter_mm, cutter.flute_length_mm),
            holder: part(cutter.holder_diameter_mm, cutter.stickout_mm),
        }
    }
}

impl Pass {
    fn low_mm(&self) -> f64 {
        self.from.z.min(self.to.z)
    }

    /// The move of something that rides `above` the tip.
    fn sweep(&self, shape: &Shape, above: f64) -> Sweep {
        let raised = |p: Point3| Point3::new(p.x, p.y, p.z + above);
        Sweep::new(shape, raised(self.from), raised(self.to))
    }

    /// The move of `part`, if it comes down to where stock may stand.
    fn part_sweep(&self, part: Option<Part>, top_mm: f64) -> Option<Sweep> {
        let part = part.filter(|part| self.low_mm() + part.above_tip < top_mm)?;
        Some(self.sweep(&part.shape, part.above_tip))
    }

    /// Rows that cutter, shank or holder may touch.
    fn rows(&self, tool: &Tool, lattice: &Lattice, top_mm: f64) -> Range<usize> {
        let parts = [tool.shank, tool.holder].into_iter().filter_map(|part| self.part_sweep(part, top_mm));
        let own = self.sweep(&tool.shape, 0.0).rows(lattice);
        parts.map(|sweep| sweep.rows(lattice)).fold(own, |a, b| a.start.min(b.start)..a.end.max(b.end))
    }
}

impl Encounter {
    fn is_nothing(&self) -> bool {
        self.removed_mm3 == 0.0 && [self.taken, self.cutter, self.shank, self.holder].iter().all(Option::is_none)
    }

    /// Adds what another strip of rows noted of the same travel.
    fn join(&mut self, other: Encounter) {
        self.removed_mm3 += other.removed_mm3;
        self.engaged_mm = self.engaged_mm.max(other.engaged_mm);
        self.taken = deeper(self.taken, other.taken);
        self.cutter = deeper(self.cutter, other.cutter);
        self.shank = deeper(self.shank, other.shank);
        self.holder = deeper(self.holder, other.holder);
    }
}

fn deeper(a: Option<Contact>, b: Option<Contact>) -> Option<Contact> {
    match (a, b) {
        (Some(a), Some(b)) => Some(if b.depth_mm > a.depth_mm { b } else { a }),
        (a, b) => a.or(b),
    }
}

/// All movements that come down to the blank, with the rows that they may touch.
fn passes(cuts: &[Cut<'_>], tools: &[Tool], lattice: &Lattice, top_mm: f64) -> Vec<(Range<usize>, Pass)> {
    let every = cuts.iter().enumerate().zip(tools).flat_map(|((cut, c), tool)| {
        let travels = c.program.travels.iter().enumerate();
        let before = std::iter::once(None).chain(c.program.travels.iter().map(Some));
        travels.zip(before).map(move |((travel, t), before)| {
            let goes_on = before.is_some_and(|b| !b.rapid && b.to == t.from);
            (Pass { cut, travel, rapid: t.rapid, goes_on, from: t.from, to: t.to }, tool)
        })
    });
    let low = every.filter(|(pass, _)| pass.low_mm() < top_mm);
    low.map(|(pass, tool)| (pass.rows(tool, lattice, top_mm), pass)).filter(|(rows, _)| !rows.is_empty()).collect()
}

/// Carves all movements from one strip of rows.
fn through(mut band: Band<'_>, passes: &[(Range<usize>, Pass)], tools: &[Tool], top_mm: f64) -> Vec<(Pass, Encounter)> {
    let mine = band.rows();
    let near = passes.iter().filter(|(rows, _)| rows.start < mine.end && rows.end > mine.start);
    let notes = near.map(|(_, pass)| (*pass, meet(&mut band, pass, &tools[pass.cut], top_mm)));
    notes.filter(|(_, note)| !note.is_nothing()).collect()
}

fn meet(band: &mut Band<'_>, pass: &Pass, tool: &Tool, top_mm: f64) -> Encounter {
    let mut note = Encounter::default();
    if pass.rapid {
        let slim = tool.slim.map(|shape| pass.sweep(&shape, TOUCH_MM));
        note.cutter = slim.and_then(|sweep| touched(band, &sweep));
        if note.cutter.is_some() {
            // It has cut its way, good or bad, and the way back is free.
            note.removed_mm3 = band.carve(&pass.sweep(&tool.shape, 0.0)).removed_mm3;
        }
    } else {
        let sweep = pass.sweep(&tool.shape, 0.0);
        let bite = band.carve(&if pass.goes_on { sweep.going_on() } else { sweep });
        note.removed_mm3 = bite.removed_mm3;
        note.engaged_mm = bite.engaged_mm;
        note.taken = (bite.deepest_mm > TOUCH_MM).then_some(Contact { depth_mm: bite.deepest_mm, at: bite.at });
    }
    note.shank = pass.part_sweep(tool.shank, top_mm).and_then(|sweep| touched(band, &sweep));
    note.holder = pass.part_sweep(tool.holder, top_mm).and_then(|sweep| touched(band, &sweep));
    note
}

/// A contact of a part that was made slimmer by a touch, told for the part as it is.
fn touched(band: &mut Band<'_>, sweep: &Sweep) -> Option<Contact> {
    band.contact(sweep).map(|contact| Contact { depth_mm: contact.depth_mm + TOUCH_MM, ..contact })
}

/// The travel that left the least height at `at`: (cut, travel), the first of equals.
pub(super) fn who_cut(cuts: &[Cut<'_>], at: Point2) -> Option<(usize, usize)> {
    let mut least = (f64::INFINITY, None);
    for (c, cut) in cuts.iter().enumerate() {
        let reach = cut.cutter.shape.radius() + TOUCH_MM;
        for (t, travel) in cut.program.travels.iter().enumerate() {
            let (a, b) = (travel.from, travel.to);
            let far = a.x.min(b.x) > at.x + reach
                || a.x.max(b.x) < at.x - reach
                || a.y.min(b.y) > at.y + reach
                || a.y.max(b.y) < at.y - reach;
            let height = if far { f64::INFINITY } else { Sweep::new(&cut.cutter.shape, a, b).height_at(at) };
            if height < least.0 {
                least = (height, Some((c, t)));
            }
        }
    }
    least.1
}
