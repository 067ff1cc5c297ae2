//! One profile file -> one checked profile. Ranges here only tell a slip from a number; whether a
//! number is wise is for the shop.

use crate::foot::Stations;
use crate::kernel::Shape;
use crate::value::{Value, Values};
use crate::written::{Allowed, Need, Section};

use super::{
    Band, Blank, Cutter, DwellWord, EndWord, Foam, Giving, LeastThickness, Load, Machine, Material, Modulus, Patch,
    StartingSupport, Tolerances, TopLayer, WorkOffset,
};

const RPM: Allowed = Allowed::new(100.0, 60_000.0, "rpm");
const FEED: Allowed = Allowed::new(10.0, 60_000.0, "mm/min");
const SHARE: Allowed = Allowed::plain(0.0, 1.0);
const THICKNESS: Allowed = Allowed::mm(0.5, 15.0);

fn number(s: &Section, key: &str, allowed: Allowed) -> Option<f64> {
    s.number(key, Need::Required, allowed)
}

fn mm(s: &Section, key: &str, least: f64, most: f64) -> Option<f64> {
    number(s, key, Allowed::mm(least, most))
}

/// Two numbers of which the first is the smaller.
fn window(s: &Section, key: &str, allowed: Allowed) -> Option<[f64; 2]> {
    let [low, high] = s.numbers(key, Need::Required, allowed)?;
    if low < high {
        return Some([low, high]);
    }
    s.at(key, format!("`{key}` runs from {low} to {high}"), "write the smaller number first");
    None
}

pub(super) fn material(s: &Section, name: &str, title: &str) -> Option<Material> {
    let heel = number(s, "least_heel", THICKNESS);
    let flex_zone = number(s, "least_flex_zone", THICKNESS);
    let forefoot = number(s, "least_forefoot", THICKNESS);
    let rim_wall = number(s, "least_rim_wall", THICKNESS);
    let sanding_mm = mm(s, "sanding_mm", 0.0, 2.0);
    let steepest_wall_deg = number(s, "steepest_wall_deg", Allowed::new(30.0, 90.0, "deg"));
    let spindle_rpm = number(s, "spindle_rpm", RPM);
    let feed_mm_min = number(s, "feed_mm_min", FEED);
    let plunge_mm_min = number(s, "plunge_mm_min", FEED);
    let step_down_mm = mm(s, "step_down_mm", 0.2, 50.0);
    let rough_step_share = number(s, "rough_step_share", Allowed::plain(0.05, 0.95));
    let allowance_mm = mm(s, "allowance_mm", 0.0, 5.0);
    let scallop_mm = mm(s, "scallop_mm", 0.005, 0.5);
    let point_tolerance_mm = mm(s, "point_tolerance_mm", 0.002, 0.1);
    let chip_load_mm = window(s, "chip_load_mm", Allowed::mm(0.001, 2.0));
    let giving = giving(s);
    Some(Material {
        name: name.to_owned(),
        title: title.to_owned(),
        least: LeastThickness { heel: heel?, flex_zone: flex_zone?, forefoot: forefoot?, rim_wall: rim_wall? },
        sanding_mm: sanding_mm?,
        steepest_wall_deg: steepest_wall_deg?,
        spindle_rpm: spindle_rpm?,
        feed_mm_min: feed_mm_min?,
        plunge_mm_min: plunge_mm_min?,
        step_down_mm: step_down_mm?,
        rough_step_share: rough_step_share?,
        allowance_mm: allowance_mm?,
        scallop_mm: scallop_mm?,
        point_tolerance_mm: point_tolerance_mm?,
        chip_load_mm: chip_load_mm?,
        giving: giving?,
    })
}

/// Hardness that the formulas for the modulus are used for.
const SHORE_A: Allowed = Allowed::new(5.0, 95.0, "Shore A");

