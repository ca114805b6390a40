//! One file of `results/` against the same file computed again: the same bytes, the same numbers, or what differs.

use super::{Artefact, OF_U, Outcome, RELATIVE};
use crate::tables::cells::{Differences, Moved, differences, key_columns};
use crate::text::numbers;
use serde_json::Value;
use stages::table::Table;
use std::path::Path;

/// Both sides, and what is known of the surroundings.
pub struct Sides<'a> {
    /// `results/` as it stands.
    pub standing: &'a Path,
    /// The same, computed again.
    pub again: &'a Path,
    /// Whether typesetter or program have other versions than when the results were made.
    pub other_versions: bool,
}

impl Sides<'_> {
    /// Compares a file whose bytes differ.
    pub fn compare(&self, path: &str) -> Artefact {
        let ending = path.rsplit('.').next().unwrap_or_default();
        match (path, ending) {
            ("report.pdf", _) => self.page(path),
            ("report/data.json", _) if self.versions_only() => {
                artefact(path, Outcome::OtherTypesetter, "only the versions that it prints differ")
            }
            (_, "parquet" | "csv") => self.table(path),
            (_, "svg") => self.picture(path),
            _ => artefact(path, Outcome::Different, &self.first_line(path)),
        }
    }

    fn read(&self, path: &str) -> Option<(Vec<u8>, Vec<u8>)> {
        let at = |root: &Path| std::fs::read(path.split('/').fold(root.to_path_buf(), |at, part| at.join(part))).ok();
        Some((at(self.standing)?, at(self.again)?))
    }

    fn same(&self, path: &str) -> bool {
        self.read(path).is_some_and(|(a, b)| a == b)
    }

    /// The page, which follows from its sources and the typesetter.
    fn page(&self, path: &str) -> Artefact {
        let sources = ["report/main.typ", "report/report.typ", "report/look.typ"];
        let same = sources.iter().all(|source| self.same(source));
        let data = self.same("report/data.json") || self.versions_only();
        match (same && data, self.other_versions) {
            (true, true) => {
                artefact(path, Outcome::OtherTypesetter, "its sources and data are the same; other versions set it")
            }
            (true, false) => artefact(path, Outcome::Different, "though its sources, data and typesetter are the same"),
            (false, _) => artefact(path, Outcome::Different, "its sources or data differ"),
        }
    }

    /// Whether the document's data differ in nothing but the versions that are printed, and those are known to.
    fn versions_only(&self) -> bool {
        let without = |bytes: &[u8]| {
            let mut data: Value = serde_json::from_slice(bytes).ok()?;
            data.as_object_mut()?.remove("versions")?;
            Some(data)
        };
        let both = self.read("report/data.json").and_then(|(a, b)| Some((without(&a)?, without(&b)?)));
        self.other_versions && both.is_some_and(|(a, b)| a == b)
    }

    fn table(&self, path: &str) -> Artefact {
        match self.differences(path) {
            Ok(found) => table_artefact(path, &found),
            Err(words) => artefact(path, Outcome::Different, &words),
        }
    }

    fn differences(&self, path: &str) -> Result<Differences, String> {
        let (a, b) = self.read(path).ok_or("it cannot be read")?;
        let parse = |bytes: &[u8]| {
            let table = if path.ends_with(".csv") { Table::from_csv(bytes) } else { Table::from_parquet(bytes) };
            table.map_err(|e| e.to_string())
        };
        let stem = path.rsplit('/').next().unwrap_or(path).split('.').next().unwrap_or_default();
        let key = if path.contains("tables/") && !path.contains("points/") { key_columns(stem) } else { &[] };
        Ok(differences(&parse(&a)?, &parse(&b)?, key))
    }

    /// A picture is held by the numbers that it shows.
    fn picture(&self, path: &str) -> Artefact {
        let name = path.rsplit('/').next().unwrap_or(path).trim_end_matches("svg");
        let data = format!("figures/{name}csv");
        let same = self.same(&data) || self.differences(&data).is_ok_and(|found| found.within(RELATIVE, OF_U));
        if same {
            artefact(path, Outcome::SameNumbers, "drawn otherwise; the numbers that it shows are the same")
        } else {
            artefact(path, Outcome::Different, &format!("the numbers that it shows differ, see {data}"))
        }
    }

    fn first_line(&self, path: &str) -> String {
        let Some((a, b)) = self.read(path) else { return "it cannot be read".to_owned() };
        let (a, b) = (String::from_utf8_lossy(&a).into_owned(), String::from_utf8_lossy(&b).into_owned());
        let at = a.lines().zip(b.lines()).position(|(a, b)| a != b).unwrap_or(a.lines().count().min(b.lines().count()));
        let line = |text: &str| text.lines().nth(at).unwrap_or("").trim().to_owned();
        // A long line is shown from a little before the first sign that differs.
        let same = line(&a).chars().zip(line(&b).chars()).take_while(|(a, b)| a == b).count();
        let from = if same > 60 { same - 20 } else { 0 };
        let short = |text: &str| -> String { line(text).chars().skip(from).take(80).collect() };
        format!("from line {} on: \u{201c}{}\u{201d} stands, \u{201c}{}\u{201d} computed", at + 1, short(&a), short(&b))
    }
}

fn artefact(path: &str, outcome: Outcome, words: &str) -> Artefact {
    Artefact { path: path.to_owned(), outcome, words: words.to_owned(), largest: None }
}

