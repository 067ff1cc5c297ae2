//! The words of one line sorted by what they order, each kind at most once. Knows which words are in
//! the accepted part of the language; knows no state.

use super::Reason;
use super::words::Word;

/// Settings that must have been said before a movement, by G number.
pub(super) const NEEDED: [u32; 7] = [17, 21, 40, 49, 54, 90, 94];

/// Coordinates, feeds and speeds beyond this are slips of the point, and refused. The largest number
/// that means something is the longest wait in milliseconds.
pub(super) const MOST_NUMBER: f64 = 120_000.0;

/// The words of one line, each kind once.
#[derive(Default)]
pub(super) struct Orders {
    /// `G0`, `G1` or `G80`.
    pub(super) motion: Option<f64>,
    pub(super) dwell: Option<f64>,
    pub(super) settings: Vec<f64>,
    /// `M3` or `M5`.
    pub(super) spindle: Option<f64>,
    pub(super) end: Option<f64>,
    pub(super) axes: [Option<f64>; 3],
    pub(super) feed: Option<f64>,
    pub(super) speed: Option<f64>,
    pub(super) time: Option<f64>,
}

impl Orders {
    /// `time_letter` is the letter that means a time in this line: where S waits, it does so only
    /// beside `G4`.
    pub(super) fn take(&mut self, word: Word, time_letter: char) -> Result<(), Reason> {
        let Word { letter, number, .. } = word;
        if !(-MOST_NUMBER..=MOST_NUMBER).contains(&number) {
            return Err(Reason::OutOfRange { letter, number });
        }
        match letter {
            'G' => self.take_g(number),
            'M' => self.take_m(number),
            'X' => once(&mut self.axes[0], letter, number),
            'Y' => once(&mut self.axes[1], letter, number),
            'Z' => once(&mut self.axes[2], letter, number),
            'F' => once(&mut self.feed, letter, number),
            _ if letter == time_letter => once(&mut self.time, letter, number),
            'S' => once(&mut self.speed, letter, number),
            _ => Err(Reason::UnknownWord { letter, number }),
        }
    }

    fn take_g(&mut self, number: f64) -> Result<(), Reason> {
        if [0.0, 1.0, 80.0].contains(&number) {
            return once(&mut self.motion, 'G', number);
        }
        if number == 4.0 {
            return once(&mut self.dwell, 'G', number);
        }
        if [2.0, 3.0].contains(&number) {
            return Err(Reason::Arc { number });
        }
        if !NEEDED.map(f64::from).contains(&number) {
            return Err(Reason::UnknownWord { letter: 'G', number });
        }
        if self.settings.contains(&number) {
            return Err(Reason::Repeated { letter: 'G', first: number, second: number });
        }
        self.settings.push(number);
        Ok(())
    }

    fn take_m(&mut self, number: f64) -> Result<(), Reason> {
        match number {
            3.0 | 5.0 => once(&mut self.spindle, 'M', number),
            2.0 | 30.0 => once(&mut self.end, 'M', number),
            _ => Err(Reason::UnknownWord { letter: 'M', number }),
        }
    }

    pub(super) fn moves(&self) -> bool {
        self.axes.iter().any(Option::is_some)
    }
}

fn once(slot: &mut Option<f64>, letter: char, number: f64) -> Result<(), Reason> {
    match slot.replace(number) {
        Some(first) => Err(Reason::Repeated { letter, first, second: number }),
        None => Ok(()),
    }
}
