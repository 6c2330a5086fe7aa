//! The measurement science.

pub mod tone;