fn table_artefact(path: &str, found: &Differences) -> Artefact {
    let largest = found.largest().cloned();
    if found.within(RELATIVE, OF_U) {
        let words = match &largest {
            None => "written otherwise; every cell is the same".to_owned(),
            Some(_) => format!("{} cells differ by rounding only", numbers::whole(found.moved.len() as u64)),
        };
        return Artefact { largest, ..artefact(path, Outcome::SameNumbers, &words) };
    }
    let mut words = Vec::new();
    let mut list = |what: &str, names: &[String]| {
        if !names.is_empty() {
            let more = if names.len() > 3 { format!(" and {} more", names.len() - 3) } else { String::new() };
            words.push(format!("{what} {}{more}", names[..names.len().min(3)].join("; ")));
        }
    };
    list("columns that stand and are not computed:", &found.columns_gone);
    list("columns that are computed and do not stand:", &found.columns_new);
    list("rows that stand and are not computed:", &found.rows_gone);
    list("rows that are computed and do not stand:", &found.rows_new);
    if let Some(moved) = &largest {
        let count = numbers::count(found.moved.len() as u64, "cell");
        let differ = if found.moved.len() == 1 { "differs" } else { "differ" };
        words.push(format!("{count} {differ}, most of all {}", cell(moved)));
    }
    Artefact { largest, ..artefact(path, Outcome::Different, &words.join("; ")) }
}

/// `contact_share of B52, 2.00 1/s: 0.95 stands, 0.71 computed, 12 standard uncertainties apart`.
fn cell(moved: &Moved) -> String {
    let side = |text: &Option<String>| text.clone().unwrap_or_else(|| "no value".to_owned());
    let apart = match (moved.in_u, moved.relative) {
        (Some(d), _) => format!(", {} standard uncertainties apart", numbers::significant(d, 2)),
        (None, Some(r)) => format!(", {} apart", numbers::percent(r)),
        _ => String::new(),
    };
    format!("{} of {}: {} stands, {} computed{apart}", moved.column, moved.row, side(&moved.old), side(&moved.new))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    struct Two(tempfile::TempDir);

    impl Two {
        fn new(files: &[(&str, Vec<u8>, Vec<u8>)]) -> Self {
            let folder = tempfile::tempdir().unwrap();
            for (path, a, b) in files {
                for (side, bytes) in [("a", a), ("b", b)] {
                    let path = folder.path().join(side).join(path);
                    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
                    std::fs::write(path, bytes).unwrap();
                }
            }
            Self(folder)
        }

        fn compare(&self, path: &str, other_versions: bool) -> Artefact {
            let (a, b) = (self.0.path().join("a"), self.0.path().join("b"));
            Sides { standing: &a, again: &b, other_versions }.compare(path)
        }
    }

    fn states(share: f64) -> Vec<u8> {
        let text = |s: &str| [Some(s.to_owned())];
        let table = Table::new().text("sample", text("A")).text("set_point", text("1.00 Pa"));
        let table = table.text("controlled", text("stress")).float("contact_share", [Some(share)]);
        table.float("u_contact_share", [Some(0.02)]).to_parquet().unwrap()
    }

    #[test]
    fn a_table_is_the_same_within_the_tolerance_and_told_in_uncertainties_beyond_it() {
        let path = "tables/states.parquet";
        let near = Two::new(&[(path, states(0.5), states(0.5 + 1e-12))]).compare(path, false);
        assert_eq!(near.outcome, Outcome::SameNumbers);
        let far = Two::new(&[(path, states(0.5), states(0.55))]).compare(path, false);
        assert_eq!(far.outcome, Outcome::Different);
        assert!((far.largest.unwrap().in_u.unwrap() - 2.5).abs() < 1e-6);
        assert!(
            far.words.contains("contact_share of A, 1.00 Pa, stress") && far.words.contains("2.5 standard"),
            "{}",
            far.words
        );
    }

    #[test]
    fn a_page_holds_only_if_a_named_version_explains_it() {
        let data = |v: &str, x: u8| format!("{{\"versions\":[[\"typst\",\"{v}\"]],\"x\":{x}}}").into_bytes();
        let with = |b: Vec<u8>| {
            let same = |path: &'static str| (path, b"t".to_vec(), b"t".to_vec());
            Two::new(&[
                same("report/main.typ"),
                same("report/report.typ"),
                same("report/look.typ"),
                ("report/data.json", data("0.15.0", 1), b),
                ("report.pdf", b"one".to_vec(), b"two".to_vec()),
            ])
        };
        let other = with(data("0.15.1", 1));
        assert_eq!(other.compare("report.pdf", true).outcome, Outcome::OtherTypesetter);
        assert_eq!(other.compare("report/data.json", true).outcome, Outcome::OtherTypesetter);
        assert_eq!(other.compare("report.pdf", false).outcome, Outcome::Different);
        assert_eq!(with(data("0.15.0", 1)).compare("report.pdf", false).outcome, Outcome::Different);
        assert_eq!(with(data("0.15.1", 2)).compare("report.pdf", true).outcome, Outcome::Different);
        assert_eq!(with(data("0.15.1", 2)).compare("report/data.json", true).outcome, Outcome::Different);
    }

    #[test]
    fn a_picture_is_held_by_its_numbers() {
        let svg = |csv: &str| {
            Two::new(&[
                ("figures/f.svg", b"<a/>".to_vec(), b"<b/>".to_vec()),
                ("figures/f.csv", b"x\n1.0\n".to_vec(), csv.as_bytes().to_vec()),
            ])
            .compare("figures/f.svg", false)
            .outcome
        };
        assert_eq!(svg("x\n1.0\n"), Outcome::SameNumbers);
        assert_eq!(svg("x\n1.5\n"), Outcome::Different);
    }
}
