//! The audit sheet: one page to be filed, as PDF, and beside it all that was found as JSON. It is no result of the
//! study, so it may hold the day on which it was made.

use super::words::{counted, differing, kept, of_run, raw};
use super::{Audit, OF_U, RELATIVE};
use crate::document::{find, typeset};
use crate::text::numbers;
use pipeline::command::Failure;
use pipeline::diagnostic::Diagnostic;
use pipeline::stage::Tool;
use serde_json::{Value, json};
use std::fs;
use std::path::{Path, PathBuf};

const TEMPLATE: &str = include_str!("sheet.typ");
/// What fits on the page beside everything else.
const CLAIMS: usize = 6;
const PROBLEMS: usize = 10;
/// With more problems than this there is room for nothing else but the facts; claims that miss are among them.
const FEW: usize = 3;
/// Longest text of one claim or problem on the page, characters; whole in the JSON.
const LONGEST: usize = 260;

/// Whether a sheet may be written under this name, before anything is computed.
///
/// # Errors
/// If it is no PDF by name, or would stand among the results.
pub fn check(path: &Path, study: &Path) -> Result<(), Failure> {
    let problem = |message: String, help: &str| Err(Failure::input(vec![Diagnostic::new(message).help(help)]));
    if path.extension().is_none_or(|ending| !ending.eq_ignore_ascii_case("pdf")) {
        return problem(format!("{} does not end in .pdf", path.display()), "name the sheet like `audit.pdf`");
    }
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let Ok(folder) = folder.canonicalize() else {
        return problem(format!("there is no folder {}", folder.display()), "make it first");
    };
    let inside = |name: &str| study.join(name).canonicalize().is_ok_and(|ours| folder.starts_with(ours));
    if ["results", ".shearback", "raw"].into_iter().any(inside) {
        return problem(format!("{} lies in what is audited", path.display()), "write the sheet elsewhere");
    }
    Ok(())
}

/// Writes the sheet to `path`, and the JSON beside it; gives both.
///
/// # Errors
/// If typst does not set it, or the disk refuses.
pub fn write(audit: &Audit, path: &Path) -> Result<[PathBuf; 2], Failure> {
    let tool = find::find_typst().map_err(Failure::surroundings)?;
    let secondary = path.with_extension("json");
    let now = jiff::Timestamp::now();
    let pdf = set(&tool, &page(audit, &now.strftime("%Y-%m-%d").to_string()), now.as_second())?;
    let whole = serde_json::to_vec_pretty(audit).unwrap_or_default();
    for (path, bytes) in [(path, pdf), (&*secondary, whole)] {
        fs::write(path, bytes).map_err(|e| Failure::io("write", path, &e))?;
    }
    Ok([path.to_owned(), secondary])
}

fn set(tool: &Tool, page: &Value, timestamp: i64) -> Result<Vec<u8>, Failure> {
    let refused = |diagnostics| Failure { exit: pipeline::command::Exit::Surroundings, diagnostics };
    let Some(typst) = &tool.path else {
        return Err(refused(vec![Diagnostic::new("typst is missing").help(find::HELP)]));
    };
    let folder = tempfile::tempdir().map_err(|e| Failure::io("create a folder in", &std::env::temp_dir(), &e))?;
    let data = page.to_string();
    for (name, text) in [("main.typ", TEMPLATE), ("sheet.json", &data)] {
        let path = folder.path().join(name);
        fs::write(&path, text).map_err(|e| Failure::io("write", &path, &e))?;
    }
    typeset::pdf(&typeset::Job { typst, folder: folder.path(), timestamp, limit: typeset::limit(1) }, &|| false)
        .map_err(refused)
}

/// What stands on the page.
fn page(audit: &Audit, on: &str) -> Value {
    let cut = |text: &str| match text.char_indices().nth(LONGEST) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text.to_owned(),
    };
    let hold = audit.claims.iter().filter(|claim| claim.holds).count();
    let with = audit.with.iter().map(|(what, value)| format!("{what} {value}")).collect::<Vec<_>>().join("; ");
    let (again, with, around) = if audit.recomputed {
        (", computed again", with, differing(audit))
    } else {
        ("", "nothing: it could not be computed again".to_owned(), "not asked: nothing was computed".to_owned())
    };
    let room = audit.problems.len() <= FEW;
    let claims = if room { CLAIMS } else { 0 };
    let problems = audit.problems.iter().take(PROBLEMS).map(|p| json!([cut(&p.what), cut(&p.words)]));
    json!({
        "study": audit.study,
        "on": on,
        "holds": audit.holds,
        "verdict": verdict(audit),
        "lines": [
            ["Results of", of_run(audit)],
            ["BLAKE3 of their manifest", audit.manifest.clone().unwrap_or_default()],
            ["Raw exports", raw(audit)],
            [format!("Results{again}"), format!("{}: {}", numbers::count(audit.files.len() as u64, "file"), counted(audit.files.iter()))],
            ["What the study keeps for itself", kept(audit)],
            ["Claims", format!("{hold} of {} hold", audit.claims.len())],
            ["Computed again with", with],
            ["Surroundings of that run", around],
        ],
        "kinds": if room { kinds(audit) } else { Vec::new() },
        "claims": audit.claims.iter().take(claims).map(|c| cut(&c.words)).collect::<Vec<_>>(),
        "more-claims": audit.claims.len().saturating_sub(CLAIMS),
        "problems": problems.collect::<Vec<_>>(),
        "more-problems": audit.problems.len().saturating_sub(PROBLEMS),
        "how": how(audit),
        "made-with": format!("shearback {}", env!("CARGO_PKG_VERSION")),
    })
}

fn verdict(audit: &Audit) -> String {
    match (audit.holds, audit.recomputed) {
        (true, _) => "Everything holds.".to_owned(),
        (false, true) => {
            format!("Not everything holds: {}.", numbers::count(audit.problems.len() as u64, "problem"))
        }
        (false, false) => "Nothing could be computed again: the raw exports are not here.".to_owned(),
    }
}

/// The files of the results kind by kind.
fn kinds(audit: &Audit) -> Vec<[String; 2]> {
    const KINDS: [(&str, &str); 5] = [
        ("readings", "tables/points/"),
        ("tables", "tables/"),
        ("figures", "figures/"),
        ("source of the document", "report/"),
        ("variants", "variants/"),
    ];
    let kind =
        |path: &str| KINDS.iter().find(|(_, begin)| path.starts_with(begin)).map_or("document and methods", |k| k.0);
    let names = KINDS.iter().map(|(name, _)| *name).chain(["document and methods"]);
    let told = names.map(|name| {
        let files = audit.files.iter().filter(move |file| kind(&file.path) == name);
        [format!("{name}, {}", files.clone().count()), counted(files)]
    });
    told.filter(|[_, words]| words != "none").collect()
}

fn how(audit: &Audit) -> String {
    if !audit.recomputed {
        return "No raw export is here, so nothing could be computed again. Every file of the results and of what the \
                study keeps was hashed (BLAKE3) and held against manifest and ledger. Nothing in the study was changed."
            .to_owned();
    }
    format!(
        "Every raw export, every file of the results and of what the study keeps was hashed (BLAKE3). Everything was \
         computed again from the raw exports, in a folder apart and without anything that was kept. A number counts as \
         the same within {} of itself or {} of its standard uncertainty. Nothing in the study was changed.",
        numbers::setting(RELATIVE),
        numbers::setting(OF_U)
    )
}
