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
    /// Right-looking, column by column: each column is scaled and its outer product taken from the
    /// columns after it, all in contiguous runs (Golub & Van Loan 1996, alg. 4.3.5, from memory).
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

/// Factors in place; the first row whose pivot is not positive, where there is one.
///
/// Compiled once more for wider vectors, chosen when the program runs, as what follows is. Products, sums and differences
/// are rounded one by one in vectors of any width, so every machine gives the same digits.
#[multiversion(targets("x86_64+avx2"))]
fn factored(data: &mut [f64], n: usize, stride: usize) -> Option<usize> {
    for c in 0..n {
        let (head, tail) = data[c * stride..].split_at_mut(stride);
        let pivot = head[0];
        if !(pivot > 0.0 && pivot.is_finite()) {
            return Some(c);
        }
        let root = pivot.sqrt();
        head.iter_mut().for_each(|v| *v /= root);
        let below = (n - 1 - c).min(stride - 1);
        for k in 1..=below {
            let scale = head[k];
            if scale == 0.0 {
                continue;
            }
            let column = &mut tail[(k - 1) * stride..][..below - k + 1];
            for (v, h) in column.iter_mut().zip(&head[k..=below]) {
                *v -= scale * h;
            }
        }
    }
    None
}

impl Cholesky {
    /// Solves A x = b in place.
    pub fn solve(&self, b: &mut [f64]) {
        self.forward(b);
        self.backward(b);
    }

    /// Solves L y = b in place.
    pub fn forward(&self, b: &mut [f64]) {
        forward(&self.0.data, self.0.width + 1, b);
    }

    /// Solves L^T x = y in place.
    pub fn backward(&self, b: &mut [f64]) {
        backward(&self.0.data, self.0.width + 1, b);
    }
}

#[multiversion(targets("x86_64+avx2"))]
fn forward(factor: &[f64], stride: usize, b: &mut [f64]) {
    // Above the first entry of the right side there is nothing to take.
    let first = b.iter().position(|v| *v != 0.0).unwrap_or(b.len());
    for c in first..b.len() {
        let column = &factor[c * stride..][..stride];
        b[c] /= column[0];
        let (done, rest) = b.split_at_mut(c + 1);
        for (v, l) in rest.iter_mut().zip(&column[1..]) {
            *v -= done[c] * l;
        }
    }
}

#[multiversion(targets("x86_64+avx2"))]
fn backward(factor: &[f64], stride: usize, b: &mut [f64]) {
    for c in (0..b.len()).rev() {
        let column = &factor[c * stride..][..stride];
        b[c] = (b[c] - dot(&b[c + 1..], &column[1..])) / column[0];
    }
}

/// The sum of products over the shorter of the two. In eight sums side by side, as one sum would wait for itself.
#[inline(always)]
pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let common = a.len().min(b.len());
    let ((a, a_rest), (b, b_rest)) = (a[..common].as_chunks::<8>(), b[..common].as_chunks::<8>());
    let mut sums = [0.0; 8];
    for (a, b) in a.iter().zip(b) {
        sums.iter_mut().zip(a.iter().zip(b)).for_each(|(sum, (a, b))| *sum += a * b);
    }
    a_rest.iter().zip(b_rest).map(|(a, b)| a * b).sum::<f64>() + sums.iter().sum::<f64>()
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

    #[test]
    fn names_the_row_that_is_not_held() {
        let mut banded = Banded::zero(3, 1);
        banded.add(0, 0, 1.0);
        banded.add(2, 2, 1.0);
        assert_eq!(banded.factor().err(), Some(1));
    }
}
