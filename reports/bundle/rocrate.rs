//! The RO-Crate 1.2 description of a packed study, after the Process Run Crate profile: one action (the run), which took
//! the study file and the raw exports and gave the results. Made here, and checked here on the other side.

use super::facts::Facts;
use super::hashes::Hashes;
use super::{CRATE, WITHHELD};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};

const VERSION: &str = "https://w3id.org/ro/crate/1.2";
const PROFILE: &str = "https://w3id.org/ro/wfrun/process/0.5";
/// Address of our own entity in the crate.
const PROGRAM: &str = "#shearback";
/// Where the crate tells how the program is used: in the guide that is packed with it.
const HOME: &str = "README.md";

/// Address of an outside tool's entity: its own page, where it is known.
fn tool(name: &str) -> String {
    if name == crate::document::find::NAME { "https://typst.app/".to_owned() } else { format!("#{name}") }
}

/// The description. `files` are those of the payload, by path in the study.
pub fn describe(facts: &Facts, files: &BTreeMap<String, Hashes>) -> Value {
    let mut graph = vec![
        json!({
            "@id": CRATE, "@type": "CreativeWork", "about": {"@id": "./"}, "conformsTo": {"@id": VERSION},
        }),
        root(facts, files),
        json!({"@id": PROFILE, "@type": ["CreativeWork", "Profile"], "name": "Process Run Crate", "version": "0.5"}),
        json!({
            "@id": PROGRAM, "@type": "SoftwareApplication", "name": "shearback", "softwareVersion": facts.version,
            "version": facts.version, "url": HOME,
            "softwareRequirements": single(facts.tools.iter().map(|(name, _)| json!({"@id": tool(name)})).collect()),
            "description": "From raw shear-reversal exports to contact shares with uncertainties and a report",
        }),
        action(facts, files),
    ];
    graph.extend(licence(facts));
    graph.extend(facts.authors.iter().enumerate().map(|(at, _)| author(facts, at)));
    graph.extend(
        facts
            .authors
            .iter()
            .filter_map(|author| author.affiliation.as_ref())
            .collect::<BTreeSet<_>>()
            .into_iter()
            .map(|name| json!({"@id": organisation(name), "@type": "Organization", "name": name})),
    );
    graph.extend(facts.tools.iter().map(|(name, version)| {
        json!({
            "@id": tool(name), "@type": "SoftwareApplication", "name": name, "softwareVersion": version,
            "version": version, "url": tool(name),
        })
    }));
    graph.extend(files.iter().map(|(path, hashes)| file(path, hashes)));
    json!({"@context": format!("{VERSION}/context"), "@graph": graph})
}

fn root(facts: &Facts, files: &BTreeMap<String, Hashes>) -> Value {
    let mut root = json!({
        "@id": "./", "@type": "Dataset",
        "name": facts.title,
        "description": facts.description(),
        "datePublished": facts.date,
        "conformsTo": {"@id": PROFILE},
        "hasPart": files.keys().map(|path| json!({"@id": address(path)})).collect::<Vec<_>>(),
        "mentions": {"@id": run(facts)},
        "author": single((0..facts.authors.len()).map(|at| json!({"@id": person(facts, at)})).collect()),
        "license": {"@id": facts.licence_address().unwrap_or_else(|| "#licence".to_owned())},
    });
    if !facts.keywords.is_empty() {
        root["keywords"] = single(facts.keywords.iter().map(|word| json!(word)).collect());
    }
    root
}

/// One entity stands by itself, several as a list.
fn single(mut values: Vec<Value>) -> Value {
    if values.len() == 1 { values.remove(0) } else { Value::from(values) }
}

fn run(facts: &Facts) -> String {
    format!("#run-{}", facts.run)
}

fn action(facts: &Facts, files: &BTreeMap<String, Hashes>) -> Value {
    let result = |path: &&String| path.starts_with("results/");
    let about = |path: &&String| super::ABOUT.contains(&path.as_str());
    let list = |paths: Vec<&String>| paths.into_iter().map(|path| json!({"@id": address(path)})).collect::<Vec<_>>();
    let mut action = json!({
        "@id": run(facts), "@type": "CreateAction",
        "name": format!("Run {} of shearback", facts.run),
        "description": "Everything from the raw exports to the report",
        // The profile asks for an offset in digits.
        "endTime": facts.when.replace('Z', "+00:00"),
        "actionStatus": "http://schema.org/CompletedActionStatus",
        "instrument": {"@id": PROGRAM},
        "object": list(files.keys().filter(|path| !result(path) && !about(path)).collect()),
        "result": list(files.keys().filter(result).collect()),
    });
    if !facts.authors.is_empty() {
        action["agent"] = json!({"@id": person(facts, 0)});
    }
    action
}

