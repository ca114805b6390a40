//! Which raw exports there are, and what each is: the patterns of the study file against its folder.
//! Nothing here opens an export.

use crate::clean::params::SetAside;
use crate::near_miss::nearest;
use crate::physics::quantity::Quantity;
use crate::physics::units::Dimension;
use crate::reversal::identity::Name;
use crate::reversal::result::Controlled;
use crate::setup::document::{Document, Raw};
use crate::setup::names::named_or_only;
use crate::setup::origin::{Namer, Origin};
use crate::setup::quantities::{Range, read};
use crate::setup::source::Problems;
use crate::setup::yaml::listed;
use crate::setup::{RunPlan, STUDY_FILE};
use crate::states::params::SetPoint;
use globset::{GlobBuilder, GlobMatcher};
use pipeline::diagnostic::Diagnostic;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use walkdir::{DirEntry, WalkDir};

/// The files of a study that are not ours.
pub(super) struct Folder {
    /// Paths relative to the study, with `/`, sorted.
    files: Vec<String>,
    /// Those that really lie elsewhere, behind a link.
    outside: BTreeSet<String>,
    /// Those whose name is not UTF-8, written with replacement marks.
    unreadable_names: BTreeSet<String>,
    /// What is there and is no file, and what it is.
    no_files: BTreeMap<String, &'static str>,
}

const FOLDER: &str = "a folder";

impl Folder {
    /// Lists the folder. Hidden folders and what we make ourselves are left out.
    pub(super) fn list(root: &Path, problems: &mut Problems<'_>) -> Self {
        let mut folder = Self {
            files: Vec::new(),
            outside: BTreeSet::new(),
            unreadable_names: BTreeSet::new(),
            no_files: BTreeMap::new(),
        };
        let home = root.canonicalize().ok();
        for entry in WalkDir::new(root).follow_links(true).into_iter().filter_entry(is_theirs) {
            match entry {
                Ok(entry) if entry.file_type().is_file() => folder.enter(root, home.as_deref(), &entry),
                Ok(entry) => {
                    let what = if entry.file_type().is_dir() { FOLDER } else { "a pipe, socket or device" };
                    folder.enter_other(root, entry.path(), what);
                }
                // A link that leads back up is no file, and what it leads to has been listed.
                Err(error) if error.loop_ancestor().is_some() => {}
                Err(error) if leads_nowhere(&error) => {
                    error.path().into_iter().for_each(|path| folder.enter_other(root, path, "a link to nothing"));
                }
                Err(error) => problems.push(unlisted(root, &error)),
            }
        }
        folder.files.sort();
        folder
    }

    /// A file that is named by its path: it is there, inside the study.
    pub(super) fn named(&self, path: &str, file: &str, problems: &mut Problems<'_>) {
        if self.files.binary_search_by(|there| there.as_str().cmp(file)).is_err() {
            let near = nearest(file, self.files.iter().map(String::as_str));
            let help = near.map_or_else(
                || "write its path from the folder of the study file downwards, with `/`".to_owned(),
                |near| format!("did you mean `{near}`?"),
            );
            problems.add(path, format!("there is no file `{file}` in the study"), Some(help));
        } else if self.outside.contains(file) {
            let help = "copy it into the study: everything that a result rests on lies in its folder";
            problems.add(path, format!("`{file}` is a link out of the study"), Some(help.to_owned()));
        }
    }

    fn enter_other(&mut self, root: &Path, path: &Path, what: &'static str) {
        if let Ok(relative) = path.strip_prefix(root) {
            self.no_files.insert(with_slashes(relative), what);
        }
    }

    fn enter(&mut self, root: &Path, home: Option<&Path>, entry: &DirEntry) {
        let Ok(relative) = entry.path().strip_prefix(root) else { return };
        let path = with_slashes(relative);
        if path == STUDY_FILE {
            return;
        }
        if relative.to_str().is_none() {
            self.unreadable_names.insert(path.clone());
        }
        let linked = entry.path_is_symlink() || relative.parent().is_some_and(|p| p != Path::new(""));
        if linked
            && let (Some(home), Ok(real)) = (home, entry.path().canonicalize())
            && !real.starts_with(home)
        {
            self.outside.insert(path.clone());
        }
        self.files.push(path);
    }
}

