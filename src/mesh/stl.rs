//! STL, the plainest mesh file, written as binary. Knows nothing of what the mesh is.

use std::io::{self, Write};

use super::Mesh;
use crate::frame::Vector3;

/// Bytes of header.
const HEADER: usize = 80;

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

#[cfg(test)]
mod tests {
    use super::super::tests::tetrahedron;
    use super::super::{Format, read_scan};
    use super::*;

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
        let scan = read_scan(bytes.as_slice(), Some(bytes.len() as u64), "piece.stl").unwrap();
        assert_eq!(scan.about.format, Format::StlBinary);
        let back = Mesh::from(scan);
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
}
