//! `shearback pack`: a whole dataset in one bag. It reads each file once, holds none in memory, and writes nothing under
//! the final name before all of it is checked.

use super::contents::{Contents, Item};
use super::facts::Facts;
use super::hashes::{Hashes, copy};
use super::sink::Sink;
use super::{CRATE, PAYLOAD, WITHHELD, citation, guide, rocrate, tags};
use crate::arguments::study_folder;
use crate::study;
use crate::text::numbers;
use clap::{Arg, ArgAction, ArgMatches, value_parser};
use pipeline::command::{Answer, Command, Exit, Failure};
use pipeline::diagnostic::{Diagnostic, Place};
use pipeline::graph::Graph;
use pipeline::progress::Progress;
use pipeline::rebuild::assess::{Condition, assess};
use pipeline::stage::Plan;
use pipeline::store::Store;
use pipeline::store::disk::SystemDisk;
use pipeline::store::files::Files;
use pipeline::store::state::State;
use std::collections::BTreeMap;
use std::fs::File;
use std::path::{Path, PathBuf};

/// The command.
pub struct PackCommand;

impl Command for PackCommand {
    fn typed(&self) -> clap::Command {
        let path = |name: &'static str, value: &'static str, help: &'static str| {
            Arg::new(name).value_name(value).required(true).value_parser(value_parser!(PathBuf)).help(help)
        };
        clap::Command::new("pack")
            .about("Pack the whole dataset for a collaborator or a repository, as a BagIt bag that is also an RO-Crate")
            .arg(path("study", "STUDY", "Folder with study.yaml and results"))
            .arg(path(
                "out",
                "OUT",
                "The bag to write: a folder, or a zip file if the name ends in .zip; it must not exist yet",
            ))
            .arg(
                Arg::new("as-is")
                    .long("as-is")
                    .action(ArgAction::SetTrue)
                    .help("Pack even if results are out of date or a claim misses; the bag states it"),
            )
            .arg(
                Arg::new("without-raw")
                    .long("without-raw")
                    .action(ArgAction::SetTrue)
                    .help("Leave out the raw exports; the bag states their sizes, their hashes and the reason"),
            )
            .arg(
                Arg::new("because")
                    .long("because")
                    .value_name("REASON")
                    .requires("without-raw")
                    .help("Why the raw exports cannot be shared"),
            )
    }

    fn perform(&self, typed: &ArgMatches) -> Result<Answer, Failure> {
        let study = study_folder(typed)?;
        let out = typed.get_one::<PathBuf>("out").cloned().unwrap_or_default();
        outside(&study, &out)?;
        let because =
            typed.get_one::<String>("because").cloned().unwrap_or_else(|| "the sender gave no reason".to_owned());
        let withheld = typed.get_flag("without-raw").then_some(because);
        let packed = pack(&study, &out, typed.get_flag("as-is"), withheld)?;
        Ok(Answer { text: packed.packed_text(&out), remarks: Vec::new(), exit: Exit::Good })
    }
}

/// A bag inside the study would become a part of it.
fn outside(study: &Path, out: &Path) -> Result<(), Failure> {
    let parent = out.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let Ok(parent) = parent.canonicalize() else {
        let message = format!("there is no folder {}", parent.display());
        return Err(Failure::input(vec![Diagnostic::new(message).help("make it first")]));
    };
    if study.canonicalize().is_ok_and(|study| parent.starts_with(study)) {
        let message = format!("{} would lie inside the study, and become a part of it", out.display());
        return Err(Failure::input(vec![Diagnostic::new(message).help("name a place outside of it")]));
    }
    Ok(())
}

/// What was packed.
pub struct Packed {
    files: usize,
    bytes: u64,
    flaws: Vec<String>,
    withheld: usize,
    left_out: Vec<String>,
}