fn with_slashes(path: &Path) -> String {
    path.components().map(|part| part.as_os_str().to_string_lossy()).collect::<Vec<_>>().join("/")
}

/// Whether this is about a link whose target is not there.
fn leads_nowhere(error: &walkdir::Error) -> bool {
    let gone = error.io_error().is_some_and(|e| e.kind() == std::io::ErrorKind::NotFound);
    gone && error.path().is_some_and(Path::is_symlink)
}

fn is_theirs(entry: &DirEntry) -> bool {
    let name = entry.file_name().to_string_lossy();
    let ours = entry.depth() == 1 && matches!(name.as_ref(), "results" | "edited");
    let hidden = entry.depth() > 0 && entry.file_type().is_dir() && name.starts_with('.');
    !ours && !hidden
}

fn unlisted(root: &Path, error: &walkdir::Error) -> Diagnostic {
    let relative = error.path().and_then(|p| p.strip_prefix(root).ok()).unwrap_or(Path::new("."));
    let why = error.io_error().map_or_else(String::new, |e| format!(": {e}"));
    Diagnostic::new(format!("cannot list `{}`{why}", relative.display())).help("check who may read it")
}

/// All runs, sorted by path.
pub(super) fn runs(document: &Document, folder: &Folder, problems: &mut Problems<'_>) -> Vec<RunPlan> {
    if document.raw.is_empty() {
        let help = "add an entry such as `- {files: \"raw/*.txt\", sample: …}`";
        problems.add("raw", "the study has no raw exports", Some(help.to_owned()));
    }
    let mut runs: BTreeMap<String, RunPlan> = BTreeMap::new();
    for (index, raw) in document.raw.iter().enumerate() {
        let entry = format!("raw[{}]", index + 1);
        let plan = plan(raw, &entry, document, problems);
        let mut loading = Names::new(raw.loading.as_ref(), format!("{entry}.loading"), problems);
        let mut repeat = Names::new(raw.repeat.as_ref(), format!("{entry}.repeat"), problems);
        for (file, sheet) in sheets(raw, matches(raw, &entry, folder, problems)) {
            let path = sheet.as_ref().map_or(file.clone(), |sheet| format!("{file}#{sheet}"));
            if let Some(first) = runs.get(&path) {
                twice(&path, &entry, &first.entry, problems);
                continue;
            }
            let (loading, repeat) = (loading.name(&path), repeat.name(&path));
            runs.insert(path.clone(), RunPlan { path, file, sheet, loading, repeat, ..plan.clone() });
        }
        loading.tell(problems);
        repeat.tell(problems);
    }
    runs.into_values().collect()
}

/// Each file, or each of its sheets where the entry names some.
fn sheets(raw: &Raw, files: Vec<String>) -> Vec<(String, Option<String>)> {
    let of_file = |file: String| match &raw.sheets[..] {
        [] => vec![(file, None)],
        sheets => sheets.iter().map(|sheet| (file.clone(), Some(sheet.clone()))).collect(),
    };
    files.into_iter().flat_map(of_file).collect()
}

/// What all files of an entry have in common; a name that was not found is left empty, and told.
fn plan(raw: &Raw, entry: &str, document: &Document, problems: &mut Problems<'_>) -> RunPlan {
    let mut set_points = Vec::new();
    for (index, text) in raw.set_points.iter().enumerate() {
        set_points.extend(set_point(text, &format!("{entry}.set_points[{}]", index + 1), problems));
    }
    RunPlan {
        path: String::new(),
        file: String::new(),
        sheet: None,
        entry: entry.to_owned(),
        layout: named_or_only(problems, entry, "layout", raw.layout.as_ref(), &document.layouts).unwrap_or_default(),
        sample: named_or_only(problems, entry, "sample", raw.sample.as_ref(), &document.samples).unwrap_or_default(),
        geometry: named_or_only(problems, entry, "geometry", raw.geometry.as_ref(), &document.geometries)
            .unwrap_or_default(),
        instrument: named_or_only(problems, entry, "instrument", raw.instrument.as_ref(), &document.instruments)
            .unwrap_or_default(),
        loading: None,
        repeat: None,
        preamble: chosen(raw, entry, problems),
        set_points,
    }
}

