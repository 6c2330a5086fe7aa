//! What the analyses that watch a link have in common: how what a watch saw becomes figures,
//! events and notes, and how it is kept so that another session goes on.

mod figures;
mod kept;
mod live;
mod marked;
mod notes;
mod part;
mod told;

pub use figures::{EDGE_S, declared, dropouts, lost_time_spread_s, merge_s, sums};
pub use kept::{Keeper, read_back};
pub use live::{body_of, plan_of_a_watch};
pub use marked::put_mark;
pub use notes::{frames_lost, none_seen, not_all_listed, reference_missing};
pub use part::Part;
pub use told::{events, last_gap_ago, level, level_now};
