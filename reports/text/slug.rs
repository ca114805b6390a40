//! Names of files made from free text: legal on every system, and distinct without regard to case.

use std::collections::{BTreeMap, BTreeSet};

/// Longest slug before the hex digits; keeps paths below `results/` far from any system's limit.
const LONGEST: usize = 48;

/// Names that one system or another keeps for devices, whatever follows a dot.
const DEVICES: [&str; 6] = ["con", "prn", "aux", "nul", "com", "lpt"];

/// A slug for each of `names`, in their order. A name of ASCII letters, digits, `-`, `_` and `.` inside stays as it
/// is; where something was altered, or two names differ by case only, hex digits of the name's hash follow.
pub fn slugs(names: &[String]) -> Vec<String> {
    let mut alike: BTreeMap<String, BTreeSet<&str>> = BTreeMap::new();
    for name in names {
        alike.entry(name.to_ascii_lowercase()).or_default().insert(name);
    }
    let twin = |name: &str| alike.get(&name.to_ascii_lowercase()).is_some_and(|names| names.len() > 1);
    names.iter().map(|name| if twin(name) { marked(name) } else { slug(name) }).collect()
}

/// The slug of one name; see [`slugs`] for names that may differ by case only.
pub fn slug(name: &str) -> String {
    let stays = !name.is_empty() && plain(name) == name && !device(name) && name.len() <= LONGEST;
    if stays { name.to_owned() } else { marked(name) }
}

fn marked(name: &str) -> String {
    let stem: String = plain(name).chars().take(LONGEST).collect();
    let stem = if stem.is_empty() || device(&stem) { format!("x{stem}") } else { stem };
    format!("{stem}-{:08x}", hash(name) as u32)
}

/// Runs of other characters become one `-`; none at the ends, nor a dot there.
fn plain(name: &str) -> String {
    let mut out = String::new();
    for c in name.chars() {
        if c.is_ascii_alphanumeric() || c == '_' || c == '.' {
            out.push(c);
        } else if !out.ends_with('-') {
            out.push('-');
        }
    }
    out.trim_matches(['-', '.']).to_owned()
}

fn device(name: &str) -> bool {
    let stem = name.split('.').next().unwrap_or_default().to_ascii_lowercase();
    let bare = stem.trim_end_matches(|c: char| c.is_ascii_digit());
    DEVICES.contains(&bare)
}

/// FNV-1a, 64 bits (Fowler, Noll & Vo; draft-eastlake-fnv): names only, no protection against intent.
fn hash(name: &str) -> u64 {
    let start = 0xcbf2_9ce4_8422_2325;
    name.bytes().fold(start, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0000_0100_0000_01b3))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plain_names_stay() {
        assert_eq!(slugs(&["A54".into(), "carrier-only".into()]), ["A54", "carrier-only"]);
    }

    #[test]
    fn altered_names_are_marked_and_legal() {
        let names = ["#import \"x\" $a$ *b* @c <d> é Ω", "a/b", "a b", "a:b", "CON", "com1.txt", "", "..", "é"];
        let slugs = slugs(&names.map(str::to_owned));
        for slug in &slugs {
            assert!(slug.chars().all(|c| c.is_ascii_alphanumeric() || "-_.".contains(c)), "{slug}");
            assert!(!slug.is_empty() && !slug.starts_with('.') && !device(slug), "{slug}");
        }
        let mut distinct: Vec<_> = slugs.iter().map(|s| s.to_ascii_lowercase()).collect();
        distinct.sort();
        distinct.dedup();
        assert_eq!(distinct.len(), names.len());
    }

    #[test]
    fn names_that_differ_by_case_only_are_told_apart() {
        let slugs = slugs(&["s1".into(), "S1".into()]);
        assert_ne!(slugs[0].to_ascii_lowercase(), slugs[1].to_ascii_lowercase());
    }

    #[test]
    fn the_hash_is_the_published_one() {
        // Test vectors of the FNV-1a draft: the empty string and "a".
        assert_eq!(hash(""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(hash("a"), 0xaf63_dc4c_8601_ec8c);
    }
}
