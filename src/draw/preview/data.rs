//! What the page's script is told: places, heights and paths as plain numbers. Knows neither the
//! pictures nor the page.

use serde::Serialize;

use super::packed::{self, HEIGHT_STEPS, PLACE_STEPS};
use super::{CutterShape, PreviewFoot, PreviewProgram};
use crate::draw::data::DrawnFoot;
use crate::draw::plan::inside_nodes;
use crate::frame::{Point2, Rect, Side};
use crate::grid::{Grid, Lattice};

/// Heights reach this far beyond the outline, mm, so that the page can blend at its edge.
const BEYOND_MM: f64 = 3.0;
/// Distance of the heights that the page is given, mm.
const STEP_MM: f64 = 1.0;
/// The same where the underside is hollowed: its edge bends too sharply for 1 mm.
const FINE_STEP_MM: f64 = 0.5;

/// Everything the script knows.
#[derive(Serialize)]
pub struct PageData {
    pub code: String,
    pub revision: u32,
    pub height_steps: f64,
    pub place_steps: f64,
    pub feet: Vec<FootData>,
    /// The shapes as they are saved and the state of the desk, where the page is a desk.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub desk: Option<DeskData>,
}

/// What a desk knows beside the feet.
#[derive(Serialize)]
pub struct DeskData {
    pub saved: Vec<Shape>,
    /// As it is told after every change.
    pub state: serde_json::Value,
}

/// One foot: its shape, and where it lies on paper.
#[derive(Serialize)]
pub struct FootData {
    #[serde(flatten)]
    pub shape: Shape,
    #[serde(flatten)]
    pub places: Places,
    pub blank: Option<BlankData>,
    pub programs: Vec<ProgramData>,
}

/// The shape of one foot, foot frame, mm.
#[derive(Serialize)]
#[allow(missing_docs)] // what the page's script reads
pub struct Shape {
    pub side: char,
    pub foot_length: f64,
    /// x, y, x, y... as differences of whole steps.
    pub outline: String,
    pub lattice: LatticeData,
    pub top: String,
    /// `None` where it is flat.
    pub under: Option<String>,
    pub least: Option<Least>,
    pub marks: Vec<Mark>,
}

/// Where drawings of one foot lie on their paper.
#[derive(Serialize)]
pub struct Places {
    /// +1 when medial is to the right, seen from above.
    pub medial: f64,
    pub plan: Paper,
    /// Section A-A in the plan: its x is that of the boot board.
    pub long: Paper,
    pub cuts: Vec<CutPaper>,
    pub free: CutPaper,
    pub notes: Vec<NotePlace>,
}

#[derive(Serialize)]
pub struct LatticeData {
    pub x0: f64,
    pub y0: f64,
    pub step: f64,
    pub nx: usize,
    pub ny: usize,
}

/// The thinnest place.
#[derive(Clone, Copy, Serialize)]
pub struct Least {
    pub x: f64,
    pub y: f64,
    pub mm: f64,
}

/// A landmark by name.
#[derive(Serialize)]
pub struct Mark {
    pub name: &'static str,
    pub x: f64,
    pub y: f64,
}

/// x = 0, y = 0 on paper, and mm of paper per mm.
#[derive(Serialize)]
pub struct Paper {
    pub x: f64,
    pub y: f64,
    pub scale: f64,
}

/// A cross section's paper: x = 0, z = 0, and where it cuts.
#[derive(Serialize)]
pub struct CutPaper {
    pub letter: char,
    pub at: f64,
    pub x: f64,
    pub y: f64,
    pub scale: f64,
    pub width: f64,
    pub height: f64,
}

#[derive(Serialize)]
pub struct NotePlace {
    pub number: usize,
    pub x: f64,
    pub y: f64,
}

#[derive(Serialize)]
pub struct BlankData {
    pub x0: f64,
    pub y0: f64,
    pub x1: f64,
    pub y1: f64,
    pub top: f64,
}

/// One program: its movements in the foot frame.
#[derive(Serialize)]
pub struct ProgramData {
    pub file: String,
    pub title: String,
    pub cutter: String,
    pub under: bool,
    pub dry: bool,
    pub seconds: f64,
    pub radius: f64,
    /// Height of the cutter's surface above its tip at `profile_step` apart.
    pub profile: Vec<f64>,
    pub profile_step: f64,
    /// The first place, then for each movement: time in ms doubled, plus 1 for a rapid; dx, dy, dz in
    /// whole steps.
    pub moves: String,
}

/// Distance of the cutter's profile, mm.
const PROFILE_STEP_MM: f64 = 0.1;

impl ProgramData {
    fn of(program: &PreviewProgram) -> ProgramData {
        let CutterShape { radius_mm, height } = &program.cutter_shape;
        let count = (radius_mm / PROFILE_STEP_MM).ceil() as usize;
        let rounded = |v: f64| (v * 1000.0).round() / 1000.0;
        let profile = (0..=count).map(|k| rounded(height((k as f64 * PROFILE_STEP_MM).min(*radius_mm)))).collect();
        ProgramData {
            file: program.file.clone(),
            title: program.title.clone(),
            cutter: program.cutter.clone(),
            under: program.under,
            dry: program.dry,
            seconds: rounded(program.moves.iter().map(|m| m.seconds).sum()),
            radius: *radius_mm,
            profile,
            profile_step: PROFILE_STEP_MM,
            moves: moves(program),
        }
    }
}

