//! Scans as other programs write them, and files that are no scans, broken, cut short or lying.
//!
//! `tests/data/scans/` holds small files by outside libraries and what those found in them.

use std::fs;
use std::path::PathBuf;

use approx::assert_relative_eq;
use proptest::prelude::*;
use sustent::frame::Point3;
use sustent::mesh::{Format, LARGEST_FILE, Mesh, Place, Scan, ScanError, Unit, read_scan, write_stl};

// ---------------------------------------------------------------- what others wrote

fn data(name: &str) -> Vec<u8> {
    fs::read(PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/data/scans").join(name)).unwrap()
}

fn read(bytes: &[u8], name: &str) -> Result<Scan, ScanError> {
    read_scan(bytes, Some(bytes.len() as u64), name)
}

fn area(scan: &Scan) -> f64 {
    Mesh::from(scan.clone()).area_mm2()
}

/// Points, triangles, area and bounds of every file are those that trimesh or the file's own writer
/// finds in it, under its name and under none.
#[test]
fn files_by_others_are_read_as_others_read_them() {
    let table = String::from_utf8(data("figures.csv")).unwrap();
    let mut files = 0;
    for row in table.lines().skip(1) {
        let (file, numbers) = row.split_once(',').unwrap();
        let numbers: Vec<f64> = numbers.split(',').map(|n| n.parse().unwrap()).collect();
        for name in [file, "scan"] {
            let scan = read(&data(file), name).unwrap_or_else(|e| panic!("{file}: {e}"));
            assert_eq!([scan.points.len(), scan.triangles.len()], [numbers[0] as usize, numbers[1] as usize], "{file}");
            assert_relative_eq!(area(&scan), numbers[2], max_relative = 1e-9);
            let [low, high] = scan.bounds();
            // The decimals of the texts are single precision.
            for (ours, theirs) in low.iter().chain(high.iter()).zip(&numbers[3..]) {
                assert!((ours - theirs).abs() < 2e-6, "{file}: {ours} {theirs}");
            }
            assert_eq!(scan.about.dropped, Default::default(), "{file}");
        }
        files += 1;
    }
    assert!(files >= 13);
}

#[test]
fn the_format_and_what_was_passed_over_are_told() {
    for (file, format) in [
        ("trimesh.stl", Format::StlBinary),
        ("trimesh-ascii.stl", Format::StlText),
        ("plyfile-text.ply", Format::PlyText),
        ("plyfile-little.ply", Format::PlyLittleEndian),
        ("plyfile-big.ply", Format::PlyBigEndian),
        ("trimesh.obj", Format::Obj),
        ("numpy.csv", Format::Points),
    ] {
        assert_eq!(read(&data(file), file).unwrap().about.format, format);
    }
    let facts = read(&data("plyfile-big.ply"), "scan.stl").unwrap().facts();
    assert_eq!(
        facts,
        [
            "binary PLY, greatest byte first, 35 points, 48 triangles",
            "the file says millimetres (line 3)",
            "the name ends with .stl, but the file is PLY",
            "3 of `view` were passed over",
            "3 of `camera` were passed over",
        ]
    );
}

/// The same through a pipe that tells no length and gives a few bytes at a time.
#[test]
fn a_pipe_gives_the_same() {
    struct Drips<'a>(&'a [u8]);
    impl std::io::Read for Drips<'_> {
        fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
            let n = 7.min(self.0.len()).min(into.len());
            into[..n].copy_from_slice(&self.0[..n]);
            self.0 = &self.0[n..];
            Ok(n)
        }
    }
    for file in ["trimesh.stl", "trimesh-ascii.stl", "plyfile-big.ply", "plyfile-text.ply", "trimesh.obj", "numpy.xyz"]
    {
        let bytes = data(file);
        assert_eq!(read_scan(Drips(&bytes), None, file), read(&bytes, file), "{file}");
    }
}

// ---------------------------------------------------------------- our own

fn tetrahedron() -> Mesh {
    let p = Point3::new;
    Mesh {
        vertices: vec![p(0.0, 0.0, 0.0), p(3.0, 0.0, 0.0), p(0.0, 4.0, 0.0), p(0.0, 0.0, 5.0)],
        triangles: vec![[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]],
    }
}

fn stl(mesh: &Mesh, header: &str) -> Vec<u8> {
    let mut bytes = Vec::new();
    write_stl(mesh, header, &mut bytes).unwrap();
    bytes
}

