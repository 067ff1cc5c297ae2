//! When a front that sets out from seeds arrives at the nodes of a lattice, where its speed depends
//! on place and direction: the eikonal equation `|grad u| = 1` in a given metric. Knows no cutters.
//!
//! Fast marching with stencils of reduced bases (Mirebeau 2014, SIAM J. Numer. Anal. 52(4), after
//! Sethian 1996): at every node six lattice directions are chosen whose neighbours form acute angles
//! *in the node's own metric*. Then a node never needs a neighbour that is later than itself, and one
//! sweep in the order of arrival solves the equation, however stretched the metric is.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::form::Form;
use crate::frame::Vector2;
use crate::grid::Lattice;

/// Times of arrival up to about `limit`, infinite later. Seeds are nodes with a finite time;
/// `metric` gives none where the front may not go.
pub(super) fn arrivals(lattice: &Lattice, metric: &[Option<Form>], seeds: Vec<f64>, limit: f64) -> Vec<f64> {
    let march = March::new(lattice, metric);
    march.run(seeds, limit)
}

/// Neighbours of a node, as steps along x and y, in order of direction.
type Stencil = [(i32, i32); 6];

/// The stencil of a form: an obtuse superbase (b0 + b1 + b2 = 0, no acute angle between two of
/// them) by Selling's reduction (1874), with its negatives.
fn stencil(form: Form) -> Stencil {
    /// A form of ratio 100 needs about seven; a broken one must not go on for ever.
    const MOST_REDUCTIONS: usize = 64;
    let vector = |b: (i32, i32)| Vector2::new(f64::from(b.0), f64::from(b.1));
    let mut base = [(1, 0), (0, 1), (-1, -1)];
    for _ in 0..MOST_REDUCTIONS {
        let acute = (0..3).find(|&k| form.dot(vector(base[k]), vector(base[(k + 1) % 3])) > 1e-12);
        let Some(k) = acute else { break };
        let (a, b) = (base[k], base[(k + 1) % 3]);
        base = [(-a.0, -a.1), b, (a.0 - b.0, a.1 - b.1)];
    }
    let minus = |b: (i32, i32)| (-b.0, -b.1);
    [base[0], minus(base[2]), base[1], minus(base[0]), base[2], minus(base[1])]
}

struct March<'m> {
    lattice: &'m Lattice,
    metric: &'m [Option<Form>],
    /// Of each node, its neighbours' numbers; none off the lattice.
    stencils: Vec<[Option<u32>; 6]>,
    /// Of each node, where its listeners begin in `listeners`: (node, place in its stencil) pairs.
    starts: Vec<u32>,
    listeners: Vec<(u32, u8)>,
}

