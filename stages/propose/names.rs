//! Which export is of which sample, loading and repeat, judged by preambles, folders and file names; and the raw
//! entries that say so. It opens nothing.

use super::apparatus::{Tool, geometries, instrument_of, instruments};
use super::yaml::{quoted, scalar};
use regex::Regex;
use std::collections::{BTreeMap, BTreeSet};

/// What is known of one run.
#[derive(Debug, Clone, Default)]
pub(super) struct Export {
    /// Path of its file in the study, with `/`.
    pub(super) file: String,
    /// Its sheet, in a workbook with several.
    pub(super) sheet: Option<String>,
    /// Name of its layout.
    pub(super) layout: String,
    /// Entries of its preamble.
    pub(super) preamble: BTreeMap<String, String>,
}

impl Export {
    /// Its name as a run.
    pub(super) fn run(&self) -> String {
        self.sheet.as_ref().map_or(self.file.clone(), |sheet| format!("{}#{sheet}", self.file))
    }

    fn folder(&self) -> &str {
        self.file.rsplit_once('/').map_or("", |(folder, _)| folder)
    }

    fn stem(&self) -> &str {
        let name = self.file.rsplit('/').next().unwrap_or_default();
        name.find('.').filter(|at| *at > 0).map_or(name, |at| &name[..at])
    }

    fn ending(&self) -> &str {
        let name = self.file.rsplit('/').next().unwrap_or_default();
        name.find('.').filter(|at| *at > 0).map_or("", |at| &name[at..])
    }
}

/// Where a name comes from, as the study file says it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum From {
    Preamble(String),
    Path(String),
}

impl From {
    fn yaml(&self) -> String {
        match self {
            Self::Preamble(key) => format!("{{preamble: {}}}", scalar(key)),
            Self::Path(pattern) => format!("{{path: {}}}", scalar(pattern)),
        }
    }

    fn name(&self, export: &Export) -> Option<String> {
        match self {
            Self::Preamble(key) => export.preamble.get(key).filter(|name| !name.is_empty()).cloned(),
            Self::Path(pattern) => {
                let pattern = Regex::new(pattern).ok()?;
                Some(pattern.captures(&export.run())?.get(1)?.as_str().to_owned())
            }
        }
    }

    /// In words, for the design table.
    pub(super) fn words(&self) -> String {
        match self {
            Self::Preamble(key) => format!("preamble `{key}`"),
            Self::Path(pattern) => format!("path `{pattern}`"),
        }
    }
}

/// One raw entry of a study file.
#[derive(Debug, Clone)]
pub(super) struct Entry {
    /// Pattern of the files.
    pub(super) files: String,
    sheets: Vec<String>,
    layout: String,
    /// Name of the sample.
    pub(super) sample: String,
    /// Its geometry and its instrument, where there are several.
    geometry: Option<String>,
    instrument: Option<String>,
    loading: Option<From>,
    repeat: Option<From>,
    /// Which exports it has, by index.
    pub(super) members: Vec<usize>,
}

/// The exports of a study, named.
#[derive(Debug, Default)]
pub(super) struct Named {
    /// The raw entries in the order of their files.
    pub(super) entries: Vec<Entry>,
    /// The geometries to be filled in.
    pub(super) geometries: Vec<Tool>,
    /// The instruments to be filled in, by name.
    pub(super) instruments: Vec<String>,
    /// How the names were found, a line each.
    pub(super) how: Vec<String>,
    /// What could also be meant otherwise.
    pub(super) unclear: Vec<String>,
}

/// Keys of preambles, in English, German and French.
const SAMPLE_KEYS: [&str; 6] = ["sample", "probe", "specimen", "échantillon", "material", "muster"];
const LOADING_KEYS: [&str; 5] = ["loading", "filling", "füllung", "fill", "remplissage"];
const REPEAT_KEYS: [&str; 4] = ["repeat", "replicate", "wiederholung", "répétition"];

/// Patterns on paths, the narrowest first.
const LOADING_PATHS: [&str; 3] = [r"[_-]L(\d+)", r"(?i)load(?:ing)?[ _-]?(\d+)", r"(?i)f[iü]ll(?:ing|ung)?[ _-]?(\d+)"];
const REPEAT_PATHS: [&str; 2] = [r"[_-]R(\d+)", r"(?i)rep(?:eat|licate)?[ _-]?(\d+)"];

