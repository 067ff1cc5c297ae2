//! Scans as other programs write them, as we write them, and as nobody does.
//!
//! `tests/data/scans/` holds small files by outside libraries and what those found in them.

mod scan_files;

use std::fs;
use std::path::PathBuf;

use approx::assert_relative_eq;
use proptest::prelude::*;
use scan_files::{SOLID, data, good_stl, read, stl, tetrahedron};
use sustent::frame::Point3;
use sustent::mesh::{Format, Mesh, Place, Scan, ScanError, Unit, read_scan};

// ---------------------------------------------------------------- what others wrote

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

#[test]
fn a_sample_of_ours_is_closed_when_read_again() {
    let file = "output-samples/PATROL-07/PATROL-07-r2/PATROL-07-r2-L-design.stl";
    let bytes = fs::read(PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(file)).unwrap();
    let scan = read(&bytes, file).unwrap();
    assert_eq!(scan.triangles.len(), (bytes.len() - 84) / 50);
    assert_eq!(scan.about.unit, None);
    assert!(Mesh::from(scan).is_closed());
}

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
    let refused = read(
        text.replace("\n5 5 0", "\n5 inf 0")
            .replace("\n6 6 0", "\n6 1e9 0")
            .replace("\n8 1 0", "\n8 -1e9 0")
            .as_bytes(),
        "x.ply",
    )
    .unwrap_err()
    .to_string();
    assert!(refused.contains("line 15: 4 of 301 points have coordinates that are no numbers"), "{refused}");
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
