//! The analysis `latency`.
