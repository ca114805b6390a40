//! The whole way from results to a PDF, through the works that the engine calls; names that look like markup stay
//! text. Needs typst by the variable `TYPST`, and says so where it is missing.

use super::data::*;
use super::*;
use crate::fixture;
use crate::plan::{ReportInputs, VariantStates, add};
use pipeline::stage::{Plan, Settings, Source, Task, Tool};
use stages::claims::params::Claim;
use stages::clean::params;
use stages::physics::geometry::{Geometry, Shape};
use stages::physics::instrument::Instrument;
use stages::physics::materials::{Liquid, Particles, Sample};
use stages::physics::quantity::Quantity;
use stages::plan::{Chain, ControlTask, RunTasks};
use stages::setup::document::{After, Author, Form, OwnSection, Paper};
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

fn samples() -> Vec<Sample> {
    let q = |value, u| Some(Quantity { value, u });
    let liquid = |name: &str| Liquid {
        name: name.into(),
        viscosity: q(0.0452, 0.0005),
        density: q(1208.0, 2.0),
        composition: None,
    };
    let particles = || Particles { name: "beads".into(), density: q(2470.0, 10.0), diameter: q(9.2e-6, 0.0) };
    let sample = |name: &str| Sample {
        name: name.into(),
        liquid: liquid("carrier"),
        particles: Some(particles()),
        volume_fraction: q(0.512, 0.004),
        control: false,
    };
    let control = Sample {
        particles: None,
        volume_fraction: None,
        control: true,
        liquid: liquid("*oil*"),
        ..sample(fixture::CONTROL)
    };
    vec![sample(fixture::HOSTILE), sample(fixture::LONG), control]
}

fn inputs(typst: Tool) -> ReportInputs {
    let q = |value, u| Quantity { value, u };
    let shape =
        Shape::ConePlate { radius: q(0.02, 2e-5), angle: q(0.0349066, 3.5e-4), truncation: Some(q(5.5e-5, 0.0)) };
    let hostile = |text: &str| format!("{text} {}", fixture::HOSTILE);
    ReportInputs {
        variant: None,
        study: Study {
            title: hostile("Study"),
            authors: vec![Author { name: hostile("A"), affiliation: Some("#b".into()), orcid: None }],
            licence: Some("CC-BY-4.0".into()),
            date: Some("2026-11-25".into()),
            summary: Some(hostile("Abstract.")),
            keywords: vec!["suspension".into(), "#k".into()],
            protocol: Some(hostile("Pre-shear.")),
            subtitle: Some("#sub".into()),
            paper: Paper::A4,
            form: Form::Full,
        },
        samples: samples(),
        geometries: vec![Geometry { name: "cone40".into(), shape, inertia: Some(q(9.1e-6, 0.0)) }],
        instruments: vec![Instrument {
            name: "bench".into(),
            inertia: Some(q(2.1e-5, 0.0)),
            torque_floor: Some(5e-8),
            torque_ceiling: Some(0.15),
            torque_calibration: Some(0.005),
            compliance: None,
        }],
        in_force: crate::text::methods::InForce { inertia_known: true, ..Default::default() },
        settings: vec![SettingLine {
            path: "stages.clean.spike.window".into(),
            value: "5".into(),
            meaning: "Readings on each side".into(),
            from_study: true,
        }],
        set_aside: BTreeMap::from([(
            "raw/x.txt".into(),
            vec![params::SetAside {
                step: Some(5), from_s: None, to_s: None, because: "bubble #seen, שלום".into()
            }],
        )]),
        own: Vec::new(),
        study_file: serde_json::json!({"study": "Study", "samples": {fixture::HOSTILE: {"liquid": "#oil"}}}),
        chain: Chain {
            runs: fixture::runs().iter().map(|r| run_tasks(&r.identity.run)).collect(),
            controls: vec![ControlTask { name: "bench-cone40".into(), task: "reversal: control bench-cone40".into() }],
            fit: "fit study".into(),
            uncertainty: "uncertainty study".into(),
        },
        variants: vec![VariantStates { name: hostile("strict"), task: "uncertainty study".into() }],
        earlier_results: BTreeMap::new(),
        claims: vec![Claim {
            says: hostile("Contacts carry 80 %"),
            table: "states".into(),
            filter: BTreeMap::from([("sample".into(), fixture::LONG.into()), ("set_point".into(), "100 Pa".into())]),
            column: "contact_share".into(),
            value: 0.95,
            within: 0.03,
        }],
        typst,
    }
}

