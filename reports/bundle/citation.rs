//! How the dataset is to be cited: `CITATION.cff` (Citation File Format 1.2.0) and metadata after DataCite 4.5.

use super::facts::{Facts, Person};
use serde_json::{Value, json};
use std::fmt::Write;

/// A string as JSON writes it, which is a YAML scalar too.
fn quoted(text: &str) -> String {
    Value::from(text).to_string()
}

/// `CITATION.cff`. An author whose name is not written `Family, Given` stands as an entity: names are not guessed apart.
pub fn cff(facts: &Facts) -> String {
    let mut text = String::from(
        "cff-version: 1.2.0\ntype: dataset\nmessage: \"If you use this dataset, please cite it as below.\"\n",
    );
    let _ = writeln!(text, "title: {}", quoted(&facts.title));
    text.push_str("authors:\n");
    for author in &facts.authors {
        text.push_str(&cff_author(author));
    }
    if facts.authors.is_empty() {
        text.push_str("  - name: \"Authors not stated\"\n");
    }
    let _ = writeln!(text, "date-released: {}", quoted(&facts.date));
    let _ = writeln!(text, "abstract: {}", quoted(&facts.description()));
    if !facts.keywords.is_empty() {
        text.push_str("keywords:\n");
        facts.keywords.iter().for_each(|word| text.push_str(&format!("  - {}\n", quoted(word))));
    }
    match (&facts.licence, facts.licence_address()) {
        // The format takes SPDX identifiers only; anything else is given by its address.
        (Some(licence), Some(address)) if address.starts_with("https://spdx.org/") => {
            let _ = writeln!(text, "license: {}", quoted(licence));
        }
        (_, Some(address)) => {
            let _ = writeln!(text, "license-url: {}", quoted(&address));
        }
        _ => {}
    }
    text
}

fn cff_author(author: &Person) -> String {
    let mut text = match author.parts() {
        Some((family, given)) => {
            let person = format!("  - family-names: {}\n    given-names: {}\n", quoted(family), quoted(given));
            let at = author.affiliation.as_ref().map(|at| format!("    affiliation: {}\n", quoted(at)));
            person + &at.unwrap_or_default()
        }
        None => format!("  - name: {}\n", quoted(&author.name)),
    };
    if let Some(orcid) = &author.orcid {
        let _ = writeln!(text, "    orcid: {}", quoted(orcid));
    }
    text
}

/// DataCite metadata as JSON. What only a repository can say stands as `:tba`, the schema's word for "to be announced".
pub fn datacite(facts: &Facts) -> Value {
    let mut data = json!({
        "schemaVersion": "http://datacite.org/schema/kernel-4",
        "identifiers": [],
        "titles": [{"title": facts.title}],
        "creators": facts.authors.iter().map(creator).collect::<Vec<_>>(),
        "publisher": {"name": ":tba"},
        "publicationYear": facts.date.get(..4).unwrap_or_default(),
        "types": {"resourceTypeGeneral": "Dataset", "resourceType": "Shear-reversal rheometry"},
        "dates": [{"date": facts.date, "dateType": "Created"}],
        "descriptions": [{"description": facts.description(), "descriptionType": "Abstract"}],
        "subjects": facts.keywords.iter().map(|word| json!({"subject": word})).collect::<Vec<_>>(),
        "language": "en",
        "formats": ["application/vnd.apache.parquet", "text/csv", "application/pdf", "image/svg+xml"],
    });
    if let (Some(licence), Some(object)) = (&facts.licence, data.as_object_mut()) {
        let mut rights = json!({"rights": licence});
        if let Some(address) = facts.licence_address() {
            rights["rightsUri"] = Value::from(address);
        }
        object.insert("rightsList".to_owned(), json!([rights]));
    }
    data
}

fn creator(author: &Person) -> Value {
    let mut creator = json!({"name": author.name});
    if author.orcid.is_some() || author.parts().is_some() {
        creator["nameType"] = Value::from("Personal");
    }
    if let Some((family, given)) = author.parts() {
        creator["familyName"] = Value::from(family);
        creator["givenName"] = Value::from(given);
    }
    if let Some(at) = &author.affiliation {
        creator["affiliation"] = json!([{"name": at}]);
    }
    if let Some(orcid) = &author.orcid {
        creator["nameIdentifiers"] = json!([
            {"nameIdentifier": orcid, "nameIdentifierScheme": "ORCID", "schemeUri": "https://orcid.org"}
        ]);
    }
    creator
}
