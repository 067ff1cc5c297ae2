//! Putting moves one after the other: rounding, feeds and the only ways in which rapids are made.

use super::{Cutting, Motion, Move, Target};
use crate::frame::{Point2, Point3};

/// To what a program prints: 3 decimals. Everything is rounded before it is checked.
pub(super) fn round3(v: f64) -> f64 {
    (v * 1000.0).round() / 1000.0 + 0.0
}

/// Rounded up to 3 decimals, for heights that must not sink.
pub(super) fn ceil3(v: f64) -> f64 {
    // A value that is a thousandth already must stay one in spite of its last bit.
    (v * 1000.0 - 1e-7).ceil() / 1000.0 + 0.0
}

/// Moves under construction. Begins and ends at the safe height.
pub(super) struct Trail<'t> {
    target: &'t Target,
    cutting: &'t Cutting,
    moves: Vec<Move>,
}

impl<'t> Trail<'t> {
    pub(super) fn new(target: &'t Target, cutting: &'t Cutting) -> Trail<'t> {
        Trail { target, cutting, moves: Vec::new() }
    }

    /// Lifts to the safe height, goes over `p` there, and down in air to `clear`.
    /// Nothing may stand under the cutter above `clear` less the air kept.
    pub(super) fn enter_over(&mut self, p: Point2, clear: f64) {
        self.lift();
        let (x, y, safe) = (round3(p.x), round3(p.y), round3(self.target.safe_z_mm));
        self.push(Motion::Rapid, Point3::new(x, y, safe));
        let clear = ceil3(clear);
        if clear < safe {
            self.push(Motion::Rapid, Point3::new(x, y, clear));
        }
    }

    /// Straight up to the safe height.
    pub(super) fn lift(&mut self) {
        if let Some(last) = self.moves.last() {
            let up = Point3::new(last.to.x, last.to.y, round3(self.target.safe_z_mm));
            self.push(Motion::Rapid, up);
        }
    }

    /// A cutting move, at a feed that keeps the rate downward within the plunge rate.
    pub(super) fn cut_to(&mut self, to: Point3) {
        let to = Point3::new(round3(to.x), round3(to.y), round3(to.z));
        let from = self.moves.last().map_or(to, |m| m.to);
        self.push(Motion::Feed(feed(self.cutting, from, to)), to);
    }

    /// Stays for so many seconds.
    pub(super) fn wait(&mut self, seconds: f64) {
        if let Some(last) = self.moves.last() {
            let to = last.to;
            self.moves.push(Move { motion: Motion::Wait(seconds), to });
        }
    }

    pub(super) fn finish(mut self) -> Vec<Move> {
        self.lift();
        self.moves
    }

    /// Where the tip is.
    pub(super) fn last(&self) -> Option<Point3> {
        self.moves.last().map(|m| m.to)
    }

    /// The moves so far.
    pub(super) fn moves(&self) -> &[Move] {
        &self.moves
    }

    /// Whether anything has been cut.
    pub(super) fn is_empty(&self) -> bool {
        self.moves.is_empty()
    }

    fn push(&mut self, motion: Motion, to: Point3) {
        if self.moves.last().is_none_or(|last| last.to != to) {
            self.moves.push(Move { motion, to });
        }
    }
}

/// Feeds are stepped so that a program does not change its F word on every line of a slope.
const FEED_STEP_MM_MIN: f64 = 20.0;

fn feed(cutting: &Cutting, from: Point3, to: Point3) -> f64 {
    let down = from.z - to.z;
    let length = (to - from).norm();
    if down <= 0.0 || cutting.plunge_mm_min * length >= cutting.feed_mm_min * down {
        return cutting.feed_mm_min;
    }
    let allowed = cutting.plunge_mm_min * length / down;
    let stepped = (allowed / FEED_STEP_MM_MIN).floor() * FEED_STEP_MM_MIN;
    stepped.max(cutting.plunge_mm_min.min(allowed))
}