fn run_tasks(run: &str) -> RunTasks {
    RunTasks { run: run.into(), graded: format!("reversal: grade {run}"), points: format!("reversal: read {run}") }
}

/// Results of the stages, by task and output.
fn results() -> BTreeMap<(String, &'static str), Vec<u8>> {
    let json = |value: &dyn erased::Json| value.bytes();
    let mut out = BTreeMap::new();
    for run in fixture::runs() {
        out.insert((format!("reversal: grade {}", run.identity.run), "graded"), json(&run));
    }
    out.insert(("uncertainty study".into(), "states"), json(&fixture::states()));
    out.insert(("uncertainty study".into(), "budget"), json(&fixture::budget()));
    out.insert(("uncertainty study".into(), "sensitivity"), json(&fixture::sensitivity()));
    out.insert(("fit study".into(), "fits"), json(&fixture::fits()));
    out.insert(("reversal: control bench-cone40".into(), "control"), json(&fixture::control()));
    out
}

mod erased {
    pub(super) trait Json {
        fn bytes(&self) -> Vec<u8>;
    }
    impl<T: serde::Serialize> Json for T {
        fn bytes(&self) -> Vec<u8> {
            serde_json::to_vec(self).unwrap()
        }
    }
}

type Done = BTreeMap<(String, &'static str), Vec<u8>>;

/// Runs the planned tasks one after the other, as the engine would.
fn run(plan: &Plan, scratch: &Path) -> Done {
    run_from(results(), plan, scratch).unwrap_or_else(|e| panic!("{e:?}"))
}

fn run_from(results: Done, plan: &Plan, scratch: &Path) -> Result<Done, Vec<Diagnostic>> {
    let mut done = results;
    let cancel = AtomicBool::new(false);
    for task in &plan.tasks {
        let bytes = |source: &Source| match source {
            Source::Task { task, output } => {
                done.get(&(task.clone(), *output)).unwrap_or_else(|| panic!("{task} {output}"))
            }
            Source::Raw(path) => own_file(path),
        };
        let inputs = task.inputs.iter().map(|i| (i.name.clone(), Arc::new(bytes(&i.source).to_vec()))).collect();
        let folder = scratch.join(crate::text::slug::slug(&task.name()));
        fs::create_dir_all(&folder).unwrap();
        let context = Context::new(&task.settings, inputs, task.tool.as_ref(), &folder, &cancel);
        let produced = (task.work)(&context)?;
        let names: Vec<_> = produced.outputs.iter().map(|o| o.0).collect();
        let declared: Vec<_> = task.outputs.iter().map(|o| o.name).collect();
        assert_eq!(sorted(&names), sorted(&declared), "{}", task.name());
        done.extend(produced.outputs.into_iter().map(|(name, bytes)| ((task.name(), name), bytes)));
    }
    Ok(done)
}

/// What the sections of these tests hold, by their paths.
fn own_file(path: &str) -> &'static Vec<u8> {
    static FILES: std::sync::LazyLock<BTreeMap<&str, Vec<u8>>> = std::sync::LazyLock::new(|| {
        let typst = "= Beside\nMeasured $x^2$ elsewhere. #image(\"dot.svg\", alt: \"a dot\")";
        let dot = "<svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'><circle cx='4' cy='4' r='4'/></svg>";
        BTreeMap::from([
            ("text/more.typ", typst.replace("$x^2$", "#math.equation($x^2$, alt: \"x squared\")").into_bytes()),
            ("text/dot.svg", dot.as_bytes().to_vec()),
            ("text/wrong.typ", b"Fine.\n#nothing-of-this-name".to_vec()),
            ("text/plain.txt", b"First #import \"x\" $a$.\n\nSecond *b*.".to_vec()),
        ])
    });
    &FILES[path]
}

fn sorted<'a>(names: &[&'a str]) -> Vec<&'a str> {
    let mut names = names.to_vec();
    names.sort_unstable();
    names
}

fn typst() -> Option<Tool> {
    if std::env::var_os("TYPST").is_none() {
        println!("skipped: set TYPST to a typst 0.15 to typeset in this test");
        return None;
    }
    Some(find::find_typst().unwrap())
}

