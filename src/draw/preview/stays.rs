//! Where the cutters are too round for the surface, laid over the plan: tints with lines of what stays after the best
//! path, and the most of it as a number. Does not know how it was found.

use svg::node::element::{ClipPath, Definitions, Group, Path};

use super::apart::number;
use crate::draw::diverging::cool_warm;
use crate::draw::ink;
use crate::draw::plan::Block;
use crate::frame::Point2;
use crate::grid::Grid;
use crate::grid::contour::{loops_above, simplified};

/// Lines of what stays, mm: the first is where it counts at all, the others are those that a ruler's reader counts in.
/// The page's words name them.
const LEVELS_MM: [f64; 6] = [0.05, 0.1, 0.2, 0.5, 1.0, 2.0];
/// Share of the colour scale at the first and at the last level: warm, and apart from its light middle.
const TONES: (f64, f64) = (0.62, 1.0);

/// The map and its number; `left_mm` is what stays at places of the foot frame, 0 where everything is reached.
pub fn stays(b: &Block, left_mm: &Grid, outline: &[Point2]) -> (Group, Group) {
    let name = format!("stays-{}", b.foot.side.letter());
    let inside = ClipPath::new().set("id", name.as_str()).add(ink::curve("", outline, true));
    let (mut tint, mut lines) = (ink::group("tint"), ink::group("lines"));
    // Painted from the lowest up, each level over the last.
    for (k, level) in LEVELS_MM.into_iter().enumerate() {
        let loops = loops_above(left_mm, level);
        let on_paper = |points: &Vec<Point2>| points.iter().map(|p| b.at(*p)).collect::<Vec<_>>();
        let d: String =
            loops.iter().map(|l| ink::path_data(&simplified(&on_paper(l), 0.02), true, ink::coarse)).collect();
        if d.is_empty() {
            break;
        }
        let share = TONES.0 + (TONES.1 - TONES.0) * k as f64 / (LEVELS_MM.len() - 1) as f64;
        let area = Path::new().set("d", d.as_str()).set("fill-rule", "evenodd").set("fill", cool_warm(share));
        tint = tint.add(area);
        lines = lines.add(Path::new().set("class", if k == 0 { "contour index" } else { "contour" }).set("d", d));
    }
    let map = Group::new().add(tint).add(lines).set("clip-path", format!("url(#{name})"));
    let map = ink::group("map stays").add(Definitions::new().add(inside)).add(map);
    (map, most(b, left_mm).into_iter().fold(ink::group("map stays"), Group::add))
}

fn most(b: &Block, left_mm: &Grid) -> Option<Group> {
    let nx = left_mm.lattice.nx;
    let (k, mm) = left_mm.z.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1))?;
    (*mm >= LEVELS_MM[0]).then(|| number(b.at(left_mm.lattice.node(k % nx, k / nx)), *mm))
}
