//! Words of what the stages remark, a file for each stage: plain sentences without capital and stop.

pub mod claims;
pub mod states;
pub mod uncertainty;
