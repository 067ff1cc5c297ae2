//! Where the time goes: what keeps the machine from going faster, second by second. Knows no
//! planner, only what one planned.

use std::ops::Add;

use serde::Serialize;

/// Every second of a program by what bounded the speed in it, s.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct BoundedBy {
    /// At the ordered feed: a faster order would be obeyed.
    pub feed_s: f64,
    /// At the ordered feed on the way down, where that is below the program's fastest: the plunge
    /// rate.
    pub plunge_s: f64,
    /// The ordered feed is more than the x axis does.
    pub x_rate_s: f64,
    /// The ordered feed is more than the y axis does.
    pub y_rate_s: f64,
    /// The ordered feed is more than the z axis does.
    pub z_rate_s: f64,
    /// Speeding up and slowing down: for corners, for stops, and because no more lines are known
    /// ahead.
    pub acceleration_s: f64,
    /// The movement is over before the controller has read the next line.
    pub line_reading_s: f64,
    /// In rapids, whatever bounds them.
    pub rapid_s: f64,
    /// Ordered waits.
    pub dwell_s: f64,
}

/// Shares below this are not told in words: they change no decision.
const TOLD_SHARE: f64 = 0.05;

impl BoundedBy {
    /// All of it, s. A program's total time is this sum.
    pub fn total_s(&self) -> f64 {
        self.cutting_s() + self.rapid_s + self.dwell_s
    }

    /// In feed moves, s.
    pub fn cutting_s(&self) -> f64 {
        self.feed_s
            + self.plunge_s
            + self.x_rate_s
            + self.y_rate_s
            + self.z_rate_s
            + self.acceleration_s
            + self.line_reading_s
    }

    /// The largest shares of the total, at most so many, largest first: `71 % feed, 18 %
    /// acceleration`. Empty when there is no time to share.
    pub fn words(&self, most: usize) -> String {
        let total = self.total_s();
        let mut shares: Vec<(&str, f64)> = self.named().into_iter().map(|(name, s)| (name, s / total)).collect();
        shares.retain(|(_, share)| *share >= TOLD_SHARE);
        shares.sort_by(|a, b| b.1.total_cmp(&a.1));
        let told = shares.iter().take(most).map(|(name, share)| format!("{:.0} % {name}", 100.0 * share));
        told.collect::<Vec<_>>().join(", ")
    }

    fn named(&self) -> [(&'static str, f64); 9] {
        [
            ("feed", self.feed_s),
            ("plunge", self.plunge_s),
            ("X rate", self.x_rate_s),
            ("Y rate", self.y_rate_s),
            ("Z rate", self.z_rate_s),
            ("acceleration", self.acceleration_s),
            ("line reading", self.line_reading_s),
            ("rapids", self.rapid_s),
            ("waits", self.dwell_s),
        ]
    }
}

impl Add for BoundedBy {
    type Output = BoundedBy;

    fn add(self, other: BoundedBy) -> BoundedBy {
        BoundedBy {
            feed_s: self.feed_s + other.feed_s,
            plunge_s: self.plunge_s + other.plunge_s,
            x_rate_s: self.x_rate_s + other.x_rate_s,
            y_rate_s: self.y_rate_s + other.y_rate_s,
            z_rate_s: self.z_rate_s + other.z_rate_s,
            acceleration_s: self.acceleration_s + other.acceleration_s,
            line_reading_s: self.line_reading_s + other.line_reading_s,
            rapid_s: self.rapid_s + other.rapid_s,
            dwell_s: self.dwell_s + other.dwell_s,
        }
    }
}

impl std::iter::Sum for BoundedBy {
    fn sum<I: Iterator<Item = BoundedBy>>(each: I) -> BoundedBy {
        each.fold(BoundedBy::default(), Add::add)
    }
}

/// What holds a leg at its greatest speed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Held {
    /// The feed that was ordered.
    Feed,
    /// The feed that was ordered for the way down.
    Plunge,
    /// The rate of an axis: 0 x, 1 y, 2 z.
    Axis(usize),
}

/// How one travel runs: from a speed up to another, on at that, and down again. Straight, with one
/// acceleration.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Run {
    /// From its start to its end, s.
    pub seconds: f64,
    /// Of these, speeding up and slowing down, s.
    pub ramps_s: f64,
    /// Of these, standing between lines because the next one has not been read, s.
    pub waits_s: f64,
    /// Speeds at its start, at its fastest and at its end, mm/s, as planned without such a wait.
    pub speeds_mm_s: [f64; 3],
    /// Of both ramps.
    pub acceleration_mm_s2: f64,
}

