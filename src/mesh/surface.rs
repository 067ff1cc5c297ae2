//! A height function over the inside of an outline, triangulated as coarsely as a tolerance allows:
//! greedy insertion into a constrained Delaunay triangulation (Garland & Heckbert 1995, "Fast
//! polygonal approximation of terrains and height fields"). Knows nothing of solids.

use std::collections::BinaryHeap;

use spade::handles::{DirectedEdgeHandle, FaceHandle, FixedFaceHandle, InnerTag};
use spade::{ConstrainedDelaunayTriangulation, HasPosition, Triangulation, mitigate_underflow};

use super::MeshError;
use crate::curve::Outline;
use crate::frame::{Point2, Point3};

/// Distance between the places where a surface is looked at before any refinement, mm. A bump
/// narrower than this may be missed; a footbed's smallest features, a cup's rim and a post's edge,
/// are wider. Finer seeds cost triangles where the surface is flat.
const SEED_MM: f64 = 6.0;

/// Refinement stops at a share of the tolerance, because the error is looked at in a few places of
/// each triangle and may be greater between them.
const SHARE_OF_TOLERANCE: f64 = 0.9;

/// A surface that needs more than this has a step or is noise: a footbed needs some thousands.
const MOST_TRIANGLES: usize = 400_000;

/// Triangles smaller than this are not divided further, mm2: a thousandth of what the narrowest
/// cutter can shape.
const LEAST_TRIANGLE_MM2: f64 = 1e-5;

/// Where the inside of each triangle is looked at, as weights of its corners.
const INSIDE_LOOKS: [[f64; 3]; 10] = {
    let (low, mid, high, most) = (1.0 / 6.0, 1.0 / 3.0, 0.5, 2.0 / 3.0);
    [
        [mid, mid, mid],
        [low, mid, high],
        [low, high, mid],
        [mid, low, high],
        [mid, high, low],
        [high, low, mid],
        [high, mid, low],
        [low, low, most],
        [low, most, low],
        [most, low, low],
    ]
};

/// The middles of its sides, from corner to corner in order: where the error is greatest when the
/// surface is a saddle. The sides of the outline are left out, for they may not be divided on one
/// surface only.
const SIDE_LOOKS: [[f64; 3]; 3] = [[0.5, 0.5, 0.0], [0.0, 0.5, 0.5], [0.5, 0.0, 0.5]];

/// A triangulated surface: the outline's corners first, in order; triangles counter-clockwise seen
/// from above.
pub(super) struct Surface {
    pub(super) vertices: Vec<Point3>,
    pub(super) triangles: Vec<[u32; 3]>,
}

/// Triangulates `height` over the inside of `boundary`, whose own corners are taken as they are:
/// the straight sides between them must already follow the surface.
pub(super) fn triangulate(
    outline: &Outline,
    boundary: &[Point2],
    height: &(dyn Fn(Point2) -> f64 + Sync),
    tolerance_mm: f64,
) -> Result<Surface, MeshError> {
    let mut nodes = boundary.iter().map(|&p| Node::at(p, height)).collect::<Result<Vec<_>, _>>()?;
    let seeds = seeds(outline).into_iter().map(|p| Node::at(p, height)).collect::<Result<Vec<_>, _>>()?;
    // A level surface needs no inner corners at all.
    if seeds.iter().chain(&nodes).any(|n| n.z != nodes[0].z) {
        nodes.extend(seeds);
    }
    let mut refinement = Refinement::start(boundary.len(), nodes, height, tolerance_mm)?;
    refinement.run()?;
    Ok(refinement.finish())
}

