//! Physics that several stages share: quantities and units, materials, the instrument, geometries, models.

pub mod geometry;
pub mod instrument;
pub mod liquids;
pub mod materials;
pub mod models;
pub mod quantity;
pub mod rise;
pub mod set_point;
pub mod shares;
pub mod units;
pub mod validity;
