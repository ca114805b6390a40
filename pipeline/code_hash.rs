//! The code hash of a stage, made at build time; the build scripts of `stages` and `reports` include this file.
//!
//! A hash covers the tokens (no comments, no layout, no tests) of the stage's own folder, of every room that it
//! reaches through `crate::…` or `stages::…`, the bytes of templates and fonts in those folders, and the locked
//! versions of the outside crates that those tokens name, with all that they depend on. The reach is read off the
//! tokens themselves, so that a stage cannot use a room without hashing it; a path through `super` that leaves a
//! top-level room is refused, because it would hide one.

use proc_macro2::{Delimiter, TokenStream, TokenTree};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// A module of one of the crates: crate name, then its path, for example `stages`, `["reversal", "find"]`.
type Module = (String, Vec<String>);

/// The sources that can be reached, and what is locked.
pub(crate) struct Sources {
    modules: BTreeMap<Module, Vec<String>>,
    assets: BTreeMap<Module, Vec<u8>>,
    /// Folders in which only the module that is named counts (a stage's `result` or `params`), not all of it.
    stages: BTreeSet<String>,
    lock: Lock,
    files: Vec<PathBuf>,
}

impl Sources {
    /// Reads the crates at `folders` (name and folder) and the lock file.
    ///
    /// # Errors
    /// If a source cannot be read or is not Rust, or uses `super` across rooms.
    pub(crate) fn read(folders: &[(&str, &Path)], stages: &[&str], lock: &Path) -> Result<Self, String> {
        let text = std::fs::read_to_string(lock).map_err(|e| format!("{}: {e}", lock.display()))?;
        let mut sources = Self {
            modules: BTreeMap::new(),
            assets: BTreeMap::new(),
            stages: stages.iter().map(|s| (*s).to_owned()).collect(),
            lock: Lock::parse(&text),
            files: vec![lock.to_owned()],
        };
        for (name, folder) in folders {
            sources.read_folder(name, folder, &mut Vec::new())?;
        }
        Ok(sources)
    }

    /// Every file that was read, for `cargo::rerun-if-changed`.
    pub(crate) fn files(&self) -> &[PathBuf] {
        &self.files
    }

    /// The hash over `rooms` of `krate` and all that they reach, as hexadecimal text.
    pub(crate) fn hash(&self, krate: &str, rooms: &[&str]) -> String {
        let mut reached = BTreeSet::new();
        let mut open: Vec<Module> = rooms.iter().map(|r| (krate.to_owned(), vec![(*r).to_owned()])).collect();
        while let Some((krate, prefix)) = open.pop() {
            for (module, tokens) in self.modules.range((krate.clone(), prefix.clone())..) {
                if module.0 != krate || !module.1.starts_with(&prefix) {
                    break;
                }
                if reached.insert(module.clone()) {
                    open.extend(self.uses(&module.0, tokens));
                }
            }
        }
        self.digest(&reached)
    }

    fn digest(&self, reached: &BTreeSet<Module>) -> String {
        let mut hasher = blake3::Hasher::new_derive_key("shearback code hash 1");
        let mut field = |bytes: &[u8]| {
            hasher.update(&(bytes.len() as u64).to_le_bytes());
            hasher.update(bytes);
        };
        let mut crates = BTreeSet::new();
        for module in reached {
            field(format!("{}::{}", module.0, module.1.join("::")).as_bytes());
            for token in &self.modules[module] {
                field(token.as_bytes());
                crates.extend(self.lock.direct(&module.0, token));
            }
        }
        let folders: BTreeSet<_> = reached.iter().filter_map(|m| Some((m.0.clone(), m.1.first()?.clone()))).collect();
        for ((krate, path), bytes) in &self.assets {
            if path.first().is_some_and(|first| folders.contains(&(krate.clone(), first.clone()))) {
                field(path.join("/").as_bytes());
                field(bytes);
            }
        }
        for locked in self.lock.closure(crates) {
            field(locked.as_bytes());
        }
        hasher.finalize().to_hex().to_string()
    }

    /// Modules that a module's tokens name: `crate::a`, `crate::{a, b::c}`, and the same behind `stages::`.
    fn uses(&self, krate: &str, tokens: &[String]) -> Vec<Module> {
        let known: BTreeSet<&str> = self.modules.keys().map(|(k, _)| k.as_str()).collect();
        let mut out = Vec::new();
        for at in 0..tokens.len() {
            let target = match tokens[at].as_str() {
                "crate" => krate,
                other if known.contains(other) && other != krate => other,
                _ => continue,
            };
            if tokens.get(at + 1).map(String::as_str) == Some("::") {
                for path in paths(&tokens[at + 2..]) {
                    out.push((target.to_owned(), self.narrow(target, path)));
                }
            }
        }
        out
    }

