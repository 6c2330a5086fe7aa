//! What the system tells of the daemon's process.

use std::fs;

/// Memory that a process holds, in MiB (`VmRSS` of proc(5)).
pub fn resident_mib(pid: i32) -> f64 {
    let status = fs::read_to_string(format!("/proc/{pid}/status")).expect("it runs");
    let line = status.lines().find(|line| line.starts_with("VmRSS:"));
    let kib = line.and_then(|line| line.split_whitespace().nth(1));
    kib.and_then(|kib| kib.parse::<f64>().ok())
        .expect("a running process holds memory")
        / 1_024.0
}

/// The processes that a process has started and that are there still.
pub fn children(pid: i32) -> Vec<i32> {
    let tasks = fs::read_dir(format!("/proc/{pid}/task")).expect("it runs");
    let children = tasks.flatten().map(|task| {
        // A thread may end while it is looked at.
        fs::read_to_string(task.path().join("children")).unwrap_or_default()
    });
    children
        .flat_map(|text| {
            text.split_whitespace()
                .filter_map(|id| id.parse().ok())
                .collect::<Vec<_>>()
        })
        .collect()
}
