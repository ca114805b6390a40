//! `shearback why`.

use super::{document_of, exists, print_json, render};
use crate::command::{Domain, Exit, Failure};
use crate::graph::Graph;
use crate::rebuild::assess::{Assessed, Assessment, Condition, assess};
use crate::stage::Plan;
use crate::store::Store;
use crate::store::disk::SystemDisk;
use crate::store::state::State;
use serde_json::json;
use std::fmt::Write;
use std::path::Path;

/// More reasons than this are counted, not listed.
const SHOWN: usize = 3;

pub(super) fn why(domain: &dyn Domain, study: &Path, as_json: bool) -> Result<Exit, Failure> {
    match assessed(domain, study) {
        Ok((plan, Assessed { tasks, foreign })) if as_json => {
            print_json(&json!({ "study": plan.study, "tasks": tasks, "foreign": foreign }))?;
        }
        Ok((plan, assessed)) => render::say(listing(&plan, &assessed).as_bytes())?,
        Err(failure) => {
            if as_json {
                print_json(&document_of(study, &failure))?;
            }
            return Err(failure);
        }
    }
    Ok(Exit::Good)
}

fn assessed(domain: &dyn Domain, study: &Path) -> Result<(Plan, Assessed), Failure> {
    let plan = domain.plan(exists(study)?, None)?;
    let store = Store::new(study, &SystemDisk);
    let assessed = assess(&Graph::new(&plan)?, &store, &State::load(&store))?;
    Ok((plan, assessed))
}

fn listing(plan: &Plan, Assessed { tasks, foreign }: &Assessed) -> String {
    let mut text = String::new();
    let mut counts = Vec::new();
    let titles = [
        (Condition::OutOfDate, "out of date"),
        (Condition::Undecided, "undecided"),
        (Condition::InStore, "in store"),
        (Condition::UpToDate, "up to date"),
    ];
    for (condition, title) in titles {
        let these: Vec<&Assessment> = tasks.iter().filter(|task| task.condition == condition).collect();
        if !these.is_empty() && condition != Condition::UpToDate {
            let _ = writeln!(text, "{title}:");
            for task in &these {
                lines(plan, task).iter().for_each(|line| text += &format!("  {line}\n"));
            }
        }
        if !these.is_empty() {
            counts.push(format!("{} {title}", these.len()));
        }
    }
    for path in foreign {
        let _ = writeln!(text, "not ours: results/{path}; the next run moves it to edited/");
    }
    let _ = writeln!(text, "{}", if counts.is_empty() { "no tasks".into() } else { counts.join(", ") });
    text
}

/// `clean raw/A54/L2.txt`, and below it a line for each reason: `setting stages.clean.spike.window 7 -> 9 (study.yaml:61)`.
fn lines(plan: &Plan, task: &Assessment) -> Vec<String> {
    let reasons = task.reasons.iter().take(SHOWN).map(|reason| reason.wording(&plan.study_file));
    let mut lines: Vec<String> = [task.name.clone()].into_iter().chain(reasons).collect();
    if task.reasons.len() > SHOWN {
        lines.push(format!("and {} more", task.reasons.len() - SHOWN));
    }
    lines
        .iter()
        .enumerate()
        .map(|(at, line)| format!("{}{}", if at > 0 { "    " } else { "" }, decoded(line)))
        .collect()
}

/// A name with its `%20` and the like as the characters that they stand for; task names are ASCII.
fn decoded(name: &str) -> String {
    let bytes = name.as_bytes();
    let (mut out, mut at) = (Vec::with_capacity(bytes.len()), 0);
    while at < bytes.len() {
        let code =
            bytes.get(at + 1..at + 3).filter(|_| bytes[at] == b'%').and_then(|hex| std::str::from_utf8(hex).ok());
        match code.and_then(|hex| u8::from_str_radix(hex, 16).ok()) {
            Some(byte) => {
                out.push(byte);
                at += 3;
            }
            None => {
                out.push(bytes[at]);
                at += 1;
            }
        }
    }
    String::from_utf8(out).unwrap_or_else(|_| name.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_shown_as_they_were_written() {
        assert_eq!(decoded("clean raw/A%2054/L2.txt"), "clean raw/A 54/L2.txt");
        assert_eq!(decoded("K%C3%B6rner 100 % at %zz %"), "Körner 100 % at %zz %");
        assert_eq!(decoded("%FF"), "%FF");
    }
}