/// What a control is called (common practice: a Newtonian liquid).
const CONTROLS: [&str; 7] = ["control", "blank", "newton", "silicone", "oil", "calibration", "kontrolle"];

/// Whether a sample or its folder is called like a control.
pub(super) fn is_control(text: &str) -> bool {
    let lower = text.to_lowercase();
    lower.split(|c: char| !c.is_alphanumeric()).any(|word| CONTROLS.contains(&word))
}

/// What exports share that one entry can hold: folder, ending, layout, sample, geometry, sheets.
type Alike<'a> = (&'a str, &'a str, &'a str, &'a str, usize, Vec<String>);

/// Names all exports. `files` are all files of the study, so that a pattern matches none that is no export.
pub(super) fn name(exports: &[Export], files: &[String]) -> Named {
    let mut named = Named::default();
    let samples = samples(exports, &mut named);
    let (tools, tool_of, unclear) = geometries(exports);
    named.unclear.extend(unclear);
    let instruments = instruments(exports, &tool_of);
    let mut groups: BTreeMap<Alike<'_>, Vec<usize>> = BTreeMap::new();
    let sheets = sheets(exports);
    for (at, export) in exports.iter().enumerate() {
        let sheets = sheets[export.file.as_str()].clone();
        let key = (export.folder(), export.ending(), export.layout.as_str(), samples[at].as_str(), tool_of[at], sheets);
        groups.entry(key).or_default().push(at);
    }
    for ((folder, ending, layout, sample, tool, sheets), members) in groups {
        let own: BTreeSet<&str> = members.iter().map(|at| exports[*at].file.as_str()).collect();
        let of = |keys: &[&str], paths: &[&str]| origin(exports, &members, keys, paths);
        let (loading, repeat) = (of(&LOADING_KEYS, &LOADING_PATHS), of(&REPEAT_KEYS, &REPEAT_PATHS));
        let entry = Entry {
            files: String::new(),
            sheets,
            layout: layout.to_owned(),
            sample: sample.to_owned(),
            geometry: (tools.len() > 1).then(|| tools[tool].name.clone()),
            instrument: (instruments.len() > 1).then(|| instrument_of(layout)),
            loading,
            repeat,
            members: members.clone(),
        };
        for pattern in patterns(folder, ending, &own, files) {
            let matches = |at: &usize| pattern.1.contains(&exports[*at].file.as_str());
            let members = members.iter().copied().filter(matches).collect();
            named.entries.push(Entry { files: pattern.0, members, ..entry.clone() });
        }
    }
    (named.geometries, named.instruments) = (tools, instruments);
    tell(&mut named);
    named
}

/// The sheets of each workbook that has several.
fn sheets(exports: &[Export]) -> BTreeMap<&str, Vec<String>> {
    let mut sheets: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for export in exports {
        sheets.entry(&export.file).or_default().extend(export.sheet.clone());
    }
    sheets
}

/// The sample of each export: from preambles if all tell it, else from folders, else from file names.
fn samples(exports: &[Export], named: &mut Named) -> Vec<String> {
    let from_preamble: Option<Vec<String>> = exports
        .iter()
        .map(|export| Some(export.preamble[&key(export, &SAMPLE_KEYS)?].clone()).filter(|s| !s.is_empty()))
        .collect();
    let folders: BTreeSet<&str> = exports.iter().map(Export::folder).collect();
    if let Some(found) = from_preamble {
        named.how.push("samples from the preambles".to_owned());
        for (export, sample) in exports.iter().zip(&found) {
            let folder = last(export.folder());
            if folders.len() > 1 && folder != sample && !is_control(folder) && !folder.is_empty() {
                let run = export.run();
                named.unclear.push(format!(
                    "`{run}`: its preamble says sample `{sample}`, its folder `{folder}`; the preamble was taken"
                ));
            }
        }
        return found;
    }
    if folders.len() > 1 {
        named.how.push("samples from the folders".to_owned());
        return exports.iter().map(|export| last(export.folder()).to_owned()).collect();
    }
    named.how.push("samples from the beginnings of file names".to_owned());
    exports.iter().map(|export| beginning(export.stem())).collect()
}

fn last(folder: &str) -> &str {
    folder.rsplit('/').next().unwrap_or_default()
}