/// The keys of the preamble that are to become columns; each once, and none empty.
fn chosen(raw: &Raw, entry: &str, problems: &mut Problems<'_>) -> Vec<String> {
    for (index, key) in raw.preamble.iter().enumerate() {
        let path = format!("{entry}.preamble[{}]", index + 1);
        if key.trim().is_empty() {
            problems.add(&path, "the key of a preamble's entry is missing", None);
        } else if raw.preamble[..index].contains(key) {
            problems.add(&path, format!("`{key}` is there twice"), None);
        }
    }
    raw.preamble.clone()
}

/// A stress or a rate.
pub(super) fn set_point(text: &str, path: &str, problems: &mut Problems<'_>) -> Option<SetPoint> {
    let stress = Quantity::parse(text, Dimension::STRESS).map(|q| (Controlled::Stress, q.value));
    let either = stress.or_else(|message| {
        Quantity::parse(text, Dimension::RATE).map(|q| (Controlled::Rate, q.value)).map_err(|_| message)
    });
    let help = || Some("a set-point is a stress, `10 Pa`, or a rate, `10 1/s`".to_owned());
    match either {
        Ok((controlled, value)) if value > 0.0 => return Some(SetPoint { controlled, value }),
        Ok(_) => problems.add(path, format!("set-point `{text}` must be above 0: its sense does not count"), help()),
        Err(message) => problems.add(path, message, help()),
    }
    None
}

/// The files that an entry's pattern matches.
fn matches(raw: &Raw, entry: &str, folder: &Folder, problems: &mut Problems<'_>) -> Vec<String> {
    let path = format!("{entry}.files");
    let Some(matcher) = matcher(&raw.files, &path, problems) else { return Vec::new() };
    let found: Vec<String> = folder.files.iter().filter(|file| matcher.is_match(file)).cloned().collect();
    let told = no_files(&matcher, &path, found.is_empty(), folder, problems);
    if found.is_empty() && !told {
        let message = format!("no file matches `{}`", raw.files);
        problems.add(&path, message, Some(what_is_there(&raw.files, &folder.files)));
    }
    for file in found.iter().filter(|file| folder.outside.contains(*file)) {
        let help = "copy it into the study: everything that a result rests on lies in its folder";
        problems.add(&path, format!("`{file}` is a link out of the study"), Some(help.to_owned()));
    }
    for file in found.iter().filter(|file| folder.unreadable_names.contains(*file)) {
        problems.add(&path, format!("the name of `{file}` is not UTF-8"), Some("rename the file".to_owned()));
    }
    found
}

/// Tells what a pattern matches that is no file; of folders only where it matches nothing else, because `raw/*` is not
/// meant to name those in `raw`.
fn no_files(matcher: &GlobMatcher, path: &str, alone: bool, folder: &Folder, problems: &mut Problems<'_>) -> bool {
    let matched = folder.no_files.iter().filter(|(name, _)| matcher.is_match(name));
    let mut told = false;
    for (name, what) in matched.filter(|(_, what)| alone || **what != FOLDER) {
        let help = match *what {
            FOLDER => format!("write `{name}/*` for the files in it"),
            _ => "name the exports themselves, as plain files".to_owned(),
        };
        problems.add(path, format!("`{name}` is {what}, no export"), Some(help));
        told = true;
    }
    told
}

/// A pattern that stays inside the study.
fn matcher(pattern: &str, path: &str, problems: &mut Problems<'_>) -> Option<GlobMatcher> {
    let drive = pattern.as_bytes().get(1) == Some(&b':');
    let (message, help) = if pattern.trim().is_empty() {
        ("the pattern is empty".to_owned(), "write for example `raw/*.txt`")
    } else if pattern.contains('\\') {
        (format!("`{pattern}` has a backslash"), "separate folders by `/` on every system")
    } else if pattern.starts_with('/') || drive {
        (format!("`{pattern}` is an absolute path"), "write it relative to the folder of the study file")
    } else if pattern.split('/').any(|part| part == ".." || part == ".") {
        (
            format!("`{pattern}` goes through `.` or `..`"),
            "write it from the folder of the study file downwards; raw exports lie inside the study",
        )
    } else {
        match GlobBuilder::new(pattern).literal_separator(true).backslash_escape(false).build() {
            Ok(glob) => return Some(glob.compile_matcher()),
            Err(error) => (
                format!("`{pattern}` is no pattern: {}", error.kind()),
                "`*`, `?`, `[ab]`, `{a,b}` and `**` have a meaning",
            ),
        }
    };
    problems.add(path, message, Some(help.to_owned()));
    None
}

