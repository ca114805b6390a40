//! Words of what the stages remark, a file for each stage: plain sentences without capital and stop.

pub mod claims;
pub mod clean;
pub mod fit;
pub mod ingest;
pub mod reversal;
pub mod states;
pub mod uncertainty;

use serde::de::DeserializeOwned;
use serde_json::Value;
use stages::reversal::result::GradedRun;

/// The words of a remark that a task of this stage left with its result; as it is stored where it is none of ours.
pub fn of_task(stage: &str, remark: &Value) -> String {
    let said = match stage {
        "fit" => read(remark).map(|r| fit::of_study(&r)),
        "ingest" => read(remark).map(|r| ingest::words(&r)),
        "clean" => read(remark).map(|r| clean::words(&r)).or_else(|| read(remark).and_then(|c| clean::beyond(&c))),
        "table" => read(remark).map(|r| uncertainty::words(&r)).or_else(|| read(remark).map(|c| claims::miss(&c))),
        _ => None,
    };
    said.or_else(|| remark.as_str().map(str::to_owned)).unwrap_or_else(|| remark.to_string())
}

fn read<T: DeserializeOwned>(remark: &Value) -> Option<T> {
    serde_json::from_value(remark.clone()).ok()
}

/// Everything that is said of a run: of its reversals, of the flow, of its cleaning, of its export.
pub fn of_run(run: &GradedRun) -> Vec<String> {
    let of_reversals = run.remarks.iter().map(reversal::of_run);
    let of_clean = run.clean_remarks.iter().map(clean::words);
    let of_flow = run.validity.iter().filter_map(clean::beyond);
    let of_export = run.ingest_remarks.iter().map(ingest::words);
    of_reversals.chain(of_clean).chain(of_flow).chain(of_export).collect()
}
