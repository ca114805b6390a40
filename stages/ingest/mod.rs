//! Ingest.
pub mod result;