/// A triangular lattice of places inside the outline, none nearer to it than half a lattice step.
fn seeds(outline: &Outline) -> Vec<Point2> {
    let b = outline.bounds();
    let row_mm = SEED_MM * 0.75_f64.sqrt();
    let (rows, columns) = ((b.height() / row_mm) as usize, (b.width() / SEED_MM) as usize);
    let place = |j: usize, i: usize| {
        let shift = if j % 2 == 1 { 0.5 } else { 0.0 };
        Point2::new(b.x0 + (i as f64 + shift) * SEED_MM, b.y0 + j as f64 * row_mm)
    };
    (0..=rows)
        .flat_map(|j| (0..=columns).map(move |i| place(j, i)))
        .filter(|&p| outline.signed_distance(p) < -0.5 * SEED_MM)
        .collect()
}

#[derive(Clone, Copy)]
struct Node {
    at: Point2,
    z: f64,
}

impl Node {
    fn at(at: Point2, height: &(dyn Fn(Point2) -> f64 + Sync)) -> Result<Node, MeshError> {
        let z = height(at);
        if z.is_finite() { Ok(Node { at, z }) } else { Err(MeshError::Height { x: at.x, y: at.y, z }) }
    }
}

impl HasPosition for Node {
    type Scalar = f64;

    fn position(&self) -> spade::Point2<f64> {
        mitigate_underflow(spade::Point2::new(self.at.x, self.at.y))
    }
}

type Triangles = ConstrainedDelaunayTriangulation<Node>;
type DirectedEdge<'a> = DirectedEdgeHandle<'a, Node, (), spade::CdtEdge<()>, ()>;

struct Refinement<'a> {
    triangles: Triangles,
    height: &'a (dyn Fn(Point2) -> f64 + Sync),
    tolerance_mm: f64,
    /// For every face: how often it has been looked at; 0 for those outside the outline.
    looked: Vec<u32>,
    worst_first: BinaryHeap<Worst>,
}

/// The worst place found in a triangle, as long as that triangle has not been looked at again.
struct Worst {
    error_mm: f64,
    face: FixedFaceHandle<InnerTag>,
    look: u32,
    node: Node,
}