fn licence(facts: &Facts) -> Option<Value> {
    let id = facts.licence_address().unwrap_or_else(|| "#licence".to_owned());
    let (name, words) = match &facts.licence {
        Some(licence) => (licence.clone(), format!("Licence of the data: {licence}")),
        None => ("No licence stated".to_owned(), "No licence is stated: ask the authors before using it".to_owned()),
    };
    Some(json!({"@id": id, "@type": "CreativeWork", "name": name, "description": words}))
}

fn person(facts: &Facts, at: usize) -> String {
    facts.authors[at].orcid.clone().unwrap_or_else(|| format!("#author-{}", at + 1))
}

fn organisation(name: &str) -> String {
    format!("#{}", crate::text::slug::slug(name))
}

fn author(facts: &Facts, at: usize) -> Value {
    let author = &facts.authors[at];
    let mut value = json!({"@id": person(facts, at), "@type": "Person", "name": author.name});
    if let Some((family, given)) = author.parts() {
        value["familyName"] = Value::from(family);
        value["givenName"] = Value::from(given);
    }
    if let Some(name) = &author.affiliation {
        value["affiliation"] = json!({"@id": organisation(name)});
    }
    value
}

fn file(path: &str, hashes: &Hashes) -> Value {
    let name = path.rsplit('/').next().unwrap_or(path);
    json!({
        "@id": address(path), "@type": "File", "name": name, "description": meaning(path),
        "contentSize": hashes.size.to_string(), "encodingFormat": format_of(path), "sha256": hashes.sha256,
    })
}

/// A path as a relative address (RFC 3986): what is not unreserved is written in per cent.
pub fn address(path: &str) -> String {
    let plain = |b: u8| b.is_ascii_alphanumeric() || b"-._~/".contains(&b);
    path.bytes().map(|b| if plain(b) { char::from(b).to_string() } else { format!("%{b:02X}") }).collect()
}

fn format_of(path: &str) -> &'static str {
    match path.rsplit('.').next().unwrap_or_default().to_ascii_lowercase().as_str() {
        "yaml" | "yml" | "cff" => "application/yaml",
        "csv" => "text/csv",
        "tsv" => "text/tab-separated-values",
        "json" => "application/json",
        "jsonl" => "application/jsonl",
        "parquet" => "application/vnd.apache.parquet",
        "svg" => "image/svg+xml",
        "pdf" => "application/pdf",
        "md" => "text/markdown",
        "xlsx" => "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
        "ods" => "application/vnd.oasis.opendocument.spreadsheet",
        "xls" => "application/vnd.ms-excel",
        "txt" | "typ" | "dat" | "log" => "text/plain",
        _ => "application/octet-stream",
    }
}

fn meaning(path: &str) -> String {
    match path {
        "study.yaml" => "The study file: what was measured, on what, and how it is read",
        "results/report.pdf" => "The typeset report",
        "results/tables/dictionary.csv" => "Unit and meaning of every column of the tables",
        "results/methods.md" => "How it was analysed, in words",
        "results/ledger.jsonl" => "What was run when, from what; each line holds the hash of the one before",
        "results/manifest.json" => "Size and BLAKE3 of every file of the results",
        "CITATION.cff" => "How to cite the dataset",
        "datacite.json" => "Metadata after DataCite",
        "README.md" => "What is in the dataset, and how to run it again",
        WITHHELD => "Raw exports that were kept back: size, hashes, reason",
        _ if path.starts_with("results/tables/points/") => {
            "Every reading of one run, with the reason where it is excluded"
        }
        _ if path.starts_with("results/tables/") => "A table of results; its columns are explained in dictionary.csv",
        _ if path.starts_with("results/variants/") => "A table of results under other settings",
        _ if path.starts_with("results/figures/") && path.ends_with("svg") => "A figure",
        _ if path.starts_with("results/figures/") => "The numbers that a figure shows",
        _ if path.starts_with("results/") => "Source of the report",
        _ => "A raw export or another file that the study reads, as it was",
    }
    .to_owned()
}