fn good_stl() -> Vec<u8> {
    stl(&tetrahedron(), "x")
}

#[test]
fn a_sample_of_ours_is_closed_when_read_again() {
    let file = "output-samples/PATROL-07/PATROL-07-r2/PATROL-07-r2-L-design.stl";
    let bytes = fs::read(PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(file)).unwrap();
    let scan = read(&bytes, file).unwrap();
    assert_eq!(scan.triangles.len(), (bytes.len() - 84) / 50);
    assert_eq!(scan.about.unit, None);
    assert!(Mesh::from(scan).is_closed());
}

const SOLID: &str = "solid a\n facet normal 0 0 1\n  outer loop\n   vertex 0 0 0\n   vertex 1 0 -0\n   vertex 0 1e0 0\n  endloop\n endfacet\nendsolid a\n";

#[test]
fn binary_stl_that_begins_with_solid_is_binary() {
    let mut bytes = good_stl();
    bytes[..12].copy_from_slice(b"solid piece\n");
    for size in [Some(bytes.len() as u64), None] {
        let scan = read_scan(bytes.as_slice(), size, "x").unwrap();
        assert_eq!((scan.about.format, scan.triangles.len()), (Format::StlBinary, 4));
    }
}

#[test]
fn solids_one_after_another_are_joined_where_they_touch() {
    let second = SOLID.replace("vertex 0 0 0", "vertex 1 1 0").to_uppercase();
    let scan = read(format!("{SOLID}\r\n{second}").as_bytes(), "x").unwrap();
    assert_eq!(scan.triangles, [[0, 1, 2], [3, 1, 2]]);
    assert_eq!(scan.about.notes, ["2 solids were read as one"]);
    assert_eq!(area(&scan), 1.0);
}

#[test]
fn units_are_those_that_the_file_names() {
    let unit = |bytes: &[u8]| read(bytes, "x").unwrap().about.unit;
    assert_eq!(unit(&stl(&tetrahedron(), "made here, UNITS=mm")), Some((Unit::Millimetres, Place::Byte(0))));
    assert_eq!(unit(&good_stl()), None);
    assert_eq!(unit(SOLID.replace("solid a", "solid units: inches").as_bytes()), Some((Unit::Inches, Place::Line(1))));
    assert_eq!(unit(b"# units m\nv 0 0 0\nv 1 0 0\nv 0 1 0\n"), Some((Unit::Metres, Place::Line(1))));
    assert_eq!(unit(b"x (cm);y (cm);z (cm)\n0;0;0\n1;0;0\n0;1;0\n"), Some((Unit::Centimetres, Place::Line(1))));
    assert_eq!(unit(b"x_mm,y_in,z_in\n0,0,0\n1,0,0\n0,1,0\n"), None);
    let scan = read(b"# units m\n# unit: mm\n# units m\nv 0 0 0\nv 1 0 0\nv 0 1 0\n", "x").unwrap();
    assert_eq!(scan.about.unit, None);
    assert_eq!(scan.about.notes, ["the file says metres (line 1) and millimetres (line 2), so neither counts"]);
    assert_eq!(scan.scaled(Unit::Metres.in_mm()).points[1], Point3::new(1000.0, 0.0, 0.0));
}

#[test]
fn corners_of_obj_are_named_in_every_way() {
    let text = "v 0 0 0 1 0.5 0.5\nv 1 0 0\nv 1 1 0\nf 1/1 2/2/2 3//3\nv 0 1 0\nf 1 -2 \\\n -1\n";
    let scan = read(text.as_bytes(), "x.obj").unwrap();
    assert_eq!(scan.triangles, [[0, 1, 2], [0, 2, 3]]);
    let early = read(b"f 1 2 3\nv 0 0 0\nv 1 0 0\nv 1 1 0\n", "x.obj").unwrap();
    assert_eq!(early.triangles, [[0, 1, 2]]);
    let hollow = "v 0 0 0\nv 3 0 0\nv 3 1 0\nv 1 1 0\nv 1 3 0\nv 0 3 0\nf 1 2 3 4 5 6\n";
    assert_relative_eq!(area(&read(hollow.as_bytes(), "").unwrap()), 5.0, epsilon = 1e-12);
}

