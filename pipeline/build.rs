//! Tells the program what it was built with; this goes to the ledger, never into a key.

use std::process::Command;

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    let compiler = std::env::var("RUSTC").unwrap_or_else(|_| "rustc".into());
    let version = Command::new(compiler).arg("--version").output().map(|o| o.stdout).unwrap_or_default();
    println!("cargo:rustc-env=SHEARBACK_COMPILER={}", String::from_utf8_lossy(&version).trim());
    for name in ["TARGET", "PROFILE"] {
        println!("cargo:rustc-env=SHEARBACK_{name}={}", std::env::var(name).unwrap_or_default());
    }
}
