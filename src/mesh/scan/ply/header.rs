//! The header of a PLY file: encoding, elements and their properties. Knows nothing of the body.

use super::super::error::{Place, ScanError};
use super::super::gather::{shown, words};
use super::super::source::Source;
use super::super::{About, Format};

/// Elements, and properties of one, beyond any that a scanner writes (a point with colour, normal,
/// quality and texture has some fifteen): a header with more is not one.
const MOST_NAMES: usize = 256;

/// What a PLY file promises.
pub(super) struct Header {
    pub(super) encoding: Encoding,
    pub(super) elements: Vec<Element>,
}

#[derive(Clone, Copy, PartialEq)]
pub(super) enum Encoding {
    Text,
    Binary(Order),
}

/// Which byte of a number comes first.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Order {
    Little,
    Big,
}

/// A kind of thing, `count` of which are in the body.
pub(super) struct Element {
    pub(super) name: String,
    pub(super) count: u64,
    pub(super) properties: Vec<Property>,
    /// What is wanted of it; `None` when nothing is.
    pub(super) role: Option<Role>,
}

pub(super) struct Property {
    name: String,
    pub(super) kind: Kind,
}

#[derive(Clone, Copy, PartialEq)]
pub(super) enum Kind {
    Scalar(Scalar),
    List { count: Scalar, entry: Scalar },
}

/// What is wanted of an element, by the places of its properties.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Role {
    Points { at: [usize; 3] },
    Faces { corners: usize },
}

#[derive(Clone, Copy, PartialEq)]
pub(super) enum Scalar {
    I8,
    U8,
    I16,
    U16,
    I32,
    U32,
    F32,
    F64,
}

impl Scalar {
    fn named(word: &[u8]) -> Option<Scalar> {
        match word {
            b"char" | b"int8" => Some(Scalar::I8),
            b"uchar" | b"uint8" => Some(Scalar::U8),
            b"short" | b"int16" => Some(Scalar::I16),
            b"ushort" | b"uint16" => Some(Scalar::U16),
            b"int" | b"int32" => Some(Scalar::I32),
            b"uint" | b"uint32" => Some(Scalar::U32),
            b"float" | b"float32" => Some(Scalar::F32),
            b"double" | b"float64" => Some(Scalar::F64),
            _ => None,
        }
    }

    pub(super) fn bytes(self) -> usize {
        match self {
            Scalar::I8 | Scalar::U8 => 1,
            Scalar::I16 | Scalar::U16 => 2,
            Scalar::I32 | Scalar::U32 | Scalar::F32 => 4,
            Scalar::F64 => 8,
        }
    }

    /// The number that begins `bytes`; every one fits an f64. Too few bytes give no number.
    #[inline]
    pub(super) fn decoded(self, bytes: &[u8], order: Order) -> f64 {
        match self {
            Scalar::I8 => first(bytes, order).map_or(f64::NAN, |b| f64::from(i8::from_le_bytes(b))),
            Scalar::U8 => first(bytes, order).map_or(f64::NAN, |b| f64::from(u8::from_le_bytes(b))),
            Scalar::I16 => first(bytes, order).map_or(f64::NAN, |b| f64::from(i16::from_le_bytes(b))),
            Scalar::U16 => first(bytes, order).map_or(f64::NAN, |b| f64::from(u16::from_le_bytes(b))),
            Scalar::I32 => first(bytes, order).map_or(f64::NAN, |b| f64::from(i32::from_le_bytes(b))),
            Scalar::U32 => first(bytes, order).map_or(f64::NAN, |b| f64::from(u32::from_le_bytes(b))),
            Scalar::F32 => first(bytes, order).map_or(f64::NAN, |b| f64::from(f32::from_le_bytes(b))),
            Scalar::F64 => first(bytes, order).map_or(f64::NAN, f64::from_le_bytes),
        }
    }
}

/// The first `N` bytes, turned so that the least comes first.
#[inline]
fn first<const N: usize>(bytes: &[u8], order: Order) -> Option<[u8; N]> {
    let mut first = *bytes.first_chunk::<N>()?;
    if order == Order::Big {
        first.reverse();
    }
    Some(first)
}

impl Encoding {
    pub(super) fn format(self) -> Format {
        match self {
            Encoding::Text => Format::PlyText,
            Encoding::Binary(Order::Little) => Format::PlyLittleEndian,
            Encoding::Binary(Order::Big) => Format::PlyBigEndian,
        }
    }

    /// The least that one of an element takes in the body: its lists may be empty, a number of text
    /// is a digit and what parts it from the next.
    pub(super) fn least_bytes(self, element: &Element) -> u128 {
        let least = |property: &Property| match (self, property.kind) {
            (Encoding::Text, _) => 2,
            (Encoding::Binary(_), Kind::Scalar(scalar) | Kind::List { count: scalar, .. }) => scalar.bytes() as u128,
        };
        element.properties.iter().map(least).sum()
    }
}

impl Header {
    /// How many points are promised.
    pub(super) fn points(&self) -> u64 {
        self.elements.iter().find(|e| matches!(e.role, Some(Role::Points { .. }))).map_or(0, |e| e.count)
    }
}

impl Element {
    /// The bytes of one in a binary body, when all are of one length.
    pub(super) fn stride(&self) -> Option<usize> {
        let bytes = |property: &Property| match property.kind {
            Kind::Scalar(scalar) => Some(scalar.bytes()),
            Kind::List { .. } => None,
        };
        self.properties.iter().map(bytes).sum()
    }