/// What is known of how it gives. A modulus asks for a Poisson's ratio, one half of the foam's law or
/// of a layer for the other.
fn giving(s: &Section) -> Option<Giving> {
    let known = s.number("modulus_mpa", Need::Optional, Allowed::new(0.05, 100_000.0, "MPa"));
    let hardness = if s.has("shore_a") { window(s, "shore_a", SHORE_A).map(Some) } else { Some(None) };
    s.allow("shore_a");
    let need = if s.has("modulus_mpa") || s.has("shore_a") { Need::Required } else { Need::Optional };
    let poisson = s.number("poisson", need, Allowed::plain(0.0, 0.495));
    let strain_limit = s.number("strain_limit", Need::Optional, Allowed::plain(0.001, 2.0));
    let [plateau, density] = both(
        s,
        ["foam_plateau_kpa", "foam_relative_density"],
        [Allowed::new(0.0, 5000.0, "kPa"), Allowed::plain(0.005, 0.7)],
    );
    let [above, shore_a] = both(s, ["layer_above_mm", "layer_shore_a"], [Allowed::mm(0.5, 60.0), SHORE_A]);
    Some(Giving {
        modulus: known.map(Modulus::Known).or(hardness?.map(Modulus::Hardness)),
        poisson: poisson.unwrap_or(0.0),
        strain_limit,
        foam: plateau.zip(density).map(|(plateau_kpa, relative_density)| Foam { plateau_kpa, relative_density }),
        top_layer: above.zip(shore_a).map(|(above_mm, shore_a)| TopLayer { above_mm, shore_a }),
    })
}

/// Two numbers that mean something only together.
fn both(s: &Section, keys: [&str; 2], allowed: [Allowed; 2]) -> [Option<f64>; 2] {
    let need = if keys.iter().any(|key| s.has(key)) { Need::Required } else { Need::Optional };
    std::array::from_fn(|k| s.number(keys[k], need, allowed[k]))
}

pub(super) fn load(s: &Section, name: &str, title: &str) -> Option<Load> {
    let body_weights = number(s, "body_weights", Allowed::plain(0.1, 10.0));
    let foot_share = number(s, "foot_share", Allowed::plain(0.05, 1.0));
    let [heel, first_met, fifth_met, arch] = ["heel", "first_met", "fifth_met", "arch"].map(|at| patch(s, at));
    let load = Load {
        name: name.to_owned(),
        title: title.to_owned(),
        body_weights: body_weights?,
        foot_share: foot_share?,
        heel: heel?,
        first_met: first_met?,
        fifth_met: fifth_met?,
        arch: arch?,
    };
    /// As much as shares written with two or three digits may be off together.
    const SUM: f64 = 0.002;
    let sum: f64 = [load.heel, load.first_met, load.fifth_met, load.arch].iter().map(|patch| patch.share).sum();
    if (sum - 1.0).abs() > SUM {
        let message = format!("the shares of the four patches sum to {sum:.3}");
        s.at("heel_share", message, "make heel_share, first_met_share, fifth_met_share and arch_share sum to 1");
        return None;
    }
    Some(load)
}

fn patch(s: &Section, at: &str) -> Option<Patch> {
    let share = number(s, &format!("{at}_share"), SHARE);
    let size = s.numbers(&format!("{at}_size"), Need::Required, Allowed::plain(0.03, 0.5));
    Some(Patch { share: share?, size: size? })
}

pub(super) fn blank(s: &Section, name: &str, _title: &str) -> Option<Blank> {
    let length_mm = mm(s, "length_mm", 150.0, 1000.0);
    let width_mm = mm(s, "width_mm", 60.0, 1000.0);
    let height_mm = mm(s, "height_mm", 5.0, 150.0);
    let scatter_mm = mm(s, "scatter_mm", 0.0, 5.0);
    let side_margin_mm = mm(s, "side_margin_mm", 0.0, 50.0);
    let height_margin_mm = mm(s, "height_margin_mm", 0.0, 50.0);
    Some(Blank {
        name: name.to_owned(),
        length_mm: length_mm?,
        width_mm: width_mm?,
        height_mm: height_mm?,
        measured: false,
        scatter_mm: scatter_mm?,
        side_margin_mm: side_margin_mm?,
        height_margin_mm: height_margin_mm?,
    })
}

