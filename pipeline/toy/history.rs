//! Random histories: after any edits of anything that can be edited, `run` gives what a clean build gives, byte for
//! byte, and what `why` said beforehand holds.
//!
//! `SHEARBACK_SEQUENCES` says how many; each has its number, which is told when it fails and begins it alone as
//! `SHEARBACK_FIRST`.

use super::crash::Dying;
use super::{Config, Dice, Toy, messages, times, with};
use crate::rebuild::assess::{Assessment, Condition};
use crate::run::outcome::{Outcome, Report};
use std::collections::{BTreeMap, BTreeSet};
use std::time::{Duration, SystemTime};

const TEXTS: [&str; 7] = [
    "#x\nalpha beta gamma\n",
    "#x\nalpha beta gamme\n",
    "#y\nalpha beta gamma\n",
    "%x\nsome more words than before\n",
    "one two three four five six seven\n",
    "a bad line\n",
    "",
];

/// What is edited, and how often that is chosen.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Edit {
    Content,
    Restore,
    TouchOnly,
    ContentWithOldTime,
    Rename,
    Delete,
    Swap,
    Unit,
    Title,
    Variant,
    Comment,
    Revert,
    Code,
    Tool,
    SpoilStore,
    FlipStore,
    CutStore,
    DeleteStore,
    LoseState,
    WriteResult,
    DeleteResult,
    Foreign,
    LoseResults,
    Jobs,
    Kill,
    Until,
    Wait,
}

const EDITS: [Edit; 33] = [
    Edit::Content,
    Edit::Content,
    Edit::Content,
    Edit::Content,
    Edit::Restore,
    Edit::TouchOnly,
    Edit::ContentWithOldTime,
    Edit::Rename,
    Edit::Delete,
    Edit::Swap,
    Edit::Unit,
    Edit::Title,
    Edit::Variant,
    Edit::Comment,
    Edit::Revert,
    Edit::Revert,
    Edit::Code,
    Edit::Tool,
    Edit::SpoilStore,
    Edit::FlipStore,
    Edit::FlipStore,
    Edit::CutStore,
    Edit::DeleteStore,
    Edit::LoseState,
    Edit::WriteResult,
    Edit::DeleteResult,
    Edit::Foreign,
    Edit::LoseResults,
    Edit::Jobs,
    Edit::Kill,
    Edit::Kill,
    Edit::Until,
    Edit::Wait,
];

/// A study with its history.
struct History {
    toy: Toy,
    dice: Dice,
    jobs: usize,
    earlier: Vec<Config>,
    told: Vec<String>,
}

/// What clean builds gave, by what they were made from.
type Clean = BTreeMap<String, BTreeMap<String, Vec<u8>>>;

impl History {
    fn new(number: u64) -> Self {
        let told = vec![format!("sequence {number}")];
        Self { toy: Toy::new(), dice: Dice::number(number), jobs: 2, earlier: vec![Config::default()], told }
    }

    fn edit(&mut self) {
        let edit = EDITS[self.dice.roll(EDITS.len())];
        let target = self.target(edit);
        let before = self.toy.config.clone();
        self.apply(edit, target.as_deref());
        if before != self.toy.config {
            self.earlier.push(before);
        }
        self.told.push(format!("{edit:?} {target:?} {:?}", self.toy.config));
    }

    fn target(&mut self, edit: Edit) -> Option<String> {
        let toy = &self.toy;
        let store = || {
            let files = toy.files(".shearback").into_iter();
            files.filter(|path| !path.contains("/tmp/") && std::fs::metadata(toy.path(path)).is_ok_and(|m| m.len() > 0))
        };
        match edit {
            Edit::Content => self.dice.pick(["raw/a.txt", "raw/b.txt", "raw/c.txt", "raw/d.txt"].map(String::from)),
            Edit::Restore => self.dice.pick(Toy::new().raws()),
            Edit::TouchOnly | Edit::ContentWithOldTime | Edit::Rename | Edit::Swap => self.dice.pick(toy.raws()),
            Edit::Delete => (toy.raws().len() > 1).then(|| self.dice.pick(toy.raws())).flatten(),
            Edit::SpoilStore | Edit::FlipStore | Edit::CutStore | Edit::DeleteStore => self.dice.pick(store()),
            Edit::WriteResult | Edit::DeleteResult => self.dice.pick(toy.files("results")),
            _ => None,
        }
    }

