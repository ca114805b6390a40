//! What is said of a claim that does not hold.

use super::numbers;
use stages::claims::result::ClaimRow;

/// The sentence about a claim that does not hold.
pub fn miss(row: &ClaimRow) -> String {
    let found = match row.found {
        Some(found) => format!("found {}", numbers::plus_minus(found, row.u_found.unwrap_or(f64::NAN))),
        None => row.remarks.clone(),
    };
    let (value, within) = (numbers::setting(row.value), numbers::setting(row.within));
    format!("claim misses: \"{}\": {value} within {within}; {found}", row.says)
}
