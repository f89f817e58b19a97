//! Controller.
