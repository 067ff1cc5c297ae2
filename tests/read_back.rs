//! Values asked come back from the design: over the whole writable range, on both formulations of
//! the underside, with no hills that nobody asked for.

use std::collections::BTreeMap;

use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use rayon::prelude::*;
use sustent::curve::{TrimMeasures, outline_from_measures};
use sustent::foot::Stations;
use sustent::footbed::{Footbed, SHAPING, Underside};
use sustent::gauge;
use sustent::grid::Lattice;
use sustent::ticket::{Support, writable};
use sustent::value::Value;

/// Values asked and read back agree to this, mm and deg: the accuracy the program promises.
const AGREE: f64 = 0.01;

const STATIONS: Stations = Stations {
    heel_centre: 0.15,
    widest_cup: 0.16,
    medial_arch: 0.40,
    lateral_arch: 0.42,
    transverse_arch: 0.62,
    first_met: 0.74,
    fifth_met: 0.64,
};

#[derive(Clone, Debug)]
struct Asked {
    foot_length_mm: f64,
    support: Support,
}

fn asked() -> impl Strategy<Value = Asked> {
    let value = |v: Value| {
        let allowed = writable(v);
        allowed.least..=allowed.most
    };
    let shaping = (
        value(Value::HeelThickness),
        value(Value::HeelCupDepth),
        value(Value::RearfootPost),
        value(Value::MedialArch),
        value(Value::LateralArch),
        value(Value::TransverseArch),
        value(Value::ForefootThickness),
    );
    let sizes = (170.0..320.0, 0.0..12.0, 0.34..0.42, 0.24..0.31, prop::option::of(0.72..0.88));
    let stations = (0.36..0.46, 0.36..0.46, 0.60..0.64, 0.72..0.76, 0.62..0.66);
    (shaping, sizes, stations).prop_map(|((ht, cup, post, medial, lateral, dome, ft), sizes, stations)| {
        let (foot_length_mm, more, ball, heel, cup_share) = sizes;
        let length_mm = foot_length_mm + more;
        let heel_width_mm = heel * length_mm;
        let support = Support {
            heel_thickness_mm: ht,
            heel_cup_depth_mm: cup,
            heel_cup_width_mm: cup_share.map(|share: f64| share * heel_width_mm),
            rearfoot_post_deg: post,
            medial_arch_mm: medial,
            lateral_arch_mm: lateral,
            transverse_arch_mm: dome,
            forefoot_thickness_mm: ft,
            flex_zone_thickness_mm: None,
            length_mm,
            ball_width_mm: ball * length_mm,
            heel_width_mm,
            relief: None,
            stations: Stations {
                medial_arch: stations.0,
                lateral_arch: stations.1,
                transverse_arch: stations.2,
                first_met: stations.3,
                fifth_met: stations.4,
                ..STATIONS
            },
            stabiliser_share: 0.0,
            allowed_drop: None,
            filled_in: vec![],
            station_rules: vec![],
            change_weights: Default::default(),
        };
        Asked { foot_length_mm, support }
    })
}

fn build(asked: &Asked, underside: Underside) -> Footbed {
    let (s, l) = (&asked.support, asked.foot_length_mm);
    let outline = outline_from_measures(&TrimMeasures {
        length_mm: s.length_mm,
        ball_width_mm: s.ball_width_mm,
        heel_width_mm: s.heel_width_mm,
        heel_station_y_mm: s.stations.widest_cup * l,
        first_met_y_mm: s.stations.first_met * l,
        fifth_met_y_mm: s.stations.fifth_met * l,
    })
    .unwrap();
    Footbed::build(outline, l, s, underside).unwrap()
}

/// A thousand footbeds drawn from the whole writable range, the same ones each run.
fn thousand() -> Vec<Asked> {
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &[7; 32]);
    let mut runner = TestRunner::new_with_rng(Config::default(), rng);
    (0..1000).map(|_| asked().new_tree(&mut runner).unwrap().current()).collect()
}

#[test]
fn a_thousand_random_footbeds_read_back_as_asked() {
    let worst = thousand()
        .par_iter()
        .map(|asked| {
            let read = gauge::read_design(&build(asked, Underside::Flat));
            Value::ALL
                .into_iter()
                .filter_map(|v| Some((v, (asked.support.asked(v)? - read[&v]).abs())))
                .collect::<BTreeMap<_, _>>()
        })
        .reduce(BTreeMap::new, |mut a, b| {
            b.into_iter().for_each(|(v, d)| {
                let worst = a.entry(v).or_insert(0.0_f64);
                *worst = worst.max(d);
            });
            a
        });
    println!("largest difference between asked and read back: {worst:?}");
    assert_eq!(worst.len(), 11, "every asked value was compared: {worst:?}");
    for (value, difference) in worst {
        assert!(difference <= AGREE, "{} comes back {difference} off", value.name());
    }
}

/// Every local extremum inside the outline that stands out by more than this is a hill, mm. Knots
/// are 4 mm apart: a ripple would show as many of them.
const HILL_MM: f64 = 0.1;