impl Packed {
    fn packed_text(&self, out: &Path) -> String {
        let files = numbers::count(self.files as u64, "file");
        let mut text = format!("packed {files}, {}: {}\n", numbers::count(self.bytes, "byte"), out.display());
        for flaw in &self.flaws {
            text.push_str(&format!("packed as it is, which the bag states: {flaw}\n"));
        }
        if self.withheld > 0 {
            let withheld = numbers::count(self.withheld as u64, "raw export");
            text.push_str(&format!("left out on request: {withheld}, listed with hashes in {WITHHELD}\n"));
        }
        if !self.left_out.is_empty() {
            text.push_str(&format!("left out, not part of the study: {}\n", self.left_out.join(", ")));
        }
        text
    }
}

/// Packs a study.
///
/// # Errors
/// If results do not hold and nobody asked for them as they are, if a file is not what the results know, or the disk
/// refuses.
pub fn pack(folder: &Path, out: &Path, as_is: bool, withheld: Option<String>) -> Result<Packed, Failure> {
    let study = study::load(folder)?;
    let plan = study::plan_of(folder, None)?;
    let files = Files::new(folder);
    let graph = Graph::new(&plan)?;
    let contents = Contents::new(&files, &graph.raw())?;
    let flaws = flaws(folder, &plan, &graph, &files)?;
    if !flaws.is_empty() && !as_is {
        let help = "`shearback run` brings them up to date; `--as-is` packs them all the same, and the bag says so";
        let refused = flaws.iter().map(|flaw| Diagnostic::new(format!("not packed: {flaw}")).help(help)).collect();
        return Err(Failure { exit: Exit::Unmet, diagnostics: refused });
    }
    let facts = Facts::new(&study, &contents.line, flaws, withheld);
    let mut bag = Bag::new(out, &facts, as_is)?;
    bag.fill(&contents, &facts)?;
    let (files, bytes) = bag.seal(&facts)?;
    let withheld = if facts.withheld.is_some() { contents.raw.len() } else { 0 };
    Ok(Packed { files, bytes, flaws: facts.flaws, withheld, left_out: contents.left_out })
}

/// Why the results should not be handed on.
fn flaws(folder: &Path, plan: &Plan, graph: &Graph<'_>, files: &Files) -> Result<Vec<String>, Failure> {
    let store = Store::new(folder, &SystemDisk);
    let state = State::load(&store);
    let mut flaws = Vec::new();
    let tasks = assess(graph, &store, &state)?.tasks;
    let stale: Vec<_> = tasks.into_iter().filter(|task| task.condition != Condition::UpToDate).collect();
    if let Some(first) = stale.first() {
        let why =
            first.reasons.first().map_or_else(String::new, |reason| format!(" ({})", reason.wording(&plan.study_file)));
        let more = stale.len() as u64 - 1;
        let more = if more > 0 { format!(" and {}", numbers::count(more, "more task")) } else { String::new() };
        flaws.push(format!("the results are not up to date: {}{why}{more}", first.name));
    }
    let ended = crate::after_run::after_run(&files.results(), |_| None);
    let ended = ended.map_err(|e| Failure::surroundings(Diagnostic::new(e).help("run again")))?;
    flaws.extend(ended.missed_claims.into_iter().next());
    Ok(flaws)
}

/// A bag on its way.
struct Bag {
    sink: Sink,
    /// Payload, by path in the study.
    payload: BTreeMap<String, Hashes>,
    as_is: bool,
}

impl Bag {
    fn new(out: &Path, facts: &Facts, as_is: bool) -> Result<Self, Failure> {
        // Named after the study, so that the same dataset gives the same bytes under any name.
        let sink = Sink::new(out, &crate::text::slug::slug(&facts.title))?;
        Ok(Self { sink, payload: BTreeMap::new(), as_is })
    }

    fn fill(&mut self, contents: &Contents, facts: &Facts) -> Result<(), Failure> {
        let raw: &[Item] = if facts.withheld.is_some() { &[] } else { &contents.raw };
        let mut items: Vec<&Item> = contents.items.iter().chain(raw).collect();
        items.sort_by(|a, b| a.path.cmp(&b.path));
        let progress = Progress::counting("files");
        progress.begin(items.len());
        for item in items {
            progress.at(&item.path);
            self.item(item)?;
            progress.step();
        }
        progress.end();
        if let Some(reason) = &facts.withheld {
            self.text(WITHHELD, &withheld(&contents.raw, reason)?)?;
        }
        self.text("CITATION.cff", &citation::cff(facts))?;
        self.text("datacite.json", &pretty(&citation::datacite(facts)))?;
        self.text("README.md", &guide::guide(facts, contents.raw.len()))?;
        let about = pretty(&rocrate::describe(facts, &self.payload));
        self.text(CRATE, &about)
    }

