//! `shearback space`: what the store takes, and letting go of what the current results do not need.

use super::{exists, print_json, render};
use crate::command::{Exit, Failure};
use crate::store::Store;
use crate::store::disk::SystemDisk;
use crate::store::ledger::Ledger;
use crate::store::lock::Lock;
use crate::store::space::{self, Keep, Sizes};
use crate::store::state::State;
use serde_json::json;
use std::path::Path;

pub(super) fn space(study: &Path, free: bool, as_json: bool) -> Result<Exit, Failure> {
    let store = Store::new(exists(study)?, &SystemDisk);
    let before = space::measure(&store);
    let after = if free { let_go(&store)? } else { before };
    let freed = before.total().saturating_sub(after.total());
    if as_json {
        let home = store.files.home();
        print_json(&json!({
            "store": home.to_string_lossy(), "bytes": after.total(), "readings": after.bulky,
            "other_results": after.objects, "records": after.records, "freed": freed,
        }))?;
    } else {
        render::say(text(&store, &after, free.then_some(freed)).as_bytes())?;
    }
    Ok(Exit::Good)
}

/// Readings of earlier runs, and all that stopped runs left; nothing as long as there was no whole run.
fn let_go(store: &Store<'_>) -> Result<Sizes, Failure> {
    if !store.files.home().exists() {
        return Ok(Sizes::default());
    }
    let _lock = Lock::take(store)?;
    let state = State::load(store);
    let ledger = Ledger::read(store, &state)?;
    if ledger.last.is_none() {
        return Ok(space::measure(store));
    }
    store.prepare()?;
    space::let_go(store, &ledger, Keep::Current)?;
    space::sweep(store, &ledger, &state.tasks)?;
    store.finish()?;
    let sizes = space::measure(store);
    if state.run > 0 {
        State { size: sizes.total(), ..state }.save(store)?;
    }
    Ok(sizes)
}

fn text(store: &Store<'_>, sizes: &Sizes, freed: Option<u64>) -> String {
    let line = |bytes, what: &str| format!("{:>9}  {what}\n", in_words(bytes));
    let kept = if freed.is_some() { "of the current run" } else { "of the current run and the last three" };
    let end = match freed {
        Some(freed) => format!("freed: {}\n", in_words(freed)),
        None => "`shearback space --free` lets go of the readings of earlier runs and of what stopped runs left; \
                 both can be computed again\n"
            .into(),
    };
    [
        format!("{}: {}\n", store.files.home().display(), in_words(sizes.total())),
        line(sizes.bulky, &format!("readings and traces, {kept}")),
        line(sizes.objects, "tables, figures, texts and settings, of every run in the ledger"),
        line(sizes.records, "records, ledger and state"),
        end,
    ]
    .concat()
}

/// `12.3 MB`: decimal prefixes, as file managers have them.
pub(super) fn in_words(bytes: u64) -> String {
    let units = [("GB", 1e9), ("MB", 1e6), ("kB", 1e3)];
    let size = bytes as f64;
    match units.iter().find(|(_, one)| size >= 0.99995 * one) {
        Some((unit, one)) => format!("{:.1} {unit}", size / one),
        None => format!("{bytes} B"),
    }
}

#[cfg(test)]
mod tests {
    use super::in_words;

    #[test]
    fn sizes_have_decimal_prefixes() {
        let sizes = [0, 999, 1_000, 999_949, 1_500_000, 2_340_000_000];
        assert_eq!(sizes.map(in_words), ["0 B", "999 B", "1.0 kB", "999.9 kB", "1.5 MB", "2.3 GB"]);
    }
}
