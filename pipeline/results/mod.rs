//! `results/`: one state of one study, for people and other programs. It must not hold what is computed or when.
//!
//! Everything that is to be written is first brought together beside `results/`; then the manifest is marked as
//! changing, what is not ours is moved away, files get their new content by renaming, and the manifest is written
//! whole. Stopped anywhere in between, the next run knows from the marked manifest which files are ours.

pub mod edited;
pub mod found;
pub mod layout;
pub mod manifest;
