//! The questions asked of a footbed under load, and their answers as they are printed and written.

use serde::Serialize;

use super::load::{Pressed, patches};
use super::piece::{Piece, Rested, Stuff};
use super::{FlexError, gent_mpa, squeezed};
use crate::foot::Foot;
use crate::footbed::{Footbed, Underside};
use crate::frame::Point2;
use crate::grid::Lattice;
use crate::profile::{Giving, Load, Material, Modulus};
use crate::value::Value;

/// Distance between a plate's knots where nothing else is asked, mm. On the demo pair finer knots move
/// the answers by less than the material's own scatter; `docs/measured.md` has the table.
pub const KNOT_MM: f64 = 8.0;
/// Strain is a second derivative of the deflection and settles an order slower: it is taken from a second plate, whose
/// knots stand this share as far apart. `docs/measured.md` has the table.
const STRAIN_KNOT_SHARE: f64 = 0.5;
/// How far the flex zone's thickness is moved to see what it does, mm: what a shop's grinder is off
/// by.
const THINNER_MM: f64 = 0.5;
/// How far a modulus of one number is moved, as a share: batches of one foam scatter by as much.
/// Shop's own choice.
const SCATTER: f64 = 0.2;
/// Distance between the places of the maps, mm.
const MAP_MM: f64 = 10.0;
/// Thicknesses are suggested to this, mm: no finer than they are ground.
const SUGGESTED_TO_MM: f64 = 0.1;
/// Greatest share of its thickness to which a foam gives on; beyond, its cells are shut and it is hard.
/// 1 - 1.4 R, Gibson & Ashby 1997 [from memory].
const SHUT: f64 = 1.4;

/// One foot with all that the answers need.
#[derive(Clone, Copy)]
pub struct Question<'a> {
    /// The design.
    pub footbed: &'a Footbed,
    /// The foot as measured.
    pub foot: &'a Foot,
    /// What it is cut from.
    pub material: &'a Material,
    /// Cover glued on later, mm.
    pub cover_mm: f64,
    /// Weight of the wearer.
    pub weight_kg: Option<f64>,
    /// How it is loaded.
    pub load: &'a Load,
    /// Share of the foot's own drop that is wanted, for the suggestion.
    pub wanted_share: Option<f64>,
    /// How thick this top lets the flex zone be, mm; `None`: not looked at.
    pub room_mm: Option<f64>,
    /// Share of a hollow that is filled back, also of one that is only suggested.
    pub stabiliser_share: f64,
}

/// What is known about the footbed under load.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Flex {
    /// Name of the load.
    pub load: String,
    /// What it is, in words.
    pub load_title: String,
    /// What the ticket or the profile would have to say for the rest, a sentence each.
    pub missing: Vec<String>,
    /// `None` when something is missing without which nothing can be said.
    pub figures: Option<Figures>,
}

/// Figures of a footbed under load. Deflections in mm, down positive.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Figures {
    /// Force on this foot, N.
    pub force_n: f64,
    /// Modulus of the base material, MPa, and what the answers below were asked with besides.
    pub modulus_mpa: f64,
    /// Least and greatest modulus of the range.
    pub modulus_range_mpa: [f64; 2],
    /// Where the modulus comes from, in words.
    pub modulus_from: String,
    /// Whether there is a hollow that lets the arch bend.
    pub bends: bool,
    /// Mean sinking under the arch's patch, weighed by its pressure, against the boot board.
    pub arch_drop_mm: f64,
    /// The same against heel and met heads, which sink too: what the arch loses of its height. Less
    /// than zero: the arch comes up against the foot.
    pub arch_give_mm: f64,
    /// Sinking under the heel and the first and fifth met heads' patches.
    pub sink_mm: [f64; 3],
    /// N on the arch's patch for one more mm there, under this load.
    pub apex_stiffness_n_mm: f64,
    /// Most that the flex zone sinks, and where.
    pub deepest_mm: f64,
    /// Where, foot frame, mm.
    pub deepest_at_mm: [f64; 2],
    /// Whether the arch sinks by less than the flex zone is thick. Otherwise it gives too much for a
    /// thin plate's small bending, and the figures say no more than that.
    pub small: bool,
    /// Greatest bending strain over the hollow; `None` without one.
    pub bending: Option<Bending>,
    /// What the material stands, when its profile says.
    pub strain_limit: Option<f64>,
    /// Share of the footbed's area that presses on the board.
    pub contact_share: f64,
    /// Share of the foot's own seated-to-standing drop that the footbed allows; `None` when the foot was not measured both ways or does not
    /// drop.
    pub drop: Option<Drop>,
    /// What other thicknesses and moduli would do.
    pub sensitivity: Sensitivity,
    /// The thickness that gives the wanted share; `None` when none is wanted.
    pub suggestion: Option<Suggestion>,
    /// Compression of the foam where it is pressed most; empty when its law is not known.
    pub squeeze: Vec<Squeeze>,
    /// Deflection and contact on a lattice.
    pub maps: Maps,
}