    fn apply(&mut self, edit: Edit, target: Option<&str>) {
        let (toy, dice) = (&mut self.toy, &mut self.dice);
        // The last texts are rarer.
        let mut text = || TEXTS[dice.roll(TEXTS.len()).min(dice.roll(TEXTS.len()))];
        match (edit, target) {
            (Edit::Content, Some(path)) => toy.write(path, text()),
            (Edit::Restore, Some(path)) => toy.write(path, &Toy::new().read(path)),
            (Edit::TouchOnly, Some(path)) => set_time(toy, path, SystemTime::now() + Duration::from_secs(9)),
            (Edit::ContentWithOldTime, Some(path)) => {
                let time = std::fs::metadata(toy.path(path)).unwrap().modified().unwrap();
                toy.write(path, text());
                set_time(toy, path, time);
            }
            (Edit::Rename, Some(path)) => {
                let name = ["raw/a.txt", "raw/d.txt", "raw/e.txt"][dice.roll(3)];
                std::fs::rename(toy.path(path), toy.path(name)).unwrap();
            }
            (Edit::Delete | Edit::DeleteResult | Edit::DeleteStore, Some(path)) => {
                std::fs::remove_file(toy.path(path)).unwrap();
            }
            (Edit::Swap, Some(path)) => swap(toy, path, &dice.pick(toy.raws()).unwrap()),
            (Edit::Unit, _) => toy.config.unit = [8, 4, 3][dice.roll(3)],
            (Edit::Title, _) => toy.config.title = ["Sum", "Total"][dice.roll(2)].into(),
            (Edit::Variant, _) => toy.config.variant = [None, Some(8), Some(4)][dice.roll(3)],
            (Edit::Comment, _) => toy.config.comment = ["#", "%"][dice.roll(2)].into(),
            (Edit::Revert, _) => toy.config = dice.pick(self.earlier.clone()).unwrap(),
            (Edit::Code, _) => toy.config.code = ["count-1", "count-2"][dice.roll(2)],
            (Edit::Tool, _) => toy.config.tool = ["1.0", "1.1"][dice.roll(2)],
            (Edit::SpoilStore | Edit::WriteResult, Some(path)) => toy.write(path, "spoilt"),
            (Edit::FlipStore, Some(path)) => {
                let bits = std::fs::metadata(toy.path(path)).unwrap().len() as usize * 8;
                toy.flip(path, dice.roll(bits));
            }
            (Edit::CutStore, Some(path)) => {
                let bytes = std::fs::read(toy.path(path)).unwrap();
                std::fs::write(toy.path(path), &bytes[..dice.roll(bytes.len())]).unwrap();
            }
            (Edit::LoseState, _) => drop(std::fs::remove_file(toy.path(".shearback/state.json"))),
            (Edit::Foreign, _) => toy.write("results/foreign.txt", "not ours"),
            (Edit::LoseResults, _) => drop(std::fs::remove_dir_all(toy.path("results"))),
            (Edit::Jobs, _) => self.jobs = [1, 2, 3, 8][dice.roll(4)],
            (Edit::Kill, _) => drop(toy.run_with(self.jobs, None, &Dying::after(dice.roll(90)))),
            (Edit::Until, _) => drop(toy.run_with(self.jobs, Some("count"), &super::QuickDisk)),
            (Edit::Wait, _) => std::thread::sleep(Duration::from_millis(35)),
            _ => {}
        }
    }

