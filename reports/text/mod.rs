//! What is said in words: rounded numbers, captions, the methods text, cautions.

pub mod captions;
pub mod cautions;
pub mod methods;
pub mod numbers;
pub mod slug;