#[test]
fn points_in_every_spelling_are_the_same() {
    let expected = [Point3::new(1.5, 2.0, -3.25), Point3::new(4.0, 5.5, 6.0), Point3::new(0.0, -1.0, 1e3)];
    for text in [
        "1.5 2 -3.25\n4 5.5 6\n0 -1 1e3",
        "  1.5  2\t-3.25 255 0 0\r\n\r\n# remark\r\n4 5.5 6 0 0 0\r\n0 -1 1000 1 1 1\r\n",
        "1,5 2,0 -3,25\n4,0 5,5 6,0\n0 -1 1000\n",
        "1.5,2,-3.25\n4,5.5,6\n0,-1,1e3\n",
        "1.5, 2, -3.25\n4, 5.5, 6\n0, -1, 1e3\n",
        "1,5;2;-3,25\n4;5,5;6\n0;-1;1e3\n",
        "1.5\t2\t-3.25\n4\t5.5\t6\n0\t-1\t1000\n",
        "3\n1.5 2 -3.25\n4 5.5 6\n0 -1 1e3\n",
        "\u{feff}// points\nX,Y,Z\n1.5,2,-3.25\n4,5.5,6\n0,-1,1e3\n",
        "no;\"z\";\"y\";\"x\"\n1;-3,25;2;1,5\n2;6;5,5;4\n3;1e3;-1;0\n",
        "x [mm] y [mm] z [mm]\n1.5 2 -3.25\n4 5.5 6\n0 -1 1e3\n",
    ] {
        let scan = read(text.as_bytes(), "scan.txt").unwrap_or_else(|e| panic!("{text}: {e}"));
        assert_eq!(scan.points, expected, "{text}");
        assert!(scan.triangles.is_empty());
    }
}

#[test]
fn a_few_points_without_numbers_are_left_out_and_counted() {
    let mut text = String::from(
        "ply\nformat ascii 1.0\nelement vertex 301\nproperty float x\nproperty float y\nproperty float z\nelement face 2\nproperty list uchar int vertex_indices\nend_header\n",
    );
    for k in 0..300 {
        text += &format!("{k} {} 0\n", k % 7);
    }
    text += "nan 1 2\n3 0 1 8\n3 0 1 300\n";
    let scan = read(text.as_bytes(), "x.ply").unwrap();
    assert_eq!(
        scan.facts()[1..],
        [
            "left out: 1 points without usable coordinates",
            "left out: 1 triangles with a corner that has no usable coordinates",
            "left out: 297 points that no triangle uses",
        ]
    );
    let refused = refusal(
        text.replace("\n5 5 0", "\n5 inf 0")
            .replace("\n6 6 0", "\n6 1e9 0")
            .replace("\n8 1 0", "\n8 -1e9 0")
            .as_bytes(),
        "x.ply",
    );
    assert!(refused.contains("line 15: 4 of 301 points have coordinates that are no numbers"), "{refused}");
}

// ---------------------------------------------------------------- what is refused

fn refusal(bytes: &[u8], name: &str) -> String {
    let known = read(bytes, name).unwrap_err().to_string();
    // What is told must not depend on whether the length was known beforehand, unless it is the length.
    let streamed = read_scan(bytes, None, name).unwrap_err();
    assert!(!streamed.to_string().is_empty());
    known
}

#[track_caller]
fn refused(bytes: &[u8], name: &str, words: &str) {
    let text = refusal(bytes, name);
    assert!(text.contains(words), "{text}");
}

#[test]
fn what_is_no_scan_is_named() {
    for (bytes, words) in [
        (&b"PK\x03\x04rest"[..], "a ZIP archive or a 3MF package, not a scan: unpack it"),
        (b"\x1f\x8b\x08\x00", "a gzip archive"),
        (b"%PDF-1.7\n", "a PDF document"),
        (b"ISO-10303-21;\nHEADER;\n", "a STEP model"),
        (b"<!doctype html>\n<html>", "a web page"),
        (b"\n  <?xml version=\"1.0\"?>", "an XML document"),
        (b"\x89PNG\r\n", "a picture"),
        (b"OFF\n3 1 0\n", "an OFF mesh"),
        (b"{\"a\": 1}", "a JSON document"),
        (b"\xff\xfev\x00 \x00", "UTF-16, not a scan: save it as UTF-8"),
        (b"value,reading\nheel_thickness,4\n", "a table of gauge readings, not a scan: give it with --readings"),
        (b"G21 G90\nG0 Z5\n", "a milling program"),
        (
            b"[ticket]\ncode = \"A\"\n",
            "the text begins with `[ticket]`, which no kind of scan does: export the scan as STL",
        ),
        (b"\x01\x02\x03\x04\x05", "binary data of no kind known here"),
    ] {
        refused(bytes, "scan", words);
        refused(bytes, "scan.xyz", words);
    }
}

