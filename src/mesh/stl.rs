//! STL, the plainest mesh file: written as binary, read as binary or text. Knows nothing of what
//! the mesh is.

use std::collections::BTreeMap;
use std::io::{self, Write};

use super::{Mesh, MeshError};
use crate::frame::{Point3, Vector3};

/// Bytes of header, of the count after it, and of each triangle.
const HEADER: usize = 80;
const COUNT: usize = 4;
const TRIANGLE: usize = 50;

/// Coordinates beyond this are not a thing on a bench, mm.
const LARGEST_MM: f32 = 1e5;

/// The longest text line worth reading; a longer one is not STL.
const LONGEST_LINE: usize = 1000;

/// Writes the mesh as binary STL, coordinates rounded to f32. The header is cut at 80 bytes; one
/// that starts with `solid` would be taken for text by many readers, so a dash is put before it.
pub fn write_stl(mesh: &Mesh, header: &str, out: &mut impl Write) -> io::Result<()> {
    let dash = if header.starts_with("solid") { "-" } else { "" };
    let mut first = [b' '; HEADER];
    for (place, byte) in first.iter_mut().zip(dash.bytes().chain(header.bytes())) {
        *place = byte;
    }
    out.write_all(&first)?;
    out.write_all(&(mesh.corners().count() as u32).to_le_bytes())?;
    for corners in mesh.corners() {
        let [a, b, c] = corners;
        let normal = (b - a).cross(&(c - a)).try_normalize(0.0).unwrap_or_else(Vector3::zeros);
        let numbers = std::iter::once(normal).chain(corners.map(|p| p.coords));
        for v in numbers.flat_map(|v| [v.x, v.y, v.z]) {
            out.write_all(&(v as f32).to_le_bytes())?;
        }
        out.write_all(&[0, 0])?;
    }
    Ok(())
}

/// Reads STL, binary or text, joining corners that are equal to the bit. Whether it is binary is
/// decided by its length alone, because binary files exist whose header starts with `solid`.
pub fn read_stl(bytes: &[u8]) -> Result<Mesh, MeshError> {
    let counted = bytes.get(HEADER..HEADER + COUNT).and_then(|c| c.try_into().ok()).map(u32::from_le_bytes);
    let expected = counted.map(|n| HEADER as u64 + COUNT as u64 + n as u64 * TRIANGLE as u64);
    let mesh = if expected == Some(bytes.len() as u64) {
        read_binary(&bytes[HEADER + COUNT..])?
    } else if bytes.trim_ascii_start().starts_with(b"solid") {
        read_text(bytes)?
    } else {
        return Err(wrong_length(bytes.len(), counted, expected));
    };
    if mesh.triangles.is_empty() {
        return Err(stl("whole file", "it holds no triangles".into()));
    }
    Ok(mesh)
}

fn wrong_length(length: usize, counted: Option<u32>, expected: Option<u64>) -> MeshError {
    match (counted, expected) {
        (Some(n), Some(expected)) => stl(
            "byte 80",
            format!("{n} triangles need a file of {expected} bytes, this one has {length}; export it again"),
        ),
        _ => stl("whole file", format!("{length} bytes are fewer than the 84 of the shortest; export it again")),
    }
}

fn read_binary(triangles: &[u8]) -> Result<Mesh, MeshError> {
    let mut welder = Welder::default();
    for (i, triangle) in triangles.chunks_exact(TRIANGLE).enumerate() {
        let mut numbers = triangle.chunks_exact(4).skip(3).map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]));
        let mut corner = || Some([numbers.next()?, numbers.next()?, numbers.next()?]);
        if let (Some(a), Some(b), Some(c)) = (corner(), corner(), corner()) {
            welder.add([a, b, c], || format!("triangle {}", i + 1))?;
        }
    }
    Ok(welder.mesh)
}

fn read_text(bytes: &[u8]) -> Result<Mesh, MeshError> {
    let mut welder = Welder::default();
    let (mut corners, mut solids, mut open) = (Vec::new(), 0, false);
    for (i, line) in bytes.split(|&b| b == b'\n').enumerate() {
        let place = || format!("line {}", i + 1);
        if line.len() > LONGEST_LINE {
            return Err(stl(&place(), format!("the line is {} bytes long; this is not STL text", line.len())));
        }
        let line = std::str::from_utf8(line).map_err(|_| stl(&place(), "not text".into()))?;
        let mut words = line.split_ascii_whitespace();
        match words.next() {
            None | Some("facet" | "outer") => {}
            Some("solid") => (solids, open) = (solids + 1, true),
            Some("endsolid") => open = false,
            Some("vertex") => corners.push(vertex(words).map_err(|problem| stl(&place(), problem))?),
            Some("endloop") => {
                let triangle = <[_; 3]>::try_from(std::mem::take(&mut corners))
                    .map_err(|c: Vec<_>| stl(&place(), format!("a facet has {} corners, it must have 3", c.len())))?;
                welder.add(triangle, place)?;
            }
            Some("endfacet") if corners.is_empty() => {}
            Some(other) => return Err(stl(&place(), format!("`{other}` is not an STL word"))),
        }
        if solids > 1 {
            return Err(stl(&place(), "a second solid starts here: export one body a file".into()));
        }
    }
    if open || !corners.is_empty() {
        return Err(stl("end of file", "`endsolid` is missing, the file is cut short; export it again".into()));
    }
    Ok(welder.mesh)
}

