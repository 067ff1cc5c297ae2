//! Plates, beams and arches with known answers, and laws that any plate on springs obeys. Sources stand
//! beside the values: "Roark" is Roark's Formulas for Stress and Strain, tables of beams and of
//! rectangular plates; "Timoshenko" is Timoshenko & Woinowsky-Krieger 1959.

use approx::{assert_abs_diff_eq, assert_relative_eq};
use sustent::flex::{BEYOND, Grip, Laminate, Layer, Region, Rest, Spring, settle, stiffness};
use sustent::frame::Point2;
use sustent::sheet::{Basis, Sheet};

/// The beams of all cases: b 80, t 4, E 1400 MPa, L 150, so I = 426.67 mm4.
const WIDTH: f64 = 80.0;
const THICK: f64 = 4.0;
const MODULUS: f64 = 1400.0;
const LENGTH: f64 = 150.0;
const EI: f64 = MODULUS * WIDTH * THICK * THICK * THICK / 12.0;

fn at(x: f64, y: f64) -> Point2 {
    Point2::new(x, y)
}

fn rectangle(x0: f64, y0: f64, x1: f64, y1: f64) -> Vec<Point2> {
    vec![at(x0, y0), at(x1, y0), at(x1, y1), at(x0, y1)]
}

/// A uniform plate with its supports and loads.
struct Bench {
    region: Region,
    rigidity: f64,
    poisson: f64,
    beyond: f64,
    springs: Vec<Spring>,
    load: Vec<f64>,
}

impl Bench {
    fn new(polygon: &[Point2], knot: f64, poisson: f64) -> Bench {
        let region = Region::inside(polygon, knot).unwrap();
        let layer = Layer { thickness_mm: THICK, modulus_mpa: MODULUS };
        let rigidity = Laminate::of(&[layer], poisson).rigidity_n_mm;
        let load = vec![0.0; region.basis.len()];
        Bench { region, rigidity, poisson, beyond: BEYOND, springs: vec![], load }
    }

    /// A clamp or knife edge is a spring so stiff that it gives under a hundred-thousandth of what the plate does.
    fn stiff(&self) -> f64 {
        1e6 * self.rigidity / self.region.basis.knot.powi(2)
    }

    fn along(a: Point2, b: Point2, count: usize) -> impl Iterator<Item = Point2> {
        (0..count).map(move |k| a + (b - a) * ((k as f64 + 0.5) / count as f64))
    }

    fn knife(mut self, a: Point2, b: Point2) -> Self {
        for p in Bench::along(a, b, 40) {
            self.springs.push(Spring::under(&self.region.basis.local(p), 0.0, self.stiff(), Grip::Holds));
        }
        self
    }

    /// A knife edge that does not let the plate turn along y either.
    fn clamp(mut self, a: Point2, b: Point2) -> Self {
        self = self.knife(a, b);
        let stiffness = self.stiff() * self.region.basis.knot.powi(2);
        for p in Bench::along(a, b, 40) {
            self.springs.push(Spring::against_slope_y(&self.region.basis, p, stiffness));
        }
        self
    }

    fn force(&mut self, p: Point2, newton: f64) {
        let local = self.region.basis.local(p);
        for (i, t) in local.indices().into_iter().zip(local.terms(0, 0)) {
            self.load[i] += newton * t;
        }
    }

    fn line_load(mut self, a: Point2, b: Point2, newton: f64) -> Self {
        Bench::along(a, b, 64).for_each(|p| self.force(p, newton / 64.0));
        self
    }

    fn pressure(mut self, mpa: f64) -> Self {
        for place in self.region.places.clone() {
            self.force(place.at, mpa * place.area_mm2);
        }
        self
    }

    fn rest(&self) -> Rest {
        let rigidity = vec![self.rigidity; self.region.places.len()];
        let plate = stiffness(&self.region, &rigidity, self.poisson, self.beyond);
        settle(&plate, self.region.basis, &self.load, &self.springs, &[]).unwrap()
    }
}

/// A beam is a strip with no Poisson's ratio.
fn beam(length: f64, knot: f64) -> Bench {
    Bench::new(&rectangle(-WIDTH / 2.0, 0.0, WIDTH / 2.0, length), knot, 0.0)
}

fn across(y: f64) -> (Point2, Point2) {
    (at(-WIDTH / 2.0, y), at(WIDTH / 2.0, y))
}

fn ends(bench: Bench, fixed: bool) -> Bench {
    let ((a, b), (c, d)) = (across(0.0), across(LENGTH));
    if fixed { bench.clamp(a, b).clamp(c, d) } else { bench.knife(a, b).knife(c, d) }
}

