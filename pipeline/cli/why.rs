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
                let _ = writeln!(text, "  {}", line(plan, task));
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

/// `clean raw/A54/L2.txt: setting stages.clean.spike.window 7 -> 9 (study.yaml:61)`
fn line(plan: &Plan, task: &Assessment) -> String {
    let mut words: Vec<String> =
        task.reasons.iter().take(SHOWN).map(|reason| reason.wording(&plan.study_file)).collect();
    if task.reasons.len() > SHOWN {
        words.push(format!("and {} more", task.reasons.len() - SHOWN));
    }
    if words.is_empty() { task.name.clone() } else { format!("{}: {}", task.name, words.join("; ")) }
}
