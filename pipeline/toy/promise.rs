//! What `why` says holds for the run that follows, over many random edits of everything that can be edited.

use super::{Toy, with};
use crate::rebuild::assess::Condition;
use crate::rebuild::reason::Kind;
use crate::run::outcome::Outcome;
use std::collections::BTreeSet;

/// Small, fixed and good enough to pick edits (xorshift; Marsaglia 2003, doi:10.18637/jss.v008.i14).
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 % sides as u64).unwrap()
    }

    fn pick<T: Clone>(&mut self, items: impl IntoIterator<Item = T>) -> Option<T> {
        let items: Vec<T> = items.into_iter().collect();
        (!items.is_empty()).then(|| items[self.roll(items.len())].clone())
    }
}

const TEXTS: [&str; 7] = [
    "#x\nalpha beta gamma\n",
    "#x\nalpha beta gamme\n",
    "#y\nalpha beta gamma\n",
    "%x\nsome more words than before\n",
    "one two three four five six seven\n",
    "a bad line\n",
    "",
];

fn edit(toy: &mut Toy, dice: &mut Dice) -> String {
    let stored = |toy: &Toy| toy.files(".shearback/objects").into_iter().chain(toy.files(".shearback/bulky"));
    let choice = dice.roll(19);
    let target = match choice {
        0..=3 => dice.pick(["raw/a.txt", "raw/b.txt", "raw/c.txt", "raw/d.txt"].map(String::from)),
        8..=10 => dice.pick(stored(toy)),
        11 => dice.pick(toy.files(".shearback/records")),
        12..=14 => dice.pick(toy.files("results")),
        15 => (toy.raws().len() > 1).then(|| dice.pick(toy.raws())).flatten(),
        16 => Some(".shearback/state.json".to_string()).filter(|path| toy.exists(path)),
        _ => None,
    };
    match (choice, &target) {
        // The last texts are rarer.
        (0..=3, Some(path)) => toy.write(path, TEXTS[dice.roll(TEXTS.len()).min(dice.roll(TEXTS.len()))]),
        (4, _) => toy.config.unit = [8, 4, 3][dice.roll(3)],
        (5, _) => toy.config.title = ["Sum", "Total"][dice.roll(2)].into(),
        (6, _) => toy.config.variant = [None, Some(8), Some(4)][dice.roll(3)],
        (7, _) => toy.config.comment = ["#", "%"][dice.roll(2)].into(),
        (8 | 12, Some(path)) => toy.write(path, "spoilt"),
        (9..=11 | 13 | 15 | 16, Some(path)) => std::fs::remove_file(toy.path(path)).unwrap(),
        (14, Some(_)) => toy.write("results/foreign.txt", "not ours"),
        (17, _) => toy.config.code = ["count-1", "count-2"][dice.roll(2)],
        (18, _) => toy.config.tool = ["1.0", "1.1"][dice.roll(2)],
        _ => {}
    }
    format!("{choice} {target:?} {:?}", toy.config)
}

fn check(toy: &Toy, history: &[String]) {
    let why = toy.why();
    let names = |condition| why.iter().filter(move |t| t.condition == condition).map(|t| t.name.as_str());
    let report = toy.run();
    let built: BTreeSet<&str> = with(&report, Outcome::Built).into_iter().collect();
    let reused: BTreeSet<&str> = with(&report, Outcome::Reused).into_iter().collect();
    let failed = report.count(Outcome::Failed) > 0;
    for task in why.iter().filter(|task| task.condition == Condition::OutOfDate) {
        // What was lost is built for those who need it, and they may be skipped because of a failure elsewhere.
        let only_lost = task.reasons.iter().all(|reason| matches!(reason.kind, Kind::Missing | Kind::Damaged));
        let excused = failed && only_lost;
        let name = task.name.as_str();
        assert!(excused || !reused.contains(name), "`{name}` was out of date, but not built\n{why:#?}\n{history:#?}");
    }
    for name in names(Condition::UpToDate).chain(names(Condition::InStore)) {
        assert!(!built.contains(name), "`{name}` was at hand, but built\n{why:#?}\n{history:#?}");
        assert!(failed || reused.contains(name), "`{name}` was at hand, but is not reused\n{history:#?}");
    }
    assert!(report.failure.is_none(), "{report:?}\n{history:#?}");
    assert_eq!(report.laid_out, !failed, "{history:#?}");
    if report.laid_out {
        let fresh = toy.fresh_copy();
        fresh.run();
        assert_eq!(toy.results(), fresh.results(), "{history:#?}");
        assert!(toy.why().iter().all(|task| task.condition == Condition::UpToDate), "{history:#?}");
    }
}

#[test]
fn why_tells_what_run_does() {
    let mut dice = Dice(0x5eed_2026);
    for _ in 0..200 {
        let mut toy = Toy::new();
        let mut history = Vec::new();
        for _ in 0..=dice.roll(4) {
            check(&toy, &history);
            for _ in 0..=dice.roll(3) {
                history.push(edit(&mut toy, &mut dice));
            }
        }
        check(&toy, &history);
    }
}