fn planned(typst: Tool) -> Plan {
    let mut plan = Plan::default();
    add(&mut plan, &inputs(typst));
    plan
}

#[test]
fn the_plan_is_sound() {
    let plan = planned(Tool { name: find::NAME, version: String::new(), path: None });
    let mut names: Vec<String> = plan.tasks.iter().map(Task::name).collect();
    assert!(names.iter().all(|n| n.is_ascii()), "{names:?}");
    names.sort();
    assert!(names.windows(2).all(|w| w[0] != w[1]));
    let mut paths: Vec<String> = plan.publications.iter().map(|p| p.path.to_ascii_lowercase()).collect();
    paths.sort();
    assert!(paths.windows(2).all(|w| w[0] != w[1]), "{paths:?}");
    for path in ["report.pdf", "methods.md", "report/main.typ", "tables/states.parquet", "tables/dictionary.csv"] {
        assert!(paths.iter().any(|p| p == path), "{path}");
    }
}

/// A key is made of stage, code, settings, tool and inputs: tasks that agree in all of them would share one result.
#[test]
fn no_two_tasks_can_have_one_key() {
    let tool = || Tool { name: find::NAME, version: String::new(), path: None };
    let full = inputs(tool());
    let chain = Chain { controls: Vec::new(), ..full.chain.clone() };
    let bare = ReportInputs { claims: Vec::new(), chain, ..inputs(tool()) };
    for inputs in [full, bare] {
        let mut plan = Plan::default();
        add(&mut plan, &inputs);
        let of = |t: &Task| format!("{} {} {:?} {:?} {:?}", t.stage, t.code, t.settings, t.tool, t.inputs);
        let mut seen: BTreeMap<String, String> = BTreeMap::new();
        for task in &plan.tasks {
            if let Some(other) = seen.insert(of(task), task.name()) {
                panic!("{} and {other} would share a key", task.name());
            }
        }
    }
}

#[test]
fn a_new_title_redraws_no_figure() {
    let tool = || Tool { name: find::NAME, version: String::new(), path: None };
    let mut other = inputs(tool());
    other.study.title = "another".into();
    let mut plan = Plan::default();
    add(&mut plan, &other);
    let settings = |plan: &Plan, stage: &str| -> Vec<Vec<Settings>> {
        plan.tasks.iter().filter(|t| t.stage == stage).map(|t| t.settings.clone()).collect()
    };
    assert_eq!(settings(&plan, "figure"), settings(&planned(tool()), "figure"));
    assert_ne!(settings(&plan, "document"), settings(&planned(tool()), "document"));
}

#[test]
fn hostile_names_stay_text_and_the_same_bytes_come_twice() {
    let Some(typst) = typst() else { return };
    let plan = planned(typst.clone());
    let (a, b) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let (first, second) = (run(&plan, a.path()), run(&plan, b.path()));
    let key = ("document study".to_owned(), "pdf");
    assert!(first[&key].starts_with(b"%PDF-") && first[&key] == second[&key]);
    if let Some(keep) = std::env::var_os("SHEARBACK_KEEP").map(PathBuf::from) {
        lay_out_results(&plan, &first, &keep);
    }
    let results = tempfile::tempdir().unwrap();
    lay_out_results(&plan, &first, results.path());
    compiles_alone(&typst, &results.path().join("report"));
    text_is_there(&results.path().join("report.pdf"), &first[&("document study".to_owned(), "data.json")]);
    file_is_sound(&results.path().join("report.pdf"));
}

