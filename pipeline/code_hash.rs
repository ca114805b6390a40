//! The code hash of a stage, made at build time; the build scripts of `stages` and `reports` include this file.
//!
//! A hash covers the tokens (no comments, no layout, no tests) of the stage's own folder and of every module that it
//! reaches, the bytes of templates and fonts in the rooms that it reaches, and the locked versions of the outside crates
//! that those tokens name, with all that they depend on.
//!
//! # What is reached
//! The reach is read off the tokens, module by module, so that a stage cannot use a module without hashing it, and does not
//! hash what it does not use. A path (`crate::…`, `stages::…`, `self::…`, `super::…`, or one that begins with a child of
//! the module) reaches the longest part of it that is a module. Where it ends there, or with `*`, the folder of that module
//! is reached whole, because what is named afterwards cannot be told from other names. A module with an `impl` for a type
//! of another module is reached with that one: methods are called without naming where they stand.

use proc_macro2::{Delimiter, TokenStream, TokenTree};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// A module of one of the crates: crate name, then its path, for example `stages`, `["reversal", "find"]`.
pub(crate) type Module = (String, Vec<String>);

/// The sources that can be reached, and what is locked.
pub(crate) struct Sources {
    modules: BTreeMap<Module, Vec<String>>,
    assets: BTreeMap<Module, Vec<u8>>,
    crates: BTreeSet<String>,
    /// For each module, those with an `impl` for a type that it defines.
    extensions: BTreeMap<Module, Vec<Module>>,
    lock: Lock,
    files: Vec<PathBuf>,
}

impl Sources {
    /// Reads the crates at `folders` (name and folder) and the lock file.
    ///
    /// # Errors
    /// If a source cannot be read or is not Rust.
    pub(crate) fn read(folders: &[(&str, &Path)], lock: &Path) -> Result<Self, String> {
        let text = std::fs::read_to_string(lock).map_err(|e| format!("{}: {e}", lock.display()))?;
        let mut sources = Self {
            modules: BTreeMap::new(),
            assets: BTreeMap::new(),
            crates: folders.iter().map(|(name, _)| (*name).to_owned()).collect(),
            extensions: BTreeMap::new(),
            lock: Lock::parse(&text),
            files: vec![lock.to_owned()],
        };
        for (name, folder) in folders {
            sources.read_folder(name, folder, &mut Vec::new())?;
        }
        sources.extensions = sources.find_extensions();
        Ok(sources)
    }

    /// Every file that was read, for `cargo::rerun-if-changed`.
    pub(crate) fn files(&self) -> &[PathBuf] {
        &self.files
    }

    /// The hash over `rooms` of `krate` and all that they reach, as hexadecimal text.
    pub(crate) fn hash(&self, krate: &str, rooms: &[&str]) -> String {
        self.digest(&self.reached(krate, rooms))
    }

    /// The modules of `rooms` of `krate`, and all that they reach.
    pub(crate) fn reached(&self, krate: &str, rooms: &[&str]) -> BTreeSet<Module> {
        let mut reached = BTreeSet::new();
        let mut open: Vec<Module> = rooms.iter().flat_map(|r| self.below(&(krate.to_owned(), names(&[r])))).collect();
        while let Some(module) = open.pop() {
            if reached.insert(module.clone()) {
                open.extend(self.uses(&module));
                open.extend(self.extensions.get(&module).into_iter().flatten().cloned());
            }
        }
        reached
    }

    /// Every module; for the tests of the architecture.
    #[allow(dead_code)]
    pub(crate) fn modules(&self) -> impl Iterator<Item = &Module> {
        self.modules.keys()
    }

    /// A module and all below it.
    fn below(&self, module: &Module) -> Vec<Module> {
        let from = self.modules.range(module.clone()..);
        from.map(|(m, _)| m).take_while(|m| m.0 == module.0 && m.1.starts_with(&module.1)).cloned().collect()
    }