pub(super) fn cutter(s: &Section, name: &str, _title: &str) -> Option<Cutter> {
    let shape = shape(s);
    let flutes = s.whole("flutes", Need::Required, Allowed::plain(1.0, 12.0));
    let flute_length_mm = mm(s, "flute_length_mm", 1.0, 200.0);
    let shank_diameter_mm = mm(s, "shank_diameter_mm", 1.0, 30.0);
    let stickout_mm = mm(s, "stickout_mm", 5.0, 250.0);
    let holder_diameter_mm = mm(s, "holder_diameter_mm", 5.0, 120.0);
    if let (Some(flute), Some(stickout)) = (flute_length_mm, stickout_mm)
        && flute > stickout
    {
        let message = format!("`flute_length_mm` is {flute}, longer than `stickout_mm` {stickout}");
        s.at("flute_length_mm", message, "the flutes end below the holder: measure from the tip");
    }
    Some(Cutter {
        name: name.to_owned(),
        shape: shape?,
        flutes: flutes?,
        flute_length_mm: flute_length_mm?,
        shank_diameter_mm: shank_diameter_mm?,
        stickout_mm: stickout_mm?,
        holder_diameter_mm: holder_diameter_mm?,
    })
}

#[derive(Clone, Copy)]
enum End {
    Flat,
    Ball,
    Bull,
    Taper,
}

fn shape(s: &Section) -> Option<Shape> {
    let kinds = [("flat", End::Flat), ("ball", End::Ball), ("bull", End::Bull), ("taper", End::Taper)];
    let end = s.choice("kind", Need::Required, &kinds);
    let diameter = mm(s, "diameter_mm", 0.5, 50.0);
    let end = end?;
    let corner = if matches!(end, End::Bull | End::Taper) { mm(s, "corner_radius_mm", 0.05, 25.0) } else { None };
    let half_angle = match end {
        End::Taper => number(s, "half_angle_deg", Allowed::new(0.5, 60.0, "deg")),
        _ => None,
    };
    let radius = diameter? / 2.0;
    if let Some(corner) = corner.filter(|corner| *corner >= radius) {
        let message = format!("`corner_radius_mm` is {corner}, not below the cutter's radius of {radius} mm");
        s.at("corner_radius_mm", message, "a corner as large as the radius is a ball: write kind = \"ball\"");
        return None;
    }
    match end {
        End::Flat => Some(Shape::Flat { radius }),
        End::Ball => Some(Shape::Ball { radius }),
        End::Bull => Some(Shape::Bull { radius, corner: corner? }),
        End::Taper => Some(Shape::Taper { tip: corner?, half_angle_rad: half_angle?.to_radians(), radius }),
    }
}

pub(super) fn machine(s: &Section, name: &str, title: &str) -> Option<Machine> {
    let travel_mm = s.numbers("travel_mm", Need::Required, Allowed::mm(10.0, 10_000.0));
    let rate_mm_min = s.numbers("rate_mm_min", Need::Required, Allowed::new(50.0, 200_000.0, "mm/min"));
    let acceleration_mm_s2 = s.numbers("acceleration_mm_s2", Need::Required, Allowed::new(1.0, 50_000.0, "mm/s2"));
    let junction_deviation_mm = mm(s, "junction_deviation_mm", 0.0005, 1.0);
    let look_ahead = s.whole("look_ahead", Need::Required, Allowed::plain(1.0, 10_000.0));
    let line_time_s = number(s, "line_time_s", Allowed::new(0.0, 1.0, "s"));
    let safe_above_blank_mm = mm(s, "safe_above_blank_mm", 2.0, 200.0);
    let spindle_rpm = window(s, "spindle_rpm", RPM);
    let spin_up_s = number(s, "spin_up_s", Allowed::new(0.0, 120.0, "s"));
    let dwells = [
        ("p-seconds", DwellWord::PSeconds),
        ("s-seconds", DwellWord::SSeconds),
        ("p-milliseconds", DwellWord::PMilliseconds),
    ];
    let dwell = s.choice("dwell", Need::Required, &dwells);
    let end = s.choice("end", Need::Required, &[("m2", EndWord::M2), ("m30", EndWord::M30)]);
    let arcs = s.flag("arcs", Need::Required);
    let motion_word_each_line = s.flag("motion_word_each_line", Need::Required);
    let line_limit = s.whole("line_limit", Need::Required, Allowed::plain(40.0, 250.0));
    let decimals = if s.has("decimals") {
        s.whole("decimals", Need::Required, Allowed::plain(3.0, 9.0))
    } else {
        Some(USUAL_DECIMALS)
    };
    let refuses = if s.has("refuses") { refused_words(s) } else { Some(vec![]) };
    let bed_cut_mm = mm(s, "bed_cut_mm", 0.0, 5.0);
    if let Some(wait) = spin_up_s.filter(|wait| *wait > 0.0 && *wait < LEAST_SPIN_UP_S) {
        let message = format!("`spin_up_s` is {wait}, shorter than any spindle takes");
        s.at("spin_up_s", message, format!("write 0 for none, or {LEAST_SPIN_UP_S} to 120 s"));
        return None;
    }
    let offsets = [("g54", WorkOffset::G54), ("g55", WorkOffset::G55)];
    let under_offset =
        if s.has("under_offset") { s.choice("under_offset", Need::Required, &offsets) } else { Some(WorkOffset::G54) };
    s.allow("under_offset");
    Some(Machine {
        name: name.to_owned(),
        title: title.to_owned(),
        travel_mm: travel_mm?,
        rate_mm_min: rate_mm_min?,
        acceleration_mm_s2: acceleration_mm_s2?,
        junction_deviation_mm: junction_deviation_mm?,
        look_ahead: look_ahead? as usize,
        line_time_s: line_time_s?,
        safe_above_blank_mm: safe_above_blank_mm?,
        spindle_rpm: spindle_rpm?,
        spin_up_s: spin_up_s?,
        dwell: dwell?,
        end: end?,
        arcs: arcs?,
        motion_word_each_line: motion_word_each_line?,
        line_limit: line_limit? as usize,
        decimals: decimals? as usize,
        refuses: refuses?,
        bed_cut_mm: bed_cut_mm?,
        under_offset: under_offset?,
    })
}

