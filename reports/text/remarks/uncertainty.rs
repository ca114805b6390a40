//! What is said of the joined uncertainty.

use crate::text::numbers::whole;
use stages::uncertainty::result::Remark;

/// A remark on the joined uncertainty of the study.
pub fn words(remark: &Remark) -> String {
    match remark {
        Remark::TermsLeftOut => "terms of instrument and sample were left out by the study file".to_owned(),
        Remark::NotSettled { trials } => {
            format!("{} Monte Carlo trials: not all ends have settled to the printed digits", whole(*trials))
        }
        Remark::Settled { trials } => format!(
            "at most {} Monte Carlo trials: the ends of all intervals have settled to the printed digits",
            whole(*trials)
        ),
    }
}
