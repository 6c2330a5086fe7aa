//! Limits that the process sets itself before it loads a plugin.

use std::{fs, io};

/// Most address space in bytes.
const ADDRESS_SPACE_BYTES_MAX: libc::rlim_t = 4 << 30;
/// Most open descriptors.
const DESCRIPTOR_COUNT_MAX: libc::rlim_t = 64;
/// From -1000 to 1000: the larger, the sooner the kernel ends this process for want of memory.
const OOM_SCORE_ADJUSTMENT: &str = "800";

/// Sets every limit. One that cannot be set is told in the log and costs nothing else.
pub fn confine() {
    limit(libc::RLIMIT_AS, ADDRESS_SPACE_BYTES_MAX, "address space");
    limit(libc::RLIMIT_NOFILE, DESCRIPTOR_COUNT_MAX, "descriptors");
    limit(libc::RLIMIT_CORE, 0, "core dumps");
    if let Err(error) = fs::write("/proc/self/oom_score_adj", OOM_SCORE_ADJUSTMENT) {
        eprintln!(
            "goodwire-plugin-host: cannot offer itself to the kernel's memory killer: {error}"
        );
    }
}

/// Lowers one limit for good; a hard limit that is lower already stays.
fn limit(resource: libc::__rlimit_resource_t, most: libc::rlim_t, what: &str) {
    let mut limit = libc::rlimit {
        rlim_cur: 0,
        rlim_max: 0,
    };
    // SAFETY: `limit` is a valid place for the answer.
    let mut outcome = unsafe { libc::getrlimit(resource, &raw mut limit) };
    if outcome == 0 {
        limit.rlim_max = limit.rlim_max.min(most);
        limit.rlim_cur = limit.rlim_max;
        // SAFETY: `limit` is a valid limit.
        outcome = unsafe { libc::setrlimit(resource, &raw const limit) };
    }
    if outcome != 0 {
        let error = io::Error::last_os_error();
        eprintln!("goodwire-plugin-host: cannot limit {what}: {error}");
    }
}
