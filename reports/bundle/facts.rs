//! What is said about a packed study in all its forms: title, authors, licence, dates, the run. It writes nothing.

use pipeline::store::ledger::Line;
use stages::setup::Study;
use stages::setup::document::Author;

/// The facts.
#[derive(Debug, Clone, PartialEq)]
pub struct Facts {
    /// Title.
    pub title: String,
    /// Authors in order.
    pub authors: Vec<Person>,
    /// Licence as the study file states it.
    pub licence: Option<String>,
    /// Day of the dataset: the study's, else that of the run.
    pub date: String,
    /// Abstract.
    pub summary: Option<String>,
    /// Keywords.
    pub keywords: Vec<String>,
    /// Number of the run.
    pub run: u64,
    /// When it ended, coordinated universal time.
    pub when: String,
    /// Version of shearback in that run.
    pub version: String,
    /// Other tools of that run, name and version.
    pub tools: Vec<(String, String)>,
    /// What does not hold in the results that were packed all the same.
    pub flaws: Vec<String>,
    /// Why raw exports were kept back, if they were.
    pub withheld: Option<String>,
}

/// An author.
#[derive(Debug, Clone, PartialEq)]
pub struct Person {
    /// Name as on the report.
    pub name: String,
    /// Affiliation.
    pub affiliation: Option<String>,
    /// Address of the ORCID record.
    pub orcid: Option<String>,
}

impl Person {
    fn new(author: &Author) -> Self {
        let digits = author.orcid.as_deref().map(|orcid| orcid.trim_start_matches("https://orcid.org/"));
        Self {
            name: author.name.clone(),
            affiliation: author.affiliation.clone(),
            orcid: digits.map(|digits| format!("https://orcid.org/{digits}")),
        }
    }

    /// Family and given name, only where the author wrote `Family, Given`: a name is not guessed apart.
    pub fn parts(&self) -> Option<(&str, &str)> {
        let (family, given) = self.name.split_once(',')?;
        Some((family.trim(), given.trim())).filter(|(family, given)| !family.is_empty() && !given.is_empty())
    }
}

impl Facts {
    /// Of a study, in the state of a run.
    pub fn new(study: &Study, line: &Line, flaws: Vec<String>, withheld: Option<String>) -> Self {
        Self {
            title: study.title.clone(),
            authors: study.authors.iter().map(Person::new).collect(),
            licence: study.licence.clone(),
            date: study.date.clone().unwrap_or_else(|| line.when.chars().take(10).collect()),
            summary: study.r#abstract.clone().map(|text| text.trim().to_owned()),
            keywords: study.keywords.clone(),
            run: line.run,
            when: line.when.clone(),
            version: line.made.version.clone(),
            tools: line.made.tools.iter().map(|(name, version)| (name.clone(), version.clone())).collect(),
            flaws,
            withheld,
        }
    }

    /// The licence's address: SPDX's page for its identifiers, an address as it is; none for free words.
    pub fn licence_address(&self) -> Option<String> {
        let licence = self.licence.as_deref()?;
        if licence.starts_with("https://") || licence.starts_with("http://") {
            return Some(licence.to_owned());
        }
        let plain = licence.contains('-') && licence.bytes().all(|b| b.is_ascii_alphanumeric() || b"-.+".contains(&b));
        plain.then(|| format!("https://spdx.org/licenses/{licence}"))
    }

    /// What it is, in a few sentences, with what does not hold.
    pub fn description(&self) -> String {
        let mut text = self.summary.clone().unwrap_or_else(|| {
            "Raw exports of shear-reversal experiments, how they were read, and all results from them.".to_owned()
        });
        for flaw in &self.flaws {
            text.push_str(&format!(" PACKED THOUGH IT DOES NOT HOLD: {flaw}."));
        }
        if let Some(reason) = &self.withheld {
            text.push_str(&format!(" The raw exports are not in it; their hashes are. Reason: {reason}."));
        }
        text
    }
}