/// Decimals of a controller whose profile does not say: as many as anyone writes.
const USUAL_DECIMALS: u32 = 9;

/// Shorter waits could be told from those of a controller that counts other units no more: 120 s,
/// the longest, are 0.12 s when they are taken for milliseconds.
const LEAST_SPIN_UP_S: f64 = 0.2;

/// Words that may be left out where they are not known: who does not know them cannot be in a state
/// that they would end.
const MAY_BE_REFUSED: [u32; 6] = [17, 40, 49, 54, 80, 94];

/// G words such as `G40 G49`, by number, each once.
fn refused_words(s: &Section) -> Option<Vec<u32>> {
    let text = s.text("refuses", Need::Required, 40)?;
    let mut numbers = vec![];
    for word in text.split_whitespace() {
        match word.strip_prefix('G').and_then(|n| n.parse().ok()).filter(|n| MAY_BE_REFUSED.contains(n)) {
            Some(number) if !numbers.contains(&number) => numbers.push(number),
            Some(_) => {}
            None => {
                let all = MAY_BE_REFUSED.map(|n| format!("G{n}")).join(" ");
                s.at(
                    "refuses",
                    format!("`refuses` holds {word}; allowed are {all}"),
                    "no program can do without other words",
                );
                return None;
            }
        }
    }
    numbers.sort_unstable();
    Some(numbers)
}

pub(super) fn support(s: &Section, name: &str, title: &str) -> Option<StartingSupport> {
    let cup = Allowed::mm(4.0, 24.0);
    let heel_cup_depth_mm = number(s, "heel_cup_depth_mm", cup);
    let heel_cup_depth_bounds_mm = window(s, "heel_cup_depth_bounds_mm", cup);
    let arch_share = number(s, "arch_share", SHARE);
    let rearfoot_post_deg = number(s, "rearfoot_post_deg", Allowed::new(-10.0, 10.0, "deg"));
    let lateral_arch_mm = mm(s, "lateral_arch_mm", 0.0, 20.0);
    let transverse_arch_mm = mm(s, "transverse_arch_mm", 0.0, 8.0);
    let heel_thickness_mm = mm(s, "heel_thickness_mm", 1.0, 15.0);
    let forefoot_thickness_mm = mm(s, "forefoot_thickness_mm", 1.0, 15.0);
    let length_allowance_mm = mm(s, "length_allowance_mm", -15.0, 20.0);
    let heel_wall_mm = mm(s, "heel_wall_mm", 0.0, 12.0);
    let stations = stations(s);
    let change_weights = change_weights(s);
    Some(StartingSupport {
        name: name.to_owned(),
        title: title.to_owned(),
        heel_cup_depth_mm: heel_cup_depth_mm?,
        heel_cup_depth_bounds_mm: heel_cup_depth_bounds_mm?,
        arch_share: arch_share?,
        rearfoot_post_deg: rearfoot_post_deg?,
        lateral_arch_mm: lateral_arch_mm?,
        transverse_arch_mm: transverse_arch_mm?,
        heel_thickness_mm: heel_thickness_mm?,
        forefoot_thickness_mm: forefoot_thickness_mm?,
        length_allowance_mm: length_allowance_mm?,
        heel_wall_mm: heel_wall_mm?,
        stations: stations?,
        change_weights: change_weights?,
    })
}

