//! The least weighted change that meets a set of lines: a linear program, and when there is none,
//! the lines that contradict each other. The only door to `microlp`.

use microlp::{ComparisonOp, Error, OptimizationDirection, Problem, Variable};

use super::line::{Amounts, Line};
use crate::footbed::SHAPING;

/// Weights of a line below this share of its greatest are taken for nothing: the solver keeps to
/// lines whose weights are of comparable size.
const LEAST_SHARE: f64 = 1e-6;

/// Why there is no answer.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum NoChange {
    /// The lines at these places of the list contradict each other, and no fewer of them do.
    Contradiction(Vec<usize>),
    /// The solver gave up.
    Lost,
}

/// The least change from `from` that meets all `lines`: the sum over all values of `price` times the
/// amount of change. Of changes that cost the same, the solver's.
pub(super) fn least_change(from: &Amounts, price: &Amounts, lines: &[Line]) -> Result<Amounts, NoChange> {
    let all: Vec<usize> = (0..lines.len()).collect();
    match solve(from, price, lines, &all) {
        Ok(changed) => Ok(changed),
        Err(Error::Infeasible) => Err(NoChange::Contradiction(contradiction(from, price, lines))),
        Err(_) => Err(NoChange::Lost),
    }
}

/// A change is what is added less what is taken away, both never negative and both at the price.
fn solve(from: &Amounts, price: &Amounts, lines: &[Line], kept: &[usize]) -> Result<Amounts, Error> {
    let mut problem = Problem::new(OptimizationDirection::Minimize);
    let mut side = || price.map(|price| problem.add_var(price, (0.0, f64::INFINITY)));
    let (more, less): ([Variable; SHAPING.len()], [Variable; SHAPING.len()]) = (side(), side());
    for line in kept.iter().filter_map(|&at| lines.get(at)) {
        let greatest = line.weights.iter().fold(0.0_f64, |most, w| most.max(w.abs()));
        let terms = line.weights.iter().zip(more.iter().zip(&less)).filter(|(w, _)| w.abs() > LEAST_SHARE * greatest);
        let terms: Vec<(Variable, f64)> = terms.flat_map(|(&w, (&more, &less))| [(more, w), (less, -w)]).collect();
        problem.add_constraint(terms, ComparisonOp::Ge, -line.slack(from));
    }
    let solution = problem.solve()?.into_solution().map_err(|_| Error::Infeasible)?;
    Ok(std::array::from_fn(|k| from[k] + solution.var_value(more[k]) - solution.var_value(less[k])))
}

/// Lines that contradict each other, none of which can be left out: the deletion filter (Chinneck
/// and Dravnieks 1991, from memory).
fn contradiction(from: &Amounts, price: &Amounts, lines: &[Line]) -> Vec<usize> {
    let mut kept: Vec<usize> = (0..lines.len()).collect();
    for at in 0..lines.len() {
        let without: Vec<usize> = kept.iter().copied().filter(|&k| k != at).collect();
        if solve(from, price, lines, &without) == Err(Error::Infeasible) {
            kept = without;
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::limits::interval::Bound;

    const BY: Bound = Bound::of("blank_height");

    fn line(weights: &[(usize, f64)], least: f64) -> Line {
        let mut all = Amounts::default();
        weights.iter().for_each(|&(k, w)| all[k] = w);
        Line::at_least(all, least, BY)
    }

    /// a + 2 b >= 4 from nothing: the dearer b does more for its price of 1.5, so b = 2.
    #[test]
    fn the_cheaper_way_is_taken() {
        let mut price = [1.0; SHAPING.len()];
        price[1] = 1.5;
        let changed = least_change(&Amounts::default(), &price, &[line(&[(0, 1.0), (1, 2.0)], 4.0)]).unwrap();
        assert!(changed[0].abs() < 1e-6 && (changed[1] - 2.0).abs() < 1e-4, "{changed:?}");
        price[1] = 2.5;
        let changed = least_change(&Amounts::default(), &price, &[line(&[(0, 1.0), (1, 2.0)], 4.0)]).unwrap();
        assert!((changed[0] - 4.0).abs() < 1e-3 && changed[1].abs() < 1e-6, "{changed:?}");
    }

    #[test]
    fn what_contradicts_is_named_and_nothing_else() {
        let lines = [line(&[(2, 1.0)], -3.0), line(&[(0, 1.0)], 5.0), line(&[(1, 1.0)], 1.0), line(&[(0, -1.0)], -4.0)];
        let found = least_change(&Amounts::default(), &[1.0; SHAPING.len()], &lines);
        assert_eq!(found, Err(NoChange::Contradiction(vec![1, 3])));
    }

    #[test]
    fn a_line_that_nothing_moves_contradicts_itself() {
        let found = least_change(&Amounts::default(), &[1.0; SHAPING.len()], &[line(&[], 1.0)]);
        assert_eq!(found, Err(NoChange::Contradiction(vec![0])));
    }
}