fn middle(rest: &Rest) -> f64 {
    rest.sheet.height(at(0.0, LENGTH / 2.0))
}

#[test]
fn beams() {
    let spread = 100.0 / (WIDTH * LENGTH);
    let point = |fixed| {
        let (a, b) = across(LENGTH / 2.0);
        ends(beam(LENGTH, 5.0), fixed).line_load(a, b, 100.0).rest()
    };
    let even = |fixed| ends(beam(LENGTH, 5.0), fixed).pressure(spread).rest();
    // Roark: P L^3 / 48 E I, 5 W L^3 / 384 E I, P L^3 / 192 E I, W L^3 / 384 E I.
    let cases = [
        ("knife edges, force in the middle", middle(&point(false)), 11.771),
        ("knife edges, spread", middle(&even(false)), 7.357),
        ("clamped, force in the middle", middle(&point(true)), 2.943),
        ("clamped, spread", middle(&even(true)), 1.471),
    ];
    for (what, ours, theirs) in cases {
        println!("{what}: {ours:.4} mm, {theirs} by the book, {:+.4} %", 100.0 * (ours / theirs - 1.0));
        assert_relative_eq!(ours, theirs, max_relative = 1e-3);
    }
    // Roark: P l^3 / 3 E I, P 10 N, l 50 mm: 0.6975 mm.
    let (a, b) = across(0.0);
    let (c, d) = across(50.0);
    let cantilever = beam(50.0, 5.0).clamp(a, b).line_load(c, d, 10.0).rest();
    assert_relative_eq!(cantilever.sheet.height(at(0.0, 50.0)), 0.6975, max_relative = 1e-3);
    // Stress in the middle of the first: M / W = 17.58 MPa.
    let rest = point(false);
    let bend = rest.sheet.second(at(0.0, LENGTH / 2.0))[2];
    assert_relative_eq!(-bend * MODULUS * THICK / 2.0, 17.58, max_relative = 1e-3);
}

fn square(knot: f64) -> Bench {
    let (lo, hi) = (at(0.0, 0.0), at(80.0, 80.0));
    let bench = Bench::new(&rectangle(0.0, 0.0, 80.0, 80.0), knot, 0.3);
    let corners = [lo, at(80.0, 0.0), hi, at(0.0, 80.0), lo];
    corners.windows(2).fold(bench, |bench, pair| bench.knife(pair[0], pair[1]))
}

/// Timoshenko, tables 8 and 23: 0.00406 q a^4 / D and stress 0.2874 q a^2 / t^2; 0.0116 P a^2 / D.
#[test]
fn a_square_plate_on_knife_edges() {
    let spread = square(4.0).pressure(0.01).rest();
    let centre = at(40.0, 40.0);
    assert_relative_eq!(spread.sheet.height(centre), 0.2030, max_relative = 2e-3);
    let [xx, _, yy] = spread.sheet.second(centre);
    let stress = -MODULUS / (1.0 - 0.09) * THICK / 2.0 * (xx + 0.3 * yy);
    assert_relative_eq!(stress, 1.150, max_relative = 3e-3);
    let mut bench = square(4.0);
    bench.force(centre, 50.0);
    assert_relative_eq!(bench.rest().sheet.height(centre), 0.4525, max_relative = 5e-3);
}

