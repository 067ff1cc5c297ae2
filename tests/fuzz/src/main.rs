//! One door of the program, named by `SUSTENT_DOOR`, under libFuzzer.
#![no_main]

mod doors;

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;

static DOOR: LazyLock<fn(&[u8])> = LazyLock::new(|| {
    let name = std::env::var("SUSTENT_DOOR").unwrap_or_default();
    let found = doors::DOORS.iter().find(|(own, _)| *own == name);
    found.unwrap_or_else(|| panic!("SUSTENT_DOOR names none of {:?}", doors::DOORS.map(|(name, _)| name))).1
});

fuzz_target!(|bytes: &[u8]| DOOR(bytes));
