//! The analysis `level`.
