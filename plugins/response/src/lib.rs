//! The analysis `response`.