/// A rectangle on knife edges, 60 by 90, with an even pressure on a patch off its middle: Navier's series
/// (Timoshenko & Woinowsky-Krieger 1959, eq. 133), summed here until it stands still.
#[test]
fn a_rectangle_under_a_patch_as_navier_has_it() {
    let (a, b, (xi, eta), (u, v), q) = (60.0, 90.0, (20.0, 50.0), (16.0, 24.0), 0.02);
    let d = MODULUS * THICK.powi(3) / 12.0 / 0.91;
    let pi = std::f64::consts::PI;
    let exact = |x: f64, y: f64| -> f64 {
        let term = |m: f64, n: f64| {
            let shape =
                |k: f64, at: f64, wide: f64, of: f64| (k * pi * at / of).sin() * (k * pi * wide / 2.0 / of).sin();
            let pressed = 16.0 * q / (pi * pi * m * n) * shape(m, xi, u, a) * shape(n, eta, v, b);
            let bent = pi.powi(4) * d * ((m / a).powi(2) + (n / b).powi(2)).powi(2);
            pressed / bent * (m * pi * x / a).sin() * (n * pi * y / b).sin()
        };
        let all = (1..150).flat_map(|m| (1..150).map(move |n| (f64::from(m), f64::from(n))));
        all.map(|(m, n)| term(m, n)).sum()
    };
    let mut bench = Bench::new(&rectangle(0.0, 0.0, a, b), 4.0, 0.3);
    let corners = [at(0.0, 0.0), at(a, 0.0), at(a, b), at(0.0, b), at(0.0, 0.0)];
    bench = corners.windows(2).fold(bench, |bench, pair| bench.knife(pair[0], pair[1]));
    // The patch as many small forces, whatever cells it cuts.
    for i in 0..32 {
        for j in 0..48 {
            let (s, t) = ((f64::from(i) + 0.5) / 32.0 - 0.5, (f64::from(j) + 0.5) / 48.0 - 0.5);
            bench.force(at(xi + s * u, eta + t * v), q * u * v / (32.0 * 48.0));
        }
    }
    let rest = bench.rest();
    for (x, y) in [(20.0, 50.0), (30.0, 45.0), (45.0, 20.0)] {
        assert_relative_eq!(rest.sheet.height(at(x, y)), exact(x, y), max_relative = 3e-3);
    }
}

/// A round plate clamped all round, even pressure: q a^4 / 64 D in the middle (Timoshenko, eq. 62); one
/// force there: P a^2 / 16 pi D (eq. 92).
#[test]
fn clamped_plates() {
    let radius = 40.0;
    let d = MODULUS * THICK.powi(3) / 12.0 / 0.91;
    let rim = |k: f64| {
        let turn = std::f64::consts::TAU * k / 240.0;
        (at(radius * turn.cos(), radius * turn.sin()), Point2::new(turn.cos(), turn.sin()))
    };
    let polygon: Vec<Point2> = (0..720).map(|k| rim(f64::from(k) / 3.0).0).collect();
    let round = || {
        let mut bench = Bench::new(&polygon, 4.0, 0.3);
        let (held, level) = (bench.stiff(), bench.stiff() * bench.region.basis.knot.powi(2));
        // Held a hundredth of a knot inside and outside of the rim, it can neither sink nor turn there.
        for k in 0..240 {
            let (p, out) = rim(f64::from(k));
            bench.springs.push(Spring::under(&bench.region.basis.local(p), 0.0, held, Grip::Holds));
            let inner = at(p.x - 0.4 * out.x, p.y - 0.4 * out.y);
            bench.springs.push(Spring::under(&bench.region.basis.local(inner), 0.0, level, Grip::Holds));
        }
        bench
    };
    // The clamp begins 0.4 mm inside the rim or at it: between the two the book's answers lie 4 % apart.
    let (outer, inner) = (radius, radius - 0.4);
    let spread = round().pressure(0.01).rest().sheet.height(at(0.0, 0.0));
    let book = |a: f64| 0.01 * a.powi(4) / 64.0 / d;
    assert!(spread > 0.99 * book(inner) && spread < 1.01 * book(outer), "{spread} {} {}", book(inner), book(outer));
    let mut poked = round();
    poked.force(at(0.0, 0.0), 50.0);
    let sunk = poked.rest().sheet.height(at(0.0, 0.0));
    let book = |a: f64| 50.0 * a * a / 16.0 / std::f64::consts::PI / d;
    assert!(sunk > 0.985 * book(inner) && sunk < 1.01 * book(outer), "{sunk} {} {}", book(inner), book(outer));
}

/// Two layers glued, as Timoshenko 1925 has the bending of a strip of two metals (J Opt Soc Am 11:233):
/// E I / b = (E1^2 h1^4 + E2^2 h2^4 + 2 E1 E2 h1 h2 (2 h1^2 + 3 h1 h2 + 2 h2^2)) / 12 (E1 h1 + E2 h2); the beam on
/// knife edges then sinks by P L^3 / 48 E I (Roark).
#[test]
fn a_beam_of_two_layers() {
    for (h1, e1, h2, e2) in [(3.0, 1400.0, 1.0, 200.0), (2.0, 3.0, 6.0, 1.2), (1.0, 10.0, 1.0, 10.0)] {
        let layers = [Layer { thickness_mm: h1, modulus_mpa: e1 }, Layer { thickness_mm: h2, modulus_mpa: e2 }];
        let both = Laminate::of(&layers, 0.0);
        let cross = 2.0 * e1 * e2 * h1 * h2 * (2.0 * h1 * h1 + 3.0 * h1 * h2 + 2.0 * h2 * h2);
        let book = (e1 * e1 * h1.powi(4) + e2 * e2 * h2.powi(4) + cross) / 12.0 / (e1 * h1 + e2 * h2);
        assert_relative_eq!(both.rigidity_n_mm, book, max_relative = 1e-12);
        let mut bench = beam(LENGTH, 5.0);
        bench.rigidity = both.rigidity_n_mm;
        let (a, b) = across(LENGTH / 2.0);
        let sunk = middle(&ends(bench, false).line_load(a, b, 1.0).rest());
        assert_relative_eq!(sunk, LENGTH.powi(3) / 48.0 / (book * WIDTH), max_relative = 1e-3);
    }
}

