//! A scan of a million points from its bytes to its record, and the two steps that registration spends
//! its time on, over clouds that `.ci/outside/registration.py` builds too.

use std::path::Path;
use std::sync::LazyLock;

use divan::Bencher;
use divan::counter::ItemsCount;
use nalgebra::{Translation3, UnitQuaternion};
use sustent::frame::{Point3, Side, Vector3};
use sustent::inspect::{Case, Cover, Taken, cloud, inspect_scan};
use sustent::job;
use sustent::mesh::{self, Unit};
use sustent::profile::Shelf;
use sustent::register::{Cloud, Nearest, Pose, best_fit};
use sustent::ticket::{self, Ticket};

fn main() {
    divan::main();
}

const TICKET: &str = include_str!("../output-samples/PATROL-07/ticket.toml");
/// Distance of the scan's points, mm: a million and some on the demo's left piece.
const FINE_MM: f64 = 0.21;
/// Noise along the normals, mm, either way.
const NOISE_MM: f64 = 0.08;

/// A number from 0 to 1 that looks random: the top bits of a multiplication by the golden ratio.
fn scattered(k: usize) -> f64 {
    f64::from((k as u32).wrapping_mul(2_654_435_769)) / f64::from(u32::MAX)
}

fn demo() -> Ticket {
    ticket::read(TICKET, "ticket.toml", &Shelf::built_in(), &|_: &str| Err(String::new()))
        .expect("the demo is a ticket")
}

/// A PLY of points, binary, in a pose of its own.
static SCAN: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let path =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("output-samples/PATROL-07/PATROL-07-r2/PATROL-07-r2-L-design.stl");
    let bytes = std::fs::read(path).expect("the sample is in the repository");
    let scan = mesh::read_scan(&bytes[..], Some(bytes.len() as u64), "design.stl").expect("our own mesh");
    let samples = scan.samples(FINE_MM).expect("a spacing that is one");
    let pose = Translation3::new(120.0, -80.0, 300.0) * UnitQuaternion::from_scaled_axis(Vector3::new(1.0, 2.0, -0.7));
    let mut out = format!(
        "ply\nformat binary_little_endian 1.0\nelement vertex {}\nproperty float x\nproperty float y\nproperty float z\n\
         end_header\n",
        samples.len()
    )
    .into_bytes();
    for (k, sample) in samples.iter().enumerate() {
        let normal = sample.normal.unwrap_or_default();
        let noisy = pose * (sample.at + normal * (NOISE_MM * (2.0 * scattered(k) - 1.0)));
        noisy.iter().for_each(|c| out.extend((*c as f32).to_le_bytes()));
    }
    out
});

/// Read, found, laid on its datums, judged, drawn.
#[divan::bench(sample_count = 5)]
fn a_million_points_to_a_record(bencher: Bencher) {
    let ticket = demo();
    let shelf = Shelf::built_in();
    let order = ticket.feet.iter().find(|order| order.side == Side::Left).expect("the demo is a pair");
    let design = job::design(&ticket, order).expect("the demo can be designed");
    let tolerances = shelf.tolerances("workshop").expect("it is on the shelf");
    let case = Case { make: &ticket.make, order, footbed: &design.footbed, read_back: &design.read_back, tolerances };
    let bytes = &*SCAN;
    bencher.counter(ItemsCount::new(bytes.len() / 12)).bench_local(|| {
        let scan = mesh::read_scan(&bytes[..], Some(bytes.len() as u64), "scan.ply").expect("written above");
        let cloud = cloud(&scan, Unit::Millimetres).expect("a scan");
        let found = inspect_scan(&case, &cloud, Taken { cover: Cover::Off, scanner_mm: 0.0 }).expect("the piece");
        job::record(&ticket, &design, tolerances, &found.inspection, "", "", found.map.as_ref()).expect("a page")
    });
}

/// A wavy surface of 300 x 120 mm, points 0.5 mm apart.
fn wavy() -> Cloud {
    let places = (0..600).flat_map(|j| (0..240).map(move |i| (0.5 * f64::from(i), 0.5 * f64::from(j))));
    let (points, normals) = places
        .map(|(x, y)| {
            let (u, v) = (x / 17.0, y / 31.0);
            let slope = Vector3::new(-5.0 / 17.0 * u.cos() * v.cos(), 5.0 / 31.0 * u.sin() * v.sin(), 1.0);
            (Point3::new(x, y, 5.0 * u.sin() * v.cos()), slope.normalize())
        })
        .unzip();
    Cloud { points, normals, ..Cloud::default() }
}

/// The same turned by a hundredth about z and shifted by less than a point's distance.
fn asked() -> Cloud {
    let turn = UnitQuaternion::from_scaled_axis(Vector3::new(0.0, 0.0, 0.01));
    wavy().moved(&(Translation3::new(0.31, -0.17, 0.4) * turn))
}

fn alone<T: Send>(work: impl FnOnce() -> T + Send) -> T {
    rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("one thread").install(work)
}

#[divan::bench(sample_count = 5)]
fn tree_of_144000(bencher: Bencher) {
    let surface = wavy();
    bencher.bench_local(|| Nearest::new(&surface.points));
}

#[divan::bench(sample_count = 5)]
fn nearest_of_144000(bencher: Bencher) {
    let (surface, asked) = (wavy(), asked());
    let tree = Nearest::new(&surface.points);
    bencher.bench_local(|| asked.points.iter().filter_map(|p| tree.of(*p, 10.0)).map(|(_, d)| d).sum::<f64>());
}

#[divan::bench(sample_count = 5)]
fn one_round_of_best_fit(bencher: Bencher) {
    let (surface, asked) = (wavy(), asked());
    let tree = Nearest::new(&surface.points);
    bencher.bench_local(|| alone(|| best_fit(&asked, &surface, &tree, Pose::identity(), &[10.0])));
}