/// Lows and highs of the top on a 1 mm lattice, 2 mm inside the outline: places lower (higher) than
/// all on a ring of 6 mm radius by more than [`HILL_MM`].
fn lows_and_highs(footbed: &Footbed) -> (usize, usize) {
    let lattice = Lattice::covering(footbed.outline.bounds(), 1.0);
    let top = footbed.top.sample(lattice);
    let inside = footbed.outline.distance_field(&lattice, 10.0);
    let ring: Vec<(isize, isize)> = (0..24)
        .map(|k| {
            let (s, c) = (std::f64::consts::TAU * f64::from(k) / 24.0).sin_cos();
            ((6.0 * c).round() as isize, (6.0 * s).round() as isize)
        })
        .collect();
    let (mut lows, mut highs) = (0, 0);
    for j in 6..lattice.ny - 6 {
        for i in 6..lattice.nx - 6 {
            if inside.at(i, j) > -8.0 {
                continue;
            }
            let z = top.at(i, j);
            let near = |(di, dj): &(isize, isize)| top.at(i.wrapping_add_signed(*di), j.wrapping_add_signed(*dj));
            let local = |di: isize, dj: isize| top.at(i.wrapping_add_signed(di), j.wrapping_add_signed(dj));
            let around: Vec<f64> =
                (-1..=1).flat_map(|a| (-1..=1).map(move |b| (a, b))).map(|(a, b)| local(a, b)).collect();
            if around.iter().all(|&n| n >= z) && ring.iter().all(|r| near(r) > z + HILL_MM) {
                lows += 1;
            }
            if around.iter().all(|&n| n <= z) && ring.iter().all(|r| near(r) < z - HILL_MM) {
                highs += 1;
            }
        }
    }
    (lows, highs)
}

/// The seat is the one low; a dome may be the one high. Anything else is a ripple, as long as the
/// values are ordinary ones: a shallow cup under a post of 9 degrees, a cup whose wall is to rise within
/// 4 mm of the edge, or two high walls along a narrow foot, have two lows because that is what was
/// asked.
#[test]
fn no_spurious_hills() {
    let rippled: Vec<Asked> = thousand()
        .into_par_iter()
        .step_by(5)
        .map(|mut asked| {
            let s = &mut asked.support;
            s.rearfoot_post_deg = s.rearfoot_post_deg.clamp(-4.0, 4.0);
            s.heel_cup_depth_mm = s.heel_cup_depth_mm.max(8.0);
            s.heel_cup_width_mm = s.heel_cup_width_mm.map(|w| w.min(s.heel_width_mm - 10.0));
            s.medial_arch_mm = s.medial_arch_mm.max(8.0);
            s.lateral_arch_mm = s.lateral_arch_mm.min(s.medial_arch_mm - 6.0).min(10.0);
            s.forefoot_thickness_mm =
                s.forefoot_thickness_mm.clamp(s.heel_thickness_mm - 4.0, s.heel_thickness_mm + 4.0);
            asked
        })
        .filter(|asked| {
            let (lows, highs) = lows_and_highs(&build(asked, Underside::Flat));
            lows > 1 || highs > 1
        })
        .collect();
    assert!(rippled.is_empty(), "{} of 200 have more than one low or high: {rippled:#?}", rippled.len());
}

#[test]
fn a_response_has_no_more_hills_than_its_value_explains() {
    let asked = &thousand()[0];
    let footbed = build(asked, Underside::Flat);
    for (value, response) in SHAPING.into_iter().zip(&footbed.responses) {
        let alone = Footbed { top: response.clone(), ..footbed.clone() };
        // Per unit a response is about 1 high, so a tenth of a millimetre is a tenth of it.
        let (lows, highs) = lows_and_highs(&alone);
        assert!(lows + highs <= 2, "{}: {lows} lows, {highs} highs", value.name());
    }
}

#[test]
fn a_relieved_underside_leaves_what_is_asked_and_never_less() {
    for asked in thousand().iter().step_by(50) {
        let mut asked = asked.clone();
        asked.support.medial_arch_mm = asked.support.medial_arch_mm.max(14.0);
        asked.support.heel_thickness_mm = asked.support.heel_thickness_mm.max(4.0);
        asked.support.forefoot_thickness_mm = asked.support.forefoot_thickness_mm.max(4.0);
        let left_mm = 2.5;
        let footbed = build(&asked, Underside::Relieved { left_mm, stabiliser_share: 0.2 });
        let read = gauge::read_design(&footbed);
        assert!((read[&Value::FlexZoneThickness] - left_mm).abs() < AGREE, "{read:?}");
        let lattice = Lattice::covering(footbed.outline.bounds(), 3.0);
        for p in (0..lattice.len()).map(|k| lattice.node(k % lattice.nx, k / lattice.nx)) {
            let (top, under) = (footbed.top_at(p), footbed.underside_at(p));
            assert!(under >= 0.0 && (under == 0.0 || top - under >= left_mm - 1e-9), "{p}: {top} {under}");
        }
    }
}