/// The most strained place over the hollow.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Bending {
    /// Of the face furthest from the neutral surface, a share.
    pub strain: f64,
    /// Where, foot frame, mm.
    pub at_mm: [f64; 2],
    /// Thickness there, cover included, mm.
    pub thickness_mm: f64,
}

/// The foot's own drop against what is left of it on the footbed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Drop {
    /// Seated less standing arch height.
    pub own_mm: f64,
    /// Seated arch height less the footbed's: what the shape alone allows.
    pub by_shape_mm: f64,
    /// The shape's and the giving together, over the foot's own.
    pub allowed_share: f64,
}

/// `arch_give_mm` with other numbers.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Sensitivity {
    /// With a flex zone half a mm thinner and thicker; `None` with a flat underside.
    pub thinner_thicker_mm: Option<[f64; 2]>,
    /// With the stiffest and the softest modulus of the range.
    pub stiff_soft_mm: [f64; 2],
}

/// The answer to a wanted share.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Suggestion {
    /// As the ticket wants it.
    pub wanted_share: f64,
    /// Thickness that gives it; `None` when none does that this top has room for.
    pub flex_zone_thickness_mm: Option<f64>,
    /// Of the thicknesses that material and top have room for the one that comes nearest, mm.
    pub nearest_mm: f64,
    /// Share at that thickness, or at the nearest that there is.
    pub share: f64,
    /// The answer in words.
    pub words: String,
}

/// Foam under one patch.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Squeeze {
    /// Under what.
    pub under: &'static str,
    /// Middle of the patch, foot frame, mm.
    pub at_mm: [f64; 2],
    /// Pressure there, kPa.
    pub pressure_kpa: f64,
    /// Thickness without load, mm.
    pub thickness_mm: f64,
    /// Share by which it is squeezed.
    pub squeezed: f64,
    /// Share at which the cells are shut and the foam is hard.
    pub shut_at: f64,
}

/// Deflection and pressure of the board on a lattice, row by row from the heel; `null` outside.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Maps {
    /// First node, foot frame, mm.
    pub first_mm: [f64; 2],
    /// Distance between nodes, mm.
    pub step_mm: f64,
    /// Nodes in a row, rows.
    pub size: [usize; 2],
    /// mm, down positive.
    pub deflection_mm: Vec<Option<f64>>,
    /// kPa; 0 where it stands off.
    pub board_kpa: Vec<Option<f64>>,
}

/// Answers with knots [`KNOT_MM`] apart.
///
/// # Errors
/// A design of which no plate can be made, or one that does not come to rest. What is merely not
/// known is no error: [`Flex::missing`] says it.
pub fn answer(question: &Question) -> Result<Flex, FlexError> {
    answer_at(question, KNOT_MM)
}

/// The same with other knots.
///
/// # Errors
/// As [`answer`].
pub fn answer_at(question: &Question, knot_mm: f64) -> Result<Flex, FlexError> {
    let missing = missing(question);
    let known = question.weight_kg.zip(moduli(&question.material.giving));
    let figures = match known {
        Some((weight_kg, moduli)) => Some(figures(question, weight_kg, moduli, knot_mm)?),
        None => None,
    };
    Ok(Flex { load: question.load.name.clone(), load_title: question.load.title.clone(), missing, figures })
}