    fn find_extensions(&self) -> BTreeMap<Module, Vec<Module>> {
        let mut homes: BTreeMap<(&str, &str), Vec<&Module>> = BTreeMap::new();
        for (module, tokens) in &self.modules {
            for name in defined(tokens) {
                homes.entry((&module.0, name)).or_default().push(module);
            }
        }
        let mut out: BTreeMap<Module, Vec<Module>> = BTreeMap::new();
        for (module, tokens) in &self.modules {
            let own: BTreeSet<&str> = defined(tokens).collect();
            let foreign: Vec<&str> = extended(tokens).filter(|name| !own.contains(name)).collect();
            // Types of other modules may have the same name.
            let used = if foreign.is_empty() { Vec::new() } else { self.uses(module) };
            for name in foreign {
                let homes = homes.get(&(&*module.0, name)).into_iter().flatten();
                for home in homes.filter(|home| used.contains(home)) {
                    out.entry((*home).clone()).or_default().push(module.clone());
                }
            }
        }
        out
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

    /// Modules that the paths in a module reach.
    pub(crate) fn uses(&self, module: &Module) -> Vec<Module> {
        let (krate, here) = module;
        let tokens = &self.modules[module];
        let is_child = |name: &str| {
            let child = [&here[..], &names(&[name])].concat();
            self.modules.contains_key(&(krate.clone(), child))
        };
        let mut out = Vec::new();
        for (at, token) in tokens.iter().enumerate() {
            let goes_on = tokens.get(at + 1).is_some_and(|next| next == "::");
            if !goes_on || at.checked_sub(1).is_some_and(|before| tokens[before] == "::") {
                continue;
            }
            let (target, base) = match token.as_str() {
                "crate" => (krate.as_str(), Vec::new()),
                "self" => (krate.as_str(), here.clone()),
                "super" => (krate.as_str(), here[..here.len().saturating_sub(1)].to_vec()),
                name if is_child(name) => (krate.as_str(), [&here[..], &names(&[name])].concat()),
                name if name != krate && self.crates.contains(name) => (name, Vec::new()),
                _ => continue,
            };
            for path in paths(&tokens[at + 2..]) {
                out.extend(self.resolve(target, &base, &path));
            }
        }
        out
    }

    /// What a path behind `base` reaches: the longest part of it that is a module, whole where the path ends there.
    fn resolve(&self, krate: &str, base: &[String], path: &[String]) -> Vec<Module> {
        let mut module = base.to_vec();
        let mut rest = path.iter().peekable();
        while rest.next_if(|name| *name == "super").is_some() {
            module.pop();
        }
        while let Some(name) = rest.peek() {
            let next = [&module[..], &[(*name).clone()]].concat();
            if !self.modules.contains_key(&(krate.to_owned(), next.clone())) {
                break;
            }
            module = next;
            rest.next();
        }
        let module = (krate.to_owned(), module);
        match rest.next().map(String::as_str) {
            // The root of a crate only declares its rooms.
            _ if module.1.is_empty() => Vec::new(),
            None | Some("*" | "self") => self.below(&module),
            Some(_) => vec![module],
        }
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
        self.modules.insert((krate.to_owned(), module), tokens);
        Ok(())
    }
}

fn names(parts: &[&str]) -> Vec<String> {
    parts.iter().map(|part| (*part).to_owned()).collect()
}

/// Names of the types that a module defines.
fn defined(tokens: &[String]) -> impl Iterator<Item = &str> {
    let type_words = ["struct", "enum", "union", "type"];
    let pairs = tokens.windows(2).filter(move |pair| type_words.contains(&pair[0].as_str()) && is_name(&pair[1]));
    pairs.map(|pair| pair[1].as_str())
}

/// Names of the types for which a module has an `impl`.
fn extended(tokens: &[String]) -> impl Iterator<Item = &str> {
    let starts = tokens.iter().enumerate().filter(|(_, token)| *token == "impl").map(|(at, _)| at + 1);
    starts.filter_map(|start| {
        // Up to the body; the type stands behind `for` where there is one, and is the last name before its generics.
        let head: Vec<&str> =
            tokens[start..].iter().map(String::as_str).take_while(|t| *t != "{" && *t != ";").collect();
        let from = head.iter().rposition(|t| *t == "for").map_or_else(|| behind_generics(&head), |at| at + 1);
        let name = head[from..].iter().take_while(|t| !["<", "where"].contains(*t)).filter(|t| is_name(t)).last()?;
        Some(*name)
    })
}

/// Where the type of an `impl<…> Type` begins.
fn behind_generics(head: &[&str]) -> usize {
    if head.first() != Some(&"<") {
        return 0;
    }
    let mut depth = 0_i32;
    let end = head.iter().position(|token| {
        depth += i32::from(*token == "<") - i32::from(*token == ">");
        depth == 0
    });
    end.map_or(head.len(), |end| end + 1)
}

/// Paths behind `root ::`, in full: `a::b::c`, `{a::b, c}`, `a::{b, c::d}`, `a::*`.
fn paths(tokens: &[String]) -> Vec<Vec<String>> {
    match tokens.first().map(String::as_str) {
        Some("{") => group(tokens).into_iter().flat_map(|part| paths(&part)).collect(),
        Some("*") => vec![names(&["*"])],
        Some(first) if is_name(first) => {
            let first = names(&[first]);
            if tokens.get(1).map(String::as_str) != Some("::") {
                return vec![first];
            }
            let rest = paths(&tokens[2..]);
            let rest = if rest.is_empty() { vec![names(&["<"])] } else { rest };
            rest.into_iter().map(|rest| [&first[..], &rest].concat()).collect()
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
pub(crate) fn tokens(text: &str) -> Result<Vec<String>, String> {
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
            if attribute == "cfg(test)" || attribute.starts_with("cfg(all(test,") {
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
        Sources::read(&[("stages", &stages)], &folder.path().join("Cargo.lock")).unwrap()
    }

    const LOCK: &str = "[[package]]\nname = \"shearback-stages\"\nversion = \"0.1.0\"\ndependencies = [\n \"libm\",\n \"polars\",\n]\n\n[[package]]\nname = \"libm\"\nversion = \"0.2.1\"\n\n[[package]]\nname = \"polars\"\nversion = \"0.55.2\"\n";

    fn hash(fit: &str, float: &str, clean: &str, result: &str, lock: &str) -> String {
        let files = [
            ("fit/mod.rs", fit),
            ("numerics/mod.rs", ""),
            ("clean/mod.rs", ""),
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

    /// What `fit` reaches of these files beside itself.
    fn reached(fit: &str, others: &[(&str, &str)]) -> Vec<String> {
        let files: Vec<_> = [("fit/mod.rs", fit)].into_iter().chain(others.iter().copied()).collect();
        let all = sources(&files, LOCK).reached("stages", &["fit"]);
        all.into_iter().map(|(_, module)| module.join("::")).filter(|module| module != "fit").collect()
    }

    #[test]
    fn only_the_modules_of_a_room_that_are_reached_count() {
        let room = [
            ("physics/mod.rs", "pub mod models; pub mod units; pub fn water() {}"),
            ("physics/units.rs", "pub struct Unit; use super::tables::T;"),
            ("physics/tables.rs", "pub type T = u8;"),
            ("physics/models/mod.rs", "mod cross; pub fn all() { cross::f() }"),
            ("physics/models/cross.rs", "pub fn f() {}"),
            ("physics/models/unlisted.rs", "pub fn g() {}"),
        ];
        let of = |fit: &str| reached(fit, &room);
        assert_eq!(of("use crate::physics::units::Unit;"), ["physics::tables", "physics::units"]);
        assert_eq!(of("use crate::physics::models::all;"), ["physics::models", "physics::models::cross"]);
        assert_eq!(of("fn f() { crate::physics::water() }"), ["physics"]);
        // What is named afterwards through a folder or a star cannot be told: all of it.
        let whole = ["physics::models", "physics::models::cross", "physics::models::unlisted"];
        for text in [
            "use crate::physics::models;",
            "use crate::physics::models::*;",
            "use crate::physics::models::{self, all};",
        ] {
            assert_eq!(of(text), whole, "{text}");
        }
        assert_eq!(of("use crate::physics::{models::{cross::f}, units::Unit};").len(), 3);
    }

    #[test]
    fn what_is_handed_on_under_another_path_counts() {
        let room = [
            ("physics/mod.rs", "mod hidden; pub use hidden::Law; pub use self::other::More;"),
            ("physics/hidden.rs", "pub struct Law;"),
            ("physics/other.rs", "pub struct More;"),
        ];
        assert_eq!(reached("use crate::physics::Law;", &room), ["physics", "physics::hidden", "physics::other"]);
    }

    #[test]
    fn an_impl_elsewhere_counts_with_its_type() {
        let room = [
            ("physics/mod.rs", ""),
            ("physics/unit.rs", "pub struct Unit;"),
            ("physics/words.rs", "use super::unit::Unit; impl std::fmt::Display for Unit { }"),
            ("physics/more.rs", "use super::unit::Unit; impl<T: Copy> From<T> for super::unit::Unit { }"),
            ("physics/apart.rs", "struct Own; impl Own { }"),
        ];
        let found = reached("use crate::physics::unit::Unit;", &room);
        assert_eq!(found, ["physics::more", "physics::unit", "physics::words"]);
    }

    /// A new model or geometry must not read every export again.
    #[test]
    fn a_new_model_file_builds_fits_and_no_export() {
        let here = Path::new(env!("CARGO_MANIFEST_DIR"));
        let root = here.ancestors().find(|folder| folder.join("Cargo.lock").is_file()).unwrap();
        let (stages, lock) = (root.join("stages"), root.join("Cargo.lock"));
        let plain = Sources::read(&[("stages", &stages)], &lock).unwrap();
        let mut with = Sources::read(&[("stages", &stages)], &lock).unwrap();
        let list = with.modules.get_mut(&("stages".to_owned(), names(&["physics", "models"]))).unwrap();
        list.extend(tokens("mod casson; fn more() { casson::model() }").unwrap());
        let casson = ("stages".to_owned(), names(&["physics", "models", "casson"]));
        with.modules.insert(casson, tokens("pub fn model() {}").unwrap());
        for stage in ["ingest", "clean", "reversal", "states"] {
            let reached: Vec<_> =
                with.reached("stages", &[stage]).into_iter().filter(|m| m.1.contains(&"models".to_owned())).collect();
            assert_eq!(plain.hash("stages", &[stage]), with.hash("stages", &[stage]), "{stage}: {reached:?}");
        }
        assert_ne!(plain.hash("stages", &["fit"]), with.hash("stages", &["fit"]));
    }
}
