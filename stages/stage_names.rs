//! The stages in the order of the data, each the name of its folder: the one list that build scripts, code and tests read.

/// Folders of the stages.
pub const STAGES: [&str; 8] =
    ["ingest", "clean", "reversal", "states", "fit", "uncertainty", "claims", "earlier_results"];
