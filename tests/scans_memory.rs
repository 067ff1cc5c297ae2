//! What reading a scan takes of memory: bounded by what is read, whatever a header promises. Alone in
//! its file, because everything that runs beside it would be counted too.

// An allocator that counts cannot be had without.
#![allow(unsafe_code)]

mod scan_files;

use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::atomic::{AtomicUsize, Ordering};

use scan_files::data;
use sustent::mesh::read_scan;

struct Counting;

static NOW: AtomicUsize = AtomicUsize::new(0);
static PEAK: AtomicUsize = AtomicUsize::new(0);

// SAFETY: all is handed on to the system's allocator as it came.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        let now = NOW.fetch_add(layout.size(), Ordering::Relaxed) + layout.size();
        PEAK.fetch_max(now, Ordering::Relaxed);
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        NOW.fetch_sub(layout.size(), Ordering::Relaxed);
        unsafe { System.dealloc(pointer, layout) }
    }
}

#[global_allocator]
static COUNTING: Counting = Counting;

/// The most bytes in use at once beyond those before, while `work` runs.
fn peak<T>(work: impl FnOnce() -> T) -> (usize, T) {
    let before = NOW.load(Ordering::Relaxed);
    PEAK.store(before, Ordering::Relaxed);
    let result = work();
    (PEAK.load(Ordering::Relaxed) - before, result)
}

/// The buffer a file is read through, and what else does not grow.
const BUFFER: usize = (1 << 20) + (1 << 16);

/// A lattice of points as binary STL, with two triangles for each of its cells.
fn lattice_stl(cells: u32) -> Vec<u8> {
    let mut bytes = vec![b' '; 80];
    bytes.extend((2 * cells * cells).to_le_bytes());
    for k in 0..cells * cells {
        let (x, y) = ((k % cells) as f32, (k / cells) as f32);
        let [a, b, c, d] = [[x, y], [x + 1.0, y], [x + 1.0, y + 1.0], [x, y + 1.0]];
        for corner in [[a, b, c], [a, c, d]] {
            bytes.extend([0; 12]);
            for [x, y] in corner {
                [x, y, 0.0].iter().for_each(|v: &f32| bytes.extend(v.to_le_bytes()));
            }
            bytes.extend([0; 2]);
        }
    }
    bytes
}

#[test]
fn memory_is_bounded_by_what_is_read() {
    let text = |head: &str| format!("ply\nformat binary_little_endian 1.0\n{head}end_header\n").into_bytes();
    let xyz = "property float x\nproperty float y\nproperty float z\n";
    let mut stl = vec![b' '; 80];
    stl.extend(11_000_000_u32.to_le_bytes());
    stl.extend([0; 1000]);
    // Each promises hundreds of megabytes, and no length tells it a liar beforehand.
    for lying in [
        stl,
        text(&format!("element vertex 11000000\n{xyz}")),
        text(&format!("element vertex 3\n{xyz}element face 11000000\nproperty list uint int vertex_indices\n")),
        [text(&format!("element vertex 3\n{xyz}property list uint double w\n")), vec![0xff; 400]].concat(),
        text(&format!("element other {0}\nproperty list uint double w\nelement vertex 3\n{xyz}", u64::MAX)),
        b"11000000\n0 0 0\n".to_vec(),
    ] {
        let (bytes, result) = peak(|| read_scan(lying.as_slice(), None, "scan"));
        assert!(result.is_err());
        assert!(bytes < BUFFER, "{bytes} bytes for {}", String::from_utf8_lossy(&lying[..60]));
    }

    // A pipe without end is stopped, and keeps nothing.
    let (bytes, result) = peak(|| read_scan(std::io::repeat(b'\n'), None, "endless.xyz"));
    assert!(result.is_err() && bytes < BUFFER, "{bytes}");

    // Broken files cost no more than whole ones could.
    for name in ["trimesh.stl", "trimesh-ascii.stl", "plyfile-big.ply", "plyfile-text.ply", "trimesh.obj", "numpy.xyz"]
    {
        let good = data(name);
        for at in 0..good.len() {
            let mut broken = good.clone();
            broken[at] ^= 0xa5;
            let (bytes, _) = peak(|| read_scan(broken.as_slice(), None, name));
            assert!(bytes < BUFFER + 16 * good.len(), "{name} broken at {at}: {bytes}");
        }
    }

    // Beside the buffer: the joined mesh, as much again while a list grows, and a table half its size.
    let file = lattice_stl(300);
    let (bytes, scan) = peak(|| read_scan(file.as_slice(), Some(file.len() as u64), "a.stl").unwrap());
    let kept = scan.points.len() * 24 + scan.triangles.len() * 12;
    assert_eq!(scan.points.len(), 301 * 301);
    assert!(bytes < BUFFER + 3 * kept, "{bytes} for {kept} kept");
}