#[test]
fn a_file_that_is_empty_or_all_remarks() {
    for name in ["a.stl", "a.ply", "a.obj", "a.xyz", ""] {
        refused(b"", name, "whole file: the file is empty: export the scan again");
    }
    refused(b"# nothing\n\n", "a.xyz", "nothing but blanks and remarks");
    refused(&[0; 2000], "a.stl", "0 points and 0 triangles");
}

#[test]
fn a_truncated_stl() {
    let good = good_stl();
    refused(
        &good[..good.len() - 1],
        "a.stl",
        "byte 80: 4 triangles need a file of 284 bytes, this one has 283: export the scan again",
    );
    refused(&good[..50], "a.stl", "50 bytes are fewer than the 84");
    let streamed = read_scan(&good[..good.len() - 1], None, "a.stl").unwrap_err().to_string();
    assert!(streamed.contains("283"), "{streamed}");
    let long = stl(&Mesh { triangles: vec![[0, 1, 2]; 2000], ..tetrahedron() }, "x");
    let cut = read_scan(&long[..long.len() - 60], None, "a.stl").unwrap_err().to_string();
    assert!(cut.contains("triangle 1999: the file ends within it, 2000 triangles are promised"), "{cut}");
    refused(SOLID.replace("endsolid a\n", "").as_bytes(), "a.stl", "line 8: the file ends here, without `endsolid`");
    refused(&SOLID.as_bytes()[..60], "a.stl", "cut short");
}

#[test]
fn an_stl_with_a_lying_count() {
    let mut lying = good_stl();
    lying[80..84].copy_from_slice(&u32::MAX.to_le_bytes());
    refused(&lying, "a.stl", "4294967295 triangles need a file of 214748364834 bytes");
    let streamed = read_scan(lying.as_slice(), None, "a.stl").unwrap_err().to_string();
    assert!(streamed.contains("4294967295 triangles"), "{streamed}");
    lying[80..84].copy_from_slice(&3_u32.to_le_bytes());
    refused(&lying, "a.stl", "byte 234: more data follows where the file says it ends: export one body a file");
}

#[test]
fn filling_after_the_last_triangle_is_noted() {
    let mut bytes = good_stl();
    bytes.extend(b"\r\n\0\0");
    let scan = read(&bytes, "a.stl").unwrap();
    assert_eq!(scan.about.notes, ["4 bytes of filling after the last triangle were passed over"]);
}

#[test]
fn an_stl_with_mistakes_in_its_text() {
    refused(SOLID.replace("1e0", "one").as_bytes(), "", "line 6: `one` is not a number");
    refused(
        SOLID.replace("1e0", "1,5").as_bytes(),
        "",
        "line 6: `1,5` is not a number: export again with decimal points",
    );
    refused(
        SOLID.replace("1e0", "nan").as_bytes(),
        "",
        "line 7: 1 of 1 triangles have coordinates that are no numbers",
    );
    refused(SOLID.replace("1e0 0", "1").as_bytes(), "", "line 6: a vertex needs three numbers");
    refused(SOLID.replace("1e0 0", "1 0 4").as_bytes(), "", "`4` after the three numbers");
    refused(SOLID.replace("   vertex 0 0 0\n", "").as_bytes(), "", "line 6: a facet has 2 corners, it must have 3");
    refused(
        SOLID.replace("  endloop", "vertex 1 1 1\nendloop").as_bytes(),
        "",
        "line 7: a facet has more than 3 corners",
    );
    refused(SOLID.replace("outer", "inner").as_bytes(), "", "line 3: `inner` is not an STL word");
    refused(SOLID.replace(" endfacet\n", "").as_bytes(), "", "line 8: `endsolid` does not belong here");
    refused(format!("solid {}", "x".repeat(200_000)).as_bytes(), "", "line 1: the line is longer than");
    refused("solid a\nfacet\nouter loop\nvertex \u{9b}31m".as_bytes(), "a.stl", "line 4: `?31m` is not a number");
}