fn vertex<'a>(mut words: impl Iterator<Item = &'a str>) -> Result<[f32; 3], String> {
    let mut number = || {
        let word = words.next().ok_or("a vertex needs three numbers")?;
        word.parse::<f32>().map_err(|_| format!("`{word}` is not a number"))
    };
    let corner = [number()?, number()?, number()?];
    match words.next() {
        None => Ok(corner),
        Some(extra) => Err(format!("`{extra}` after the three numbers of a vertex")),
    }
}

/// Gathers triangles, giving equal corners one index in order of first sight.
#[derive(Default)]
struct Welder {
    mesh: Mesh,
    seen: BTreeMap<[u32; 3], u32>,
}

impl Welder {
    fn add(&mut self, corners: [[f32; 3]; 3], place: impl Fn() -> String) -> Result<(), MeshError> {
        if let Some(v) = corners.as_flattened().iter().find(|v| !v.is_finite() || v.abs() > LARGEST_MM) {
            return Err(stl(&place(), format!("the coordinate {v} is not within +-{LARGEST_MM} mm")));
        }
        let triangle = corners.map(|c| self.index(c));
        self.mesh.triangles.push(triangle);
        Ok(())
    }

    fn index(&mut self, corner: [f32; 3]) -> u32 {
        // Adding zero makes -0 and 0 one corner.
        let key = corner.map(|v| (v + 0.0).to_bits());
        *self.seen.entry(key).or_insert_with(|| {
            let [x, y, z] = corner.map(f64::from);
            self.mesh.vertices.push(Point3::new(x, y, z));
            self.mesh.vertices.len() as u32 - 1
        })
    }
}

fn stl(place: &str, problem: String) -> MeshError {
    MeshError::Stl { place: place.into(), problem }
}

#[cfg(test)]
mod tests {
    use super::super::tests::tetrahedron;
    use super::*;
    use proptest::prelude::*;

    fn written(mesh: &Mesh, header: &str) -> Vec<u8> {
        let mut bytes = Vec::new();
        write_stl(mesh, header, &mut bytes).unwrap();
        bytes
    }

    #[test]
    fn what_is_written_is_read_back() {
        let bytes = written(&tetrahedron(), "solid piece");
        assert_eq!(bytes.len(), 84 + 4 * 50);
        assert!(bytes.starts_with(b"-solid piece  "));
        let back = read_stl(&bytes).unwrap();
        assert!(back.is_closed());
        assert_eq!(back.vertices.len(), 4);
        assert_eq!(back.volume_mm3(), tetrahedron().volume_mm3());
    }

    #[test]
    fn normals_point_outward() {
        let bytes = written(&tetrahedron(), "x");
        let normal: Vec<f32> = bytes[84..96].chunks(4).map(|b| f32::from_le_bytes(b.try_into().unwrap())).collect();
        assert_eq!(normal, [0.0, 0.0, -1.0]);
    }

    const TEXT: &str = "solid a\n facet normal 0 0 1\n  outer loop\n   vertex 0 0 0\n   vertex 1 0 -0\n   vertex 0 1e0 0\n  endloop\n endfacet\nendsolid a\n";

    #[test]
    fn text_is_read_and_welded() {
        let mesh = read_stl(TEXT.as_bytes()).unwrap();
        assert_eq!(mesh.triangles, [[0, 1, 2]]);
        assert_eq!(mesh.area_mm2(), 0.5);
    }

    #[test]
    fn damaged_files_are_refused_with_the_place() {
        let refused = |bytes: &[u8], words: &str| {
            let text = read_stl(bytes).unwrap_err().to_string();
            assert!(text.contains(words), "{text}");
        };
        let good = written(&tetrahedron(), "x");
        refused(&[], "fewer than the 84");
        refused(&good[..good.len() - 1], "4 triangles need a file of 284 bytes, this one has 283");
        let mut lying = good.clone();
        lying[80..84].copy_from_slice(&u32::MAX.to_le_bytes());
        refused(&lying, "4294967295 triangles");
        let mut nan = good.clone();
        nan[84 + 12..84 + 16].copy_from_slice(&f32::NAN.to_le_bytes());
        refused(&nan, "triangle 1: the coordinate NaN");
        refused(&written(&Mesh::default(), "x"), "no triangles");
        refused(b"solid a\nendsolid a\n", "no triangles");
        refused(TEXT.replace("endsolid a\n", "").as_bytes(), "cut short");
        refused(TEXT.replace("1e0", "one").as_bytes(), "line 6: `one` is not a number");
        refused(TEXT.replace("1e0", "inf").as_bytes(), "not within");
        refused(TEXT.replace("1e0 0", "1").as_bytes(), "three numbers");
        refused(TEXT.replace("1e0 0", "1 0 4").as_bytes(), "after the three numbers");
        refused(TEXT.replace("   vertex 0 0 0\n", "").as_bytes(), "2 corners");
        refused(TEXT.replace("outer", "inner").as_bytes(), "`inner` is not an STL word");
        refused(format!("{TEXT}{TEXT}").as_bytes(), "second solid");
        refused(format!("solid {}", "x".repeat(5000)).as_bytes(), "bytes long");
    }

    proptest! {
        /// Any bytes give a mesh or an error, never a panic.
        #[test]
        fn any_bytes(bytes in prop::collection::vec(any::<u8>(), 0..400), text in ".{0,200}") {
            let _ = read_stl(&bytes);
            let _ = read_stl(format!("solid {text}").as_bytes());
            let mut lucky = vec![0; 80];
            lucky.extend(((bytes.len() / 50) as u32).to_le_bytes());
            lucky.extend(&bytes[..bytes.len() / 50 * 50]);
            if let Ok(mesh) = read_stl(&lucky) {
                prop_assert_eq!(mesh.triangles.len(), bytes.len() / 50);
            }
        }
    }
}