/// Values that a change may be weighed in.
const WEIGHED: [Value; 7] = [
    Value::HeelThickness,
    Value::HeelCupDepth,
    Value::RearfootPost,
    Value::MedialArch,
    Value::LateralArch,
    Value::TransverseArch,
    Value::ForefootThickness,
];

fn change_weights(s: &Section) -> Option<Values> {
    // A value that costs nothing would be changed without end, so none may.
    let weight = |value: Value| number(s, &format!("weight_{}", value.name()), Allowed::plain(0.01, 100.0));
    let weights: Vec<(Value, Option<f64>)> = WEIGHED.into_iter().map(|value| (value, weight(value))).collect();
    weights.into_iter().map(|(value, weight)| Some((value, weight?))).collect()
}

fn stations(s: &Section) -> Option<Stations> {
    let station = |name: &str| number(s, &format!("station_{name}"), Allowed::plain(0.05, 0.95));
    let heel_centre = station("heel_centre");
    let widest_cup = station("widest_cup");
    let medial_arch = station("medial_arch");
    let lateral_arch = station("lateral_arch");
    let transverse_arch = station("transverse_arch");
    let first_met = station("first_met");
    let fifth_met = station("fifth_met");
    Some(Stations {
        heel_centre: heel_centre?,
        widest_cup: widest_cup?,
        medial_arch: medial_arch?,
        lateral_arch: lateral_arch?,
        transverse_arch: transverse_arch?,
        first_met: first_met?,
        fifth_met: fifth_met?,
    })
}

pub(super) fn tolerances(s: &Section, name: &str, title: &str) -> Option<Tolerances> {
    let bands: Vec<(Value, Option<Band>)> =
        Value::ALL.into_iter().map(|value| (value, band(s, value.name(), value.unit()))).collect();
    let base_flatness = band(s, "base_flatness", "mm");
    let forefoot_tilt = band(s, "forefoot_tilt", "mm");
    let left_right = band(s, "left_right", "mm");
    let surface = band(s, "surface", "mm");
    let surface_share = number(s, "surface_share", Allowed::plain(0.5, 1.0));
    let reading_sd_mm = mm(s, "reading_sd_mm", 0.001, 2.0);
    let reading_sd_deg = number(s, "reading_sd_deg", Allowed::new(0.001, 3.0, "deg"));
    Some(Tolerances {
        name: name.to_owned(),
        title: title.to_owned(),
        bands: bands.into_iter().map(|(value, band)| Some((value, band?))).collect::<Option<_>>()?,
        base_flatness: base_flatness?,
        forefoot_tilt: forefoot_tilt?,
        left_right: left_right?,
        surface: surface?,
        surface_share: surface_share?,
        reading_sd_mm: reading_sd_mm?,
        reading_sd_deg: reading_sd_deg?,
    })
}

fn band(s: &Section, name: &str, unit: &'static str) -> Option<Band> {
    let accept = number(s, &format!("{name}_accept"), Allowed::new(0.01, 10.0, unit));
    let reject_below = s.number(&format!("{name}_reject_below"), Need::Optional, Allowed::new(-20.0, 0.0, unit));
    let reject_above = s.number(&format!("{name}_reject_above"), Need::Optional, Allowed::new(0.0, 20.0, unit));
    let accept = accept?;
    let narrow = |bound: Option<f64>| bound.is_some_and(|bound| bound.abs() < accept);
    if narrow(reject_below) || narrow(reject_above) {
        let message = format!("`{name}` is accepted up to {accept} {unit} but rejected sooner");
        s.at(&format!("{name}_accept"), message, "move the reject bounds out to the accepted difference or beyond");
    }
    Some(Band { accept, reject_below, reject_above })
}