fn missing(question: &Question) -> Vec<String> {
    let giving = &question.material.giving;
    let name = &question.material.name;
    let mut missing = vec![];
    let mut say = |is_missing: bool, words: String| {
        if is_missing {
            missing.push(words);
        }
    };
    say(question.weight_kg.is_none(), "the wearer's weight: write weight under [wearer]".into());
    say(
        giving.modulus.is_none(),
        format!("how stiff {name} is: measure it and write modulus_mpa, or shore_a, and poisson into its profile"),
    );
    let arch = &question.foot.medial_arch;
    say(
        arch.seated.is_none() || arch.standing.is_none(),
        "the foot's own drop: measure medial_arch seated and standing".into(),
    );
    say(
        giving.strain_limit.is_none(),
        format!("what strain {name} stands: no published figure; strain_limit in its profile"),
    );
    missing
}

/// Least, middle and greatest modulus, MPa.
fn moduli(giving: &Giving) -> Option<[f64; 3]> {
    Some(match giving.modulus? {
        Modulus::Known(mpa) => [(1.0 - SCATTER) * mpa, mpa, (1.0 + SCATTER) * mpa],
        Modulus::Hardness([least, most]) => [gent_mpa(least), gent_mpa(0.5 * (least + most)), gent_mpa(most)],
    })
}

fn modulus_words(giving: &Giving) -> String {
    match giving.modulus {
        Some(Modulus::Hardness([least, most])) => format!(
            "Shore A {least} to {most} by Gent 1958, which holds for solid rubber; the other formula in use gives 63 % more at 60 A"
        ),
        _ => format!("the material's profile, give or take {:.0} %", 100.0 * SCATTER),
    }
}

/// A piece with its load, to be asked with several undersides and moduli.
struct Bench<'a> {
    piece: Piece<'a>,
    patches: [Pressed; 4],
    load: Vec<f64>,
    stuff: Stuff,
}

