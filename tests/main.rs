//! End-to-end tests: the real program in a folder of its own, and the rules of the house.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, unreachable_pub)]

mod adversarial;
mod architecture;
mod demo;
#[cfg(target_os = "linux")]
mod disks;
mod exports;
mod first_day;
mod generator;
mod handing_on;
mod histories;
#[cfg(target_os = "linux")]
mod interrupted;
mod open_studies;
mod particle_transients;
mod rebuild;
mod support;
mod surroundings;
mod synthetic_record;
mod undecided_fits;
mod workbooks;