#[test]
fn an_empty_mesh() {
    refused(
        &stl(&Mesh::default(), "x"),
        "a.stl",
        "0 points and 0 triangles with an area, at least 3 points are needed",
    );
    refused(b"solid a\nendsolid a\n", "", "0 points and 0 triangles");
    refused(SOLID.replace("1e0", "0").as_bytes(), "", "0 triangles with an area");
    refused(b"v 0 0 0\nv 1 0 0\n", "", "2 points and 0 triangles");
    refused(b"o a\n", "a.obj", "0 points");
    refused(b"0 0 0\n1 1 1\n", "", "whole file: the scan has 2 points");
    let ply = PLY.replace("vertex 4", "vertex 0").replace("face 1", "face 0");
    refused(ply.split_inclusive("end_header\n").next().unwrap().as_bytes(), "", "0 points");
}

#[test]
fn ten_points_are_read() {
    let text: String = (0..10).map(|k| format!("{k} {} 1\n", k * k)).collect();
    assert_eq!(read(text.as_bytes(), "x.xyz").unwrap().points.len(), 10);
}

const PLY: &str = "ply\nformat ascii 1.0\nelement vertex 4\nproperty float x\nproperty float y\nproperty float z\nelement face 1\nproperty list uchar int vertex_indices\nend_header\n0 0 0\n1 0 0\n1 1 0\n0 1 0\n4 0 1 2 3\n";

#[test]
fn a_ply_with_a_lying_header() {
    let lying = |from: &str, to: &str, words: &str| refused(PLY.replace(from, to).as_bytes(), "a.ply", words);
    lying("vertex 4", "vertex 5", "line 14: `2` after all that `vertex` has");
    lying("vertex 4", "vertex 3", "line 13: `1` after all that `face` has");
    lying("vertex 4", "vertex 4000000", "the header promises 4000000 of `vertex`, 1 of `face`, which need at least");
    lying("vertex 4", "vertex 4000000000000000000", "at most 12000000 are read: thin it");
    lying("vertex 4", "vertex -4", "the element needs a name and a whole number, not `-4`");
    lying("vertex 4", "vertex 99999999999999999999999", "whole number");
    lying("face 1", "face 2", "line 15: the file ends after 1 of 2 promised `face`");
    lying("face 1", "other 18446744073709551615", "of `other`");
    lying("0 1 2 3\n", "0 1 2 4\n", "line 14: a face names point 4, there are 4, counted from 0");
    lying("0 1 2 3\n", "0 1 2 -1\n", "a face names point -1");
    lying("0 1 2 3\n", "0 1 2 1.5\n", "a face names point 1.5");
    lying("4 0 1 2 3\n", "5 0 1 2 3\n", "line 14: the line ends within `face`");
    lying("4 0 1 2 3\n", "3 0 1 2 3\n", "line 14: `3` after all that `face` has");
    lying("4 0 1 2 3\n", "-1\n", "-1 cannot be the length of a list");
    lying("4 0 1 2 3\n", "4 0 1 2 3\n7 7 7\n", "more data follows where the file says it ends");
    lying("property float x\n", "", "the element `vertex` has no property `x`");
    lying("float z", "list uchar float z", "no property `z` that is a number");
    lying("vertex_indices", "corners", "the element `face` has no list `vertex_indices`");
    lying("element face", "element tristrips", "the triangles are kept as strips: export again with plain faces");
    lying("ascii", "utf", "line 2: `utf` is no PLY format");
    lying("format ascii 1.0\n", "", "no line `format`");
    lying("float x", "real x", "line 4: `real` is no PLY type");
    lying("element vertex 4\n", "", "a property before the first element");
    lying("element face 1", "element vertex 1", "line 7: a second element `vertex`");
    lying("vertex 4", "point 4", "no element `vertex`");
    lying("end_header\n", "", "line 9: `0` is no word of a PLY header");
    refused(b"ply\nformat ascii 1.0\n", "", "the file ends within the header");
    refused(b"plx\n", "a.ply", "line 1: a PLY file begins with a line `ply`");
}