/// A file name without what tells loading or repeat, and without a number behind its last `_` or `-`.
fn beginning(stem: &str) -> String {
    let cut = LOADING_PATHS
        .iter()
        .chain(&REPEAT_PATHS)
        .filter_map(|pattern| Some(Regex::new(pattern).ok()?.find(stem)?.start()));
    let end = cut.filter(|at| *at > 0).min().unwrap_or(stem.len());
    let short = stem[..end].trim_end_matches(['_', '-', ' ']);
    match short.rsplit_once(['_', '-', ' ']) {
        Some((before, number)) if end == stem.len() && number.bytes().all(|b| b.is_ascii_digit()) => before.to_owned(),
        _ => short.to_owned(),
    }
}

/// The key of a preamble that is one of the words, or begins with one.
fn key(export: &Export, words: &[&str]) -> Option<String> {
    let lower = |key: &String| key.trim_end_matches([':', ' ']).to_lowercase();
    let keys = || export.preamble.keys();
    let exact = keys().find(|key| words.contains(&lower(key).as_str()));
    let begins = || {
        keys().find(|key| {
            let key = lower(key);
            words
                .iter()
                .any(|word| [" name", " id", " no", " nr", " number"].iter().any(|end| key == format!("{word}{end}")))
        })
    };
    exact.or_else(begins).cloned()
}

fn origin(exports: &[Export], members: &[usize], keys: &[&str], paths: &[&str]) -> Option<From> {
    let told = |from: &From| members.iter().all(|at| from.name(&exports[*at]).is_some());
    let preamble = members.first().and_then(|at| key(&exports[*at], keys)).map(From::Preamble).filter(told);
    preamble.or_else(|| paths.iter().map(|pattern| From::Path((*pattern).to_owned())).find(told))
}

/// Patterns that match these files and no others of the study, with the files of each.
fn patterns<'a>(
    folder: &str,
    ending: &str,
    own: &BTreeSet<&'a str>,
    files: &[String],
) -> Vec<(String, BTreeSet<&'a str>)> {
    let base = if folder.is_empty() { String::new() } else { format!("{folder}/") };
    let names = || own.iter().map(|file| &file[base.len()..]);
    let shared = names().skip(1).fold(names().next().unwrap_or_default(), |shared, name| common(shared, name));
    let prefix = shared.strip_suffix(ending).unwrap_or(shared);
    for prefix in ["", prefix] {
        let inside = |file: &&String| {
            let name = file.strip_prefix(&base).filter(|name| !name.contains('/'));
            name.is_some_and(|name| {
                name.starts_with(prefix) && name.ends_with(ending) && name.len() >= prefix.len() + ending.len()
            })
        };
        if files.iter().filter(inside).all(|file| own.contains(file.as_str())) {
            return vec![(format!("{}{}*{}", literal(&base), literal(prefix), literal(ending)), own.clone())];
        }
    }
    own.iter().map(|file| (literal(file), BTreeSet::from([*file]))).collect()
}

fn common<'a>(a: &'a str, b: &str) -> &'a str {
    let same = a.char_indices().zip(b.chars()).find(|((_, x), y)| x != y).map(|((at, _), _)| at);
    &a[..same.unwrap_or(a.len().min(b.len()))]
}

/// Signs that have a meaning in patterns, as themselves.
fn literal(text: &str) -> String {
    text.chars().map(|c| if matches!(c, '*' | '?' | '[' | '{') { format!("[{c}]") } else { c.to_string() }).collect()
}

fn tell(named: &mut Named) {
    if named.entries.is_empty() {
        return named.how.clear();
    }
    let mut say = |what: &str, of: &dyn Fn(&Entry) -> Option<&From>, none: &str| {
        let ways: BTreeSet<String> =
            named.entries.iter().map(|entry| of(entry).map_or(none.to_owned(), From::words)).collect();
        named.how.push(format!("{what} from {}", ways.into_iter().collect::<Vec<_>>().join(", or ")));
    };
    say("loadings", &|entry| entry.loading.as_ref(), "each export being one of its own");
    if named.entries.iter().any(|entry| entry.repeat.is_some()) {
        say("repeats", &|entry| entry.repeat.as_ref(), "nothing");
    }
    for entry in named.entries.iter().filter(|entry| entry.loading.is_none() && entry.members.len() > 1) {
        named.unclear.push(format!(
            "`{}`: nothing tells loadings from repeats; each of its {} exports counts as a loading of its own",
            entry.files,
            entry.members.len()
        ));
    }
}