    /// A room counts whole; of a stage's folder only the module that is named, if a module is named.
    fn narrow(&self, krate: &str, path: Vec<String>) -> Vec<String> {
        let stage = path.first().is_some_and(|room| self.stages.contains(room));
        let module = self.modules.contains_key(&(krate.to_owned(), path.clone()));
        path.into_iter().take(if stage && module { 2 } else { 1 }).collect()
    }

    fn read_folder(&mut self, krate: &str, folder: &Path, inside: &mut Vec<String>) -> Result<(), String> {
        let list = std::fs::read_dir(folder).map_err(|e| format!("{}: {e}", folder.display()))?;
        let mut paths: Vec<PathBuf> = list.filter_map(|entry| Some(entry.ok()?.path())).collect();
        paths.sort();
        for path in paths {
            let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
            if path.is_dir() {
                if !["reference", "benches", "target"].contains(&name.as_str()) {
                    inside.push(name);
                    self.read_folder(krate, &path, inside)?;
                    inside.pop();
                }
            } else if !inside.is_empty() || name == "lib.rs" || name.ends_with(".rs") {
                self.read_file(krate, &path, &name, inside)?;
            }
        }
        Ok(())
    }

    fn read_file(&mut self, krate: &str, path: &Path, name: &str, inside: &[String]) -> Result<(), String> {
        if ["build.rs", "tests.rs"].contains(&name) {
            return Ok(());
        }
        self.files.push(path.to_owned());
        let bytes = std::fs::read(path).map_err(|e| format!("{}: {e}", path.display()))?;
        let mut module = inside.to_vec();
        let Some(stem) = name.strip_suffix(".rs") else {
            module.push(name.to_owned());
            self.assets.insert((krate.to_owned(), module), bytes);
            return Ok(());
        };
        if !["mod", "lib"].contains(&stem) {
            module.push(stem.to_owned());
        }
        let tokens = tokens(&String::from_utf8_lossy(&bytes)).map_err(|e| format!("{}: {e}", path.display()))?;
        let ups = longest_super(&tokens);
        if ups >= module.len().max(1) && !module.is_empty() {
            return Err(format!(
                "{}: `super` leaves the room; write `crate::…`, which the code hash sees",
                path.display()
            ));
        }
        self.modules.insert((krate.to_owned(), module), tokens);
        Ok(())
    }
}

/// Longest run of `super::super::…`.
fn longest_super(tokens: &[String]) -> usize {
    let (mut longest, mut run) = (0, 0);
    for token in tokens {
        run = match token.as_str() {
            "super" => run + 1,
            "::" => run,
            _ => 0,
        };
        longest = longest.max(run);
    }
    longest
}

/// Paths behind `crate ::`, up to two names deep: `a::b`, `{a::b, c}`, `a::{b, c}`.
fn paths(tokens: &[String]) -> Vec<Vec<String>> {
    match tokens.first().map(String::as_str) {
        Some("{") => group(tokens).into_iter().flat_map(|part| paths(&part)).collect(),
        Some(first) if is_name(first) => {
            let first = first.to_owned();
            if tokens.get(1).map(String::as_str) != Some("::") {
                return vec![vec![first]];
            }
            let rest: Vec<String> = match tokens.get(2).map(String::as_str) {
                Some("{") => group(&tokens[2..]).into_iter().filter_map(|part| part.first().cloned()).collect(),
                Some(second) => vec![second.to_owned()],
                None => Vec::new(),
            };
            rest.into_iter().map(|second| vec![first.clone(), second]).collect()
        }
        _ => Vec::new(),
    }
}

fn is_name(token: &str) -> bool {
    token.chars().next().is_some_and(|c| c.is_alphabetic() || c == '_')
}

/// The parts of a `{…}` that starts the tokens, split at its own commas.
fn group(tokens: &[String]) -> Vec<Vec<String>> {
    let (mut depth, mut parts) = (0_usize, vec![Vec::new()]);
    for token in tokens {
        match token.as_str() {
            "{" if depth == 0 => depth = 1,
            "}" if depth == 1 => break,
            "," if depth == 1 => parts.push(Vec::new()),
            other => {
                depth += usize::from(other == "{");
                depth -= usize::from(other == "}");
                if let Some(part) = parts.last_mut() {
                    part.push(other.to_owned());
                }
            }
        }
    }
    parts
}

/// The tokens of a file without comments, documentation and tests; `::` is one token.
fn tokens(text: &str) -> Result<Vec<String>, String> {
    let stream: TokenStream = text.parse().map_err(|e| format!("not Rust: {e}"))?;
    let mut out = Vec::new();
    flatten(stream, &mut out);
    Ok(out)
}

