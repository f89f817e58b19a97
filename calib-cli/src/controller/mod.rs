//! Controller files, one module a format.
