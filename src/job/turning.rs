//! Turning the blank over: where the pins stand that bring it back, and what there is to find about
//! it. Knows blanks, pins and outlines; knows no paths.

use super::Proved;
use super::design::Design;
use super::lay::{Face, Lay};
use super::target::{SHELF_FALL_MM, shelf_height};
use crate::footbed::Footbed;
use crate::frame::{Placement, Point2, Point3};
use crate::grid::Lattice;
use crate::limits::{self, Bound, Finding, Floor, PinRoom};
use crate::path::{OUTWARD_MM, PinHole};
use crate::ticket::{LEAST_PIN_HEIGHT_MM, Make, Pins, Turning, USUAL_PIN_HEIGHT_MM, Underside};

/// A hole is this much wider than its pin, mm: foam gives, a dowel does not. Shop's own choice.
const CLEARANCE_MM: f64 = 0.2;
/// A hole is this much deeper than its pin is high, mm, so that the blank lies on the bed and not on the
/// pin. Shop's own choice.
const DEEPER_MM: f64 = 1.0;
/// Left between a hole and the blank's end, and between a hole and the perimeter's groove, mm: a skin
/// that stays whole while a dowel is pushed in. Shop's own choice.
const WALL_MM: f64 = 0.8;
/// Kept between a pin's top and any cutter over it, mm. Shop's own choice.
const OVER_PIN_MM: f64 = 0.5;
/// The hollow's deepest place is looked for on this lattice, mm.
const LOOK_STEP_MM: f64 = 2.0;

/// A pin on the bed, mill frame. It stands on the line about which the blank is turned, so its place
/// is the same in both clampings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pin {
    /// Where.
    pub at: Point2,
    /// How thick, mm.
    pub diameter_mm: f64,
    /// How high its top is above the bed, mm.
    pub height_mm: f64,
    /// `behind the heel` or `ahead of the toes`.
    pub place: &'static str,
}

impl Pin {
    /// The middle of its top.
    pub fn top(&self) -> Point3 {
        Point3::new(self.at.x, self.at.y, self.height_mm)
    }

    /// Radius of its hole, mm.
    pub fn hole_radius_mm(&self) -> f64 {
        0.5 * (self.diameter_mm + CLEARANCE_MM)
    }

    /// Its hole while the underside is up.
    pub fn hole(&self, make: &Make) -> PinHole {
        let floor_mm = make.blank.height_mm - self.height_mm - DEEPER_MM;
        PinHole { at: self.at, diameter_mm: self.diameter_mm + CLEARANCE_MM, floor_mm }
    }
}

/// How high pins stand before anything is known of the piece, mm.
pub(super) fn usual_height_mm(make: &Make) -> f64 {
    match make.turning {
        Turning::Pins(pins) => pins.height_mm.unwrap_or(USUAL_PIN_HEIGHT_MM),
        Turning::Edges => USUAL_PIN_HEIGHT_MM,
    }
}

/// Whether the ticket leaves the pins' height to the edges.
pub(super) fn follows_edges(make: &Make) -> bool {
    make.underside == Underside::Relieved && matches!(make.turning, Turning::Pins(Pins { height_mm: None, .. }))
}

/// How high the pins under this piece stand, mm: as asked, else what the cutters leave over them, in tenths, no
/// more than usual and no less than holds.
pub(super) fn height_mm(make: &Make, footbed: &Footbed, lay: &Lay) -> f64 {
    let usual = usual_height_mm(make);
    if !follows_edges(make) || deepest(footbed).is_none() {
        return usual;
    }
    let allowed = |pin: Pin| room(make, footbed, lay.top, &pin).height_allowed_mm;
    let most = pins(make, usual).into_iter().map(allowed).fold(usual, f64::min);
    ((most * 10.0 + 1e-6).floor() / 10.0).clamp(LEAST_PIN_HEIGHT_MM, usual)
}

/// The pins of this job at the height that its lays have; none for a blank that is turned by its edges. Their places
/// depend on the blank and the pins alone, so that a board with pins serves every foot cut from such a blank.
pub fn pins(make: &Make, height_mm: f64) -> Vec<Pin> {
    let Turning::Pins(pins) = make.turning else { return vec![] };
    let pin = |diameter_mm: f64, place, y: &dyn Fn(f64) -> f64| {
        // To the tenth of a millimetre, so that a technician can measure it.
        let in_from_end = (10.0 * (0.5 * (diameter_mm + CLEARANCE_MM) + WALL_MM)).round() / 10.0;
        let at = Point2::new(0.5 * make.blank.width_mm, y(in_from_end));
        Pin { at, diameter_mm, height_mm, place }
    };
    let [heel, toe] = pins.diameters_mm;
    vec![
        pin(heel, "behind the heel", &|inset| inset),
        pin(toe, "ahead of the toes", &|inset| make.blank.length_mm - inset),
    ]
}

