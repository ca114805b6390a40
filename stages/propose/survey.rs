//! Many exports together: the layouts that they share, what each export is of, and the design of the study. It reads
//! bytes that it is given, and writes nothing.

use super::motion::{Held, reversals};
use super::names::{Export, Named, name};
use super::proposal::{Proposal, propose};
use crate::design::{Cell, Design};
use crate::ingest::layout::{Encoding, Layout};
use pipeline::diagnostic::{Diagnostic, Place};
use std::collections::{BTreeMap, BTreeSet};

/// All that was found.
#[derive(Debug, Default)]
pub(super) struct Survey {
    /// Layouts by name, each with the first export that has it.
    pub(super) layouts: Vec<(String, Proposal)>,
    /// The runs.
    pub(super) exports: Vec<Export>,
    /// What was held before each reversal, by run.
    held: Vec<Vec<Held>>,
    /// Exports that no layout was found for, with the reason.
    pub(super) refused: Vec<Diagnostic>,
    /// Files by the hash of their content.
    contents: BTreeMap<String, String>,
    /// Words on files that are copies of another.
    pub(super) copies: Vec<String>,
}

/// Set-points closer than this ratio are one (the default of the states stage).
const RATIO: f64 = 1.05;

impl Survey {
    /// Looks at one more file. Gives what was found in it, by run, as text made by `show`.
    pub(super) fn add(&mut self, file: &str, bytes: &[u8], mut show: impl FnMut(&str, &Proposal)) {
        let proposals = match propose(bytes) {
            Ok(proposals) => proposals,
            Err(problems) => return self.refused.extend(problems.into_iter().map(|problem| at_file(problem, file))),
        };
        self.hold_against_others(file, bytes);
        let several = proposals.len() > 1;
        for proposal in proposals {
            let sheet = proposal.sheet.clone().filter(|_| several);
            self.held.push(proposal.read.as_ref().map(|(readings, _)| reversals(readings)).unwrap_or_default());
            let export =
                Export { file: file.to_owned(), sheet, layout: String::new(), preamble: proposal.preamble.clone() };
            show(&export.run(), &proposal);
            let layout = self.layout(file, proposal);
            self.exports.push(Export { layout, ..export });
        }
    }

    /// A copy under another name would count as a measurement of its own.
    fn hold_against_others(&mut self, file: &str, bytes: &[u8]) {
        let hash = blake3::hash(bytes).to_hex().to_string();
        match self.contents.get(&hash) {
            Some(first) => self.copies.push(format!(
                "`{file}` holds the same bytes as `{first}`: a copy would count as a measurement of its own"
            )),
            None => {
                self.contents.insert(hash, file.to_owned());
            }
        }
    }

    /// The name of an export's layout. Exports that differ only in their encoding share one.
    fn layout(&mut self, file: &str, proposal: Proposal) -> String {
        let but_encoding = |layout: &Layout| Layout { encoding: Encoding::Auto, ..layout.clone() };
        let same = |known: &&mut (String, Proposal)| but_encoding(&known.1.layout) == but_encoding(&proposal.layout);
        if let Some((name, known)) = self.layouts.iter_mut().find(same) {
            if known.layout.encoding != proposal.layout.encoding {
                known.layout.encoding = Encoding::Auto;
            }
            return name.clone();
        }
        let base = ending(file);
        let taken = |name: &str| self.layouts.iter().any(|(known, _)| known == name);
        let mut name = base.clone();
        for number in 2.. {
            if !taken(&name) {
                break;
            }
            name = format!("{base}-{number}");
        }
        // Readings are large, and of no further use.
        self.layouts.push((name.clone(), Proposal { read: None, ..proposal }));
        name
    }

    /// Samples, loadings, repeats and raw entries; `files` are all files of the study.
    pub(super) fn named(&self, files: &[String]) -> Named {
        name(&self.exports, files)
    }

    /// The design as far as exports tell it without a geometry.
    pub(super) fn design(&self, named: &Named) -> Design {
        let mut cells = Vec::new();
        let samples: BTreeSet<&str> = named.entries.iter().map(|entry| entry.sample.as_str()).collect();
        for sample in samples {
            let entries: Vec<_> = named.entries.iter().filter(|entry| entry.sample == sample).collect();
            let members = || entries.iter().flat_map(|entry| entry.members.iter().map(move |at| (*entry, *at)));
            let labels = labels(members().flat_map(|(_, at)| self.held[at].iter().copied()));
            for (entry, at) in members() {
                let (loading, repeat) = entry.place(&self.exports[at]);
                for held in &self.held[at] {
                    let set_point = labels.of(*held);
                    let (sample, loading, repeat) = (sample.to_owned(), loading.clone(), repeat.clone());
                    cells.push((sample.clone(), held.value, Cell { sample, set_point, loading, repeat }));
                }
            }
        }
        cells.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        Design::from_cells(cells.into_iter().map(|(_, _, cell)| cell))
    }

    /// Everything that stays unclear, once.
    pub(super) fn unclear(&self, named: &Named) -> Vec<String> {
        let mut all: Vec<String> = Vec::new();
        let of_layouts =
            self.layouts.iter().flat_map(|(name, p)| p.unclear.iter().map(move |u| format!("layout {name}: {u}")));
        for text in of_layouts.chain(named.unclear.iter().chain(&self.copies).cloned()) {
            if !all.contains(&text) {
                all.push(text);
            }
        }
        all
    }
}

fn at_file(problem: Diagnostic, file: &str) -> Diagnostic {
    let place = problem.place.clone().unwrap_or(Place::file(file));
    problem.at(Place { file: file.to_owned(), ..place })
}

/// `txt` of `a.txt`, `tsv` of `a.tsv.gz`.
fn ending(file: &str) -> String {
    let name = file.rsplit('/').next().unwrap_or_default();
    let name = name.strip_suffix(".gz").unwrap_or(name);
    let ending = name.rsplit_once('.').map_or("export", |(_, ending)| ending);
    let plain: String = ending.to_lowercase().chars().filter(char::is_ascii_alphanumeric).collect();
    if plain.is_empty() { "export".to_owned() } else { plain }
}

/// Labels of set-points: the median of each group to three digits, as the states stage gives them.
struct Labels(BTreeMap<&'static str, Vec<(f64, f64, String)>>);

fn labels(held: impl Iterator<Item = Held>) -> Labels {
    let mut by_unit: BTreeMap<&'static str, Vec<f64>> = BTreeMap::new();
    held.filter(|held| held.value.is_finite()).for_each(|held| by_unit.entry(held.unit).or_default().push(held.value));
    let groups = |(unit, mut values): (&'static str, Vec<f64>)| {
        values.sort_by(f64::total_cmp);
        let chunks = values.chunk_by(|a, b| *b <= RATIO * *a);
        (unit, chunks.map(|c| (c[0], c[c.len() - 1], format!("{} {unit}", three_digits(c[c.len() / 2])))).collect())
    };
    Labels(by_unit.into_iter().map(groups).collect())
}

impl Labels {
    fn of(&self, held: Held) -> String {
        let groups = self.0.get(held.unit).into_iter().flatten();
        let group = groups.into_iter().find(|(low, high, _)| (*low..=*high).contains(&held.value));
        group.map_or_else(|| "?".to_owned(), |(_, _, label)| label.clone())
    }
}

fn three_digits(value: f64) -> f64 {
    format!("{value:.2e}").parse().unwrap_or(value)
}
