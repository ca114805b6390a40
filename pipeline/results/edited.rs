//! What stands in `results/` and is not ours goes to `edited/N/`, so that nothing that a person wrote is lost.

use crate::command::Failure;
use crate::store::Store;
use crate::store::disk;

/// A new folder `edited/N/`; made when the first file is moved there.
pub struct Aside<'a> {
    store: &'a Store<'a>,
    number: u64,
}

impl<'a> Aside<'a> {
    /// The next free number.
    pub fn new(store: &'a Store<'a>) -> Self {
        let entries = std::fs::read_dir(store.files.edited()).into_iter().flatten().flatten();
        let numbers = entries.filter_map(|entry| entry.file_name().to_str()?.parse::<u64>().ok());
        Self { store, number: numbers.max().unwrap_or(0) + 1 }
    }

    /// Moves a file of `results/` there; gives its new path in the study.
    ///
    /// # Errors
    /// If the disk refuses.
    pub fn take(&self, path: &str) -> Result<String, Failure> {
        let moved = format!("edited/{}/{path}", self.number);
        let from = self.store.files.result(path);
        let to = self.store.files.in_study(&moved);
        disk::folder_of(self.store.disk, &to)?;
        disk::relocate(self.store.disk, &from, &to).map_err(|e| Failure::io("move aside", &from, &e))?;
        Ok(moved)
    }
}