    /// The error for a file that ends after `done` of these.
    pub(super) fn cut_short(&self, place: Place, done: u64) -> ScanError {
        let name = shown(self.name.as_bytes());
        ScanError::damaged(place, format!("the file ends after {done} of {} promised `{name}`", self.count))
    }

    /// The place of the property with one of these names that is a list or is none, as asked.
    fn place_of(&self, names: &[&str], list: bool) -> Option<usize> {
        let fits = |p: &Property| names.contains(&p.name.as_str()) && matches!(p.kind, Kind::List { .. }) == list;
        self.properties.iter().position(fits)
    }

    fn find_role(&mut self, place: Place) -> Result<(), ScanError> {
        let lacks = |what: &str| ScanError::damaged(place, format!("the element `{}` has no {what}", self.name));
        self.role = match self.name.as_str() {
            "vertex" => {
                let at = |name: &str| {
                    self.place_of(&[name], false).ok_or_else(|| lacks(&format!("property `{name}` that is a number")))
                };
                Some(Role::Points { at: [at("x")?, at("y")?, at("z")?] })
            }
            "face" if self.count > 0 => {
                let corners = self.place_of(&["vertex_indices", "vertex_index"], true);
                Some(Role::Faces { corners: corners.ok_or_else(|| lacks("list `vertex_indices`"))? })
            }
            "tristrips" if self.count > 0 => {
                let problem = "the triangles are kept as strips";
                return Err(ScanError::remedied(place, problem, "export again with plain faces"));
            }
            _ => None,
        };
        Ok(())
    }
}

/// Reads the header up to and with its last line.
pub(super) fn read(source: &mut Source, about: &mut About) -> Result<Header, ScanError> {
    let (mut encoding, mut elements) = (None, Vec::<Element>::new());
    loop {
        let place = source.next_line_place();
        let Some(line) = source.line()? else {
            return Err(ScanError::damaged(place, "the file ends within the header, before `end_header`"));
        };
        let mut words = words(line);
        match words.next() {
            None => {}
            Some(b"ply") if place == Place::Line(1) => {}
            Some(_) if place == Place::Line(1) => {
                return Err(ScanError::damaged(place, "a PLY file begins with a line `ply`"));
            }
            Some(b"comment" | b"obj_info") => about.note_unit(line, place),
            Some(b"format") => encoding = Some(encoding_named(words.next().unwrap_or_default(), place)?),
            Some(b"element") => add_element(&mut elements, words, place)?,
            Some(b"property") => add_property(&mut elements, words, place)?,
            Some(b"end_header") => break,
            Some(other) => {
                return Err(ScanError::damaged(place, format!("`{}` is no word of a PLY header", shown(other))));
            }
        }
    }
    let place = source.line_place();
    for element in &mut elements {
        element.find_role(place)?;
    }
    let encoding = encoding.ok_or_else(|| ScanError::damaged(place, "the header has no line `format`"))?;
    if elements.iter().all(|e| e.name != "vertex") {
        return Err(ScanError::damaged(place, "the header has no element `vertex`, so there are no points"));
    }
    Ok(Header { encoding, elements })
}

fn encoding_named(word: &[u8], place: Place) -> Result<Encoding, ScanError> {
    match word {
        b"ascii" => Ok(Encoding::Text),
        b"binary_little_endian" => Ok(Encoding::Binary(Order::Little)),
        b"binary_big_endian" => Ok(Encoding::Binary(Order::Big)),
        other => Err(ScanError::damaged(place, format!("`{}` is no PLY format", shown(other)))),
    }
}

fn add_element<'a>(
    elements: &mut Vec<Element>,
    mut words: impl Iterator<Item = &'a [u8]>,
    place: Place,
) -> Result<(), ScanError> {
    let name = String::from_utf8_lossy(words.next().unwrap_or_default()).into_owned();
    let count = words.next().unwrap_or_default();
    let count = std::str::from_utf8(count).ok().and_then(|count| count.parse().ok()).ok_or_else(|| {
        ScanError::damaged(place, format!("the element needs a name and a whole number, not `{}`", shown(count)))
    })?;
    if elements.iter().any(|e| e.name == name) {
        return Err(ScanError::damaged(place, format!("a second element `{}`", shown(name.as_bytes()))));
    }
    if elements.len() >= MOST_NAMES {
        return Err(ScanError::damaged(place, format!("more than {MOST_NAMES} elements")));
    }
    elements.push(Element { name, count, properties: vec![], role: None });
    Ok(())
}

fn add_property<'a>(
    elements: &mut [Element],
    mut words: impl Iterator<Item = &'a [u8]>,
    place: Place,
) -> Result<(), ScanError> {
    let Some(element) = elements.last_mut() else {
        return Err(ScanError::damaged(place, "a property before the first element"));
    };
    let scalar = |word: Option<&[u8]>| {
        let word = word.unwrap_or_default();
        Scalar::named(word).ok_or_else(|| ScanError::damaged(place, format!("`{}` is no PLY type", shown(word))))
    };
    let kind = match words.next() {
        Some(b"list") => {
            let count = scalar(words.next())?;
            Kind::List { count, entry: scalar(words.next())? }
        }
        word => Kind::Scalar(scalar(word)?),
    };
    let Some(name) = words.next() else {
        return Err(ScanError::damaged(place, "a property without a name"));
    };
    if element.properties.len() >= MOST_NAMES {
        return Err(ScanError::damaged(place, format!("more than {MOST_NAMES} properties")));
    }
    element.properties.push(Property { name: String::from_utf8_lossy(name).into_owned(), kind });
    Ok(())
}