#[test]
fn a_binary_ply_that_lies_or_ends() {
    let good = data("plyfile-big.ply");
    let text = String::from_utf8_lossy(&good).into_owned();
    let header = text.split_inclusive("end_header\n").next().unwrap();
    let body = &good[header.len()..];
    let with = |from: &str, to: &str| [header.replace(from, to).as_bytes(), body].concat();
    refused(&with("vertex 35", "vertex 36"), "a.ply", "a face names point");
    refused(&with("vertex 35", "vertex 11000000"), "a.ply", "11000000 of `vertex`");
    refused(&with("face 48", "face 49"), "a.ply", "byte");
    refused(&with("camera 3", "camera 300"), "a.ply", "300 of `camera`, which need at least");
    refused(&[&good[..], b"more"].concat(), "a.ply", "more data follows");
    refused(&with("list uchar uint", "list uchar float"), "a.ply", "a face names point");
    let streamed = read_scan(with("camera 3", "camera 18446744073709551615").as_slice(), None, "a.ply").unwrap_err();
    assert!(streamed.to_string().contains("18446744073709551615"), "{streamed}");
}

#[test]
fn an_obj_with_wrong_numbers() {
    let points = "v 0 0 0\nv 1 0 0\nv 1 1 0\n";
    let wrong = |face: &str, words: &str| refused(format!("{points}{face}").as_bytes(), "a.obj", words);
    wrong("f 1 2 4\n", "line 4: a face names point 4, the file has only 3");
    wrong("f 1 2 0\n", "line 4: a face names point `0`, points are counted from 1");
    wrong("f 1 2 -4\n", "line 4: a face names point `-4`, there are not so many before it");
    wrong("f 1 2 /3\n", "which is not a whole number");
    wrong("f 1 2 99999999999\n", "there cannot be so many");
    wrong("f 1 2 -9223372036854775808\n", "not so many");
    wrong("f 1 2\n", "line 4: a face has 2 corners");
    wrong("f 1 2 \\\n", "the file ends within a face");
    wrong("v 1 2\n", "line 4: a point `v` needs three numbers");
    wrong("v 1 2 three\n", "line 4: `three` is not a number");
    wrong(&format!("f{}\n", " 1".repeat(5000)), "a face has more than 4096 corners: export it again");
}

#[test]
fn points_with_mistakes() {
    let wrong = |text: &str, words: &str| refused(text.as_bytes(), "a.xyz", words);
    wrong("0 0 0\n1 2\n", "line 2: 2 values where x, y and z are needed");
    wrong("0 0 0\n1 2 c\n", "line 2: `c` is not a number");
    wrong("0;0;0\n1;;2\n", "line 2: `` is not a number");
    wrong("x,y,w\n0,0,0\n", "line 1: `x,y,w` does not name three columns x, y and z");
    wrong("4\n0 0 0\n1 0 0\n0 1 0\n", "line 1: 4 points are promised, 3 follow");
    wrong(
        "0 0 0\nnan nan nan\n1 0 0\n-nan(ind) 0 0\n0 1 0\n",
        "line 2: 2 of 5 points have coordinates that are no numbers",
    );
}

#[test]
fn a_file_of_two_gigabytes_is_refused_before_it_is_read() {
    struct Unread;
    impl std::io::Read for Unread {
        fn read(&mut self, _: &mut [u8]) -> std::io::Result<usize> {
            panic!("nothing need be read")
        }
    }
    let text = read_scan(Unread, Some(2 * LARGEST_FILE), "a.stl").unwrap_err().to_string();
    assert!(
        text.contains("2147483648 bytes or more, at most 1073741824 are read: thin it to a point every 0.3"),
        "{text}"
    );
}

#[test]
fn a_folder_cannot_be_read() {
    if let Ok(folder) = fs::File::open(env!("CARGO_MANIFEST_DIR")) {
        let text = read_scan(folder, None, "folder").unwrap_err().to_string();
        assert!(text.contains("look whether it is a file"), "{text}");
    }
}

// ---------------------------------------------------------------- anything at all

fn kinds() -> Vec<(&'static str, Vec<u8>)> {
    let files =
        ["trimesh.stl", "plyfile-text.ply", "plyfile-big.ply", "meshio-quads.ply", "meshio-quads.obj", "numpy.csv"];
    let mut kinds: Vec<(&str, Vec<u8>)> = files.iter().map(|&file| (file, data(file))).collect();
    kinds.push(("a.stl", SOLID.repeat(3).into_bytes()));
    kinds
}

