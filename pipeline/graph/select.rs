//! Part of a plan: everything down to a stage.

use super::unknown_stage;
use crate::command::Failure;
use crate::stage::{Plan, Source, Task};
use std::collections::BTreeSet;

/// The plan down to `stage`: its tasks and those of the stages before it. A stage may be named by the part before
/// its colon, which means the last of that group. Tasks of the stages in `along` (tables, for example) stay if
/// everything that they read does.
///
/// # Errors
/// If there is no such stage; the list of stages is in the help.
pub fn until(mut plan: Plan, stage: &str, along: &[&str]) -> Result<Plan, Failure> {
    let named = |s: &&str| *s == stage || s.split(':').next() == Some(stage);
    let Some(last) = plan.stages.iter().rposition(named) else { return Err(unknown_stage(stage, &plan)) };
    let stages: BTreeSet<&str> = plan.stages[..=last].iter().copied().collect();
    let mut kept: BTreeSet<String> = BTreeSet::new();
    let reads_kept = |task: &Task, kept: &BTreeSet<String>| {
        task.inputs.iter().all(|input| match &input.source {
            Source::Raw(_) => true,
            Source::Task { task, .. } => kept.contains(task),
        })
    };
    plan.tasks.retain(|task| {
        let wanted = stages.contains(task.stage) || (along.contains(&task.stage) && reads_kept(task, &kept));
        if wanted {
            kept.insert(task.name());
        }
        wanted
    });
    plan.publications.retain(|publication| kept.contains(&publication.task));
    Ok(plan)
}