fn flatten(stream: TokenStream, out: &mut Vec<String>) {
    let trees: Vec<TokenTree> = stream.into_iter().collect();
    let mut at = 0;
    while at < trees.len() {
        if let Some((length, attribute)) = attribute(&trees[at..]) {
            if attribute == "doc" {
                at += length;
                continue;
            }
            if attribute == "cfg(test)" {
                at += length + item_length(&trees[at + length..]);
                continue;
            }
        }
        match &trees[at] {
            TokenTree::Group(inner) => {
                let (open, close) = match inner.delimiter() {
                    Delimiter::Parenthesis => ("(", ")"),
                    Delimiter::Brace => ("{", "}"),
                    Delimiter::Bracket => ("[", "]"),
                    Delimiter::None => ("", ""),
                };
                out.push(open.to_owned());
                flatten(inner.stream(), out);
                out.push(close.to_owned());
            }
            TokenTree::Punct(p) if p.as_char() == ':' && out.last().is_some_and(|last| last == ":") => {
                out.pop();
                out.push("::".to_owned());
            }
            other => out.push(other.to_string()),
        }
        at += 1;
    }
}

/// If an attribute starts here: its length in trees, and `doc`, `cfg(test)` or another text.
fn attribute(trees: &[TokenTree]) -> Option<(usize, String)> {
    let TokenTree::Punct(hash) = trees.first()? else { return None };
    if hash.as_char() != '#' {
        return None;
    }
    let inner = matches!(trees.get(1), Some(TokenTree::Punct(p)) if p.as_char() == '!');
    let at = if inner { 2 } else { 1 };
    let TokenTree::Group(group) = trees.get(at)? else { return None };
    let text: String = group.stream().to_string().split_whitespace().collect();
    let kind = if text.starts_with("doc") { "doc".to_owned() } else { text };
    Some((at + 1, kind))
}

/// Length of the item that starts here: further attributes, then up to its `{…}` or `;`.
fn item_length(trees: &[TokenTree]) -> usize {
    for (at, tree) in trees.iter().enumerate() {
        match tree {
            TokenTree::Group(g) if g.delimiter() == Delimiter::Brace => return at + 1,
            TokenTree::Punct(p) if p.as_char() == ';' => return at + 1,
            _ => {}
        }
    }
    trees.len()
}

/// What `Cargo.lock` fixes.
struct Lock {
    /// `name version` → dependencies as written there (`name` or `name version`).
    packages: BTreeMap<(String, String), Vec<String>>,
}

impl Lock {
    fn parse(text: &str) -> Self {
        let mut packages = BTreeMap::new();
        for block in text.split("[[package]]").skip(1) {
            let value = |key: &str| {
                let line = block.lines().find(|line| line.starts_with(&format!("{key} = ")))?;
                Some(line.split('"').nth(1)?.to_owned())
            };
            let list =
                block.split_once("dependencies = [").map_or("", |(_, rest)| rest.split(']').next().unwrap_or(""));
            let list = list.split('"').skip(1).step_by(2).map(str::to_owned).collect();
            if let (Some(name), Some(version)) = (value("name"), value("version")) {
                packages.insert((name, version), list);
            }
        }
        Self { packages }
    }

    /// The package that `token` names in a source of `krate`, if it is one of its dependencies.
    fn direct(&self, krate: &str, token: &str) -> Option<(String, String)> {
        // That name stands for a maintained crate, see Cargo.toml.
        let name = if token == "serde_yaml" { "serde-saphyr".to_owned() } else { token.replace('_', "-") };
        let owner = format!("shearback-{krate}");
        let (_, list) = self.packages.iter().find(|((package, _), _)| *package == owner)?;
        let entry = list.iter().find(|entry| {
            let package = entry.split(' ').next().unwrap_or("");
            package == name || package == token
        })?;
        self.resolve(entry)
    }

    fn resolve(&self, entry: &str) -> Option<(String, String)> {
        let mut parts = entry.split(' ');
        let (name, version) = (parts.next()?, parts.next());
        let fits = |(n, v): &&(String, String)| n == name && version.is_none_or(|wanted| wanted == v);
        self.packages.keys().find(fits).cloned()
    }

