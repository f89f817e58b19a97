//! Random bytes for the readers of controller files.

#![no_main]

mod judged;

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| judged::any_bytes_as_a_file(bytes));
