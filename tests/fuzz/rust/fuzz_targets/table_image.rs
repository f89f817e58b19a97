//! Random bytes for the reader of the image and all that follows it.

#![no_main]

mod judged;

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| judged::any_bytes_as_an_image(bytes));
