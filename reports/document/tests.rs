//! The whole way from results to a PDF, through the works that the engine calls; names that look like markup stay
//! text. Needs typst by the variable `TYPST`, and says so where it is missing.

use super::data::*;
use super::*;
use crate::fixture;
use crate::plan::{ControlTask, ReportInputs, RunTasks, add};
use pipeline::stage::{Plan, Settings, Source, Task, Tool};
use stages::claims::params::Claim;
use stages::physics::geometry::{Geometry, Shape};
use stages::physics::instrument::Instrument;
use stages::physics::materials::{Liquid, Particles, Sample};
use stages::physics::quantity::Quantity;
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
        set_aside: vec![SetAside { run: "raw/x.txt".into(), what: "step 5".into(), because: "bubble #seen".into() }],
        own: Vec::new(),
        study_file: serde_json::json!({"study": "Study", "samples": {fixture::HOSTILE: {"liquid": "#oil"}}}),
        runs: fixture::runs().iter().map(|r| run_tasks(&r.identity.run)).collect(),
        controls: vec![ControlTask { name: "bench-cone40".into(), task: "reversal: control bench-cone40".into() }],
        states: "uncertainty study".into(),
        fits: Some("fit study".into()),
        budget: Some("uncertainty study".into()),
        old_results: BTreeMap::new(),
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
    RunTasks { run: run.into(), judged: format!("reversal: judge {run}"), points: format!("reversal: read {run}") }
}

/// Results of the stages, by task and output.
fn results() -> BTreeMap<(String, &'static str), Vec<u8>> {
    let json = |value: &dyn erased::Json| value.bytes();
    let mut out = BTreeMap::new();
    for run in fixture::runs() {
        out.insert((format!("reversal: judge {}", run.identity.run), "judged"), json(&run));
    }
    out.insert(("uncertainty study".into(), "states"), json(&fixture::states()));
    out.insert(("uncertainty study".into(), "budget"), json(&fixture::budget()));
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

/// Runs the planned tasks one after the other, as the engine would.
fn run(plan: &Plan, scratch: &Path) -> BTreeMap<(String, &'static str), Vec<u8>> {
    let mut done = results();
    let cancel = AtomicBool::new(false);
    for task in &plan.tasks {
        let bytes = |source: &Source| match source {
            Source::Task { task, output } => {
                done.get(&(task.clone(), *output)).unwrap_or_else(|| panic!("{task} {output}"))
            }
            Source::Raw(path) => own_file(path),
        };
        let inputs = task.inputs.iter().map(|i| (i.name.clone(), Arc::from(bytes(&i.source).as_slice()))).collect();
        let folder = scratch.join(crate::text::slug::slug(&task.name()));
        fs::create_dir_all(&folder).unwrap();
        let context = Context::new(&task.settings, inputs, task.tool.as_ref(), &folder, &cancel);
        let produced = (task.work)(&context).unwrap_or_else(|e| panic!("{}: {e:?}", task.name()));
        let names: Vec<_> = produced.outputs.iter().map(|o| o.0).collect();
        let declared: Vec<_> = task.outputs.iter().map(|o| o.name).collect();
        assert_eq!(sorted(&names), sorted(&declared), "{}", task.name());
        done.extend(produced.outputs.into_iter().map(|(name, bytes)| ((task.name(), name), bytes)));
    }
    done
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
    let bare = ReportInputs { fits: None, budget: None, claims: Vec::new(), controls: Vec::new(), ..inputs(tool()) };
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
    text_is_there(&results.path().join("report.pdf"));
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

/// The names come out as they went in; skipped with a word where pdftotext is missing.
fn text_is_there(pdf: &Path) {
    let Ok(said) = std::process::Command::new("pdftotext").arg("-raw").arg(pdf).arg("-").output() else {
        println!("skipped: pdftotext is not installed");
        return;
    };
    let text = String::from_utf8_lossy(&said.stdout).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains(fixture::HOSTILE), "{text}");
    assert!(text.contains("bubble #seen") && text.contains("not decided"));
}

#[test]
fn letter_paper_holds_the_same_figures() {
    let Some(typst) = typst() else { return };
    let mut inputs = inputs(typst);
    inputs.study.paper = Paper::UsLetter;
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