impl<'a> Bench<'a> {
    fn new(question: &Question<'a>, weight_kg: f64, stuff: Stuff, knot_mm: f64) -> Result<Bench<'a>, FlexError> {
        let piece = Piece::new(question.footbed, knot_mm)?;
        let patches = patches(question.load, weight_kg, question.footbed, &piece.region.basis)?;
        let mut load = vec![0.0; piece.region.basis.len()];
        for patch in &patches {
            load.iter_mut().zip(&patch.unit).for_each(|(f, u)| *f += patch.newton * u);
        }
        Ok(Bench { piece, patches, load, stuff })
    }

    fn rest(&self, underside: Underside, modulus_mpa: f64, near: Option<&Rested>) -> Result<Rested, FlexError> {
        self.piece.rest(underside, Stuff { modulus_mpa, ..self.stuff }, &self.load, near)
    }

    /// Mean sinking under a patch, weighed by its pressure.
    fn under(&self, patch: &Pressed, rested: &Rested) -> f64 {
        patch.unit.iter().zip(&rested.rest.sheet.coefficients).map(|(u, w)| u * w).sum()
    }

    /// Sinking under heel, first met, fifth met and arch.
    fn sinks(&self, rested: &Rested) -> [f64; 4] {
        std::array::from_fn(|k| self.under(&self.patches[k], rested))
    }

    /// What the arch loses against the plane through heel and met heads.
    fn give(&self, rested: &Rested) -> f64 {
        let [heel, first, fifth, arch] = self.sinks(rested);
        let plane = self.piece.footbed.places.support_plane(self.patches[3].centre);
        let shares = plane.touches.iter().map(|(_, share)| share);
        arch - shares.zip([heel, first, fifth]).map(|(share, sink)| share * sink).sum::<f64>()
    }
}

fn figures(
    question: &Question,
    weight_kg: f64,
    [least, middle, most]: [f64; 3],
    knot_mm: f64,
) -> Result<Figures, FlexError> {
    let giving = &question.material.giving;
    let stuff = Stuff {
        modulus_mpa: middle,
        poisson: giving.poisson,
        top_layer: giving.top_layer,
        cover_mm: question.cover_mm,
    };
    let bench = Bench::new(question, weight_kg, stuff, knot_mm)?;
    let underside = question.footbed.underside;
    let rested = bench.rest(underside, middle, None)?;
    let sinks = bench.sinks(&rested);
    let give = bench.give(&rested);
    let further = rested.rest.further(&bench.patches[3].unit);
    let softness: f64 = bench.patches[3].unit.iter().zip(&further.coefficients).map(|(u, w)| u * w).sum();
    let (deepest_mm, deepest_at) = bench.piece.deepest(&rested).ok_or(FlexError::Shape)?;
    let bending = match underside {
        Underside::Flat => None,
        Underside::Relieved { .. } => {
            bending(&Bench::new(question, weight_kg, stuff, STRAIN_KNOT_SHARE * knot_mm)?, underside, &rested)?
        }
    };
    let other =
        |underside, modulus| Ok::<f64, FlexError>(bench.give(&bench.rest(underside, modulus, Some(&rested))?));
    let thinner_thicker_mm = match underside {
        Underside::Flat => None,
        Underside::Relieved { left_mm, stabiliser_share } => {
            let with = |mm: f64| other(Underside::Relieved { left_mm: left_mm + mm, stabiliser_share }, middle);
            Some([with(-THINNER_MM)?, with(THINNER_MM)?])
        }
    };
    let drop = drop(question, give);
    let suggestion = match (question.wanted_share, &drop) {
        (Some(wanted), Some(drop)) => Some(suggest(question, &bench, wanted, drop, &rested)?),
        _ => None,
    };
    Ok(Figures {
        force_n: bench.patches.iter().map(|patch| patch.newton).sum(),
        modulus_mpa: middle,
        modulus_range_mpa: [least, most],
        modulus_from: modulus_words(giving),
        bends: underside != Underside::Flat,
        arch_drop_mm: sinks[3],
        arch_give_mm: give,
        sink_mm: [sinks[0], sinks[1], sinks[2]],
        apex_stiffness_n_mm: 1.0 / softness,
        deepest_mm,
        deepest_at_mm: [deepest_at.x, deepest_at.y],
        small: bending.is_none_or(|bending| deepest_mm <= bending.thickness_mm),
        bending,
        strain_limit: giving.strain_limit,
        contact_share: bench.piece.contact_share(&rested),
        drop,
        sensitivity: Sensitivity {
            thinner_thicker_mm,
            stiff_soft_mm: [other(underside, most)?, other(underside, least)?],
        },
        suggestion,
        squeeze: squeezes(question, &bench, middle),
        maps: maps(&bench.piece, &rested),
    })
}

/// The most strained place of a plate that rests much as `near`, which may have other knots.
fn bending(bench: &Bench, underside: Underside, near: &Rested) -> Result<Option<Bending>, FlexError> {
    let rested = bench.rest(underside, bench.stuff.modulus_mpa, Some(near))?;
    let most = bench.piece.strained(&rested);
    Ok(most.map(|s| Bending { strain: s.strain, at_mm: [s.at.x, s.at.y], thickness_mm: s.thickness_mm }))
}

/// Below this a foot's drop is none to take a share of, mm: a tape's own error.
const LEAST_DROP_MM: f64 = 1.0;

fn drop(question: &Question, give_mm: f64) -> Option<Drop> {
    let arch = &question.foot.medial_arch;
    let (seated, standing) = (arch.seated?, arch.standing?);
    let own_mm = seated - standing;
    let footbed = question.footbed;
    let height = footbed.places.reading(Value::MedialArch)?.on(|p| Some(footbed.top_at(p)))?;
    let by_shape_mm = seated - height;
    (own_mm >= LEAST_DROP_MM).then(|| Drop { own_mm, by_shape_mm, allowed_share: (by_shape_mm + give_mm) / own_mm })
}

/// The thickness that gives the wanted share, found by bisection on real plates: a thinner flex
/// zone is nowhere stiffer, so the share falls with the thickness.
fn suggest(
    question: &Question,
    bench: &Bench,
    wanted_share: f64,
    drop: &Drop,
    near: &Rested,
) -> Result<Suggestion, FlexError> {
    let stabiliser_share = match question.footbed.underside {
        Underside::Relieved { stabiliser_share, .. } => stabiliser_share,
        Underside::Flat => question.stabiliser_share,
    };
    let share = |left_mm: f64| {
        let underside = Underside::Relieved { left_mm, stabiliser_share };
        let rested = bench.rest(underside, bench.stuff.modulus_mpa, Some(near))?;
        Ok::<f64, FlexError>((drop.by_shape_mm + bench.give(&rested)) / drop.own_mm)
    };
    let material = question.material;
    let (mut thin, mut thick) = (material.least.flex_zone + material.sanding_mm, thickest(question.footbed));
    thick = thick.max(thin + SUGGESTED_TO_MM);
    let (most, least) = (share(thin)?, share(thick)?);
    let not = |nearest_mm: f64, share: f64, words: String| Suggestion {
        wanted_share,
        flex_zone_thickness_mm: None,
        nearest_mm,
        share,
        words,
    };
    let needed = thin;
    // Where the top is lower than what is asked, it is the top that a fitter gets.
    let top = question.room_mm.unwrap_or(f64::INFINITY);
    let room = ((top / SUGGESTED_TO_MM + 1e-6).floor() * SUGGESTED_TO_MM).max(needed);
    let percent = |share: f64| format!("{:.0} %", 100.0 * share);
    if wanted_share > most {
        let words = format!(
            "not reachable: {} is the most, at the {thin:.1} mm that the material needs; a lower medial arch allows more",
            percent(most)
        );
        return Ok(not(needed, most, words));
    }
    if wanted_share < least {
        let words = format!(
            "not reachable: even solid to the board it allows {}; a higher medial arch allows less",
            percent(least)
        );
        return Ok(not(room, least, words));
    }
    while thick - thin > 0.5 * SUGGESTED_TO_MM {
        let between = 0.5 * (thin + thick);
        if share(between)? > wanted_share { thin = between } else { thick = between }
    }
    let rounded = (0.5 * (thin + thick) / SUGGESTED_TO_MM).round() * SUGGESTED_TO_MM;
    if rounded > room + 0.5 * SUGGESTED_TO_MM {
        let nearest = share(room)?;
        let words = format!(
            "out of reach: {rounded:.1} mm would allow {}, and the top is only {top:.2} mm high in the flex zone; {room:.1} mm \
             there allows {}. A higher heel_thickness and forefoot_thickness make room for more",
            percent(share(rounded)?),
            percent(nearest)
        );
        return Ok(not(room, nearest, words));
    }
    let found = share(rounded)?;
    let how = if question.footbed.underside == Underside::Flat { " with underside = \"relieved\"" } else { "" };
    let words = format!("flex_zone_thickness = {rounded:.1}{how} allows {}", percent(found));
    Ok(Suggestion { wanted_share, flex_zone_thickness_mm: Some(rounded), nearest_mm: rounded, share: found, words })
}

/// Thickness at which nothing is left to hollow: the top's greatest height in the flex zone.
fn thickest(footbed: &Footbed) -> f64 {
    let lattice = Lattice::covering(footbed.outline.bounds(), 4.0);
    (0..lattice.len())
        .map(|k| lattice.node(k % lattice.nx, k / lattice.nx))
        .filter(|p| footbed.outline.contains(*p))
        .map(|p| footbed.top_at(p))
        .fold(0.0, f64::max)
}

fn squeezes(question: &Question, bench: &Bench, modulus_mpa: f64) -> Vec<Squeeze> {
    let Some(foam) = question.material.giving.foam else { return vec![] };
    let under = |patch: &Pressed| Squeeze {
        under: patch.words,
        at_mm: [patch.centre.x, patch.centre.y],
        pressure_kpa: patch.peak_kpa,
        thickness_mm: bench.piece.thickness_mm(question.footbed.underside, patch.centre),
        squeezed: squeezed(foam.plateau_kpa, foam.relative_density, modulus_mpa, patch.peak_kpa),
        shut_at: 1.0 - SHUT * foam.relative_density,
    };
    // Under the arch the plate bends before its foam is squeezed.
    bench.patches.iter().take(3).map(under).collect()
}

fn maps(piece: &Piece, rested: &Rested) -> Maps {
    let outline = &piece.footbed.outline;
    let lattice = Lattice::covering(outline.bounds(), MAP_MM);
    let rounded = |x: f64, to: f64| (x / to).round() * to + 0.0;
    let node = |k: usize| -> Option<[f64; 2]> {
        let p: Point2 = lattice.node(k % lattice.nx, k / lattice.nx);
        outline.contains(p).then(|| piece.at(rested, p))
    };
    let nodes: Vec<Option<[f64; 2]>> = (0..lattice.len()).map(node).collect();
    Maps {
        first_mm: [lattice.x0, lattice.y0],
        step_mm: lattice.step,
        size: [lattice.nx, lattice.ny],
        deflection_mm: nodes.iter().map(|node| node.map(|[w, _]| rounded(w, 0.001))).collect(),
        board_kpa: nodes.iter().map(|node| node.map(|[_, kpa]| rounded(kpa, 0.1))).collect(),
    }
}