    fn item(&mut self, item: &Item) -> Result<(), Failure> {
        let mut file = File::open(&item.from).map_err(|e| Failure::io("read", &item.from, &e))?;
        let hashes = self.sink.put(&format!("{PAYLOAD}{}", item.path), item.size, &mut file)?;
        // With `--as-is` what stands is packed as it stands, and the bag has said so.
        if !self.as_is && item.blake3.is_some_and(|expected| expected != hashes.blake3) {
            let diagnostic =
                Diagnostic::new("not packed: this file is not what the results are of, or was changed since");
            let diagnostic =
                diagnostic.at(Place::file(&item.path)).help("`shearback run` brings the results up to date");
            return Err(Failure { exit: Exit::Unmet, diagnostics: vec![diagnostic] });
        }
        self.payload.insert(item.path.clone(), hashes);
        Ok(())
    }

    fn text(&mut self, path: &str, text: &str) -> Result<(), Failure> {
        let hashes = self.sink.put_text(&format!("{PAYLOAD}{path}"), text)?;
        self.payload.insert(path.to_owned(), hashes);
        Ok(())
    }

    /// Writes the tag files; gives number and bytes of the payload's files.
    fn seal(mut self, facts: &Facts) -> Result<(usize, u64), Failure> {
        let (files, bytes) = (self.payload.len(), self.payload.values().map(|hashes| hashes.size).sum::<u64>());
        let listed = self.payload.into_iter().map(|(path, hashes)| (format!("{PAYLOAD}{path}"), hashes)).collect();
        let mut texts = vec![
            (tags::DECLARATION.to_owned(), tags::DECLARED.to_owned()),
            (tags::INFO.to_owned(), tags::info(&about(facts, files, bytes))),
        ];
        texts.extend(tags::ALGORITHMS.map(|name| (format!("manifest-{name}.txt"), tags::manifest(name, &listed))));
        let mut tagged = BTreeMap::new();
        for (name, text) in texts {
            tagged.insert(name.clone(), self.sink.put_text(&name, &text)?);
        }
        for name in tags::ALGORITHMS {
            self.sink.put_text(&format!("tagmanifest-{name}.txt"), &tags::manifest(name, &tagged))?;
        }
        self.sink.finish()?;
        Ok((files, bytes))
    }
}

/// What is said about the bag. No day of packing: the same dataset gives the same bytes.
fn about(facts: &Facts, files: usize, bytes: u64) -> Vec<(&'static str, String)> {
    let mut about = vec![("External-Description", format!("{}. {}", facts.title, facts.description()))];
    about.extend(facts.authors.iter().map(|author| ("Contact-Name", author.name.clone())));
    about.push(("Payload-Oxum", format!("{bytes}.{files}")));
    about.push(("Bag-Software-Agent", format!("shearback {}", env!("CARGO_PKG_VERSION"))));
    about
}

/// The table of raw exports that were kept back.
fn withheld(raw: &[Item], reason: &str) -> Result<String, Failure> {
    let quoted = |text: &str| format!("\"{}\"", text.replace('"', "\"\""));
    let mut text = String::from("path,size,blake3,sha256,sha512,reason\n");
    for item in raw {
        let read = File::open(&item.from).and_then(|mut file| copy(&mut file, &mut std::io::sink(), u64::MAX));
        let hashes = read.map_err(|e| Failure::io("read", &item.from, &e))?;
        let Hashes { size, blake3, sha256, sha512 } = hashes;
        text.push_str(&format!("{},{size},{blake3},{sha256},{sha512},{}\n", quoted(&item.path), quoted(reason)));
    }
    Ok(text)
}

fn pretty(value: &serde_json::Value) -> String {
    serde_json::to_string_pretty(value).unwrap_or_default() + "\n"
}
