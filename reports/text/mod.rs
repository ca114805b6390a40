//! What is said in words: rounded numbers, the methods text, cautions.

pub mod cautions;
pub mod methods;
pub mod models;
pub mod numbers;
pub mod protocol;
pub mod quantities;
pub mod remarks;
pub mod said;
pub mod slug;
pub mod sources;
pub mod words;
