//! Ingest.
pub mod layout;
pub mod params;
pub mod result;
