//! Holds the repository to its house rules: what a compiler and a linter cannot see.

mod descriptor;
mod files;
mod pages;
mod places;
mod words;
