//! Real-time priority of audio threads, asked for and then read back: a system may refuse it
//! without a word.

/// The scheduling of a thread in words: `fifo 10`, `rr 10`, `other`; empty where it is unknown.
///
/// `thread` is what `pthread_self` gave inside a thread that still runs, 0 for none.
#[must_use]
pub fn read_back(thread: u64) -> String {
    if thread == 0 {
        return String::new();
    }
    let mut policy = 0;
    let mut parameters = libc::sched_param { sched_priority: 0 };
    // SAFETY: the caller says that the thread runs; both outputs are valid for writing.
    let status = unsafe {
        libc::pthread_getschedparam(thread as libc::pthread_t, &mut policy, &mut parameters)
    };
    match (status, policy) {
        (0, libc::SCHED_FIFO) => format!("fifo {}", parameters.sched_priority),
        (0, libc::SCHED_RR) => format!("rr {}", parameters.sched_priority),
        (0, _) => String::from("other"),
        _ => String::new(),
    }
}

/// Asks for first-in-first-out scheduling of a thread; what came of it, [`read_back`] tells.
///
/// `thread` as in [`read_back`]; `priority` from 1 to 99.
pub fn ask_for_fifo(thread: u64, priority: i32) {
    if thread == 0 {
        return;
    }
    let parameters = libc::sched_param {
        sched_priority: priority,
    };
    // SAFETY: the caller says that the thread runs; the parameters live until the call returns.
    let status = unsafe {
        libc::pthread_setschedparam(thread as libc::pthread_t, libc::SCHED_FIFO, &parameters)
    };
    if status != 0 {
        tracing::debug!(
            status,
            priority,
            "no real-time priority for the audio thread"
        );
    }
}

/// The calling thread as a number for [`read_back`]. No system call: it reads a register.
#[must_use]
pub fn this_thread() -> u64 {
    // SAFETY: pthread_self has no preconditions and cannot fail.
    unsafe { libc::pthread_self() as u64 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_ordinary_thread_reads_other_and_no_thread_reads_nothing() {
        assert_eq!(read_back(this_thread()), "other");
        assert_eq!(read_back(0), "");
    }
}
