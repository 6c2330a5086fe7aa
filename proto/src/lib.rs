//! Messages and services of goodwire, generated from the `.proto` files beside this crate.
//!
//! With the feature `grpc` the clients and servers of the public API are here too; plugins and
//! their host need the messages alone.

pub mod pipe;

/// The public API.
#[allow(
    missing_docs,
    clippy::all,
    clippy::allow_attributes_without_reason,
    clippy::too_many_lines,
    reason = "generated; every field is documented in the .proto"
)]
pub mod v1 {
    include!(concat!(env!("OUT_DIR"), "/goodwire.v1.rs"));
}

/// What crosses the plugin ABI.
pub mod plugin {
    /// Version 1 of what crosses the plugin ABI.
    #[allow(
        missing_docs,
        clippy::all,
        clippy::allow_attributes_without_reason,
        clippy::too_many_lines,
        reason = "generated; every field is documented in the .proto"
    )]
    pub mod v1 {
        include!(concat!(env!("OUT_DIR"), "/goodwire.plugin.v1.rs"));
    }
}

/// The descriptors of all `.proto` files, comments included, as a `FileDescriptorSet`.
pub const DESCRIPTORS: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/descriptors.bin"));
