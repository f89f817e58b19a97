//! The parts of the program that others build on without starting it: the
//! controller file formats, so that tests and fuzzers reach their readers
//! directly. Everything else is the program `ovendry` itself, in `main.rs`.

pub mod controller;