/// What to say where a pattern matches nothing: the nearest folder or file, or what lies there.
fn what_is_there(pattern: &str, files: &[String]) -> String {
    let literal = pattern.find(['*', '?', '[', '{']).map_or(pattern, |at| &pattern[..at]);
    let folder = literal.rfind('/').map_or("", |at| &literal[..=at]);
    let inside: Vec<&str> = files.iter().filter(|file| file.starts_with(folder)).map(String::as_str).collect();
    if literal == pattern
        && let Some(near) = nearest(pattern, files.iter().map(String::as_str))
    {
        return format!("did you mean `{near}`?");
    }
    if !inside.is_empty() {
        let rest = if inside.len() > 3 { " …" } else { "" };
        let shown = if folder.is_empty() { "the study's folder" } else { folder };
        return format!("{shown} holds {}{rest}", listed(inside.into_iter().take(3)));
    }
    let folders: BTreeSet<&str> = files.iter().filter_map(|file| file.rfind('/').map(|at| &file[..=at])).collect();
    match nearest(folder, folders.iter().copied()) {
        Some(near) => format!("there is no folder `{folder}`: did you mean `{near}`?"),
        None => format!("there is nothing under `{folder}` in the study"),
    }
}

fn twice(file: &str, entry: &str, first: &str, problems: &mut Problems<'_>) {
    let first =
        problems.source().place(&format!("{first}.files")).line.map_or(String::new(), |l| format!(" in line {l}"));
    let help = format!("a run belongs to one entry; the first one stands{first}");
    problems.add(&format!("{entry}.files"), format!("`{file}` is matched twice"), Some(help));
}

/// The names that one rule gives to the runs of its entry.
struct Names {
    namer: Option<Namer>,
    path: String,
    failed: Vec<String>,
}

impl Names {
    fn new(rule: Option<&Origin>, path: String, problems: &mut Problems<'_>) -> Self {
        let namer = rule.and_then(|rule| problems.keep(&format!("{path}.path"), rule.namer()));
        Self { namer, path, failed: Vec::new() }
    }

    fn name(&mut self, run: &str) -> Option<Name> {
        self.namer.as_ref()?.name(run).map_err(|message| self.failed.push(message)).ok()
    }

    /// One problem for all runs that have no name.
    fn tell(self, problems: &mut Problems<'_>) {
        let Some(first) = self.failed.first() else { return };
        let more = self.failed.len() - 1;
        let message = if more == 0 { first.clone() } else { format!("{first}, nor {more} more") };
        let help = r"a group takes the name out of the path: `{path: '_L(\d+)'}`";
        problems.add(&format!("{}.path", self.path), message, Some(help.to_owned()));
    }
}

/// What is set aside by hand, by run.
pub(super) fn set_aside(
    document: &Document,
    runs: &[RunPlan],
    problems: &mut Problems<'_>,
) -> BTreeMap<String, Vec<SetAside>> {
    let mut by_run: BTreeMap<String, Vec<SetAside>> = BTreeMap::new();
    for (index, typed) in document.set_aside.iter().enumerate() {
        let path = format!("set_aside[{}]", index + 1);
        if !runs.iter().any(|run| run.path == typed.run) {
            let near = nearest(&typed.run, runs.iter().map(|run| run.path.as_str()));
            let help = near.map(|near| format!("did you mean `{near}`?"));
            problems.add(&format!("{path}.run"), format!("there is no run `{}`", typed.run), help);
        }
        if typed.because.trim().is_empty() {
            problems.add(&format!("{path}.because"), "a reason is missing: the report prints it", None);
        }
        let mut time = |key: &str, text: &Option<String>| {
            let quantity = read(problems, &format!("{path}.{key}"), text.as_ref(), Dimension::TIME, Range::NotNegative);
            quantity.map(|q| q.value)
        };
        let (from_s, to_s) = (time("from", &typed.from), time("to", &typed.to));
        if let (Some(from), Some(to)) = (from_s, to_s)
            && to <= from
        {
            problems.add(&format!("{path}.to"), "`to` must be later than `from`", None);
        }
        let entry = SetAside { step: typed.step, from_s, to_s, because: typed.because.clone() };
        by_run.entry(typed.run.clone()).or_default().push(entry);
    }
    by_run
}