/// What there is to say before anything is planned: room for the pins, and the hollow that nothing
/// holds.
pub(super) fn findings(make: &Make, footbed: &Footbed, lay: &Lay) -> Vec<Finding> {
    let side = lay.side;
    if lay.under.is_none() {
        return vec![];
    }
    let Some((deepest_mm, at)) = deepest(footbed) else { return vec![limits::no_hollow(side)] };
    let mut found: Vec<Finding> = pins(make, lay.pin_height_mm)
        .iter()
        .flat_map(|pin| limits::pin_room(side, &room(make, footbed, lay.top, pin)))
        .collect();
    if make.turning == Turning::Edges {
        found.push(limits::turned_by_edges(side, make.blank.width_mm));
    }
    found.push(limits::unsupported(side, deepest_mm, at, footbed.places.foot_length_mm));
    found
}

/// Where the top must stand high enough for what the cutters leave over the pins, as low as they may be; none where no
/// pins stand. A shelf that has fallen as far as it may hangs on the edge alone.
pub fn floors(make: &Make, footbed: &Footbed, lay: &Lay) -> Vec<Floor> {
    if lay.under.is_none() || deepest(footbed).is_none() {
        return vec![];
    }
    let by = Bound::of("pin_height");
    let over = |pin: &Pin, p: Point2| {
        let (edge, least_mm) = (footbed.outline.nearest(p), pin.height_mm + OVER_PIN_MM);
        match footbed.top_at(p) < footbed.top_at(edge) - SHELF_FALL_MM {
            true => vec![Floor { at: edge, least_mm: least_mm + SHELF_FALL_MM, by }],
            false => vec![Floor { at: p, least_mm, by }, Floor { at: edge, least_mm, by }],
        }
    };
    let lowest_mm = if follows_edges(make) { LEAST_PIN_HEIGHT_MM } else { lay.pin_height_mm };
    let pins = pins(make, lowest_mm);
    pins.iter().flat_map(|pin| over_pin(lay.top, pin).flat_map(|p| over(pin, p)).collect::<Vec<_>>()).collect()
}

/// The deepest place of the hollow; `None` where there is none.
fn deepest(footbed: &Footbed) -> Option<(f64, Point2)> {
    let lattice = Lattice::covering(footbed.outline.bounds(), LOOK_STEP_MM);
    let under = footbed.underside_sampled(lattice);
    let deepest = under.z.iter().enumerate().fold((0, 0.0), |best, (k, z)| if *z > best.1 { (k, *z) } else { best });
    let at = lattice.node(deepest.0 % lattice.nx, deepest.0 / lattice.nx);
    (deepest.1 > crate::carve::FACE_MM).then_some((deepest.1, at))
}

/// What the proof found that the finishing cutter leaves in the hollow.
pub fn unreached(design: &Design, lay: &Lay, proved: &Proved) -> Option<Finding> {
    let figures = proved.faces.get(Face::Under.name())?;
    let ([x, y], placement) = (figures.unreached_at_mm?, lay.under?);
    let at = placement.unplace(Point2::new(x, y));
    limits::unreached_under(design.order.side, figures.unreached_max_mm?, at, design.order.foot.length_mm())
}

/// The shelf over a pin is lowest on its disk: the middle and eight places of its edge tell.
fn over_pin(top: Placement, pin: &Pin) -> impl Iterator<Item = Point2> {
    let (at, radius) = (top.unplace(pin.at), pin.hole_radius_mm());
    let disk = (0..8).map(|k| std::f64::consts::TAU * f64::from(k) / 8.0).map(|turn| turn.sin_cos());
    disk.map(move |(sin, cos)| Point2::new(at.x + radius * cos, at.y + radius * sin)).chain([at])
}

fn room(make: &Make, footbed: &Footbed, top: Placement, pin: &Pin) -> PinRoom {
    let (at, radius) = (top.unplace(pin.at), pin.hole_radius_mm());
    let lowest = over_pin(top, pin).map(|p| shelf_height(footbed, p)).fold(f64::INFINITY, f64::min);
    PinRoom {
        place: pin.place,
        to_outline_mm: footbed.outline.signed_distance(at) - radius,
        needed_mm: 2.0 * make.perimeter.shape.radius() + OUTWARD_MM + WALL_MM,
        height_mm: pin.height_mm,
        height_allowed_mm: lowest - OVER_PIN_MM,
        blank_length_mm: make.blank.length_mm,
    }
}
