//! Cholesky factorisation of a symmetric positive definite matrix whose entries lie near the
//! diagonal: the only kind the sheet's energy makes.

use multiversion::multiversion;

/// The lower half of a symmetric band matrix: entry (r, c), c <= r <= c + width, of column c.
#[derive(Clone, Debug)]
pub struct Banded {
    n: usize,
    width: usize,
    /// Column by column: the diagonal entry, then `width` entries below it.
    data: Vec<f64>,
}

/// The factor L of A = L L^T, in the place of A.
#[derive(Clone, Debug)]
pub struct Cholesky(Banded);

impl Banded {
    /// The zero matrix of `n` rows with `width` entries below the diagonal.
    pub fn zero(n: usize, width: usize) -> Banded {
        Banded { n, width, data: vec![0.0; n * (width + 1)] }
    }

    /// Adds to entry (r, c) with `r >= c`; the mirrored entry is meant too.
    pub fn add(&mut self, r: usize, c: usize, value: f64) {
        debug_assert!(r >= c && r - c <= self.width);
        self.data[c * (self.width + 1) + (r - c)] += value;
    }

    /// Adds `weight * row^T row` for a sparse row with rising indices.
    pub fn add_square(&mut self, terms: &[(usize, f64)], weight: f64) {
        for (k, &(c, a)) in terms.iter().enumerate() {
            for &(r, b) in &terms[k..] {
                self.add(r, c, weight * a * b);
            }
        }
    }

    /// Adds `weight` times the lower half of a small symmetric matrix whose rows and columns are
    /// these, rising.
    pub fn add_block<const N: usize>(&mut self, rows: &[usize; N], block: &[[f64; N]; N], weight: f64) {
        for (a, &r) in rows.iter().enumerate() {
            for (b, &c) in rows[..=a].iter().enumerate() {
                self.add(r, c, weight * block[a][b]);
            }
        }
    }

    /// The matrix times `x`.
    pub fn times(&self, x: &[f64]) -> Vec<f64> {
        let stride = self.width + 1;
        let mut y = vec![0.0; self.n];
        for c in 0..self.n {
            let column = &self.data[c * stride..][..stride.min(self.n - c)];
            let (here, below) = y[c..].split_at_mut(1);
            here[0] += column[0] * x[c];
            let mut dot = 0.0;
            for ((v, y), x_below) in column[1..].iter().zip(below).zip(&x[c + 1..]) {
                *y += v * x[c];
                dot += v * x_below;
            }
            here[0] += dot;
        }
        y
    }

    /// Factors; `Err` names the first row whose pivot is not positive.
    ///
    /// Right-looking: a panel of columns is scaled, then its outer products are taken from the columns after it, all in
    /// contiguous runs (Golub & Van Loan 1996, alg. 4.3.5, from memory). Every entry loses its products in the order of
    /// the columns, whatever the panel's width, so that the width changes no digit.
    ///
    /// # Errors
    /// The index of that row.
    pub fn factor(mut self) -> Result<Cholesky, usize> {
        match factored(&mut self.data, self.n, self.width + 1) {
            None => Ok(Cholesky(self)),
            Some(row) => Err(row),
        }
    }
}

/// Columns that are taken from those after them together: an entry is then fetched once for all of them, and their
/// multipliers stay in registers.
const PANEL: usize = 8;

/// Factors in place; the first row whose pivot is not positive, where there is one.
///
/// Compiled once more for wider vectors, chosen when the program runs. Products and differences are rounded one by one
/// in vectors of any width, so every machine gives the same factor.
#[multiversion(targets("x86_64+avx2"))]
fn factored(data: &mut [f64], n: usize, stride: usize) -> Option<usize> {
    let mut first = 0;
    while first < n {
        let wide = PANEL.min(n - first);
        let (panel, after) = data[first * stride..].split_at_mut(wide * stride);
        for k in 0..wide {
            let (head, own) = panel[k * stride..].split_at_mut(stride);
            let pivot = head[0];
            if !(pivot > 0.0 && pivot.is_finite()) {
                return Some(first + k);
            }
            let root = pivot.sqrt();
            head.iter_mut().for_each(|v| *v /= root);
            for (later, column) in own.chunks_exact_mut(stride).enumerate() {
                take(column, head, later + 1);
            }
        }
        for (later, column) in after.chunks_exact_mut(stride).take(stride - 1).enumerate() {
            // The panel's first column ends first; what the others have beyond it is taken one by one.
            let common = (stride - 1).saturating_sub(later + wide - 1);
            if wide == PANEL && common > 1 {
                let heads: [&[f64]; PANEL] = std::array::from_fn(|k| &panel[k * stride + later + wide - k..][..common]);
                take_all(&mut column[..common], heads);
                for (k, head) in panel.chunks_exact(stride).enumerate() {
                    let head = &head[later + wide - k..];
                    column[common..].iter_mut().zip(&head[common..]).for_each(|(v, h)| *v -= head[0] * h);
                }
            } else {
                panel.chunks_exact(stride).enumerate().for_each(|(k, head)| take(column, head, later + wide - k));
            }
        }
        first += wide;
    }
    None
}