impl<'a> Refinement<'a> {
    fn start(
        sides: usize,
        nodes: Vec<Node>,
        height: &'a (dyn Fn(Point2) -> f64 + Sync),
        tolerance_mm: f64,
    ) -> Result<Refinement<'a>, MeshError> {
        let loop_edges = (0..sides).map(|i| [i, (i + 1) % sides]).collect();
        // The outline is simple, so its sides do not cross; its numbers are finite and bounded.
        let triangles = Triangles::try_bulk_load_cdt(nodes, loop_edges, |_| {})
            .expect("coordinates of an outline are finite and far within the range that spade allows");
        let mut this =
            Refinement { triangles, height, tolerance_mm, looked: Vec::new(), worst_first: BinaryHeap::new() };
        let outside = outside(&this.triangles);
        let inside = this.triangles.inner_faces().map(|f| f.fix()).filter(|f| !outside[f.index()]);
        for face in inside.collect::<Vec<_>>() {
            this.look(face)?;
        }
        Ok(this)
    }

    /// Divides the worst triangle until none is off by more than the share of the tolerance.
    fn run(&mut self) -> Result<(), MeshError> {
        while let Some(worst) = self.worst_first.pop() {
            if self.looked[worst.face.index()] != worst.look {
                continue;
            }
            if self.triangles.num_inner_faces() >= MOST_TRIANGLES {
                return Err(self.too_rough(&worst));
            }
            self.divide(&worst)?;
        }
        Ok(())
    }

    /// Puts a corner at the worst place; exactly the triangles around it are new, and all of them
    /// are inside because the outline's sides are constraints.
    fn divide(&mut self, worst: &Worst) -> Result<(), MeshError> {
        let near = self.triangles.face(worst.face).vertices()[0].fix();
        let before = self.triangles.num_vertices();
        let corner = self
            .triangles
            .insert_with_hint(worst.node, near)
            .expect("a place inside a triangle has coordinates between those of its corners");
        if self.triangles.num_vertices() == before {
            return Ok(());
        }
        let around = self.triangles.vertex(corner).out_edges().filter_map(|e| e.face().as_inner());
        for face in around.map(|f| f.fix()).collect::<Vec<_>>() {
            self.look(face)?;
        }
        Ok(())
    }

    /// Finds the worst place of a triangle and remembers it if it needs dividing.
    fn look(&mut self, face: FixedFaceHandle<InnerTag>) -> Result<(), MeshError> {
        if self.looked.len() <= face.index() {
            self.looked.resize(face.index() + 1, 0);
        }
        self.looked[face.index()] += 1;
        let handle = self.triangles.face(face);
        if handle.area() < LEAST_TRIANGLE_MM2 {
            return Ok(());
        }
        let [a, b, c] = handle.adjacent_edges().map(|e| *e.from().data());
        let inner_sides = handle.adjacent_edges().map(|e| !e.is_constraint_edge());
        let sides = SIDE_LOOKS.iter().zip(inner_sides).filter_map(|(look, inner)| inner.then_some(look));
        let mut worst = Worst { error_mm: 0.0, face, look: self.looked[face.index()], node: a };
        for &[wa, wb, wc] in INSIDE_LOOKS.iter().chain(sides) {
            let at = Point2::from(a.at.coords * wa + b.at.coords * wb + c.at.coords * wc);
            let node = Node::at(at, self.height)?;
            let error_mm = (node.z - (a.z * wa + b.z * wb + c.z * wc)).abs();
            if error_mm > worst.error_mm {
                worst = Worst { error_mm, node, ..worst };
            }
        }
        if worst.error_mm > SHARE_OF_TOLERANCE * self.tolerance_mm {
            self.worst_first.push(worst);
        }
        Ok(())
    }

    fn too_rough(&self, worst: &Worst) -> MeshError {
        MeshError::TooRough {
            triangles: self.triangles.num_inner_faces(),
            error_mm: worst.error_mm,
            tolerance_mm: self.tolerance_mm,
            x: worst.node.at.x,
            y: worst.node.at.y,
        }
    }

    fn finish(self) -> Surface {
        let vertices = self.triangles.vertices().map(|v| Point3::new(v.data().at.x, v.data().at.y, v.data().z));
        let inside = |f: &FaceHandle<'_, InnerTag, Node, (), spade::CdtEdge<()>, ()>| {
            self.looked.get(f.index()).is_some_and(|&looks| looks > 0)
        };
        let corners = self.triangles.inner_faces().filter(inside).map(|f| f.vertices().map(|v| v.index() as u32));
        Surface { vertices: vertices.collect(), triangles: corners.collect() }
    }
}

/// For every face: whether it lies between the outline and the hull. Told by walking in from the
/// hull without crossing a side: where a side is all but straight such a face is a sliver, and its
/// middle rounds to either side of the outline.
fn outside(triangles: &Triangles) -> Vec<bool> {
    let mut outside = vec![false; triangles.num_all_faces()];
    let mut next: Vec<_> = triangles.convex_hull().filter_map(beyond).collect();
    while let Some(face) = next.pop() {
        if !std::mem::replace(&mut outside[face.index()], true) {
            next.extend(face.adjacent_edges().into_iter().filter_map(beyond));
        }
    }
    outside
}

/// The face across an edge that is no side of the outline.
fn beyond(edge: DirectedEdge<'_>) -> Option<FaceHandle<'_, InnerTag, Node, (), spade::CdtEdge<()>, ()>> {
    if edge.is_constraint_edge() { None } else { edge.rev().face().as_inner() }
}

// Greatest error first; equal errors in the order of the faces, so that the result is always the
// same.
impl Ord for Worst {
    fn cmp(&self, other: &Worst) -> std::cmp::Ordering {
        let order = self.error_mm.total_cmp(&other.error_mm);
        order.then(other.face.index().cmp(&self.face.index())).then(self.look.cmp(&other.look))
    }
}

impl PartialOrd for Worst {
    fn partial_cmp(&self, other: &Worst) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Worst {
    fn eq(&self, other: &Worst) -> bool {
        self.cmp(other).is_eq()
    }
}

impl Eq for Worst {}
