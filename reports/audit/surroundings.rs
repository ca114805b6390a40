//! What a run was made with against another, or against here and now: program, compiler, platform, tools, and the code
//! of the stages where both bear the same version. It decides nothing about results.

use super::Surrounding;
use crate::text::numbers;
use pipeline::store::ledger::Made;
use std::collections::{BTreeMap, BTreeSet};

/// Stages that are named; more are counted.
const NAMED: usize = 3;

/// Program, compiler, platform and tools by name.
pub fn list(made: &Made) -> BTreeMap<String, String> {
    let own = [
        ("shearback", &made.version),
        ("profile", &made.profile),
        ("target", &made.target),
        ("compiler", &made.compiler),
    ];
    let own = own.map(|(what, value)| (what.to_owned(), value.clone()));
    own.into_iter().chain(made.tools.clone()).collect()
}

/// What differs between two of them.
pub fn surroundings(then: &Made, now: &Made) -> Vec<Surrounding> {
    let code = code(then, now);
    let (then, now) = (list(then), list(now));
    let names: BTreeSet<&String> = then.keys().chain(now.keys()).collect();
    let side = |map: &BTreeMap<String, String>, what: &str| map.get(what).cloned().unwrap_or_else(|| "none".into());
    let differ = names.into_iter().filter(|what| then.get(*what) != now.get(*what));
    let mut found: Vec<Surrounding> =
        differ.map(|what| Surrounding { what: what.clone(), then: side(&then, what), now: side(&now, what) }).collect();
    found.extend(code);
    found
}

/// Stages whose code differs under one version: a program between two releases. Under two versions it goes without
/// saying, and lines of a ledger from before code was noted say nothing.
fn code(then: &Made, now: &Made) -> Option<Surrounding> {
    let stages = then.code.keys().filter(|stage| now.code.get(*stage).is_some_and(|code| *code != then.code[*stage]));
    let stages: Vec<&str> = stages.map(String::as_str).collect();
    if then.version != now.version || stages.is_empty() {
        return None;
    }
    let more = stages.len().saturating_sub(NAMED);
    let more = if more > 0 { format!(" and {}", numbers::count(more as u64, "more stage")) } else { String::new() };
    Some(Surrounding {
        what: format!("code of {}{more}", stages[..stages.len().min(NAMED)].join(", ")),
        then: format!("one of version {}", then.version),
        now: "another under the same version".to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn made(version: &str, code: &[(&str, &str)]) -> Made {
        Made {
            version: version.into(),
            profile: "release".into(),
            target: "t".into(),
            compiler: "c".into(),
            tools: BTreeMap::new(),
            code: code.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned())).collect(),
        }
    }

    #[test]
    fn another_code_under_the_same_version_is_named() {
        let stages = ["clean", "fit", "reversal", "states", "table"];
        let then = made("1.0", &stages.map(|stage| (stage, "a")));
        assert!(surroundings(&then, &then).is_empty());
        let now = made("1.0", &[("clean", "a"), ("fit", "b"), ("reversal", "b"), ("states", "b"), ("table", "b")]);
        let found = surroundings(&then, &now);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].what, "code of fit, reversal, states and 1 more stage");
        // Another version says it already, and an old line of a ledger knows of no code.
        assert_eq!(surroundings(&then, &made("1.1", &[("clean", "b")]))[0].what, "shearback");
        assert!(surroundings(&made("1.0", &[]), &now).is_empty());
    }
}
