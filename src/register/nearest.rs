//! The nearest of many points; the door to `rstar`.

use rstar::RTree;
use rstar::primitives::GeomWithData;

use crate::frame::Point3;

/// Points sorted in space, so that the nearest is found without looking at all.
pub struct Nearest {
    tree: RTree<GeomWithData<[f64; 3], u32>>,
}

impl Nearest {
    /// Sorts the points. Those that are not finite are never found.
    pub fn new(points: &[Point3]) -> Nearest {
        let finite = |p: &Point3| p.iter().all(|c| c.is_finite());
        let numbered = points.iter().enumerate().filter(|(_, p)| finite(p));
        let entries = numbered.map(|(i, p)| GeomWithData::new([p.x, p.y, p.z], i as u32)).collect();
        Nearest { tree: RTree::bulk_load(entries) }
    }

    /// The number of the nearest point and its distance, mm, when it is within `reach_mm`.
    pub fn of(&self, p: Point3, reach_mm: f64) -> Option<(usize, f64)> {
        let found = self.tree.nearest_neighbor(&[p.x, p.y, p.z])?;
        let distance = (Point3::from(*found.geom()) - p).norm();
        (distance <= reach_mm).then_some((found.data as usize, distance))
    }

    /// The numbers of the `count` nearest points.
    pub fn several(&self, p: Point3, count: usize) -> Vec<usize> {
        self.tree.nearest_neighbor_iter(&[p.x, p.y, p.z]).take(count).map(|found| found.data as usize).collect()
    }

    /// The numbers of all points within `reach_mm`, in rising order.
    pub fn within(&self, p: Point3, reach_mm: f64) -> Vec<usize> {
        let found = self.tree.locate_within_distance([p.x, p.y, p.z], reach_mm * reach_mm);
        let mut numbers: Vec<usize> = found.map(|found| found.data as usize).collect();
        numbers.sort_unstable();
        numbers
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every pair by hand is the reference.
    #[test]
    fn it_is_the_nearest() {
        let points: Vec<Point3> = (0..400)
            .map(|i| f64::from(i) * 0.618_034)
            .map(|t| Point3::new((7.0 * t).fract() * 50.0, (3.0 * t).fract() * 30.0, (11.0 * t).fract() * 9.0))
            .collect();
        let tree = Nearest::new(&points);
        for k in 0..60 {
            let p = Point3::new(f64::from(k), 0.5 * f64::from(k), 3.0);
            let by_hand = points.iter().map(|q| (q - p).norm()).fold(f64::INFINITY, f64::min);
            let (i, d) = tree.of(p, 1e9).unwrap();
            assert_eq!(d, by_hand);
            assert_eq!((points[i] - p).norm(), d);
            assert!(tree.of(p, 0.99 * by_hand).is_none());
            let near = points.iter().filter(|q| (*q - p).norm() <= 12.0).count();
            assert_eq!(tree.within(p, 12.0).len(), near);
        }
    }

    #[test]
    fn nothing_is_near_nothing() {
        assert!(Nearest::new(&[]).of(Point3::origin(), 1e9).is_none());
        let none = Point3::new(f64::NAN, 0.0, 0.0);
        assert!(Nearest::new(&[none]).of(Point3::origin(), 1e9).is_none());
    }
}
