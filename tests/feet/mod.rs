//! Feet made from formulas, for scans of them to be tried on: knows nothing of how a foot is found.

use sustent::frame::Point3;

/// What a made foot is to measure, mm.
#[derive(Clone, Copy, Debug)]
pub struct Build {
    pub length: f64,
    pub ball: f64,
    pub heel: f64,
    pub arch: f64,
}

/// What of it is in the scan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Part {
    /// To above the ankle, open there.
    Foot,
    /// With the leg to below the knee.
    Leg,
    /// The sole up to this height, mm, as a cast has it.
    Sole(f64),
}

/// Points in order and triangles between them, facing outward: a right foot seen from above with its toes ahead (y),
/// so that its medial side is at negative x; z up.
pub type Mesh = (Vec<Point3>, Vec<[u32; 3]>);

/// Half widths at stations: medial and lateral, as shares of half the heel's width up to 0.3 and of half the
/// ball's from 0.6; the lateral edge crosses the axis at the toes.
const STATIONS: [f64; 12] = [0.0, 0.015, 0.05, 0.15, 0.3, 0.45, 0.6, 0.73, 0.83, 0.92, 0.97, 1.0];

fn edges(build: &Build) -> ([f64; 12], [f64; 12]) {
    let (h, b) = (0.5 * build.heel, 0.5 * build.ball);
    (
        [0.0, 0.42 * h, 0.7 * h, h, 0.95 * h, 0.6 * h + 0.35 * b, 0.84 * b, b, 0.93 * b, 0.8 * b, 0.62 * b, 0.33 * b],
        [0.0, 0.42 * h, 0.7 * h, h, h, 0.6 * h + 0.42 * b, 0.985 * b, 0.95 * b, 0.76 * b, 0.4 * b, 0.05 * b, -0.3 * b],
    )
}

/// Between the stations by Catmull and Rom's cubic.
fn between(values: &[f64; 12], s: f64) -> f64 {
    let k = STATIONS.iter().rposition(|from| *from <= s).unwrap_or(0).min(10);
    let t = (s - STATIONS[k]) / (STATIONS[k + 1] - STATIONS[k]);
    let slope = |i: usize| {
        let (a, b) = (i.saturating_sub(1), (i + 1).min(11));
        (values[b] - values[a]) / (STATIONS[b] - STATIONS[a])
    };
    let span = STATIONS[k + 1] - STATIONS[k];
    let (t2, t3) = (t * t, t * t * t);
    (2.0 * t3 - 3.0 * t2 + 1.0) * values[k]
        + (t3 - 2.0 * t2 + t) * span * slope(k)
        + (3.0 * t2 - 2.0 * t3) * values[k + 1]
        + (t3 - t2) * span * slope(k + 1)
}

