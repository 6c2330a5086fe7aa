//! The command line as people start it, against a server whose answers the test decides.

mod files_and_lists;
mod measuring;
mod mock;
mod planning;