/// Navier's series for the spread load, summed until it stands still (Timoshenko, eq. 131), so that the
/// error is the plate's own. Cubic splines promise deflections to the fourth order.
#[test]
fn the_error_falls_as_cubic_splines_promise() {
    let d = MODULUS * THICK.powi(3) / 12.0 / 0.91;
    let pi = std::f64::consts::PI;
    let mut exact = 0.0;
    for m in (1..400).step_by(2) {
        for n in (1..400).step_by(2) {
            let (m, n) = (f64::from(m), f64::from(n));
            let sign = ((m * pi / 2.0).sin()) * ((n * pi / 2.0).sin());
            exact += sign / (m * n * (m * m + n * n).powi(2));
        }
    }
    exact *= 16.0 * 0.01 * 80f64.powi(4) / (pi.powi(6) * d);
    let errors: Vec<(f64, f64)> = [20.0, 10.0, 5.0]
        .map(|knot| (knot, (square(knot).pressure(0.01).rest().sheet.height(at(40.0, 40.0)) / exact - 1.0).abs()))
        .to_vec();
    for pair in errors.windows(2) {
        let order = (pair[0].1 / pair[1].1).log2();
        println!(
            "knots {} -> {} mm: error {:.1e} -> {:.1e}, order {order:.2}",
            pair[0].0, pair[1].0, pair[0].1, pair[1].1
        );
        assert!(order > 2.5, "order {order}");
    }
    assert!(errors[2].1 < 2e-4);
}

/// A plate under edge moments alone bends to a constant curvature, which any outline and any knots must
/// give back: the patch test. Here the other way round: forces K w of that shape are none inside.
#[test]
fn constant_curvature_is_exact() {
    let round: Vec<Point2> =
        (0..720).map(|k| f64::from(k).to_radians() / 2.0).map(|a| at(33.0 * a.cos(), 41.0 * a.sin())).collect();
    for polygon in [rectangle(-20.0, 0.0, 20.0, 60.0), round] {
        let bench = Bench::new(&polygon, 8.0, 0.3);
        let places = &bench.region.places;
        let plate = stiffness(&bench.region, &vec![bench.rigidity; places.len()], 0.3, BEYOND);
        let (xx, xy, yy) = (2e-3, -1e-3, 0.7e-3);
        let w = quadratic(bench.region.basis, [xx, xy, yy]);
        for place in places {
            let found = [
                place.local.of(&w.coefficients, 2, 0),
                place.local.of(&w.coefficients, 1, 1),
                place.local.of(&w.coefficients, 0, 2),
            ];
            for (found, asked) in found.into_iter().zip([xx, xy, yy]) {
                assert_abs_diff_eq!(found, asked, epsilon = 1e-14);
            }
        }
        // Energy: area times that of the curvature (closed form).
        let energy: f64 = plate.times(&w.coefficients).iter().zip(&w.coefficients).map(|(f, w)| 0.5 * f * w).sum();
        let each: f64 = (xx + yy) * (xx + yy) - 2.0 * 0.7 * (xx * yy - xy * xy);
        assert_relative_eq!(energy, 0.5 * bench.rigidity * bench.region.area_mm2() * each, max_relative = 1e-6);
        // A plane costs nothing: rigid movements are free.
        let plane = quadratic(bench.region.basis, [0.0; 3]);
        assert!(plate.times(&plane.coefficients).iter().all(|f| f.abs() < 1e-9 * bench.rigidity));
    }
}

