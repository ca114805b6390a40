//! `cargo demo` and `cargo check-all`, and `make-demo`, which writes the demo's raw exports anew.

use std::process::ExitCode;

#[path = "../generator/mod.rs"]
mod generator;
mod make_demo;

fn main() -> ExitCode {
    match std::env::args().nth(1).as_deref() {
        Some("make-demo") => match make_demo::run() {
            Ok(()) => ExitCode::SUCCESS,
            Err(error) => {
                eprintln!("make-demo: {error}");
                ExitCode::FAILURE
            }
        },
        other => {
            eprintln!("expected make-demo, found {}", other.unwrap_or("nothing"));
            ExitCode::FAILURE
        }
    }
}
