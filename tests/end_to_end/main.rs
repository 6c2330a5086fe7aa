//! Drives the real daemon through gRPC and the command line, on the simulated rig.

mod analyses;
mod asking;
mod baselines;
mod batches;
mod channels;
mod commissioning;
mod declared;
mod endurance;
mod faults;
mod kills;
mod levels;
mod life;
mod marks;
mod passive;
mod permission;
mod plugin;
mod reports;
mod rounds;
mod streams;
mod telling;
mod verdicts;
mod watches;
mod watching;
mod wiring;