/// Takes outer products of a whole panel from a column, in the panel's order; the slices are of one length.
#[inline(always)]
fn take_all(column: &mut [f64], heads: [&[f64]; PANEL]) {
    let by = heads.map(|head| head[0]);
    let [a, b, c, d, e, f, g, h] = heads;
    let entries = column.iter_mut().zip(a).zip(b).zip(c).zip(d).zip(e).zip(f).zip(g).zip(h);
    for ((((((((v, a), b), c), d), e), f), g), h) in entries {
        let half = *v - by[0] * a - by[1] * b - by[2] * c - by[3] * d;
        *v = half - by[4] * e - by[5] * f - by[6] * g - by[7] * h;
    }
}

/// Takes the outer product of the column that begins with `head` from the one `later` columns after it.
#[inline(always)]
fn take(column: &mut [f64], head: &[f64], later: usize) {
    if let Some(&scale) = head.get(later) {
        column.iter_mut().zip(&head[later..]).for_each(|(v, h)| *v -= scale * h);
    }
}

/// Right sides that are solved for together: each entry of the factor is then fetched once for all of them.
const SIDES: usize = 8;

impl Cholesky {
    /// Solves A x = b in place.
    pub fn solve(&self, b: &mut [f64]) {
        self.forward(b);
        self.backward(b);
    }

    /// Solves L y = b in place for many b.
    pub fn forward_all(&self, all: &mut [Vec<f64>]) {
        self.together(all, forward_rows);
    }

    /// Solves L^T x = y in place for many y.
    pub fn backward_all(&self, all: &mut [Vec<f64>]) {
        self.together(all, backward_rows);
    }

    fn together(&self, all: &mut [Vec<f64>], solve: impl Fn(&[f64], usize, &mut [[f64; SIDES]])) {
        let Banded { n, width, data } = &self.0;
        for some in all.chunks_mut(SIDES) {
            let mut rows: Vec<[f64; SIDES]> =
                (0..*n).map(|r| std::array::from_fn(|k| some.get(k).map_or(0.0, |b| b[r]))).collect();
            solve(data, width + 1, &mut rows);
            for (k, b) in some.iter_mut().enumerate() {
                b.iter_mut().zip(&rows).for_each(|(b, row)| *b = row[k]);
            }
        }
    }

    /// Solves L y = b in place.
    fn forward(&self, b: &mut [f64]) {
        let Banded { n, width, data } = &self.0;
        for c in 0..*n {
            let column = &data[c * (width + 1)..][..width + 1];
            b[c] /= column[0];
            let (done, rest) = b.split_at_mut(c + 1);
            for (v, l) in rest.iter_mut().zip(&column[1..]) {
                *v -= done[c] * l;
            }
        }
    }

    /// Solves L^T x = y in place.
    pub fn backward(&self, b: &mut [f64]) {
        let Banded { n, width, data } = &self.0;
        for c in (0..*n).rev() {
            let column = &data[c * (width + 1)..][..width + 1];
            b[c] = (b[c] - dot(&b[c + 1..], &column[1..])) / column[0];
        }
    }
}

/// The sum of products over the shorter of the two. In eight sums side by side, as one sum would wait for itself.
pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let common = a.len().min(b.len());
    let ((a, a_rest), (b, b_rest)) = (a[..common].as_chunks::<8>(), b[..common].as_chunks::<8>());
    let mut sums = [0.0; 8];
    for (a, b) in a.iter().zip(b) {
        sums.iter_mut().zip(a.iter().zip(b)).for_each(|(sum, (a, b))| *sum += a * b);
    }
    a_rest.iter().zip(b_rest).map(|(a, b)| a * b).sum::<f64>() + sums.iter().sum::<f64>()
}

/// Solves L y = b in place for all sides at once; compiled for wider vectors as [`factored`] is.
#[multiversion(targets("x86_64+avx2"))]
fn forward_rows(factor: &[f64], stride: usize, rows: &mut [[f64; SIDES]]) {
    for (c, column) in factor.chunks_exact(stride).enumerate().take(rows.len()) {
        let (done, rest) = rows.split_at_mut(c + 1);
        let own = &mut done[c];
        own.iter_mut().for_each(|v| *v /= column[0]);
        if own.iter().all(|v| *v == 0.0) {
            // Above the first entry of every right side.
            continue;
        }
        let own = *own;
        for (row, l) in rest.iter_mut().zip(&column[1..]) {
            row.iter_mut().zip(&own).for_each(|(v, own)| *v -= own * l);
        }
    }
}