impl Entry {
    /// As a line of the study file.
    pub(super) fn yaml(&self) -> String {
        let mut parts = vec![format!("files: {}", quoted(&self.files))];
        if !self.sheets.is_empty() {
            parts.push(format!("sheets: [{}]", self.sheets.iter().map(|s| scalar(s)).collect::<Vec<_>>().join(", ")));
        }
        parts.push(format!("layout: {}", scalar(&self.layout)));
        parts.push(format!("sample: {}", scalar(&self.sample)));
        parts.extend(self.geometry.as_ref().map(|name| format!("geometry: {name}")));
        parts.extend(self.instrument.as_ref().map(|name| format!("instrument: {}", scalar(name))));
        parts.extend(self.loading.as_ref().map(|from| format!("loading: {}", from.yaml())));
        parts.extend(self.repeat.as_ref().map(|from| format!("repeat: {}", from.yaml())));
        format!("- {{{}}}", parts.join(", "))
    }

    /// Loading and repeat of one of its exports; an export without a loading is one.
    pub(super) fn place(&self, export: &Export) -> (String, Option<String>) {
        let name = |from: &Option<From>| from.as_ref().and_then(|from| from.name(export));
        (name(&self.loading).unwrap_or_else(|| export.run()), name(&self.repeat))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn export(file: &str, preamble: &[(&str, &str)]) -> Export {
        let preamble = preamble.iter().map(|(k, v)| ((*k).to_owned(), (*v).to_owned())).collect();
        Export { file: file.to_owned(), layout: "txt".to_owned(), preamble, ..Export::default() }
    }

    fn lines(exports: &[Export], more: &[&str]) -> Vec<String> {
        let files: Vec<String> =
            exports.iter().map(|e| e.file.clone()).chain(more.iter().map(|f| (*f).to_owned())).collect();
        name(exports, &files).entries.iter().map(Entry::yaml).collect()
    }

    #[test]
    fn folders_are_samples_and_paths_tell_loadings() {
        let exports = ["raw/S1/S1_L1.txt", "raw/S1/S1_L2.txt", "raw/S2/S2_L1.txt"].map(|f| export(f, &[]));
        assert_eq!(
            lines(&exports, &[]),
            [
                r"- {files: 'raw/S1/*.txt', layout: txt, sample: S1, loading: {path: '[_-]L(\d+)'}}",
                r"- {files: 'raw/S2/*.txt', layout: txt, sample: S2, loading: {path: '[_-]L(\d+)'}}",
            ]
        );
    }

    #[test]
    fn preambles_win_and_are_held_against_folders() {
        let exports = [
            export("raw/a/1.txt", &[("Sample", "A"), ("Loading", "1"), ("Repeat", "2")]),
            export("raw/b/1.txt", &[("Sample", "C"), ("Loading", "1"), ("Repeat", "1")]),
        ];
        let files: Vec<String> = exports.iter().map(|e| e.file.clone()).collect();
        let named = name(&exports, &files);
        assert_eq!(named.entries[1].sample, "C");
        assert!(named.entries[1].yaml().ends_with("loading: {preamble: Loading}, repeat: {preamble: Repeat}}"));
        assert!(named.unclear.iter().any(|u| u.contains("its preamble says sample `C`, its folder `b`")), "{named:?}");
        assert_eq!(named.entries[0].place(&exports[0]), ("1".to_owned(), Some("2".to_owned())));
    }

    #[test]
    fn file_names_are_parted_where_there_are_no_folders() {
        let exports = ["x/A54_1.txt", "x/A54_2.txt", "x/B50_1.txt", "x/B50_2.txt"].map(|f| export(f, &[]));
        let found = lines(&exports, &["x/notes.txt"]);
        assert_eq!(found.len(), 2);
        assert!(found[0].starts_with("- {files: 'x/A54_*.txt', layout: txt, sample: A54}"), "{found:?}");
    }

    #[test]
    fn a_pattern_never_takes_a_foreign_file() {
        let exports = ["x/a.txt", "x/b.txt"].map(|f| export(f, &[("Sample", "S")]));
        assert_eq!(lines(&exports, &["x/notes.txt"]).len(), 2, "no pattern parts them: one entry a file");
        assert!(lines(&exports, &[])[0].contains("'x/*.txt'"));
        assert_eq!(literal("a[1]*.txt"), "a[[]1][*].txt");
    }

    #[test]
    fn controls_are_known_by_name() {
        assert!(is_control("raw/control") && is_control("Silicone oil") && !is_control("soil") && !is_control("B46"));
    }
}