#[cfg(test)]
mod tests {
    use crate::kernel::Shape;
    use crate::profile::{Kind, Shelf};

    /// Adds `text` with `line` replaced to the shelf; gives what is wrong with it.
    fn wrong(kind: Kind, text: &str, line: &str, by: &str) -> String {
        assert!(text.contains(line), "{line}");
        let text = text.replacen(line, by, 1);
        Shelf::built_in()
            .with_files([(kind, "mine.toml", text)])
            .map(|_| ())
            .expect_err("should be refused")
            .to_string()
    }

    const BULL: &str = include_str!("../../profiles/cutters/bull-10.toml");
    const FOAM: &str = include_str!("../../profiles/materials/eva-firm.toml");
    const MILL: &str = include_str!("../../profiles/machines/small-mill.toml");
    const BANDS: &str = include_str!("../../profiles/tolerances/workshop.toml");

    #[test]
    fn cutters_become_shapes() {
        let shelf = Shelf::built_in();
        let shape = |name: &str| shelf.cutter(name).map(|cutter| cutter.shape);
        assert_eq!(shape("flat-6"), Ok(Shape::Flat { radius: 3.0 }));
        assert_eq!(shape("ball-8"), Ok(Shape::Ball { radius: 4.0 }));
        assert_eq!(shape("bull-10"), Ok(Shape::Bull { radius: 5.0, corner: 2.0 }));
        let taper = Shape::Taper { tip: 1.5, half_angle_rad: 5f64.to_radians(), radius: 3.0 };
        assert_eq!(shape("taper-6"), Ok(taper));
    }

    #[test]
    fn numbers_that_contradict_each_other_are_refused() {
        let corner = wrong(Kind::Cutter, BULL, "corner_radius_mm = 2.0", "corner_radius_mm = 5.0");
        assert!(corner.contains("not below the cutter's radius"), "{corner}");
        let flutes = wrong(Kind::Cutter, BULL, "flute_length_mm = 40.0", "flute_length_mm = 80.0");
        assert!(flutes.contains("longer than `stickout_mm`"), "{flutes}");
        let window = wrong(Kind::Material, FOAM, "[0.03, 0.4]", "[0.4, 0.03]");
        assert!(window.contains("runs from 0.4 to 0.03"), "{window}");
        let band = wrong(Kind::Tolerances, BANDS, "length_reject_above = 2.0", "length_reject_above = 0.5");
        assert!(band.contains("rejected sooner"), "{band}");
    }

    #[test]
    fn what_does_not_belong_or_is_missing_is_told() {
        let angle = wrong(Kind::Cutter, BULL, "flutes = 2", "flutes = 2\nhalf_angle_deg = 5.0");
        assert!(angle.contains("unknown key `half_angle_deg`"), "{angle}");
        let axes = wrong(Kind::Machine, MILL, "[250.0, 400.0, 120.0]", "[250.0, 400.0]");
        assert!(axes.contains("must be a list of 3 numbers"), "{axes}");
        let word = wrong(Kind::Machine, MILL, "arcs = true", "arcs = true\nrefuses = \"G49 G90\"");
        assert!(word.contains("holds G90") && word.contains("G40 G49 G54"), "{word}");
        let wait = wrong(Kind::Machine, MILL, "spin_up_s = 4.0", "spin_up_s = 0.1");
        assert!(wait.contains("shorter than any spindle takes"), "{wait}");
        let nan = wrong(Kind::Machine, MILL, "[250.0, 400.0, 120.0]", "[250.0, 400.0, nan]");
        assert!(nan.contains("`travel_mm` is nan"), "{nan}");
        let none = wrong(Kind::Material, FOAM, "sanding_mm = 0.3\n", "");
        assert!(none.contains("`sanding_mm` is missing"), "{none}");
    }
}
