//! `README.md` of a packed dataset: what it is, what is in it, how to check it and how to run it again.

use super::facts::Facts;
use std::fmt::Write;

/// The guide.
pub fn guide(facts: &Facts, raw: usize) -> String {
    let mut text = format!("# {}\n\n", facts.title);
    for author in &facts.authors {
        let at = author.affiliation.as_ref().map_or_else(String::new, |at| format!(", {at}"));
        let orcid = author.orcid.as_ref().map_or_else(String::new, |orcid| format!(", <{orcid}>"));
        let _ = writeln!(text, "- {}{at}{orcid}", author.name);
    }
    let licence = facts.licence.as_deref().unwrap_or("not stated; ask the authors before using it");
    let _ = writeln!(text, "\nDate: {}. Licence: {licence}.\n", facts.date);
    for flaw in &facts.flaws {
        let _ = writeln!(text, "**Packed though it does not hold: {flaw}.**\n");
    }
    if let Some(summary) = &facts.summary {
        let _ = writeln!(text, "{summary}\n");
    }
    text.push_str(&holds(facts, raw));
    text.push_str(&again(facts));
    text
}

fn holds(facts: &Facts, raw: usize) -> String {
    let exports = match &facts.withheld {
        None => format!("{raw} raw exports, as the rheometers' programs wrote them"),
        Some(reason) => format!(
            "{raw} raw exports are **not** here. Reason: {reason}. `withheld.csv` lists their sizes and hashes, so that a \
             file that you are given can be checked"
        ),
    };
    format!(
        "## What is in it\n\n\
         A bag after RFC 8493 (BagIt 1.0); its payload is a study and an RO-Crate 1.2 about it.\n\n\
         | path | holds |\n| --- | --- |\n\
         | `study.yaml` | what was measured, on what, and how it is read |\n\
         | raw exports, at the paths that `study.yaml` names | {exports} |\n\
         | `results/report.pdf`, `results/report/` | the report, and its source, which compiles alone |\n\
         | `results/tables/` | every number, as CSV and Parquet; `dictionary.csv` tells unit and meaning of each column |\n\
         | `results/figures/` | every figure, and beside it the numbers that it shows |\n\
         | `results/methods.md` | how it was analysed, in words |\n\
         | `results/ledger.jsonl`, `results/manifest.json` | what was run when, from what; size and BLAKE3 of each file |\n\
         | `CITATION.cff`, `datacite.json`, `ro-crate-metadata.json` | how to cite it; metadata for repositories |\n\n"
    )
}

fn again(facts: &Facts) -> String {
    let tools: Vec<String> = facts.tools.iter().map(|(name, version)| format!("{name} {version}")).collect();
    format!(
        "## Check it, and run it again\n\n\
         Without any program of ours, in the folder of the bag: `sha512sum -c manifest-sha512.txt`.\n\n\
         The results are those of run {} ({}), made with shearback {} and {}. With shearback:\n\n\
         ```sh\n\
         shearback receive BAG DIR     # checks every hash and lays the study out; runs nothing\n\
         shearback audit DIR           # computes everything again from the raw exports and compares\n\
         shearback run DIR             # goes on from here\n\
         ```\n\n\
         Research data only: no basis for decisions on the safety of equipment or people.\n",
        facts.run,
        facts.when,
        facts.version,
        if tools.is_empty() { "no other tool".to_owned() } else { tools.join(", ") },
    )
}
