//! The analysis `distortion`.
