//! What tests of scans share: files by outside libraries, and small ones of our own.
#![allow(dead_code)] // each test program uses its part

use std::fs;
use std::path::PathBuf;

use sustent::frame::Point3;
use sustent::mesh::{Mesh, Scan, ScanError, read_scan, write_stl};

/// A file of `tests/data/scans/`.
pub fn data(name: &str) -> Vec<u8> {
    fs::read(PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/data/scans").join(name)).unwrap()
}

/// Reads a file whose length is known.
pub fn read(bytes: &[u8], name: &str) -> Result<Scan, ScanError> {
    read_scan(bytes, Some(bytes.len() as u64), name)
}

/// Four triangles.
pub fn tetrahedron() -> Mesh {
    let p = Point3::new;
    Mesh {
        vertices: vec![p(0.0, 0.0, 0.0), p(3.0, 0.0, 0.0), p(0.0, 4.0, 0.0), p(0.0, 0.0, 5.0)],
        triangles: vec![[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]],
    }
}

pub fn stl(mesh: &Mesh, header: &str) -> Vec<u8> {
    let mut bytes = Vec::new();
    write_stl(mesh, header, &mut bytes).unwrap();
    bytes
}

pub fn good_stl() -> Vec<u8> {
    stl(&tetrahedron(), "x")
}

/// One triangle as text.
pub const SOLID: &str = "solid a\n facet normal 0 0 1\n  outer loop\n   vertex 0 0 0\n   vertex 1 0 -0\n   vertex 0 1e0 0\n  endloop\n endfacet\nendsolid a\n";

/// A face of four corners as text.
pub const PLY: &str = "ply\nformat ascii 1.0\nelement vertex 4\nproperty float x\nproperty float y\nproperty float z\nelement face 1\nproperty list uchar int vertex_indices\nend_header\n0 0 0\n1 0 0\n1 1 0\n0 1 0\n4 0 1 2 3\n";
