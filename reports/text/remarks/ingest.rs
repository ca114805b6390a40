//! What is said of an export.

use crate::text::numbers::{count, whole};
use stages::ingest::remark::Remark;

/// A remark on an export.
pub fn words(remark: &Remark) -> String {
    match remark {
        Remark::RowsRefused { rows, all, reason, line } => {
            format!("{} of {} refused: {reason} (first in line {line})", whole(*rows), count(*all, "row"))
        }
        Remark::UnitNotUnderstood { column, exported, stated } => {
            format!("column `{column}`: the unit `{exported}` is not understood; read as `{stated}`")
        }
        Remark::RadianLeftOut { column, exported } => {
            format!("column `{column}`: `{exported}` in the export is read as `rad/s`, as the layout says")
        }
        Remark::StepsCarried { rows: 1 } => "one row without step number carries that of the row before".to_owned(),
        Remark::StepsCarried { rows } => {
            format!("{} rows without step number carry that of the row before", whole(*rows))
        }
        Remark::StepsLaidEndToEnd { steps: 1 } => {
            "one step begins its time anew; it was laid behind the one before".to_owned()
        }
        Remark::StepsLaidEndToEnd { steps } => {
            format!("{} steps begin their time anew; they were laid end to end", whole(*steps))
        }
        Remark::MidnightsPassed { times } => {
            format!("the clock passes midnight {}; whole days were added", count(*times, "time"))
        }
        Remark::AngleStartsAnew { times } => {
            format!("the angle starts anew {}; whole turns were added", count(*times, "time"))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_is_said_as_one() {
        assert_eq!(
            words(&Remark::AngleStartsAnew { times: 1 }),
            "the angle starts anew 1 time; whole turns were added"
        );
        let refused = Remark::RowsRefused { rows: 1, all: 8, reason: "too few fields".into(), line: 10 };
        assert_eq!(words(&refused), "1 of 8 rows refused: too few fields (first in line 10)");
    }
}
