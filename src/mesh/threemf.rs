//! 3MF, a zipped XML mesh that states its unit (3MF core specification 1.3, 3MF Consortium). The
//! same mesh gives the same bytes. Knows nothing of what the mesh is.

use std::io::{self, Seek, Write};

use zip::write::SimpleFileOptions;
use zip::{DateTime, ZipWriter};

use super::Mesh;

const CONTENT_TYPES: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">
 <Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>
 <Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>
</Types>
"#;

const RELATIONSHIPS: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">
 <Relationship Target="/3D/3dmodel.model" Id="rel0" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>
</Relationships>
"#;

/// Writes the mesh as a 3MF package in millimetres, coordinates rounded to 0.0001 mm.
pub fn write_3mf(mesh: &Mesh, title: &str, out: &mut (impl Write + Seek)) -> io::Result<()> {
    // The zip format's first date stands for none.
    let options = SimpleFileOptions::default().last_modified_time(DateTime::DEFAULT);
    let mut package = ZipWriter::new(out);
    package.start_file("[Content_Types].xml", options)?;
    package.write_all(CONTENT_TYPES.as_bytes())?;
    package.start_file("_rels/.rels", options)?;
    package.write_all(RELATIONSHIPS.as_bytes())?;
    package.start_file("3D/3dmodel.model", options)?;
    write_model(mesh, title, &mut package)?;
    package.finish()?;
    Ok(())
}

fn write_model(mesh: &Mesh, title: &str, out: &mut impl Write) -> io::Result<()> {
    let mut out = io::BufWriter::new(out);
    writeln!(out, r#"<?xml version="1.0" encoding="UTF-8"?>"#)?;
    let space = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02";
    writeln!(out, r#"<model unit="millimeter" xml:lang="en" xmlns="{space}">"#)?;
    writeln!(out, r#" <metadata name="Title">{}</metadata>"#, escaped(title))?;
    writeln!(out, " <resources>\n  <object id=\"1\" type=\"model\">\n   <mesh>\n    <vertices>")?;
    for p in &mesh.vertices {
        writeln!(out, r#"     <vertex x="{}" y="{}" z="{}"/>"#, number(p.x), number(p.y), number(p.z))?;
    }
    writeln!(out, "    </vertices>\n    <triangles>")?;
    for [a, b, c] in &mesh.triangles {
        writeln!(out, r#"     <triangle v1="{a}" v2="{b}" v3="{c}"/>"#)?;
    }
    writeln!(out, "    </triangles>\n   </mesh>\n  </object>\n </resources>")?;
    writeln!(out, " <build>\n  <item objectid=\"1\"/>\n </build>\n</model>")?;
    out.flush()
}

/// A coordinate to 0.0001 mm, without trailing zeros and without a sign on zero.
fn number(v: f64) -> String {
    let fixed = format!("{v:.4}");
    let short = fixed.trim_end_matches('0').trim_end_matches('.');
    if short == "-0" { "0".into() } else { short.into() }
}

/// Text for XML; control characters, which XML cannot carry, become spaces.
fn escaped(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::tests::tetrahedron;
    use super::*;
    use crate::frame::Point3;
    use std::io::{Cursor, Read};
    use usvg::roxmltree::{Document, Node};

    fn package(mesh: &Mesh, title: &str) -> Vec<u8> {
        let mut out = Cursor::new(Vec::new());
        write_3mf(mesh, title, &mut out).unwrap();
        out.into_inner()
    }

    fn part(bytes: &[u8], name: &str) -> String {
        let mut text = String::new();
        zip::ZipArchive::new(Cursor::new(bytes)).unwrap().by_name(name).unwrap().read_to_string(&mut text).unwrap();
        text
    }

    /// Opened with zip and read with an XML parser that is not ours, the mesh comes back.
    #[test]
    fn package_opens_and_the_mesh_comes_back() {
        let bytes = package(&tetrahedron(), "A & <B>");
        for name in ["[Content_Types].xml", "_rels/.rels"] {
            Document::parse(&part(&bytes, name)).unwrap();
        }
        let model = part(&bytes, "3D/3dmodel.model");
        let model = Document::parse(&model).unwrap();
        assert_eq!(model.root_element().attribute("unit"), Some("millimeter"));
        let all = |tag: &'static str| model.descendants().filter(move |n| n.has_tag_name(tag));
        assert_eq!(all("metadata").next().unwrap().text(), Some("A & <B>"));
        let vertices = all("vertex").map(|n| Point3::from(read(n, ["x", "y", "z"]))).collect();
        let triangles = all("triangle").map(|n| read(n, ["v1", "v2", "v3"]).map(|v| v as u32)).collect();
        assert_eq!(Mesh { vertices, triangles }, tetrahedron());
    }

    fn read(node: Node, names: [&str; 3]) -> [f64; 3] {
        names.map(|n| node.attribute(n).unwrap().parse().unwrap())
    }

    #[test]
    fn same_mesh_gives_the_same_bytes() {
        assert_eq!(package(&tetrahedron(), "t"), package(&tetrahedron(), "t"));
    }

    #[test]
    fn numbers_are_short() {
        assert_eq!(number(12.0), "12");
        assert_eq!(number(-0.00001), "0");
        assert_eq!(number(-2.34567), "-2.3457");
        assert_eq!(number(100.0), "100");
    }
}
