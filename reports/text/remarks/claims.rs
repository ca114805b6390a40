//! What is said of claims.

use crate::text::numbers;
use stages::claims::result::{ClaimRow, Offer, Remark};

/// Why a claim does not hold, or what speaks against one that does.
pub fn words(remark: &Remark) -> String {
    match remark {
        Remark::NoTable { table, known } => format!("there is no table {table}; there are {}", known.join(", ")),
        Remark::NoColumn { column } => format!("there is no column {column}"),
        Remark::NoNumbers { column } => format!("column {column} holds no numbers"),
        Remark::EmptyTable { table } => format!("table {table} has no rows in this study"),
        Remark::NoRow { offers } => {
            let offer = |o: &Offer| format!("{}: {}", o.column, o.texts.join(", "));
            format!("no row fits; there are {}", offers.iter().map(offer).collect::<Vec<_>>().join("; "))
        }
        Remark::ManyRows { rows } => format!("{rows} rows fit; name more columns under `where`"),
        Remark::NotResolved => "the study gives no value there (not resolved)".to_owned(),
        Remark::Differs => "differs by more than stated".to_owned(),
        Remark::MissesUnder { choices } => {
            let noun = if choices.len() == 1 { "choice" } else { "choices" };
            let named: Vec<String> = choices.iter().map(|c| format!("“{c}”")).collect();
            format!("would miss under the {noun} {}", named.join(", "))
        }
    }
}

/// The sentence about a claim that does not hold.
pub fn miss(row: &ClaimRow) -> String {
    let found = match row.found {
        Some(found) => format!("found {}", numbers::plus_minus(found, row.u_found.unwrap_or(f64::NAN))),
        None => row.remark.as_ref().map_or_else(String::new, words),
    };
    let (value, within) = (numbers::setting(row.value), numbers::setting(row.within));
    format!("claim misses: \"{}\": {value} within {within}; {found}", row.says)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_claim_that_fits_no_row_says_what_there_is() {
        let offer = Offer { column: "sample".into(), texts: vec!["A".into(), "B".into()] };
        assert_eq!(words(&Remark::NoRow { offers: vec![offer] }), "no row fits; there are sample: A, B");
        let misses = Remark::MissesUnder { choices: vec!["straight line".into()] };
        assert_eq!(words(&misses), "would miss under the choice “straight line”");
    }
}