    /// `name version` of all that the packages depend on, themselves included; not our own crates, whose code
    /// is hashed as tokens.
    fn closure(&self, start: BTreeSet<(String, String)>) -> BTreeSet<String> {
        let mut open: Vec<_> = start.into_iter().collect();
        let mut seen = BTreeSet::new();
        while let Some(package) = open.pop() {
            if package.0.starts_with("shearback") || !seen.insert(package.clone()) {
                continue;
            }
            let list = self.packages.get(&package).map(Vec::as_slice).unwrap_or_default();
            open.extend(list.iter().filter_map(|entry| self.resolve(entry)));
        }
        seen.into_iter().map(|(name, version)| format!("{name} {version}")).collect()
    }
}

/// What a build script does: hashes `rooms` (constant name and rooms) of `krate` and writes `code.rs` into Cargo's
/// output folder, a constant for each.
///
/// # Errors
/// If a source cannot be read, or the output not written.
pub(crate) fn write(sources: &Sources, krate: &str, constants: &[(&str, &[&str])]) -> Result<(), String> {
    let mut text = String::new();
    for (constant, rooms) in constants {
        let hash = sources.hash(krate, rooms);
        text += &format!("/// Code hash of {}.\npub const {constant}: &str = \"{hash}\";\n", rooms.join(", "));
    }
    for file in sources.files() {
        println!("cargo::rerun-if-changed={}", file.display());
    }
    let out = std::env::var_os("OUT_DIR").ok_or("OUT_DIR is not set")?;
    std::fs::write(Path::new(&out).join("code.rs"), text).map_err(|e| e.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sources(files: &[(&str, &str)], lock: &str) -> Sources {
        let folder = tempfile::tempdir().unwrap();
        for (path, text) in files {
            let path = folder.path().join("stages").join(path);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, text).unwrap();
        }
        std::fs::write(folder.path().join("Cargo.lock"), lock).unwrap();
        let stages = folder.path().join("stages");
        Sources::read(&[("stages", &stages)], &["clean", "fit"], &folder.path().join("Cargo.lock")).unwrap()
    }

    const LOCK: &str = "[[package]]\nname = \"shearback-stages\"\nversion = \"0.1.0\"\ndependencies = [\n \"libm\",\n \"polars\",\n]\n\n[[package]]\nname = \"libm\"\nversion = \"0.2.1\"\n\n[[package]]\nname = \"polars\"\nversion = \"0.55.2\"\n";

    fn hash(fit: &str, float: &str, clean: &str, result: &str, lock: &str) -> String {
        let files = [
            ("fit/mod.rs", fit),
            ("numerics/float.rs", float),
            ("clean/compute.rs", clean),
            ("clean/result.rs", result),
        ];
        sources(&files, lock).hash("stages", &["fit"])
    }

    const FIT: &str = "use crate::{numerics::float, clean::result::Points}; fn f() -> u8 { 1 }";

    #[test]
    fn comments_layout_and_tests_do_not_count() {
        let plain = hash(FIT, "", "", "", LOCK);
        let dressed = "//! Words.\nuse crate::{\n  numerics::float,\n  clean::result::Points};\n/// Doc.\nfn f() -> u8 { 1 /* one */ }\n#[cfg(test)]\nmod tests { fn g() {} }";
        assert_eq!(plain, hash(dressed, "", "", "", LOCK));
        assert_ne!(plain, hash(&FIT.replace("{ 1 }", "{ 2 }"), "", "", "", LOCK));
    }

    #[test]
    fn rooms_that_are_used_count_and_others_do_not() {
        let plain = hash(FIT, "fn a() {}", "fn b() {}", "fn c() {}", LOCK);
        assert_ne!(plain, hash(FIT, "fn a2() {}", "fn b() {}", "fn c() {}", LOCK), "a shared room");
        assert_eq!(plain, hash(FIT, "fn a() {}", "fn b2() {}", "fn c() {}", LOCK), "the inside of another stage");
        assert_ne!(plain, hash(FIT, "fn a() {}", "fn b() {}", "fn c2() {}", LOCK), "its declared result");
    }

    #[test]
    fn locked_versions_count_where_the_crate_is_reached() {
        let float = "fn a() { libm::exp(1.0) }";
        let plain = hash(FIT, float, "", "", LOCK);
        assert_ne!(plain, hash(FIT, float, "", "", &LOCK.replace("0.2.1", "0.2.2")));
        assert_eq!(plain, hash(FIT, float, "", "", &LOCK.replace("0.55.2", "0.55.3")));
    }

    #[test]
    fn super_across_rooms_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::create_dir_all(folder.path().join("fit")).unwrap();
        std::fs::write(folder.path().join("Cargo.lock"), "").unwrap();
        std::fs::write(folder.path().join("fit/mod.rs"), "use super::clean;").unwrap();
        let read = Sources::read(&[("stages", folder.path())], &[], &folder.path().join("Cargo.lock"));
        assert!(read.is_err_and(|e| e.contains("super")));
    }
}
