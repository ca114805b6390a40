//! Cone and plate.
