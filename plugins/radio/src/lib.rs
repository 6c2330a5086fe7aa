//! The arithmetic of radio channel plans: which channels of a link's own table stay clear of what
//! is in the air, of each other and of each other's intermodulation.
//!
//! The crate does no I/O, reads no clock and logs nothing. Frequencies are in MHz, levels in dBm,
//! distances in metres, everything in `f64`. Radio channels are called by the names their table
//! gives them.
//!
//! The way of the data: rows typed from a manual become a [`table::Table`]; what is in the air
//! (from [`survey`], or from [`occupied`] by channel number) becomes an [`band::Occupancy`];
//! [`plan::plan`] chooses channels, [`rank::standings`] says how each channel stands, and
//! [`budget`] says how far a link may reach.
//!
//! ```
//! use goodwire_radio::plan::{Request, Rules, plan};
//! use goodwire_radio::survey::typed;
//! use goodwire_radio::table::{Row, Table};
//!
//! let rows = [("A", 2424.0), ("B", 2449.0), ("C", 2475.0), ("D", 2480.0)];
//! let rows = rows.map(|(name, centre_mhz)| Row {
//!     name: name.to_owned(),
//!     centre_mhz,
//!     bandwidth_mhz: 1.0,
//! });
//! let table = Table::check(&rows)?;
//! let survey = typed::parse("1 20\n6 20\n11 20\n")?;
//! let plan = plan(&Request {
//!     table: &table,
//!     occupied: &survey.occupancy(f64::NEG_INFINITY),
//!     fixed: &[],
//!     link_count: 2,
//!     rules: Rules::default(),
//! })?;
//! // C begins 2.5 MHz above the 2472 MHz of Wi-Fi channel 11, D 7.5; A and B have 1.5 MHz.
//! assert_eq!(plan.rows, [2, 3]);
//! assert!(plan.flaws.is_empty());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Caution
//!
//! What may be used where, at which power and by whom, is the law of the place, and it changes.
//! This crate knows no law and holds no list of permitted frequencies: ask the local regulator,
//! and keep to the settings that the maker gives for the region. Nothing here ever chooses a
//! frequency outside the user's own table. A channel that is free of everything known here may
//! still be in use: listen before a show.

pub mod band;
pub mod budget;
pub mod occupied;
pub mod plan;
pub mod products;
pub mod rank;
pub mod ruler;
pub mod survey;
pub mod table;
pub mod units;
