//! Files that are no scans, broken, cut short or lying: what is told, where, and what to do.

mod scan_files;

use std::fs;

use scan_files::{PLY, SOLID, data, good_stl, read, stl, tetrahedron};
use sustent::mesh::{LARGEST_FILE, Mesh, read_scan};

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