    /// What `why` says, the run, and whether the two agree; then the results against a clean build.
    fn check(&self, clean: &mut Clean) {
        let told = &self.told;
        let (why, report) = self.why_and_run();
        promise_kept(&why, &report, told);
        assert!(report.failure.is_none(), "{report:?}\n{told:#?}");
        let failed = report.count(Outcome::Failed) > 0;
        assert_eq!(report.laid_out, !failed, "{told:#?}");
        if report.laid_out {
            let toy = &self.toy;
            let from: Vec<(String, String)> = toy.raws().into_iter().map(|raw| (raw.clone(), toy.read(&raw))).collect();
            let expected = clean.entry(format!("{:?} {from:?}", toy.config)).or_insert_with(|| toy.clean());
            assert_eq!(toy.results(), *expected, "{told:#?}");
            assert!(toy.why().iter().all(|task| task.condition == Condition::UpToDate), "{told:#?}");
        }
    }

    /// Where the ledger and its copy are both spoilt, the person is asked to move it away, and does.
    fn why_and_run(&self) -> (Vec<Assessment>, Report) {
        let run = || self.toy.run_with(self.jobs, None, &super::QuickDisk);
        let (why, report) = (self.toy.why(), run());
        let asked = |failure| messages(failure).contains("move the ledger away");
        if !report.failure.as_ref().is_some_and(asked) {
            return (why, report);
        }
        promise_kept(&why, &report, &self.told);
        std::fs::rename(self.toy.path(".shearback/ledger.jsonl"), self.toy.path("ledger-of-old")).unwrap();
        (self.toy.why(), run())
    }
}

fn set_time(toy: &Toy, path: &str, time: SystemTime) {
    std::fs::File::options().append(true).open(toy.path(path)).unwrap().set_modified(time).unwrap();
}

fn swap(toy: &Toy, one: &str, other: &str) {
    std::fs::rename(toy.path(one), toy.path("aside")).unwrap();
    if one != other {
        std::fs::rename(toy.path(other), toy.path(one)).unwrap();
    }
    std::fs::rename(toy.path("aside"), toy.path(other)).unwrap();
}

fn promise_kept(why: &[Assessment], report: &Report, told: &[String]) {
    let built: BTreeSet<&str> = with(report, Outcome::Built).into_iter().collect();
    let reused: BTreeSet<&str> = with(report, Outcome::Reused).into_iter().collect();
    let failed = report.count(Outcome::Failed) > 0 || report.failure.is_some();
    let out_of_date = why.iter().filter(|task| task.condition == Condition::OutOfDate);
    // A run that ends at once does not come to all of them.
    for name in out_of_date.map(|task| task.name.as_str()).filter(|_| report.failure.is_none()) {
        assert!(!reused.contains(name), "`{name}` was out of date, but not built\n{why:#?}\n{told:#?}");
    }
    let at_hand = why.iter().filter(|task| matches!(task.condition, Condition::UpToDate | Condition::InStore));
    for name in at_hand.map(|task| task.name.as_str()) {
        assert!(!built.contains(name), "`{name}` was at hand, but built\n{why:#?}\n{told:#?}");
        assert!(failed || reused.contains(name), "`{name}` was at hand, but is not reused\n{told:#?}");
    }
}

#[test]
fn after_any_edits_a_run_gives_what_a_clean_build_gives_and_why_foretold_it() {
    let first = times("SHEARBACK_FIRST", 0);
    let mut clean = Clean::new();
    let (mut edits, mut runs) = (0, 0);
    let sequences = times("SHEARBACK_SEQUENCES", 150);
    for number in first..first + sequences {
        let mut history = History::new(number);
        for _ in 0..=history.dice.roll(5) {
            history.check(&mut clean);
            runs += 1;
            for _ in 0..=history.dice.roll(4) {
                history.edit();
                edits += 1;
            }
        }
        history.check(&mut clean);
        runs += 1;
    }
    println!("{sequences} sequences, {edits} edits, {runs} runs, {} different clean builds", clean.len());
}