fn moves(program: &PreviewProgram) -> String {
    let whole = |p: &crate::frame::Point3| [p.x, p.y, p.z].map(|v| packed::steps(v, PLACE_STEPS));
    let mut here = [0; 3];
    let mut numbers: Vec<i64> = vec![];
    if let Some(first) = program.moves.first() {
        here = whole(&first.from);
        numbers.extend(here);
    }
    for m in &program.moves {
        let to = whole(&m.to);
        numbers.push(((m.seconds * 1000.0).round() as i64) * 2 + i64::from(m.rapid));
        numbers.extend((0..3).map(|k| to[k] - here[k]));
        here = to;
    }
    packed::integers(numbers.into_iter())
}

/// Heights of one foot as the page is given them.
pub struct Sampled {
    top: Grid,
    under: Option<Grid>,
    /// The thinnest place.
    pub least: Option<Least>,
}

impl Sampled {
    /// Samples a foot.
    pub fn of(foot: &PreviewFoot) -> Sampled {
        let drawn = &foot.drawn;
        let bounds = Rect::around(drawn.outline).unwrap_or(Rect { x0: 0.0, y0: 0.0, x1: 1.0, y1: 1.0 });
        let step = if foot.flat { STEP_MM } else { FINE_STEP_MM };
        let lattice = Lattice::covering(bounds.grown(BEYOND_MM), step);
        let top = Grid::from_fn(lattice, drawn.top);
        let under = (!foot.flat).then(|| Grid::from_fn(lattice, drawn.underside));
        let least = least(drawn, &top, under.as_ref());
        Sampled { top, under, least }
    }
}

/// The thinnest node inside the outline; the first of equals.
fn least(foot: &DrawnFoot, top: &Grid, under: Option<&Grid>) -> Option<Least> {
    let inside = inside_nodes(foot.outline, &top.lattice);
    let nx = top.lattice.nx;
    let nodes = inside.iter().enumerate().filter(|(_, inside)| **inside);
    let thick = |k: usize| Some(top.z.get(k)? - under.map_or(0.0, |u| u.z.get(k).copied().unwrap_or(0.0)));
    let each = nodes.filter_map(|(k, _)| Some((k, thick(k)?)));
    let (k, mm) = each.min_by(|a, b| a.1.total_cmp(&b.1))?;
    let at = top.lattice.node(k % nx, k / nx);
    Some(Least { x: at.x, y: at.y, mm })
}

impl Shape {
    /// The shape as the script is told it.
    pub fn of(foot: &PreviewFoot, sampled: &Sampled) -> Shape {
        let l = &foot.drawn.landmarks;
        let mark = |name, p: Point2| Mark { name, x: p.x, y: p.y };
        let lattice = sampled.top.lattice;
        Shape {
            side: foot.drawn.side.letter(),
            foot_length: l.foot_length_mm,
            outline: outline(foot.drawn.outline),
            lattice: LatticeData { x0: lattice.x0, y0: lattice.y0, step: lattice.step, nx: lattice.nx, ny: lattice.ny },
            top: packed::heights(&sampled.top),
            under: sampled.under.as_ref().map(packed::heights),
            least: sampled.least,
            marks: vec![
                mark("heel centre", l.heel_centre),
                mark("first met", l.first_met),
                mark("fifth met", l.fifth_met),
                mark("medial arch", l.medial_arch),
                mark("lateral arch", l.lateral_arch),
                mark("dome", l.dome),
            ],
        }
    }
}

impl FootData {
    /// All that the script is told of one foot.
    pub fn of(foot: &PreviewFoot, sampled: &Sampled, places: Places) -> FootData {
        FootData {
            shape: Shape::of(foot, sampled),
            places,
            blank: foot.blank.map(|(r, top)| BlankData { x0: r.x0, y0: r.y0, x1: r.x1, y1: r.y1, top }),
            programs: foot.programs.iter().map(ProgramData::of).collect(),
        }
    }
}

fn outline(points: &[Point2]) -> String {
    let mut here = [0; 2];
    let numbers = points.iter().flat_map(|p| {
        let to = [p.x, p.y].map(|v| packed::steps(v, PLACE_STEPS));
        let by = [to[0] - here[0], to[1] - here[1]];
        here = to;
        by
    });
    packed::integers(numbers.collect::<Vec<_>>().into_iter())
}

impl PageData {
    /// The whole page's data; `feet` in the order of the page.
    pub fn new(code: &str, revision: u32, feet: Vec<FootData>) -> PageData {
        let (height_steps, place_steps) = (HEIGHT_STEPS, PLACE_STEPS);
        PageData { code: code.into(), revision, height_steps, place_steps, feet, desk: None }
    }

    /// As JSON that may stand in a page: nothing in it can end the element that holds it.
    pub fn to_json(&self) -> String {
        // Structs of numbers and text: this cannot fail.
        let json = serde_json::to_string(self).unwrap_or_default();
        let escaped = json.replace('<', "\\u003c").replace('>', "\\u003e").replace('&', "\\u0026");
        escaped.replace('\u{2028}', "\\u2028").replace('\u{2029}', "\\u2029")
    }
}

/// +1 when medial is to the right, seen from above.
pub fn medial_sign(side: Side) -> f64 {
    crate::frame::bench_from_foot(side).place(Point2::new(1.0, 0.0)).x
}
