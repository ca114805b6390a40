//! The document: results and figures → data → typst → one PDF, with its source laid out so that it compiles alone.
//!
//! In: settings and results as `plan.rs` declares them. Out: `pdf`, every source file, `methods`. No text of the user
//! ever becomes markup: templates are fixed, and all that varies is in `data.json`.

pub mod attached;
mod budget;
mod controls;
pub mod data;
mod design;
pub mod find;
mod fits;
mod flaws;
mod left_out;
mod one_by_one;
pub mod printed;
mod remarks;
mod sensitivity;
mod set_aside;
pub mod typeset;
mod validity;

use data::{FigureRef, Parts, SettingLine};
use pipeline::diagnostic::Diagnostic;
use pipeline::stage::{Context, Output, Produced, from_json, mistake};
use serde::de::DeserializeOwned;
use set_aside::set_aside_lines;
use stages::claims::result::ClaimRow;
use stages::states::result::States;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

/// The fixed sources of the document: name and text.
const TEMPLATES: [(&str, &str); 3] = [
    ("main.typ", include_str!("template/main.typ")),
    ("report.typ", include_str!("template/report.typ")),
    ("look.typ", include_str!("template/look.typ")),
];

/// How often the document is set once more because of characters that no face has: text, then pictures.
const TRIES: usize = 4;

/// What the task gives; all but `pdf` and `methods` are sources of the document, by their names.
pub const OUTPUTS: [Output; 7] = [
    Output { name: "pdf", bulky: false },
    Output { name: "main.typ", bulky: false },
    Output { name: "report.typ", bulky: false },
    Output { name: "look.typ", bulky: false },
    Output { name: "data.json", bulky: false },
    Output { name: "study.yaml", bulky: false },
    Output { name: "methods", bulky: false },
];

/// Settings `study`, `samples`, `geometries`, `instruments`, `in_force`, `settings`, `set_aside`, `figures`, `own`,
/// `study_file`; inputs `run:PATH` (judged runs), `states`, `control:NAME`, `claims`, `fits`, `budget`, `sensitivity`, `variant:NAME` (states),
/// `figure:NAME`, `caption:NAME`, `table:NAME`, `own:PATH`.
///
/// # Errors
/// If typst is missing, or does not set the document.
pub fn work(context: &Context<'_>) -> Result<Produced, Vec<Diagnostic>> {
    let Some((tool, scratch)) = context.tool() else {
        return Err(mistake("the document was planned without typst".to_owned()));
    };
    let Some(typst) = &tool.path else { return Err(vec![Diagnostic::new("typst is missing").help(find::HELP)]) };
    let parts = parts(context, &tool.version)?;
    let study = attached::yaml(&context.settings("study_file")?).into_bytes();
    let timestamp = parts.date().and_then(midnight).unwrap_or(0);
    let job = typeset::Job { typst, folder: scratch, timestamp, limit: typeset::limit(parts.pages()) };
    let (mut without_glyph, mut tries) = (BTreeSet::new(), 0);
    let (data, pdf) = loop {
        let data = parts.json(&without_glyph).map_err(|e| mistake(format!("data.json: {e}")))?;
        let made = [("data.json", &data), ("attached/study.yaml", &study)];
        lay_out(context, scratch, &made).map_err(|e| vec![scratch_failed(&e)])?;
        match typeset::pdf(&job, &|| context.cancelled()) {
            Ok(pdf) => break (data, pdf),
            Err(errors) => {
                // Shown by their code points, so that no name keeps a study from its report.
                let known = without_glyph.len();
                without_glyph.extend(typeset::without_glyph(&errors));
                tries += 1;
                if without_glyph.len() == known || tries > TRIES {
                    return Err(errors);
                }
            }
        }
    };
    let sources = TEMPLATES.iter().fold(Produced::default().with("pdf", pdf), |produced, (name, text)| {
        produced.with(name, text.as_bytes().to_vec())
    });
    let methods = crate::text::methods::markdown(&parts.methods());
    Ok(sources.with("data.json", data).with("study.yaml", study).with("methods", methods.into_bytes()))
}