fn lay_out_results(plan: &Plan, done: &BTreeMap<(String, &'static str), Vec<u8>>, folder: &Path) {
    for publication in &plan.publications {
        let Some(bytes) = done.get(&(publication.task.clone(), publication.output)) else { continue };
        let path = folder.join(&publication.path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
    }
}

fn compiles_alone(typst: &Tool, folder: &Path) {
    let said = std::process::Command::new(typst.path.as_ref().unwrap())
        .current_dir(folder)
        .args(["compile", "--ignore-system-fonts", "main.typ", "alone.pdf"])
        .output()
        .unwrap();
    assert!(said.status.success(), "{}", String::from_utf8_lossy(&said.stderr));
}

/// What a program says of the PDF; none with a word where it is not installed.
fn said_of(pdf: &Path, program: &str, before: &[&str], behind: &[&str]) -> Option<String> {
    match std::process::Command::new(program).args(before).arg(pdf).args(behind).output() {
        Ok(said) => {
            assert!(said.status.success(), "{program}: {}", String::from_utf8_lossy(&said.stderr));
            Some(String::from_utf8_lossy(&said.stdout).into_owned())
        }
        Err(_) => {
            println!("skipped: {program} is not installed");
            None
        }
    }
}

/// Text without blanks and without the marks at which a line may break.
fn bare(text: &str) -> String {
    text.chars().filter(|c| !c.is_whitespace() && *c != '\u{200b}').collect()
}

/// The names come out as they went in, and every cell of every printed table is there.
fn text_is_there(pdf: &Path, data: &[u8]) {
    let Some(text) = said_of(pdf, "pdftotext", &["-raw"], &["-"]) else { return };
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains(fixture::HOSTILE), "{words}");
    assert!(words.contains("bubble #seen") && words.contains("not decided"));
    assert!(words.contains("שלום"), "{words}");
    let (text, data): (String, serde_json::Value) = (bare(&text), serde_json::from_slice(data).unwrap());
    let replaced = data["without_glyph"].as_array().unwrap();
    assert!(replaced.iter().any(|pair| pair[0] == "😀" && pair[1] == "[U+1F600]"), "{replaced:?}");
    let shown = |cell: &str| {
        let pairs = replaced.iter().map(|pair| (pair[0].as_str().unwrap(), pair[1].as_str().unwrap()));
        pairs.fold(cell.to_owned(), |cell, (char, code)| cell.replace(char, code))
    };
    let mut cells = 0;
    let text = text.replace('_', "");
    for (name, table) in data["tables"].as_object().unwrap() {
        let kinds: Vec<&str> = table["kind"].as_array().unwrap().iter().map(|k| k.as_str().unwrap()).collect();
        for row in table["rows"].as_array().unwrap() {
            for (cell, kind) in row.as_array().unwrap().iter().zip(&kinds) {
                // Symbols lose the sign before their index.
                let cell = shown(cell.as_str().unwrap()).replace('_', "");
                // Lines of a cell that is broken may stand apart, its words not.
                let words = || cell.split_whitespace().all(|word| text.contains(&bare(word)));
                let broken = ["name", "wide", "text"].contains(kind) && words();
                assert!(text.contains(&bare(&cell)) || broken, "{name}: {cell}");
                cells += 1;
            }
        }
    }
    assert!(cells > 300, "{cells}");
    for answer in data["answers"].as_array().unwrap() {
        for part in ["verdict", "share", "interval"].iter().filter_map(|part| answer[*part].as_str()) {
            assert!(text.contains(&bare(part)), "{part}");
        }
    }
}

/// The file is sound, archival, tagged, its fonts are inside, and so are the tables and the study file.
fn file_is_sound(pdf: &Path) {
    said_of(pdf, "qpdf", &["--check"], &[]);
    if let Some(fonts) = said_of(pdf, "pdffonts", &[], &[]) {
        let fonts: Vec<&str> = fonts.lines().skip(2).collect();
        let embedded = |line: &&str| line.split_whitespace().rev().nth(4) == Some("yes");
        assert!(!fonts.is_empty() && fonts.iter().all(embedded), "{fonts:#?}");
    }
    if let Some(info) = said_of(pdf, "pdfinfo", &[], &[]) {
        assert!(info.contains("Tagged:") && !info.contains("Tagged:          no"), "{info}");
    }
    if let Some(list) = said_of(pdf, "pdfdetach", &["-list"], &[]) {
        for name in ["study.yaml", "states.csv", "thickening.csv", "reversals.csv", "budget.csv", "dictionary.csv"] {
            assert!(list.contains(&format!(": {name}")), "{list}");
        }
    }
}

#[test]
fn a_short_form_and_sections_of_the_authors_own() {
    let Some(typst) = typst() else { return };
    let own = |title: &str, file: &str, uses: &[&str], after: After| OwnSection {
        title: title.into(),
        file: file.into(),
        uses: uses.iter().map(|u| (*u).to_owned()).collect(),
        after,
    };
    let mut inputs = inputs(typst);
    inputs.study.form = Form::Short;
    inputs.own = vec![
        own("Elsewhere", "text/more.typ", &["text/dot.svg"], After::Results),
        own("Plainly", "text/plain.txt", &[], After::Measured),
    ];
    let mut plan = Plan::default();
    add(&mut plan, &inputs);
    let scratch = tempfile::tempdir().unwrap();
    let done = run(&plan, scratch.path());
    let pdf = scratch.path().join("short.pdf");
    fs::write(&pdf, &done[&("document study".to_owned(), "pdf")]).unwrap();
    let Some(text) = said_of(&pdf, "pdftotext", &["-raw"], &["-"]) else { return };
    assert!(
        text.contains("Beside") && text.contains("Measured") && text.contains("First #import \"x\" $a$."),
        "{text}"
    );
    assert!(text.contains("Second *b*.") && !text.contains("one by one"), "{text}");
}

#[test]
fn a_mistake_in_a_section_is_told_with_its_line() {
    let Some(typst) = typst() else { return };
    let mut inputs = inputs(typst);
    inputs.own =
        vec![OwnSection { title: "X".into(), file: "text/wrong.typ".into(), uses: Vec::new(), after: After::Results }];
    let mut plan = Plan::default();
    add(&mut plan, &inputs);
    let scratch = tempfile::tempdir().unwrap();
    let error = &run_from(results(), &plan, scratch.path()).unwrap_err()[0];
    assert!(error.to_string().starts_with("text/wrong.typ:2:1: unknown variable: nothing-of-this-name"), "{error}");
}

/// Results of a study of the first `n` reversals of the fixture, over and over.
fn results_of(n: usize) -> Done {
    let mut states = fixture::states();
    let known: Vec<_> = states.reversals.iter().filter(|r| n > 1 || !r.identity.control).cloned().collect();
    states.reversals = known.iter().cycle().take(n).cloned().collect();
    for (i, reversal) in states.reversals.iter_mut().enumerate() {
        reversal.reversal = format!("R{:04}", i + 1);
    }
    if n == 1 {
        states.states.truncate(1);
        states.thickening.truncate(1);
    }
    let mut out = results();
    out.insert(("uncertainty study".into(), "states"), serde_json::to_vec(&states).unwrap());
    out
}

fn set(n: usize) -> Option<(Vec<u8>, std::time::Duration)> {
    let (plan, scratch) = (planned(typst()?), tempfile::tempdir().unwrap());
    let start = std::time::Instant::now();
    let done = run_from(results_of(n), &plan, scratch.path()).unwrap();
    Some((done[&("document study".to_owned(), "pdf")].clone(), start.elapsed()))
}

#[test]
fn a_study_of_one_reversal_has_a_report() {
    let Some((pdf, _)) = set(1) else { return };
    assert!(pdf.starts_with(b"%PDF-"));
}

/// Takes a minute; prints what a large study costs: `cargo test -p shearback-reports -- --ignored --nocapture`.
#[test]
#[ignore = "takes a minute"]
fn a_study_of_a_thousand_reversals_has_a_report_of_bearable_size() {
    let (Some((small, quick)), Some((large, slow))) = (set(100), set(1000)) else { return };
    println!("100 reversals: {} bytes, {quick:?}; 1000: {} bytes, {slow:?}", small.len(), large.len());
    // Most of it are traces: some 10 kB for each panel.
    assert!(large.len() < 15_000_000, "{}", large.len());
}

#[test]
fn letter_paper_holds_the_same_figures() {
    let Some(typst) = typst() else { return };
    let mut inputs = inputs(typst);
    inputs.study.paper = Paper::Letter;
    let mut plan = Plan::default();
    add(&mut plan, &inputs);
    let scratch = tempfile::tempdir().unwrap();
    let done = run(&plan, scratch.path());
    assert!(done[&("document study".to_owned(), "pdf")].starts_with(b"%PDF-"));
}

#[test]
fn without_typst_the_help_says_what_to_type() {
    let cancel = AtomicBool::new(false);
    let tool = Tool { name: find::NAME, version: String::new(), path: None };
    let scratch = std::env::temp_dir();
    let context = Context::new(&[], Vec::new(), Some(&tool), &scratch, &cancel);
    let errors = work(&context).unwrap_err();
    assert!(errors[0].help.as_deref().is_some_and(|h| h.contains("cargo install --locked typst-cli --version 0.15.1")));
}
