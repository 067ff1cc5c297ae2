//! Are the uncertainties of a scan true? Many scans of one piece, each with noise that neighbours share,
//! and how often the stated interval holds the truth.

mod scanned;

use rayon::prelude::*;
use scanned::{Chance, demo, inspected, of_side, read};
use sustent::frame::{Point2, Point3, Side, Vector2, Vector3, bench_from_foot};
use sustent::inspect::Inspection;
use sustent::job::Design;
use sustent::register::Cloud;
use sustent::value::Value;

/// A field of noise in a plane whose covariance is sd^2 exp(-(d / reach)^2): waves with normal wave numbers
/// of variance 2 / reach^2 and even phases (Shinozuka & Deodatis 1991, Appl Mech Rev 44:191 [from memory]).
struct Waves {
    waves: Vec<(Vector2, f64)>,
    sd: f64,
}

impl Waves {
    fn new(sd: f64, reach: f64, chance: &mut Chance) -> Waves {
        let k = std::f64::consts::SQRT_2 / reach;
        let mut wave =
            || (Vector2::new(chance.normal(), chance.normal()) * k, std::f64::consts::TAU * chance.uniform());
        Waves { waves: (0..80).map(|_| wave()).collect(), sd }
    }

    fn at(&self, p: Point2) -> f64 {
        let sum: f64 = self.waves.iter().map(|(k, phase)| (k.dot(&p.coords) + phase).cos()).sum();
        self.sd * (2.0 / self.waves.len() as f64).sqrt() * sum
    }
}

/// A scan of the designed piece, all round, points 1.5 mm apart, with noise along the normals: white, and
/// shared over `reach`.
fn noisy(design: &Design, white: f64, shared: f64, reach: f64, seed: u64) -> Cloud {
    const STEP: f64 = 1.5;
    let mut chance = Chance(seed);
    let [on_top, below, around] = [(); 3].map(|()| Waves::new(shared, reach, &mut chance));
    let bench = bench_from_foot(design.order.side);
    let footbed = &design.footbed;
    let mut cloud = Cloud::default();
    let mut add = |p: Point3, n: Vector3, off: f64| {
        let n = n.normalize();
        let noisy = p + n * (off + white * chance.normal());
        cloud.points.push(bench.place3(noisy));
        cloud.normals.push(bench.place3(Point3::from(n)).coords);
    };
    let bounds = footbed.outline.bounds();
    let nodes = |from: f64, to: f64| (0..((to - from) / STEP) as usize).map(move |k| from + STEP * (k as f64 + 0.3));
    for y in nodes(bounds.y0, bounds.y1) {
        for p in nodes(bounds.x0, bounds.x1).map(|x| Point2::new(x, y)).filter(|p| footbed.outline.contains(*p)) {
            let slope = footbed.top.slope(p);
            add(Point3::new(p.x, p.y, footbed.top_at(p)), Vector3::new(-slope.x, -slope.y, 1.0), on_top.at(p));
            add(Point3::new(p.x, p.y, footbed.underside_at(p)), -Vector3::z(), below.at(p));
        }
    }
    let points = footbed.outline.points();
    let mut way = 0.0;
    for (i, &a) in points.iter().enumerate() {
        let b = points[(i + 1) % points.len()];
        way += (b - a).norm();
        for z in nodes(0.0, footbed.top_at(a)) {
            add(Point3::new(a.x, a.y, z), Vector3::new(b.y - a.y, a.x - b.x, 0.0), around.at(Point2::new(way, z)));
        }
    }
    cloud
}

/// Of 95 % intervals (k = 2), between 93 and 97 % hold the truth, over values, noises and both ways of
/// reading. The seeds are fixed, so this is a measurement and no gamble.
#[test]
fn intervals_hold_the_truth_as_often_as_they_say() {
    const ROUNDS: u64 = 40;
    let ticket = read(&demo());
    let design = of_side(&ticket, Side::Left);
    let values = [
        Value::HeelThickness,
        Value::HeelCupDepth,
        Value::RearfootPost,
        Value::MedialArch,
        Value::LateralArch,
        Value::TransverseArch,
        Value::ForefootThickness,
    ];
    let mut all = [(0, 0); 2];
    for (white, shared, reach) in [(0.05, 0.06, 4.0), (0.05, 0.08, 8.0), (0.02, 0.10, 12.0)] {
        let found: Vec<Inspection> = (0..ROUNDS)
            .into_par_iter()
            .map(|round| {
                inspected(&ticket, &design, &noisy(&design, white, shared, reach, 1000 * round + reach as u64)).unwrap()
            })
            .collect();
        let mut here = [(0, 0); 2];
        for value in values {
            let mut held = [0; 2];
            for inspection in &found {
                let judged = &inspection.values[&value];
                let fitted = judged.fitted.unwrap();
                held[0] += usize::from(judged.difference.abs() <= judged.uncertainty);
                held[1] += usize::from((fitted.made - judged.asked).abs() <= fitted.uncertainty);
            }
            println!("reach {reach:4} {:20} gauged {:3} fitted {:3} of {ROUNDS}", value.name(), held[0], held[1]);
            for k in 0..2 {
                here[k] = (here[k].0 + held[k], here[k].1 + found.len());
            }
        }
        for k in 0..2 {
            all[k] = (all[k].0 + here[k].0, all[k].1 + here[k].1);
        }
        let percent = here.map(|(held, of)| 100.0 * held as f64 / of as f64);
        println!("reach {reach:4}: gauged {:.1} %, fitted {:.1} %", percent[0], percent[1]);
    }
    for (way, (held, of)) in ["gauged", "fitted"].iter().zip(all) {
        let percent = 100.0 * held as f64 / of as f64;
        println!("{way}: {percent:.1} %");
        assert!((93.0..=97.0).contains(&percent), "{way}: {percent:.1} % of {of}");
    }
}
