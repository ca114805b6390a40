//! What can be wrong with a study file beyond names and quantities: title, date, authors, claims, ranges of settings.

use crate::claims::params::Claim;
use crate::earlier_results::params::EarlierTable;
use crate::near_miss::nearest;
use crate::setup::document::Document;
use crate::setup::files::{Folder, set_point};
use crate::setup::listing::json;
use crate::setup::names::is_plain;
use crate::setup::source::Problems;
use crate::setup::stages::Stages;
use crate::setup::walk::leaves;
use crate::setup::yaml::listed;
use crate::setup::{Tables, schema};
use std::collections::BTreeMap;

/// Title, date, authors.
pub(super) fn front(document: &Document, problems: &mut Problems<'_>) {
    if document.study.trim().is_empty() {
        problems.add("study", "the study has no title", Some("write `study: …`".to_owned()));
    }
    if let Some(date) = &document.date
        && (date.len() != 10 || date.parse::<jiff::civil::Date>().is_err())
    {
        let help = "write it as YYYY-MM-DD, for example `2026-11-25`";
        problems.add("date", format!("`{date}` is not a date"), Some(help.to_owned()));
    }
    for (index, author) in document.authors.iter().enumerate() {
        let path = format!("authors[{}]", index + 1);
        if author.name.trim().is_empty() {
            problems.add(&format!("{path}.name"), "an author has no name", None);
        }
        if let Some(orcid) = author.orcid.as_ref().filter(|orcid| !is_orcid(orcid)) {
            let help =
                "write it as four groups of four, for example `0000-0002-1825-0097`; its last sign is a check digit";
            problems.add(&format!("{path}.orcid"), format!("`{orcid}` is not an ORCID iD"), Some(help.to_owned()));
        }
    }
}

/// Form and check digit (ISO 7064, MOD 11-2) of an ORCID iD, with or without its address before it.
fn is_orcid(text: &str) -> bool {
    let digits: Vec<char> = text.trim_start_matches("https://orcid.org/").chars().collect();
    let groups = digits.len() == 19 && [4, 9, 14].into_iter().all(|at| digits[at] == '-');
    let signs: Vec<char> = digits.into_iter().filter(|c| *c != '-').collect();
    let Some((last, first)) = signs.split_last().filter(|(_, first)| groups && first.len() == 15) else { return false };
    let Some(values) = first.iter().map(|c| c.to_digit(10)).collect::<Option<Vec<_>>>() else { return false };
    let total = values.into_iter().fold(0, |total, digit| (total + digit) * 2 % 11);
    let expected = (12 - total) % 11;
    *last == if expected == 10 { 'X' } else { char::from_digit(expected, 10).unwrap_or('?') }
}

/// Layouts that no export could be read by. Their own problems begin with the key where there is one.
pub(super) fn layouts(document: &Document, problems: &mut Problems<'_>) {
    for (name, layout) in &document.layouts {
        for problem in layout.problems() {
            let keyed = problem.split_once(": ").map(|(key, message)| (format!("layouts.{name}.{key}"), message));
            match keyed.filter(|(path, _)| problems.source().has(path)) {
                Some((path, message)) => problems.add(&path, message, None),
                None => problems.add(&format!("layouts.{name}"), problem, None),
            }
        }
    }
}

/// Settings outside their range, where they are written.
pub(super) fn ranges(stages: &Stages, prefix: &str, problems: &mut Problems<'_>) {
    let root = schema();
    for leaf in leaves(&root, &root["properties"]["stages"], prefix, &json(stages)) {
        let Some(number) = leaf.out_of_bounds().filter(|_| problems.source().has(&leaf.path)) else { continue };
        let name = leaf.path.rsplit('.').next().unwrap_or_default();
        let unit = leaf.unit.as_ref().map(|unit| format!(" {unit}")).unwrap_or_default();
        let range = leaf.range().unwrap_or_default();
        let message = format!("`{name}` is {number}{unit}: its range is {range}{unit}");
        problems.add(&leaf.path, message, Some(leaf.meaning));
    }
}

/// Samples and set-points between which a rise is to be read, where they are written.
pub(super) fn ends(stages: &Stages, prefix: &str, document: &Document, problems: &mut Problems<'_>) {
    let samples = || document.samples.iter().filter(|(_, sample)| !sample.control).map(|(name, _)| name.as_str());
    for (sample, ends) in &stages.reversal.states.ends {
        let path = format!("{prefix}.reversal.states.ends.{sample}");
        if !problems.source().has(&path) {
            continue;
        }
        if !samples().any(|name| name == sample) {
            unknown(&path, "sample with a rise", sample, samples(), problems);
        }
        for (key, end) in [("low", &ends.low), ("high", &ends.high)] {
            if let Some(text) = end {
                set_point(text, &format!("{path}.{key}"), problems);
            }
        }
    }
}

