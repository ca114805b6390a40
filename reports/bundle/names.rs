//! Which paths every common file system can hold, so that a dataset can be laid out anywhere, and nowhere else than
//! where it should.

use std::collections::BTreeMap;

/// Longest path, bytes: Windows programs stop at 260 characters with the folder before it (common practice).
const LONGEST: usize = 200;
/// Longest name, bytes (most file systems: 255).
const LONGEST_NAME: usize = 150;
/// Names that Windows keeps for devices, whatever follows a dot.
const DEVICES: [&str; 4] = ["con", "prn", "aux", "nul"];

/// Why a path cannot be taken; it must be relative, with `/`, and go down only.
///
/// # Errors
/// What is wrong with it, in words.
pub fn check(path: &str) -> Result<(), String> {
    let bytes = path.as_bytes();
    if path.is_empty() {
        return Err("the path is empty".to_owned());
    }
    if path.starts_with('/')
        || path.starts_with('\\')
        || (bytes.len() > 1 && bytes[1] == b':' && bytes[0].is_ascii_alphabetic())
    {
        return Err("the path is absolute".to_owned());
    }
    if path.len() > LONGEST {
        return Err(format!("the path is longer than {LONGEST} bytes, which not every system can hold"));
    }
    path.split('/').try_for_each(part)
}

fn part(part: &str) -> Result<(), String> {
    match part {
        "" => return Err("a part of the path is empty".to_owned()),
        ".." => return Err("the path leads upwards (..)".to_owned()),
        "." => return Err("a part of the path is `.`".to_owned()),
        _ => {}
    }
    if part.len() > LONGEST_NAME {
        return Err(format!("a name is longer than {LONGEST_NAME} bytes, which not every system can hold"));
    }
    if let Some(c) = part.chars().find(|c| c.is_control()) {
        return Err(format!("a name has a control character (U+{:04X})", c as u32));
    }
    if let Some(c) = part.chars().find(|c| "\\<>:\"|?*".contains(*c)) {
        return Err(format!("a name has `{c}`, which not every system can hold"));
    }
    if part.ends_with(['.', ' ']) || part.starts_with(' ') {
        return Err(
            "a name begins with a blank or ends with a dot or a blank, which not every system can hold".to_owned()
        );
    }
    if part.starts_with('.') {
        return Err("a name begins with a dot: what is hidden is no part of a study".to_owned());
    }
    if part.chars().any(turned) {
        return Err("a name has a sign that is not seen or turns the text round".to_owned());
    }
    if part.chars().any(|c| ('\u{300}'..='\u{36f}').contains(&c)) {
        return Err("a name has accents written apart from their letters, which another system changes".to_owned());
    }
    device(part)
}

/// Signs without width, and those that set the direction of writing: they make one name look like another.
fn turned(c: char) -> bool {
    matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}')
}

fn device(part: &str) -> Result<(), String> {
    let stem = part.split('.').next().unwrap_or_default().trim_end().to_ascii_lowercase();
    let numbered = ["com", "lpt"].iter().any(|port| {
        let rest = stem.strip_prefix(port);
        rest.is_some_and(|rest| {
            rest.chars().count() == 1 && rest.chars().all(|c| c.is_ascii_digit() || "¹²³".contains(c))
        })
    });
    if numbered || DEVICES.contains(&&*stem) {
        return Err(format!("`{stem}` is the name of a device on some systems"));
    }
    Ok(())
}

/// The paths that were seen: none twice, none that differs from another only in case, none that is file and folder.
#[derive(Debug, Default)]
pub struct Seen {
    /// By lower case: as written, and whether it is a file.
    paths: BTreeMap<String, (String, bool)>,
}

impl Seen {
    /// Enters a file.
    ///
    /// # Errors
    /// With which other path it clashes.
    pub fn enter(&mut self, path: &str) -> Result<(), String> {
        for (end, _) in path.match_indices('/') {
            self.put(&path[..end], false)?;
        }
        self.put(path, true)
    }

    fn put(&mut self, path: &str, file: bool) -> Result<(), String> {
        match self.paths.get(&path.to_lowercase()) {
            None => {
                self.paths.insert(path.to_lowercase(), (path.to_owned(), file));
                Ok(())
            }
            Some((other, _)) if other != path => {
                Err(format!("it differs from `{other}` only in case, which not every system can tell apart"))
            }
            Some((_, was)) if file && *was => Err("it is there twice".to_owned()),
            Some((_, was)) if file != *was => Err("it is a file and a folder at once".to_owned()),
            Some(_) => Ok(()),
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn plain_paths_are_taken() {
        for path in
            ["study.yaml", "raw/A54/L2.txt", "raw/Übung 1/Messung-3 (b).csv", "results/a.b.parquet", "raw/console.txt"]
        {
            assert_eq!(check(path), Ok(()), "{path}");
        }
    }

    #[test]
    fn what_leads_elsewhere_or_cannot_be_held_is_refused() {
        let long = "a/".repeat(101) + "b";
        let wide = "x".repeat(151);
        for path in [
            "",
            "/etc/passwd",
            "\\\\host\\share",
            "C:/x",
            "c:x",
            "../x",
            "raw/../../x",
            "raw/./x",
            "raw//x",
            "raw/",
            "a\\b",
            "a:b",
            "a?b",
            "a*b",
            "a|b",
            "a<b",
            "a>b",
            "a\"b",
            "a\nb",
            "a\u{0}b",
            "a.",
            "a ",
            " a",
            "CON",
            "con.txt",
            "raw/LPT1.csv",
            "com9",
            "nul.tar.gz",
            "a\u{202e}b",
            "e\u{301}.txt",
            "a\u{200b}b",
            ".shearback/state.json",
            "raw/.hidden",
            &long,
            &wide,
        ] {
            assert!(check(path).is_err(), "{path:?}");
        }
    }

    #[test]
    fn clashes_are_named() {
        let mut seen = Seen::default();
        seen.enter("raw/a.txt").unwrap();
        seen.enter("raw/b.txt").unwrap();
        assert!(seen.enter("raw/a.txt").unwrap_err().contains("twice"));
        assert!(seen.enter("raw/A.txt").unwrap_err().contains("`raw/a.txt` only in case"));
        assert!(seen.enter("RAW/c.txt").unwrap_err().contains("`raw` only in case"));
        assert!(seen.enter("raw/a.txt/c").unwrap_err().contains("file and a folder"));
        assert!(seen.enter("raw").unwrap_err().contains("file and a folder"));
    }
}