/// The spline that is `1/2 xx x^2 + xy x y + 1/2 yy y^2 + 1 + x/10`: blossoms at the functions' humps.
fn quadratic(basis: Basis, [xx, xy, yy]: [f64; 3]) -> Sheet {
    let mut sheet = Sheet::zero(basis);
    let shift = basis.knot * basis.knot / 3.0;
    for (k, c) in sheet.coefficients.iter_mut().enumerate() {
        let x = basis.x0 + ((k % basis.nx) as f64 - 1.0) * basis.knot;
        let y = basis.y0 + ((k / basis.nx) as f64 - 1.0) * basis.knot;
        *c = 0.5 * xx * (x * x - shift) + xy * x * y + 0.5 * yy * (y * y - shift) + 1.0 + 0.1 * x;
    }
    sheet
}

/// A linear plate stores half of what its load did (Clapeyron).
#[test]
fn work_is_twice_the_strain_energy() {
    for bench in [square(8.0).pressure(0.01), ends(beam(LENGTH, 7.5), true).pressure(0.02)] {
        let rest = bench.rest();
        let work: f64 = bench.load.iter().zip(&rest.sheet.coefficients).map(|(f, w)| f * w).sum();
        assert_relative_eq!(work, 2.0 * rest.strain_energy, max_relative = 1e-8);
    }
}

/// What an arch with one sliding end does is what the flat beam does; held at both ends it is 42 times
/// as stiff. A parabola of rise 25 whose section grows as its slope's secant (Timoshenko & Young,
/// Theory of Structures: then ds / I = dx / I0), force 100 N on the crown, by virtual work here.
#[test]
fn a_sliding_arch_is_the_flat_beam() {
    let (rise, count) = (25.0, 20_000);
    let dx = LENGTH / f64::from(count);
    let (mut crown, mut spread, mut stretch) = (0.0, 0.0, 0.0);
    for k in 0..count {
        let x = (f64::from(k) + 0.5) * dx;
        let unit = 0.5 * x.min(LENGTH - x);
        let y = 4.0 * rise * x * (LENGTH - x) / LENGTH.powi(2);
        crown += 100.0 * unit * unit * dx / EI;
        spread += 100.0 * unit * y * dx / EI;
        stretch += y * y * dx / EI;
    }
    let thrust = spread / stretch;
    assert_relative_eq!(spread, 9.81, max_relative = 1e-3);
    assert_relative_eq!(thrust, 117.19, max_relative = 1e-4);
    let held = crown - thrust * spread / 100.0;
    assert_relative_eq!(held, 0.2759, max_relative = 1e-3);
    let (a, b) = across(LENGTH / 2.0);
    let ours = middle(&ends(beam(LENGTH, 5.0), false).line_load(a, b, 100.0).rest());
    assert_relative_eq!(ours, crown, max_relative = 1e-3);
    assert_relative_eq!(ours / held, 42.7, max_relative = 5e-3);
}

/// A round plate on an evenly distributed bed under an even load sinks by q / k everywhere, whatever its
/// outline cuts of the cells; the plate beyond the line may not be felt.
#[test]
fn the_plate_beyond_the_line_is_not_felt() {
    let round: Vec<Point2> =
        (0..720).map(|k| f64::from(k).to_radians() / 2.0).map(|a| at(45.0 * a.cos(), 45.0 * a.sin())).collect();
    let mut seen = vec![];
    for beyond in [1e-10, 1e-8, 1e-6] {
        let mut bench = Bench::new(&round, 8.0, 0.3);
        bench.beyond = beyond;
        for place in bench.region.places.clone() {
            let spring = Spring::under(&place.local, 0.0, 0.05 * place.area_mm2, Grip::Pushes);
            bench.springs.push(spring);
        }
        let even = Bench {
            load: vec![0.0; bench.load.len()],
            region: bench.region.clone(),
            springs: bench.springs.clone(),
            ..bench
        }
        .pressure(0.02);
        for p in [at(0.0, 0.0), at(40.0, 3.0), at(-25.0, -31.0)] {
            assert_relative_eq!(even.rest().sheet.height(p), 0.4, max_relative = 1e-5);
        }
        let mut poked = Bench { load: vec![0.0; even.load.len()], ..even };
        poked.force(at(30.0, 10.0), 100.0);
        seen.push(poked.rest().sheet.height(at(30.0, 10.0)));
    }
    println!("{seen:?}");
    assert_relative_eq!(seen[0], seen[1], max_relative = 1e-5);
    assert_relative_eq!(seen[2], seen[1], max_relative = 1e-4);
}