fn scratch_failed(e: &std::io::Error) -> Diagnostic {
    Diagnostic::new(format!("the document's scratch folder cannot be written: {e}"))
        .help("check the space and the permissions of the study's .shearback folder")
}

fn parts(context: &Context<'_>, typst: &str) -> Result<Parts, Vec<Diagnostic>> {
    let figures: Vec<FigureRef> = context.settings("figures")?;
    let caption = |figure: FigureRef| Ok((figure.clone(), context.json(&format!("caption:{}", figure.name))?));
    let ours = ("shearback".to_owned(), env!("CARGO_PKG_VERSION").to_owned());
    Ok(Parts {
        study: context.settings("study")?,
        samples: by_name(context, "samples")?,
        geometries: by_name(context, "geometries")?,
        instruments: by_name(context, "instruments")?,
        in_force: context.settings("in_force")?,
        settings: context.settings::<BTreeMap<String, SettingLine>>("settings")?.into_values().collect(),
        set_aside: set_aside_lines(&context.settings("set_aside")?),
        own: context.settings("own")?,
        tables: context.inputs().iter().filter_map(|(n, _)| n.strip_prefix("table:")).map(str::to_owned).collect(),
        versions: vec![ours, (find::NAME.to_owned(), typst.to_owned())],
        graded: all(context, "run:")?,
        states: context.json("states")?,
        controls: all(context, "control:")?,
        fits: context.json("fits")?,
        budget: context.json("budget")?,
        sensitivity: context.json("sensitivity")?,
        variants: variants(context)?,
        claims: all::<Vec<ClaimRow>>(context, "claims")?.concat(),
        figures: figures.into_iter().map(caption).collect::<Result<_, Vec<Diagnostic>>>()?,
    })
}

/// All inputs whose names start with `prefix`, in the declared order.
fn all<T: DeserializeOwned>(context: &Context<'_>, prefix: &str) -> Result<Vec<T>, Vec<Diagnostic>> {
    let named = context.inputs().iter().filter(|(name, _)| name.starts_with(prefix));
    named.map(|(name, bytes)| from_json(name, bytes)).collect()
}

/// Variants by their names.
fn variants(context: &Context<'_>) -> Result<Vec<(String, States)>, Vec<Diagnostic>> {
    let named = context.inputs().iter().filter_map(|(name, bytes)| Some((name.strip_prefix("variant:")?, bytes)));
    named.map(|(name, bytes)| Ok((name.to_owned(), from_json(name, bytes)?))).collect()
}

/// Writes templates, what is made here, and what other tasks made, into the task's own folder.
fn lay_out(context: &Context<'_>, folder: &Path, made: &[(&str, &Vec<u8>)]) -> std::io::Result<()> {
    let write = |path: &str, bytes: &[u8]| {
        let path = folder.join(path);
        path.parent().map_or(Ok(()), fs::create_dir_all)?;
        fs::write(path, bytes)
    };
    for (name, text) in TEMPLATES {
        write(name, text.as_bytes())?;
    }
    for (name, bytes) in made {
        write(name, bytes)?;
    }
    for (name, bytes) in context.inputs() {
        match name.split_once(':') {
            Some(("figure", figure)) => write(&format!("figures/{figure}.svg"), bytes)?,
            Some(("table", table)) => write(&format!("{}/{table}.csv", attached::FOLDER), bytes)?,
            Some(("own", path)) => write(&format!("{}/{path}", attached::OWN), bytes)?,
            _ => {}
        }
    }
    Ok(())
}

/// Midnight UTC of a day, seconds since 1970.
fn midnight(date: jiff::civil::Date) -> Option<i64> {
    jiff::tz::TimeZone::UTC.to_timestamp(date.at(0, 0, 0, 0)).ok().map(jiff::Timestamp::as_second)
}

/// What the settings of `role` hold, without the names that are its keys.
fn by_name<T: DeserializeOwned>(context: &Context<'_>, role: &str) -> Result<Vec<T>, Vec<Diagnostic>> {
    Ok(context.settings::<BTreeMap<String, T>>(role)?.into_values().collect())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::panic)]
mod tests;