/// Checks a description against the files that are there.
///
/// # Errors
/// Everything that does not fit.
pub fn check(text: &[u8], files: &BTreeMap<String, Hashes>) -> Result<(), Vec<String>> {
    let value: Value = serde_json::from_slice(text).map_err(|e| vec![format!("it is no JSON: {e}")])?;
    let Some(graph) = value["@graph"].as_array() else { return Err(vec!["it has no list `@graph`".to_owned()]) };
    let mut entities: BTreeMap<&str, &Value> = BTreeMap::new();
    let mut problems = Vec::new();
    for entity in graph {
        match entity["@id"].as_str() {
            Some(id) if entities.insert(id, entity).is_some() => problems.push(format!("`{id}` is described twice")),
            Some(_) => {}
            None => problems.push("an entity has no `@id`".to_owned()),
        }
    }
    match entities.get(CRATE).map(|about| &about["conformsTo"]["@id"]) {
        Some(Value::String(version)) if version == VERSION => {}
        _ => problems.push(format!("it does not say that it conforms to {VERSION}")),
    }
    let Some(root) = entities.get("./") else {
        problems.push("it does not describe the dataset `./`".to_owned());
        return Err(problems);
    };
    let parts = root["hasPart"].as_array().map_or(&[][..], Vec::as_slice);
    let parts: BTreeSet<&str> = parts.iter().filter_map(|part| part["@id"].as_str()).collect();
    for (path, hashes) in files.iter().filter(|(path, _)| *path != CRATE) {
        problems.extend(described(path, hashes, &parts, &entities));
    }
    let known: BTreeSet<String> = files.keys().map(|path| address(path)).collect();
    problems.extend(parts.iter().filter(|part| !known.contains(**part)).map(|part| format!("`{part}` is not there")));
    if problems.is_empty() { Ok(()) } else { Err(problems) }
}

fn described(path: &str, hashes: &Hashes, parts: &BTreeSet<&str>, entities: &BTreeMap<&str, &Value>) -> Option<String> {
    let address = address(path);
    let entity = parts.get(&*address).and_then(|part| entities.get(part));
    match entity {
        None => Some(format!("`{path}` is not described")),
        Some(entity) if entity["sha256"] != hashes.sha256.as_str() => {
            Some(format!("`{path}` has another hash than described"))
        }
        Some(entity) if entity["contentSize"] != hashes.size.to_string().as_str() => {
            Some(format!("`{path}` has another size than described"))
        }
        Some(_) => None,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::bundle::facts::Person;

    pub(crate) fn facts() -> Facts {
        let person = |name: &str, orcid: Option<&str>| Person {
            name: name.to_owned(),
            affiliation: Some("Institute of Made-up Flows".to_owned()),
            orcid: orcid.map(str::to_owned),
        };
        Facts {
            title: "A study".into(),
            authors: vec![
                person("Muster, Ada", Some("https://orcid.org/0000-0002-1825-0097")),
                person("The workshop", None),
            ],
            licence: Some("CC-BY-4.0".into()),
            date: "2026-03-01".into(),
            summary: None,
            keywords: vec!["shear reversal".into()],
            run: 2,
            when: "2026-03-02T10:00:00Z".into(),
            version: "0.1.0".into(),
            tools: vec![("typst".into(), "0.15.1".into())],
            flaws: Vec::new(),
            withheld: None,
        }
    }

    fn files() -> BTreeMap<String, Hashes> {
        ["study.yaml", "raw/Ü 1.txt", "results/report.pdf"].map(|p| (p.to_owned(), Hashes::of(p.as_bytes()))).into()
    }

    #[test]
    fn a_description_of_ours_passes_and_each_change_is_named() {
        let value = describe(&facts(), &files());
        assert_eq!(check(value.to_string().as_bytes(), &files()), Ok(()));
        let mut more = files();
        more.insert("raw/other.txt".into(), Hashes::of(b"x"));
        assert!(check(value.to_string().as_bytes(), &more).unwrap_err()[0].contains("raw/other.txt` is not described"));
        let mut fewer = files();
        fewer.remove("study.yaml");
        assert!(check(value.to_string().as_bytes(), &fewer).unwrap_err()[0].contains("`study.yaml` is not there"));
        let mut changed = files();
        changed.insert("study.yaml".into(), Hashes::of(b"x"));
        assert!(check(value.to_string().as_bytes(), &changed).unwrap_err()[0].contains("another hash"));
        let other = value.to_string().replace("crate/1.2\"", "crate/9.9\"");
        assert!(check(other.as_bytes(), &files()).is_err() && check(b"{}", &files()).is_err());
    }

    #[test]
    fn addresses_are_written_in_per_cent() {
        assert_eq!(address("raw/Ü 1.txt"), "raw/%C3%9C%201.txt");
    }

    #[test]
    fn what_does_not_hold_stands_in_the_description() {
        let facts = Facts { flaws: vec!["a claim misses".into()], withheld: Some("secret".into()), ..facts() };
        let text = describe(&facts, &files()).to_string();
        assert!(text.contains("DOES NOT HOLD: a claim misses") && text.contains("Reason: secret"));
        assert!(super::super::citation::cff(&facts).contains("a claim misses"));
        assert!(super::super::guide::guide(&facts, 3).contains("a claim misses"));
    }
}