/// The variants, each as a whole.
pub(super) fn variants(document: &Document, problems: &mut Problems<'_>) -> BTreeMap<String, Stages> {
    let mut variants = BTreeMap::new();
    for name in document.variants.keys() {
        let path = format!("variants.{name}");
        let lower = name.to_lowercase();
        if !is_plain(name) {
            let help = "a variant names a folder: letters, digits, `-` and `_`";
            problems.add(&path, format!("`{name}` cannot be the name of a variant"), Some(help.to_owned()));
        } else if document.variants.keys().any(|other| other < name && other.to_lowercase() == lower) {
            problems.add(&path, format!("`{name}` differs from another variant only in case"), None);
        }
        match document.stages.varied(problems.source().value(&["variants", name])) {
            Ok(stages) => {
                ranges(&stages, &path, problems);
                ends(&stages, &path, document, problems);
                variants.insert(name.clone(), stages);
            }
            Err(message) => {
                problems.add(&path, format!("this variant does not fit the main settings: {message}"), None)
            }
        }
    }
    variants
}

/// Claims against the tables there will be.
pub(super) fn claims(claims: &[Claim], tables: &Tables<'_>, problems: &mut Problems<'_>) {
    for (index, claim) in claims.iter().enumerate() {
        let path = format!("claims[{}]", index + 1);
        if claim.says.trim().is_empty() {
            problems.add(&format!("{path}.says"), "a claim says nothing", None);
        }
        if !claim.value.is_finite() {
            problems.add(&format!("{path}.value"), "the value of a claim is a finite number", None);
        }
        if !claim.within.is_finite() || claim.within < 0.0 {
            problems.add(&format!("{path}.within"), "`within` is a number that is not negative", None);
        }
        match tables.get(claim.table.as_str()) {
            Some(columns) => claimed_columns(claim, columns, &path, problems),
            None => unknown(&format!("{path}.table"), "table", &claim.table, tables.keys().copied(), problems),
        }
        if let Some(text) = claim.filter.get("set_point") {
            set_point(text, &format!("{path}.where.set_point"), problems);
        }
    }
}

/// Tables from before against the files and tables there are.
pub(super) fn earlier_results(
    old: &BTreeMap<String, EarlierTable>,
    files: &Folder,
    tables: &Tables<'_>,
    problems: &mut Problems<'_>,
) {
    for (name, old) in old {
        let path = format!("earlier_results.{name}");
        if !is_plain(name) {
            let help = "it names a figure: letters, digits, `-` and `_`";
            problems.add(&path, format!("`{name}` cannot be the name of an earlier table"), Some(help.to_owned()));
        }
        files.named(&format!("{path}.file"), &old.file, problems);
        let Some(columns) = tables.get(old.table.as_str()).filter(|_| HELD.contains(&old.table.as_str())) else {
            unknown(&format!("{path}.table"), "table of results", &old.table, HELD.into_iter(), problems);
            continue;
        };
        let rows = old.rows.keys().map(|column| (format!("{path}.rows.{column}"), column));
        for (path, column) in rows.chain(old.numbers.keys().map(|c| (format!("{path}.numbers.{c}"), c))) {
            if !columns.contains(&column.as_str()) {
                unknown(&path, &format!("column of table `{}`", old.table), column, columns.iter().copied(), problems);
            }
        }
        if old.rows.is_empty() || old.numbers.is_empty() {
            let help = "`rows` says which columns pick a row, `numbers` which hold numbers";
            problems.add(&path, "an earlier table needs `rows` and `numbers`", Some(help.to_owned()));
        }
    }
}

/// Tables that earlier results can be held against.
const HELD: [&str; 4] = ["states", "thickening", "reversals", "fits"];

fn claimed_columns(claim: &Claim, columns: &[&str], path: &str, problems: &mut Problems<'_>) {
    let picked = claim.filter.keys().map(|key| (format!("{path}.where.{key}"), key));
    for (path, name) in picked.chain([(format!("{path}.column"), &claim.column)]) {
        if !columns.contains(&name.as_str()) {
            unknown(&path, &format!("column of table `{}`", claim.table), name, columns.iter().copied(), problems);
        }
    }
}

fn unknown<'a>(
    path: &str,
    kind: &str,
    name: &str,
    known: impl Iterator<Item = &'a str> + Clone,
    problems: &mut Problems<'_>,
) {
    let help = match nearest(name, known.clone()) {
        Some(near) => format!("did you mean `{near}`?"),
        None => format!("there are {}", listed(known)),
    };
    problems.add(path, format!("`{name}` is no {kind}"), Some(help));
}

#[cfg(test)]
mod tests {
    use super::is_orcid;

    /// The example of the ORCID documentation, and one whose check digit is X.
    #[test]
    fn orcid_check_digit() {
        assert!(is_orcid("0000-0002-1825-0097"));
        assert!(is_orcid("https://orcid.org/0000-0002-1694-233X"));
        for text in ["0000-0002-1825-0098", "0000000218250097", "0000-0002-1825-009", "", "0000-0002-1825-00é7"] {
            assert!(!is_orcid(text), "{text}");
        }
    }
}
