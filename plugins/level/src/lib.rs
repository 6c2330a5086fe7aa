//! The analysis `level`.

pub mod clipper;
pub mod crossing;
