//! Holds the repository to its house rules: what a compiler and a linter cannot see.

mod descriptor;
mod files;
mod places;
mod words;