fn hill(s: f64, from: f64, top: f64, to: f64) -> f64 {
    let t = if s < top { (s - from) / (top - from) } else { (to - s) / (to - top) };
    let t = t.clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// Height of the sole at a station, `t` from -1 at the medial edge to 1 at the lateral one.
pub fn sole(build: &Build, s: f64, t: f64) -> f64 {
    let size = build.length / 260.0;
    let medial = 0.5 * (1.0 - t);
    let arch = build.arch * hill(s, 0.17, 0.42, 0.70) * (medial / 0.8).powf(1.5).min(1.4);
    let lateral = 2.5 * size * hill(s, 0.2, 0.42, 0.62);
    let crease = 5.0 * size * hill(s, 0.77, 0.83, 0.90);
    let rear = 22.0 * size * (1.0 - s / 0.10).clamp(0.0, 1.0).powi(2);
    let front = 9.0 * size * ((s - 0.93) / 0.07).clamp(0.0, 1.0).powi(2);
    let edge = (16.0 - 5.0 * s) * size * t.abs().powi(5);
    arch + lateral + crease + rear + front + edge
}

/// Height of the foot's back above its sole's edge.
fn back(build: &Build, s: f64) -> f64 {
    let size = build.length / 260.0;
    let instep = 78.0 * (1.0 - ((s - 0.22) / 0.62).clamp(0.0, 1.0)).powf(0.8);
    (instep.max(16.0 - 6.0 * s) * size) * (1.0 - (1.0 - s / 0.06).clamp(0.0, 1.0).powi(2))
}

/// A right foot, `along` rings and `around` corners a half ring.
pub fn right(build: &Build, part: Part, along: usize, around: usize) -> Mesh {
    let (medial, lateral) = edges(build);
    let mut points = vec![];
    for i in 0..=along {
        // Rings lie closer at both ends, where the foot is round.
        let u = i as f64 / along as f64;
        let s = 0.5 - 0.5 * (std::f64::consts::PI * (0.02 + 0.96 * u)).cos() / (std::f64::consts::PI * 0.02).cos();
        let (m, l) = (-between(&medial, s), between(&lateral, s));
        let (middle, half) = (0.5 * (m + l), 0.5 * (l - m).max(0.5));
        let mut ring = |t: f64, z: f64| points.push(Point3::new(middle + half * t, s * build.length, z));
        let t_of = |k: usize| -(std::f64::consts::PI * k as f64 / around as f64).cos();
        for k in 0..=around {
            ring(t_of(k), sole(build, s, t_of(k)));
        }
        for k in 1..around {
            let t = -t_of(k);
            let top = 0.5 * ((1.0 - t) * sole(build, s, -1.0) + (1.0 + t) * sole(build, s, 1.0));
            ring(t, top + back(build, s) * (1.0 - t * t).powf(0.6));
        }
    }
    let (ring, rings) = (2 * around as u32, along as u32 + 1);
    let mut triangles = vec![];
    for i in 0..rings - 1 {
        for k in 0..ring {
            let [a, b] = [i * ring + k, i * ring + (k + 1) % ring];
            triangles.extend([[a, a + ring, b], [b, a + ring, b + ring]]);
        }
    }
    for (first, turned) in [(0, false), ((rings - 1) * ring, true)] {
        for k in 1..ring - 1 {
            let [a, b, c] = [first, first + k, first + k + 1];
            triangles.push(if turned { [a, c, b] } else { [a, b, c] });
        }
    }
    match part {
        Part::Foot => cut(points, triangles, |p| p.z < 70.0 * build.length / 260.0),
        Part::Sole(height) => cut(points, triangles, |p| p.z < height),
        Part::Leg => with_leg(build, points, triangles),
    }
}

fn cut(points: Vec<Point3>, triangles: Vec<[u32; 3]>, keep: impl Fn(&Point3) -> bool) -> Mesh {
    let kept = triangles.into_iter().filter(|t| t.iter().all(|k| keep(&points[*k as usize]))).collect();
    (points, kept)
}

/// A leg that leans ahead a little, as a tube.
fn with_leg(build: &Build, mut points: Vec<Point3>, mut triangles: Vec<[u32; 3]>) -> Mesh {
    let size = build.length / 260.0;
    let first = points.len() as u32;
    let (around, up) = (40_u32, 60_u32);
    for j in 0..=up {
        let z = (55.0 + 300.0 * f64::from(j) / f64::from(up)) * size;
        for k in 0..around {
            let turn = std::f64::consts::TAU * f64::from(k) / f64::from(around);
            let r = (34.0 + 16.0 * f64::from(j) / f64::from(up)) * size;
            points.push(Point3::new(r * turn.cos(), 0.22 * build.length + 0.12 * z + 1.15 * r * turn.sin(), z));
        }
    }
    for (j, k) in (0..up).flat_map(|j| (0..around).map(move |k| (j, k))) {
        let [a, b] = [first + j * around + k, first + j * around + (k + 1) % around];
        triangles.extend([[a, b, a + around], [b, b + around, a + around]]);
    }
    (points, triangles)
}

/// The mesh as binary STL, each point moved by `moved`; `mirrored` turns the triangles with it.
pub fn stl((points, triangles): &Mesh, mirrored: bool, moved: impl Fn(&Point3) -> Point3) -> Vec<u8> {
    let mut bytes = vec![b' '; 80];
    bytes.extend((triangles.len() as u32).to_le_bytes());
    let moved: Vec<Point3> = points.iter().map(moved).collect();
    for &[a, b, c] in triangles {
        bytes.extend([0; 12]);
        for k in if mirrored { [a, c, b] } else { [a, b, c] } {
            moved[k as usize].iter().for_each(|c| bytes.extend((*c as f32).to_le_bytes()));
        }
        bytes.extend([0; 2]);
    }
    bytes
}

/// A number from 0 to 1 that looks random (splitmix64).
pub fn chance(seed: u64) -> f64 {
    let mut z = seed.wrapping_add(1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    (z ^ (z >> 31)) as f64 / u64::MAX as f64
}

/// A rotation and a move that look random.
pub fn pose(seed: u64) -> nalgebra::Isometry3<f64> {
    let c = |k: u64| chance(7 * seed + k);
    let q = nalgebra::Quaternion::new(c(0) - 0.5, c(1) - 0.5, c(2) - 0.5, c(3) - 0.5);
    let turn = nalgebra::UnitQuaternion::from_quaternion(q);
    let slide = nalgebra::Translation3::new(400.0 * c(4) - 200.0, 400.0 * c(5) - 200.0, 400.0 * c(6) - 200.0);
    nalgebra::Isometry3::from_parts(slide, turn)
}