/// Whatever a file holds: places are within it, triangles name points, and no number is none.
fn holds_together(bytes: &[u8], name: &str) {
    for size in [Some(bytes.len() as u64), None] {
        match read_scan(bytes, size, name) {
            Ok(scan) => {
                assert!(scan.points.iter().all(|p| p.coords.amax() <= 1e7));
                assert!(scan.triangles.as_flattened().iter().all(|&at| (at as usize) < scan.points.len()));
                assert!(scan.points.len() >= 3 && scan.points.len() < bytes.len());
                assert!(!scan.facts().is_empty());
                if let Ok(samples) = scan.samples(50.0) {
                    assert!(samples.iter().all(|s| s.at.coords.amax() <= 1e7 && s.weight >= 0.0));
                }
            }
            Err(ScanError::Damaged { place: Place::Byte(n), .. }) => assert!(n <= bytes.len() as u64),
            Err(ScanError::Damaged { place: Place::Line(n), .. }) => {
                let ends = bytes.iter().filter(|&&b| b == b'\n' || b == b'\r').count() as u64;
                assert!((1..=ends + 2).contains(&n));
            }
            Err(error) => assert!(error.to_string().len() > 20),
        }
    }
}

#[test]
fn cut_short_anywhere() {
    for (name, bytes) in kinds() {
        for length in 0..bytes.len() {
            holds_together(&bytes[..length], name);
        }
    }
    // Formats that say how much there is notice every cut, but for a line's end.
    for name in ["trimesh.stl", "plyfile-big.ply", "plyfile-text.ply"] {
        let bytes = data(name);
        let last = bytes.len() - usize::from(name.contains("text"));
        assert!(
            (0..last).all(|length| read(&bytes[..length], name).is_err() || bytes[length..].trim_ascii().len() < 2),
            "{name}"
        );
    }
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 400,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn any_bytes(bytes in prop::collection::vec(any::<u8>(), 0..600), name in "[a-z]{0,3}\\.(stl|ply|obj|xyz)") {
        holds_together(&bytes, &name);
        let mut lucky = vec![0; 80];
        lucky.extend(((bytes.len() / 50) as u32).to_le_bytes());
        lucky.extend(&bytes[..bytes.len() / 50 * 50]);
        holds_together(&lucky, &name);
    }

    #[test]
    fn any_text(text in ".{0,300}", name in "[a-z]{0,3}\\.(stl|ply|obj|xyz)") {
        holds_together(text.as_bytes(), &name);
        holds_together(format!("solid\nfacet\nouter loop\nvertex {text}").as_bytes(), &name);
        holds_together(format!("v 0 0 0\nv 1 0 0\nv 1 1 0\nf {text}").as_bytes(), &name);
    }

    #[test]
    fn words_of_the_trade_in_any_order(words in prop::collection::vec(prop::sample::select(&WORDS[..]), 0..60), binary in any::<bool>()) {
        let text = words.concat();
        holds_together(text.as_bytes(), "a.xyz");
        let format = if binary { "binary_little_endian" } else { "ascii" };
        holds_together(format!("ply\nformat {format} 1.0\n{text}").as_bytes(), "a.ply");
        holds_together(format!("ply\nformat {format} 1.0\nelement vertex 3\nproperty double x\nproperty uchar y\nproperty char z\n{text}").as_bytes(), "a.ply");
    }

    #[test]
    fn flipped_bytes(kind in 0..7_usize, flips in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..4)) {
        let (name, mut bytes) = kinds().swap_remove(kind);
        for (at, byte) in flips {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        holds_together(&bytes, name);
    }
}

const WORDS: [&str; 40] = [
    "element ",
    "vertex ",
    "face ",
    "property ",
    "list ",
    "uchar ",
    "int ",
    "float ",
    "double ",
    "x",
    "y",
    "z",
    "vertex_indices",
    "end_header",
    "\n",
    "\n",
    "\n",
    "\r",
    " ",
    " ",
    "0 ",
    "1 ",
    "2 ",
    "3 ",
    "-1 ",
    "1e300 ",
    "4294967295 ",
    "18446744073709551615 ",
    "0.5 ",
    "nan ",
    ",",
    ";",
    "\t",
    "#",
    "comment ",
    "f ",
    "v ",
    "\0",
    "\u{1}\u{2}",
    "/",
];
