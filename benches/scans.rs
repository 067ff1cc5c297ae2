//! Reading large scans and taking samples of them, with the memory that it takes. The scans are made
//! here: a wavy surface as large as a footbed with noise on it.

use std::sync::LazyLock;

use divan::counter::{BytesCount, ItemsCount};
use divan::{AllocProfiler, Bencher};
use sustent::foot::Loading;
use sustent::frame::Side;
use sustent::impression::{Asked, Shares, Wanted, follow, take};
use sustent::mesh::{Scan, read_scan};
use sustent::profile::Shelf;

#[global_allocator]
static ALLOCATIONS: AllocProfiler = AllocProfiler::system();

fn main() {
    divan::main();
}

/// Cells along each side of the mesh: two million triangles.
const CELLS: u32 = 1000;
/// Points of the cloud.
const POINTS: u32 = 5_000_000;
/// Noise, mm, either way.
const NOISE_MM: f64 = 0.05;

/// A number from 0 to 1 that looks random: the top bits of a multiplication by the golden ratio.
fn scattered(k: u32) -> f64 {
    f64::from(k.wrapping_mul(2_654_435_769)) / f64::from(u32::MAX)
}

/// The surface over the place at shares `u`, `v` of its width and length, with the noise of point `k`.
fn surface(u: f64, v: f64, k: u32) -> [f32; 3] {
    let (x, y) = (120.0 * u - 60.0, 300.0 * v);
    let noise = NOISE_MM * (2.0 * scattered(k ^ 0x5555_5555) - 1.0);
    [x, y, 10.0 + 5.0 * (x / 17.0).sin() * (y / 31.0).cos() + noise].map(|c| c as f32)
}

fn put(bytes: &mut Vec<u8>, point: [f32; 3]) {
    point.iter().for_each(|c| bytes.extend(c.to_le_bytes()));
}

/// Binary STL, 100 MB.
static STL: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let corner =
        |i: u32, j: u32| surface(f64::from(i) / f64::from(CELLS), f64::from(j) / f64::from(CELLS), j * (CELLS + 1) + i);
    let mut bytes = vec![b' '; 80];
    bytes.extend((2 * CELLS * CELLS).to_le_bytes());
    for (j, i) in (0..CELLS).flat_map(|j| (0..CELLS).map(move |i| (j, i))) {
        let [a, b, c, d] = [corner(i, j), corner(i + 1, j), corner(i + 1, j + 1), corner(i, j + 1)];
        for triangle in [[a, b, c], [a, c, d]] {
            bytes.extend([0; 12]);
            triangle.into_iter().for_each(|point| put(&mut bytes, point));
            bytes.extend([0; 2]);
        }
    }
    bytes
});

fn cloud() -> impl Iterator<Item = [f32; 3]> {
    (0..POINTS).map(|k| surface(scattered(k), scattered(k.wrapping_mul(747_796_405)), k))
}

/// Binary PLY of points with a colour, in no order, 75 MB.
static PLY: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let properties = "property float x\nproperty float y\nproperty float z\nproperty uchar red\nproperty uchar green\nproperty uchar blue\n";
    let head = format!("ply\nformat binary_little_endian 1.0\nelement vertex {POINTS}\n{properties}end_header\n");
    let mut bytes = head.into_bytes();
    for point in cloud() {
        put(&mut bytes, point);
        bytes.extend([200; 3]);
    }
    bytes
});

/// The same points as text.
static XYZ: LazyLock<Vec<u8>> =
    LazyLock::new(|| cloud().map(|[x, y, z]| format!("{x:.4} {y:.4} {z:.4}\n")).collect::<String>().into_bytes());

fn read(bytes: &[u8]) -> Scan {
    read_scan(bytes, Some(bytes.len() as u64), "scan").expect("these are scans")
}

#[divan::bench(args = ["stl", "ply", "xyz"], sample_count = 5, sample_size = 1)]
fn reading(bencher: Bencher, kind: &str) {
    let bytes: &[u8] = match kind {
        "stl" => &STL,
        "ply" => &PLY,
        _ => &XYZ,
    };
    bencher.counter(BytesCount::new(bytes.len())).bench(|| read(bytes));
}

#[divan::bench(args = [1.0, 0.3], sample_count = 5, sample_size = 1)]
fn samples_of_a_mesh(bencher: Bencher, spacing_mm: f64) {
    let scan = read(&STL);
    bencher.counter(ItemsCount::new(scan.triangles.len())).bench(|| scan.samples(spacing_mm));
}

#[divan::bench(args = [1.0, 0.3], sample_count = 5, sample_size = 1)]
fn samples_of_points(bencher: Bencher, spacing_mm: f64) {
    let scan = read(&PLY);
    bencher.counter(ItemsCount::new(scan.points.len())).bench(|| scan.samples(spacing_mm));
}

/// The open foot of `tests/data/`, each triangle divided into 484: a million, with noise.
static FOOT: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let Scan { points, triangles, .. } = read(include_bytes!("../tests/data/cc0-base-raw-left.stl"));
    const PARTS: u32 = 22;
    let mut bytes = vec![b' '; 80];
    bytes.extend((triangles.len() as u32 * PARTS * PARTS).to_le_bytes());
    for t in &triangles {
        let [a, b, c] = t.map(|k| points[k as usize].coords);
        let at = |u: u32, v: u32| {
            let p = a + (b - a) * (f64::from(u) / f64::from(PARTS)) + (c - a) * (f64::from(v) / f64::from(PARTS));
            let noise = |k: u32| NOISE_MM * (2.0 * scattered((p[k as usize] * 1e3) as i32 as u32 ^ k) - 1.0);
            [0, 1, 2].map(|k| (p[k as usize] + noise(k)) as f32)
        };
        let mut triangle = |corners: [[f32; 3]; 3]| {
            bytes.extend([0; 12]);
            corners.into_iter().for_each(|corner| put(&mut bytes, corner));
            bytes.extend([0; 2]);
        };
        for (u, v) in (0..PARTS).flat_map(|u| (0..PARTS - u).map(move |v| (u, v))) {
            triangle([at(u, v), at(u + 1, v), at(u, v + 1)]);
            if u + v + 1 < PARTS {
                triangle([at(u + 1, v), at(u + 1, v + 1), at(u, v + 1)]);
            }
        }
    }
    bytes
});

/// From a million triangles as bytes to a ticket that follows the sole.
#[divan::bench(sample_count = 5, sample_size = 1)]
fn impression_to_ticket(bencher: Bencher) {
    let (bytes, shelf): (&[u8], Shelf) = (&FOOT, Shelf::built_in());
    let wanted = Wanted { code: "PATROL-12", loading: Loading::Seated, shares: Shares { heel_cup: 0.5, arch: 0.6 } };
    bencher.counter(BytesCount::new(bytes.len())).bench(|| {
        let found = take(&read(bytes), Asked { side: Side::Left, unit: None }).expect("it is a foot");
        follow(&found, &wanted, &shelf).expect("a ticket can be made of it")
    });
}