/// Solves L^T x = y likewise.
#[multiversion(targets("x86_64+avx2"))]
fn backward_rows(factor: &[f64], stride: usize, rows: &mut [[f64; SIDES]]) {
    for (c, column) in factor.chunks_exact(stride).enumerate().take(rows.len()).rev() {
        let mut dot = [0.0; SIDES];
        for (row, l) in rows[c + 1..].iter().zip(&column[1..]) {
            dot.iter_mut().zip(row).for_each(|(dot, v)| *dot += v * l);
        }
        rows[c].iter_mut().zip(&dot).for_each(|(v, dot)| *v = (*v - dot) / column[0]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;
    use nalgebra::{DMatrix, DVector};

    /// nalgebra's dense Cholesky is the outside reference.
    #[test]
    fn agrees_with_a_dense_solver() {
        let (n, width) = (40, 7);
        let mut banded = Banded::zero(n, width);
        let mut dense = DMatrix::<f64>::zeros(n, n);
        for c in 0..n {
            for r in c..(c + width + 1).min(n) {
                let v = if r == c { 12.0 } else { ((r * 31 + c * 17) % 13) as f64 / 13.0 - 0.5 };
                banded.add(r, c, v);
                dense[(r, c)] = v;
                dense[(c, r)] = v;
            }
        }
        let b = DVector::from_fn(n, |i, _| (i as f64).sin());
        let expected = dense.cholesky().unwrap().solve(&b);
        let mut x: Vec<f64> = b.iter().copied().collect();
        banded.factor().unwrap().solve(&mut x);
        for (a, b) in x.iter().zip(expected.iter()) {
            assert_abs_diff_eq!(a, b, epsilon = 1e-12);
        }
    }

    #[test]
    fn a_product_undoes_a_solution() {
        let (n, width) = (30, 5);
        let mut banded = Banded::zero(n, width);
        for c in 0..n {
            for r in c..(c + width + 1).min(n) {
                banded.add(r, c, if r == c { 9.0 } else { ((r * 7 + c * 5) % 11) as f64 / 11.0 - 0.5 });
            }
        }
        let b: Vec<f64> = (0..n).map(|k| (k as f64).cos()).collect();
        let mut x = b.clone();
        banded.clone().factor().unwrap().solve(&mut x);
        for (a, b) in banded.times(&x).iter().zip(&b) {
            assert_abs_diff_eq!(a, b, epsilon = 1e-12);
        }
    }

    /// Column by column, as the panels must come out too, and one right side after the other.
    #[test]
    fn panels_and_many_sides_change_no_digit() {
        for (n, width) in [(40, 7), (9, 2), (61, 12), (50, 23), (5, 4), (3, 0)] {
            let mut banded = Banded::zero(n, width);
            for c in 0..n {
                for r in c..(c + width + 1).min(n) {
                    banded.add(r, c, if r == c { 13.0 } else { ((r * 7 + c * 5) % 11) as f64 / 11.0 - 0.5 });
                }
            }
            let mut plain = banded.clone();
            for c in 0..n {
                let (head, after) = plain.data[c * (width + 1)..].split_at_mut(width + 1);
                let root = head[0].sqrt();
                head.iter_mut().for_each(|v| *v /= root);
                after.chunks_exact_mut(width + 1).enumerate().for_each(|(k, column)| take(column, head, k + 1));
            }
            let factor = banded.factor().unwrap();
            assert_eq!(factor.0.data, plain.data);
            let mut all: Vec<Vec<f64>> =
                (0..11).map(|k| (0..n).map(|r| if r < k { 0.0 } else { ((r + k) as f64).sin() }).collect()).collect();
            let mut one_by_one = all.clone();
            factor.forward_all(&mut all);
            factor.backward_all(&mut all);
            one_by_one.iter_mut().for_each(|b| factor.solve(b));
            for (together, alone) in all.iter().flatten().zip(one_by_one.iter().flatten()) {
                assert_abs_diff_eq!(together, alone, epsilon = 1e-12);
            }
        }
    }

    #[test]
    fn names_the_row_that_is_not_held() {
        let mut banded = Banded::zero(3, 1);
        banded.add(0, 0, 1.0);
        banded.add(2, 2, 1.0);
        assert_eq!(banded.factor().err(), Some(1));
    }
}