impl Run {
    /// The same run by a controller that needs `line_time_s` for the line.
    pub(super) fn no_shorter_than(self, line_time_s: f64) -> Run {
        let waits_s = (line_time_s - self.seconds).max(0.0);
        Run { seconds: self.seconds + waits_s, waits_s, ..self }
    }

    /// How long the tip goes slower than `speed_mm_s`, s. A controller that waits for its next line
    /// is taken to creep all along the move, since it must not stand in the material.
    pub fn slower_s(&self, speed_mm_s: f64) -> f64 {
        let planned = self.seconds - self.waits_s;
        if planned <= 0.0 || self.acceleration_mm_s2 <= 0.0 {
            return if speed_mm_s > 0.0 { self.seconds } else { 0.0 };
        }
        // Creeping makes the whole move slower by one factor.
        let stretch = self.seconds / planned;
        let speed = speed_mm_s * stretch;
        let [entry, peak, exit] = self.speeds_mm_s;
        let below = |end: f64| (speed.min(peak) - end).max(0.0) / self.acceleration_mm_s2;
        let cruise = if peak < speed { planned - self.ramps_s } else { 0.0 };
        (below(entry) + below(exit) + cruise) * stretch
    }
}

#[cfg(test)]
mod tests {
    use approx::assert_relative_eq;

    use super::*;

    /// From rest to 50 mm/s and back at 500 mm/s^2, 0.1 s each way, with 1.9 s between: below
    /// 25 mm/s for half of each ramp.
    #[test]
    fn slow_times_are_read_off_the_trapezoid() {
        let run =
            Run { seconds: 2.1, ramps_s: 0.2, waits_s: 0.0, speeds_mm_s: [0.0, 50.0, 0.0], acceleration_mm_s2: 500.0 };
        assert_relative_eq!(run.slower_s(25.0), 0.1, epsilon = 1e-12);
        assert_relative_eq!(run.slower_s(51.0), 2.1, epsilon = 1e-12);
        assert_eq!((run.slower_s(0.0), run.slower_s(-1.0)), (0.0, 0.0));
        // Twice as long through a slow reader: 25 mm/s is then reached at the very top only.
        let crept = Run { seconds: 4.2, waits_s: 2.1, ..run };
        assert_relative_eq!(crept.slower_s(12.5), 0.2, epsilon = 1e-12);
        assert_relative_eq!(crept.slower_s(26.0), 4.2, epsilon = 1e-12);
        let still = Run { seconds: 0.3, waits_s: 0.3, ..Run::default() };
        assert_eq!((still.slower_s(1.0), still.slower_s(0.0)), (0.3, 0.0));
    }

    #[test]
    fn words_name_the_largest_shares() {
        let most =
            BoundedBy { feed_s: 71.0, z_rate_s: 9.0, acceleration_s: 18.0, dwell_s: 2.0, ..BoundedBy::default() };
        assert_eq!(most.words(3), "71 % feed, 18 % acceleration, 9 % Z rate");
        let many = BoundedBy { feed_s: 10.0, plunge_s: 20.0, x_rate_s: 30.0, rapid_s: 40.0, ..BoundedBy::default() };
        assert_eq!(many.words(3), "40 % rapids, 30 % X rate, 20 % plunge");
        assert_eq!(many.words(1), "40 % rapids");
        assert_eq!(BoundedBy::default().words(3), "");
    }

    #[test]
    fn sums_keep_every_second() {
        let each = BoundedBy {
            feed_s: 1.0,
            plunge_s: 2.0,
            x_rate_s: 4.0,
            y_rate_s: 8.0,
            z_rate_s: 16.0,
            acceleration_s: 32.0,
            line_reading_s: 64.0,
            rapid_s: 128.0,
            dwell_s: 256.0,
        };
        assert_eq!(each.total_s(), 511.0);
        assert_eq!(each.named().iter().map(|(_, s)| s).sum::<f64>(), 511.0);
        assert_eq!([each, each].into_iter().sum::<BoundedBy>().total_s(), 1022.0);
    }
}
