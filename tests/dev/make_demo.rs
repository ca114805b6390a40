//! `make-demo`: writes the raw exports and the truth of `demo-project/` anew. Changes nothing else.

use crate::generator;
use std::fs;
use std::io;
use std::path::Path;

/// Writes every generated file below `demo-project` of the current folder.
pub(crate) fn run() -> io::Result<()> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-project");
    let files = generator::files(generator::SEED);
    for (path, bytes) in &files {
        let path = folder.join(path);
        path.parent().map_or(Ok(()), fs::create_dir_all)?;
        fs::write(path, bytes)?;
    }
    let bytes: usize = files.iter().map(|(_, bytes)| bytes.len()).sum();
    println!("{} files, {bytes} bytes", files.len());
    Ok(())
}