impl<'m> March<'m> {
    fn new(lattice: &'m Lattice, metric: &'m [Option<Form>]) -> March<'m> {
        let (nx, ny) = (lattice.nx as i64, lattice.ny as i64);
        let neighbour = |k: usize, (di, dj): (i32, i32)| {
            let (i, j) = (k as i64 % nx + i64::from(di), k as i64 / nx + i64::from(dj));
            let on = i >= 0 && j >= 0 && i < nx && j < ny && metric[(j * nx + i) as usize].is_some();
            on.then_some((j * nx + i) as u32)
        };
        let of = |(k, form): (usize, &Option<Form>)| form.map_or([None; 6], |f| stencil(f).map(|s| neighbour(k, s)));
        let stencils: Vec<[Option<u32>; 6]> = metric.iter().enumerate().map(of).collect();
        let mut starts = vec![0u32; metric.len() + 1];
        stencils.iter().flatten().flatten().for_each(|&n| starts[n as usize + 1] += 1);
        for k in 0..metric.len() {
            starts[k + 1] += starts[k];
        }
        let mut listeners = vec![(0, 0); starts[metric.len()] as usize];
        let mut filled = starts.clone();
        for (k, own) in stencils.iter().enumerate() {
            for (s, n) in own.iter().enumerate() {
                if let Some(n) = *n {
                    let place = &mut filled[n as usize];
                    listeners[*place as usize] = (k as u32, s as u8);
                    *place += 1;
                }
            }
        }
        March { lattice, metric, stencils, starts, listeners }
    }

    fn run(&self, mut times: Vec<f64>, limit: f64) -> Vec<f64> {
        let mut done = vec![false; times.len()];
        // Times are never negative, so their bits sort as they do; the node settles ties.
        let entry = |time: f64, k: usize| Reverse((time.to_bits(), k as u32));
        let set_out = times.iter().enumerate().filter(|&(k, t)| t.is_finite() && self.metric[k].is_some());
        let mut waiting: BinaryHeap<_> = set_out.map(|(k, &t)| entry(t.max(0.0), k)).collect();
        while let Some(Reverse((bits, k))) = waiting.pop() {
            let k = k as usize;
            if done[k] {
                continue;
            }
            done[k] = true;
            if f64::from_bits(bits) > limit {
                break;
            }
            for &(node, place) in &self.listeners[self.starts[k] as usize..self.starts[k + 1] as usize] {
                let node = node as usize;
                if done[node] {
                    continue;
                }
                let time = self.through(node, place as usize, &times, &done);
                if time < times[node] {
                    times[node] = time;
                    waiting.push(entry(time, node));
                }
            }
        }
        for (time, done) in times.iter_mut().zip(done) {
            if !done {
                *time = f64::INFINITY;
            }
        }
        times
    }

    /// Arrival at a node through a neighbour that was just reached, alone or with one beside it.
    fn through(&self, node: usize, place: usize, times: &[f64], done: &[bool]) -> f64 {
        let (Some(form), Some(from)) = (self.metric[node], self.stencils[node][place]) else { return f64::INFINITY };
        let v = self.step(node, from);
        let mut best = times[from as usize] + form.length(v);
        for beside in [(place + 1) % 6, (place + 5) % 6] {
            let Some(other) = self.stencils[node][beside].filter(|&n| done[n as usize]) else { continue };
            let w = self.step(node, other);
            let ends = (times[from as usize], times[other as usize]);
            if let Some(time) = between(form, (v, w), ends) {
                best = best.min(time);
            }
        }
        best
    }

    fn step(&self, from: usize, to: u32) -> Vector2 {
        let nx = self.lattice.nx as i64;
        let (a, b) = (from as i64, i64::from(to));
        Vector2::new((b % nx - a % nx) as f64, (b / nx - a / nx) as f64) * self.lattice.step
    }
}

