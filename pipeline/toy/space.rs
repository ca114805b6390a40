//! The store keeps what it promises, and nothing else.

use super::crash::Dying;
use super::{Dice, Toy, times, whole};
use crate::store::Store;
use crate::store::check::check;
use crate::store::disk::SystemDisk;
use crate::store::ledger::{Ledger, Line, listed};
use crate::store::space::{self, Keep};
use crate::store::state::State;
use std::collections::BTreeSet;

fn store(toy: &Toy) -> Store<'_> {
    Store::new(toy.folder.path(), &SystemDisk)
}

fn lines(toy: &Toy) -> Vec<Line> {
    let store = store(toy);
    Ledger::read(&store, &State::load(&store)).unwrap().lines().unwrap()
}

/// Paths of everything that the runs of the ledger gave, as far as it is to be kept.
fn promised(toy: &Toy) -> BTreeSet<String> {
    let (store, lines) = (store(toy), lines(toy));
    let current = lines.last().unwrap().run;
    let mut paths = BTreeSet::new();
    for line in &lines {
        paths.extend([line.study_file, line.settings].map(|hash| store.files.object(&hash, false)));
        for ran in listed(&store, line).unwrap().values() {
            paths.insert(store.files.record(&ran.partial, &ran.key));
            let record = store.read_record(&ran.partial, &ran.key).expect("the record of a run of the ledger");
            let kept = record.done.outputs.iter().filter(|kept| !kept.bulky || line.run + 3 >= current);
            paths.extend(kept.map(|kept| store.files.object(&kept.hash, kept.bulky)));
        }
    }
    paths.iter().map(|path| path.strip_prefix(toy.folder.path()).unwrap().to_str().unwrap().to_owned()).collect()
}

fn held(toy: &Toy) -> BTreeSet<String> {
    ["outputs", "bulky", "records"].iter().flat_map(|folder| toy.files(&format!(".shearback/{folder}"))).collect()
}

#[test]
fn after_any_runs_it_holds_what_is_promised_and_nothing_else() {
    let mut exact = 0;
    for number in 0..times("SHEARBACK_SEQUENCES", 150) / 5 {
        let mut dice = Dice::number(number);
        let mut toy = Toy::new();
        for _ in 0..8 {
            match dice.roll(5) {
                0 => toy.config.unit = 1 + dice.roll(9),
                1 => toy.config.title = ["Sum", "Total", "All"][dice.roll(3)].into(),
                2 => toy.write("raw/a.txt", ["bad", "some words", "#first\nalpha beta gamma\n"][dice.roll(3)]),
                3 => toy.write("raw/b.txt", ["now other words", "#second\ndelta epsilon zeta\n"][dice.roll(2)]),
                _ => drop(toy.run_with(1, None, &Dying::after(dice.roll(60)))),
            }
            let report = toy.run();
            if !report.laid_out {
                continue;
            }
            assert_eq!(check(&store(&toy)), [], "sequence {number}");
            let (promised, held) = (promised(&toy), held(&toy));
            assert!(promised.is_subset(&held), "sequence {number}: {:?}", promised.difference(&held));
            if !toy.exists(".shearback/unfinished") {
                assert_eq!(held, promised, "sequence {number}");
                exact += 1;
            }
        }
    }
    assert!(exact > 50, "{exact}");
}

#[test]
fn what_a_stopped_run_leaves_is_of_use_to_the_next_and_goes_with_another() {
    let mut toy = Toy::new();
    whole(&toy.run());
    let before = held(&toy);
    toy.config.unit = 2;
    toy.write("raw/a.txt", "bad");
    toy.run();
    let left = held(&toy).len() - before.len();
    assert!(left > 0 && toy.exists(".shearback/unfinished"));
    toy.write("raw/a.txt", "#first\nalpha beta gamma\n");
    let mut other = toy.copy();
    assert!(whole(&toy.run()).tasks.iter().any(|t| t.name == "count raw/b.txt" && t.finished.seconds == 0.0));
    assert_eq!(held(&toy), promised(&toy));
    other.config.unit = 3;
    whole(&other.run());
    assert_eq!(held(&other), promised(&other));
}

#[test]
fn a_spoilt_list_of_a_run_keeps_everything() {
    let mut toy = Toy::new();
    for title in ["one", "two", "three", "four", "five"] {
        toy.config.title = title.into();
        whole(&toy.run());
    }
    let before = held(&toy);
    toy.flip(".shearback/runs/4.json", 300);
    toy.config.title = "six".into();
    whole(&toy.run());
    assert!(before.is_subset(&held(&toy)), "a list that cannot be trusted must not say what goes");
}

#[test]
fn the_size_is_told_and_earlier_readings_can_be_freed() {
    let mut toy = Toy::new();
    for title in ["one", "two", "three"] {
        toy.config.title = title.into();
        whole(&toy.run());
    }
    let store = store(&toy);
    let before = space::measure(&store);
    let on_disk: u64 =
        toy.files(".shearback").iter().map(|path| std::fs::metadata(toy.path(path)).unwrap().len()).sum();
    assert_eq!(before.total(), on_disk);
    let again = toy.run();
    assert!(again.size > 0 && again.size <= on_disk, "{} of {on_disk}", again.size);
    let ledger = Ledger::read(&store, &State::load(&store)).unwrap();
    space::let_go(&store, &ledger, Keep::Current).unwrap();
    // The logs of the two runs before.
    assert_eq!(before.bulky - space::measure(&store).bulky, 2 * "ONE: 8 (PEN 1.0)".len() as u64);
    std::fs::remove_dir_all(toy.path("results")).unwrap();
    assert_eq!(whole(&toy.run()).count(crate::run::outcome::Outcome::Built), 0, "nothing needed went");
}