/// A long strip on a bed of springs under a line load: Hetényi 1946, w0 = P b / 2 k with
/// b = (k / 4 D)^(1/4); it lifts off where the book's bed would pull, so the book's bed holds here.
#[test]
fn a_strip_on_a_bed_as_hetenyi_has_it() {
    let bed = 0.002;
    let mut bench = beam(600.0, 10.0);
    for place in bench.region.places.clone() {
        bench.springs.push(Spring::under(&place.local, 0.0, bed * place.area_mm2, Grip::Holds));
    }
    let (a, b) = across(300.0);
    let rest = bench.line_load(a, b, 80.0).rest();
    let d = MODULUS * THICK.powi(3) / 12.0;
    let beta = (bed / (4.0 * d)).powf(0.25);
    assert_relative_eq!(rest.sheet.height(at(0.0, 300.0)), 1.0 * beta / (2.0 * bed), max_relative = 2e-3);
}

/// A strip over a hollow on springs that only push.
fn over_a_hollow(load: f64, x: f64, mirrored: bool) -> (Bench, Rest) {
    let mut bench = beam(LENGTH, 7.5);
    for place in bench.region.touches.clone() {
        let (px, y) = (place.at.x, place.at.y);
        let gap = if (30.0..120.0).contains(&y) { 3.0 } else { 0.0 } + 0.002 * (if mirrored { -px } else { px } + 40.0);
        bench.springs.push(Spring::under(&place.local, gap, 0.8 * place.area_mm2, Grip::Pushes));
    }
    bench.force(at(if mirrored { -x } else { x }, 70.0), load);
    bench.force(at(0.0, 15.0), 20.0);
    let rest = bench.rest();
    (bench, rest)
}

#[test]
fn contact_pushes_or_stands_off_and_never_both() {
    for load in [5.0, 40.0, 200.0, 2000.0] {
        let (bench, rest) = over_a_hollow(load, 12.0, false);
        let mut total = 0.0;
        for (spring, &force) in bench.springs.iter().zip(&rest.forces_n) {
            let w: f64 = spring.indices.iter().zip(&spring.terms).map(|(&i, t)| t * rest.sheet.coefficients[i]).sum();
            let into = w - spring.gap_mm;
            assert!(force >= 0.0, "the board pulls with {force} N");
            assert_abs_diff_eq!(force, spring.stiffness_n_mm * into.max(0.0), epsilon = 1e-9);
            total += force;
        }
        assert_relative_eq!(total, load + 20.0, max_relative = 1e-6);
        let falls = rest.energies.windows(2).all(|pair| pair[1] <= pair[0] + 1e-10 * pair[0].abs());
        assert!(falls, "{:?}", rest.energies);
        assert!(rest.energies.len() < 25, "{} rounds", rest.energies.len());
    }
}

#[test]
fn more_load_brings_more_contact_and_the_mirror_image_mirrors() {
    let touching = |load| over_a_hollow(load, 12.0, false).1.forces_n.iter().filter(|f| **f > 0.0).count();
    assert!(touching(2000.0) > touching(40.0));
    let (_, here) = over_a_hollow(60.0, 12.0, false);
    let (_, there) = over_a_hollow(60.0, 12.0, true);
    for p in [at(12.0, 70.0), at(-33.0, 40.0), at(5.0, 120.0)] {
        assert_relative_eq!(here.sheet.height(p), there.sheet.height(at(-p.x, p.y)), max_relative = 1e-6);
    }
}

/// Wherever the guess starts, the plate comes to the same rest: E has one least place.
#[test]
fn the_first_guess_does_not_matter() {
    let (bench, rest) = over_a_hollow(60.0, 12.0, false);
    let plate = stiffness(&bench.region, &vec![bench.rigidity; bench.region.places.len()], 0.0, BEYOND);
    let starts: [fn(usize) -> bool; 3] = [|_| false, |k| k % 2 == 0, |k| k < 40];
    for start in starts {
        let guess: Vec<bool> = (0..bench.springs.len()).map(start).collect();
        let other = settle(&plate, bench.region.basis, &bench.load, &bench.springs, &guess).unwrap();
        let p = at(12.0, 70.0);
        assert_relative_eq!(other.sheet.height(p), rest.sheet.height(p), max_relative = 1e-6);
    }
}

#[test]
fn a_plate_on_nothing_is_refused() {
    let bench = beam(LENGTH, 10.0).pressure(0.01);
    let plate = stiffness(&bench.region, &vec![bench.rigidity; bench.region.places.len()], 0.0, BEYOND);
    assert!(settle(&plate, bench.region.basis, &bench.load, &[], &[]).is_err());
    let nan = vec![f64::NAN; bench.load.len()];
    assert!(settle(&plate, bench.region.basis, &nan, &[], &[]).is_err());
}