/// Arrival of a straight front that passed the ends of `v` and `w` at these times: the larger root of
/// `|grad u| = 1` with u linear between, if it came from between the two.
fn between(form: Form, (v, w): (Vector2, Vector2), (tv, tw): (f64, f64)) -> Option<f64> {
    let (vv, vw, ww) = (form.dot(v, v), form.dot(v, w), form.dot(w, w));
    let det = vv * ww - vw * vw;
    // Times measured from the earlier, which keeps digits.
    let early = tv.min(tw);
    let (dv, dw) = (tv - early, tw - early);
    let a = vv + ww - 2.0 * vw;
    let b = (ww - vw) * dv + (vv - vw) * dw;
    let c = ww * dv * dv - 2.0 * vw * dv * dw + vv * dw * dw - det;
    let root = b * b - a * c;
    if !(det > 0.0 && root >= 0.0) {
        return None;
    }
    let u = (b + root.sqrt()) / a;
    let from_v = ww * (u - dv) - vw * (u - dw);
    let from_w = vv * (u - dw) - vw * (u - dv);
    (from_v >= 0.0 && from_w >= 0.0).then_some(early + u)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Point2;
    use proptest::prelude::*;

    fn form(ratio: f64, turn: f64) -> Form {
        let (s, c) = turn.sin_cos();
        // Lengths along the turned axis count `ratio` times.
        let (a, b) = (ratio * ratio, 1.0);
        Form { xx: a * c * c + b * s * s, xy: (a - b) * s * c, yy: a * s * s + b * c * c }
    }

    fn square(n: usize) -> Lattice {
        let step = 20.0 / (n - 1) as f64;
        Lattice { x0: -10.0, y0: -10.0, step, nx: n, ny: n }
    }

    proptest! {
        /// The distances of a constant metric are its lengths: exact for a straight front, whatever
        /// the stretch, as long as it comes from seeds on a whole line.
        #[test]
        fn straight_fronts_arrive_exactly(ratio in 1.0..6.0f64, turn in 0.0..3.2f64, way in 0.0..6.3f64) {
            let (lattice, form) = (square(41), form(ratio, turn));
            let across = Vector2::new(way.cos(), way.sin());
            // A front whose gradient is `across`, with the speed that the metric gives it.
            let steep = form.steepness(across);
            let exact = |k: usize| (across.dot(&lattice.node(k % 41, k / 41).coords) + 4.0) / steep;
            let seeds = (0..lattice.len()).map(|k| if exact(k) >= 0.0 && exact(k) * steep < 8.0 { exact(k) } else { f64::INFINITY });
            let times = arrivals(&lattice, &vec![Some(form); lattice.len()], seeds.collect(), f64::INFINITY);
            for (k, t) in times.iter().enumerate() {
                let p = lattice.node(k % 41, k / 41);
                // Only where the line's ends cannot be felt.
                if p.coords.norm() < 4.0 && exact(k) > 0.0 {
                    prop_assert!((t - exact(k)).abs() < 1e-9, "{t} at {p}, not {}", exact(k));
                }
            }
        }

        #[test]
        fn stencils_have_no_obtuse_corner(ratio in 1.0..30.0f64, turn in 0.0..3.2f64) {
            let form = form(ratio, turn);
            let vectors = stencil(form).map(|(i, j)| Vector2::new(f64::from(i), f64::from(j)));
            for k in 0..6 {
                let (v, w) = (vectors[k], vectors[(k + 1) % 6]);
                prop_assert!(form.dot(v, w) >= -1e-9);
                prop_assert!((v.perp(&w).abs() - 1.0).abs() < 1e-12, "no basis of the lattice");
            }
        }
    }

    /// Greatest error of the times from one point, over its distance of 10.
    fn error_from_a_point(n: usize) -> f64 {
        let (lattice, form) = (square(n), form(3.0, 0.4));
        let exact = |k: usize| form.length(lattice.node(k % n, k / n) - Point2::origin());
        // Exact near the point itself, where a straight front is no model of a round one.
        let seeds = (0..lattice.len()).map(|k| if exact(k) < 2.0 { exact(k) } else { f64::INFINITY }).collect();
        let times = arrivals(&lattice, &vec![Some(form); lattice.len()], seeds, f64::INFINITY);
        times.iter().enumerate().map(|(k, t)| (t - exact(k)).abs()).fold(0.0, f64::max)
    }

    /// The error of a first-order scheme halves with the step; at the first one it is a share of 0.02 of the
    /// longest distance, 42.
    #[test]
    fn round_fronts_converge_to_the_exact_distance() {
        let errors = [41, 81, 161].map(error_from_a_point);
        assert!(errors[0] < 1.0, "{errors:?}");
        for pair in errors.windows(2) {
            assert!((1.6..2.6).contains(&(pair[0] / pair[1])), "{errors:?}");
        }
    }

    /// Between two media the front is refracted: u is known in closed form for a point source in a
    /// speed that grows linearly with depth, `u = acosh(1 + k^2 r^2 / (2 v0 v)) / k` (the circular
    /// rays of seismology, e.g. Slotnick 1959 [from memory]).
    #[test]
    fn a_speed_that_grows_with_depth_gives_circular_rays() {
        let n = 161;
        let lattice = square(n);
        let (v0, rate) = (1.0, 0.15);
        let speed = |p: Point2| v0 + rate * (p.y + 5.0);
        let source = Point2::new(0.0, -5.0);
        let node = |k: usize| lattice.node(k % n, k / n);
        let open = |k: usize| node(k).y >= -6.0;
        let metric: Vec<_> =
            (0..lattice.len()).map(|k| open(k).then(|| Form::RULER.scaled(speed(node(k)).powi(-2)))).collect();
        let exact = |k: usize| {
            let r2 = (node(k) - source).norm_squared();
            (1.0 + rate * rate * r2 / (2.0 * v0 * speed(node(k)))).acosh() / rate
        };
        let seeds =
            (0..lattice.len()).map(|k| if open(k) && exact(k) < 1.0 { exact(k) } else { f64::INFINITY }).collect();
        let times = arrivals(&lattice, &metric, seeds, f64::INFINITY);
        for k in (0..lattice.len()).filter(|&k| node(k).y > -4.0 && times[k].is_finite()) {
            assert!((times[k] - exact(k)).abs() < 0.08, "{} at {}, not {}", times[k], node(k), exact(k));
        }
    }
}
