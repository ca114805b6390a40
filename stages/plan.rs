//! The task graph of the computation: which task reads which settings and which results. It computes nothing.
//!
//! Per export → gather → per export → study. The chain of a variant shares every task of the main line whose settings
//! and inputs are the same, so that only what differs has tasks of its own.

use crate::clean::params::SetAside;
use crate::reversal::identity::Rule;
use crate::setup::stages::Stages;
use crate::setup::{RunPlan, STUDY_FILE, Study, names};
use crate::{clean, code, fit, ingest, reversal, states, uncertainty};
use pipeline::stage::{Input, Output, Plan, Settings, Source, Task, Work};
use serde::Serialize;
use std::collections::BTreeMap;

/// Stages of the computation in the order of the data.
pub const STAGES: [&str; 8] =
    ["ingest", "clean", "reversal: read", "reversal: control", "reversal: grade", "states", "fit", "uncertainty"];

const fn small(name: &'static str) -> Output {
    Output { name, bulky: false }
}

const fn bulky(name: &'static str) -> Output {
    Output { name, bulky: true }
}

const INGEST: [Output; 2] = [bulky("readings"), small("head")];
const CLEAN: [Output; 2] = [bulky("points"), small("notes")];
const READ: [Output; 2] = [bulky("read"), bulky("points")];
const CONTROL: [Output; 1] = [small("control")];
const GRADE: [Output; 1] = [small("graded")];

/// Names of the tasks whose results others show.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Chain {
    /// Runs in the order of the study.
    pub runs: Vec<RunTasks>,
    /// Controls.
    pub controls: Vec<ControlTask>,
    /// The task with the output `fits`.
    pub fit: String,
    /// The task with the outputs `states` (those that are shown), `budget` and `sensitivity`.
    pub uncertainty: String,
}

/// The tasks of one run that others show.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RunTasks {
    /// Path of the raw export in the study.
    pub run: String,
    /// The task with the output `graded`.
    pub graded: String,
    /// The task with the output `points`, the published table of readings.
    pub points: String,
}

/// A control and its task.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ControlTask {
    /// Instrument and geometry.
    pub name: String,
    /// The task with the output `control`.
    pub task: String,
}

/// Adds the chain of the study, or of one of its variants, with these settings.
pub fn add(plan: &mut Plan, study: &Study, stages: &Stages, variant: Option<&str>) -> Chain {
    for stage in STAGES {
        if !plan.stages.contains(&stage) {
            plan.stages.push(stage);
        }
    }
    let (main, common) = (MainLine::of_plan(plan, variant), Common::new(study, stages, variant));
    Planner { plan, main, study, stages, variant, common }.chain()
}

/// Where in a plan the tasks of the main line stand, by stage and subject; nothing for the main line itself.
#[derive(Debug, Default)]
pub struct MainLine(BTreeMap<(&'static str, String), usize>);

impl MainLine {
    /// For those who add the tasks of a variant, when those of the main line are there.
    pub fn of_plan(plan: &Plan, variant: Option<&str>) -> Self {
        let main = plan.tasks.iter().enumerate().filter(|(_, task)| variant.is_some() && task.variant.is_none());
        Self(main.map(|(at, task)| ((task.stage, task.of.clone()), at)).collect())
    }

    /// The same task with the same settings and inputs.
    fn same<'p>(&self, plan: &'p Plan, task: &Task) -> Option<&'p Task> {
        let main = &plan.tasks[*self.0.get(&(task.stage, task.of.clone()))?];
        let values = task.settings.iter().map(|s| (s.role, &s.value));
        let equal = main.inputs == task.inputs && values.eq(main.settings.iter().map(|s| (s.role, &s.value)));
        equal.then_some(main)
    }
}

/// Adds the task, or gives the one of the main line that is the same: a variant shares all that it does not change.
pub fn shared(plan: &mut Plan, main: &MainLine, task: Task) -> Task {
    if let Some(main) = main.same(plan, &task) {
        return main.clone();
    }
    plan.tasks.push(task.clone());
    task
}

struct Planner<'a> {
    plan: &'a mut Plan,
    main: MainLine,
    study: &'a Study,
    stages: &'a Stages,
    variant: Option<&'a str>,
    common: Common,
}

/// Settings that the tasks of many runs read, each written once.
struct Common {
    layouts: BTreeMap<String, Settings>,
    includes_inertia: BTreeMap<String, Settings>,
    geometries: BTreeMap<String, Settings>,
    instruments: BTreeMap<String, Settings>,
    samples: BTreeMap<String, Settings>,
    ingest: Settings,
    clean: Settings,
    reading: Settings,
    grading_settings: Settings,
}

impl Common {
    fn new(study: &Study, stages: &Stages, variant: Option<&str>) -> Self {
        let includes = study.layouts.iter().map(|(name, layout)| {
            let path = format!("layouts.{name}.torque_includes_inertia");
            (name.clone(), Settings::new("torque_includes_inertia", path, &layout.torque_includes_inertia))
        });
        Self {
            layouts: each("layout", "layouts", &study.layouts),
            includes_inertia: includes.collect(),
            geometries: each("geometry", "geometries", &study.geometries),
            instruments: each("instrument", "instruments", &study.instruments),
            samples: each("sample", "samples", &study.samples),
            ingest: of_stage(variant, "ingest", "ingest", &stages.ingest),
            clean: of_stage(variant, "clean", "clean", &stages.clean),
            reading: of_stage(variant, "reversal", "reversal", &stages.reversal.reading()),
            grading_settings: of_stage(variant, "reversal", "reversal", &stages.reversal.grading_settings()),
        }
    }
}

fn each(role: &'static str, under: &str, all: &BTreeMap<String, impl Serialize>) -> BTreeMap<String, Settings> {
    all.iter().map(|(name, one)| (name.clone(), Settings::new(role, format!("{under}.{name}"), one))).collect()
}

/// Settings of a stage under their place in the study file.
fn of_stage(variant: Option<&str>, role: &'static str, stage: &str, value: &impl Serialize) -> Settings {
    match variant {
        None => Settings::new(role, format!("stages.{stage}"), value),
        Some(variant) => Settings::new(role, format!("variants.{variant}.{stage}"), value),
    }
}

/// The tasks of one run up to its reversals as read.
struct ReadRun<'a> {
    run: &'a RunPlan,
    ingest: Task,
    clean: Task,
    read: Task,
}

impl<'a> Planner<'a> {
    fn chain(&mut self) -> Chain {
        let study = self.study;
        let runs: Vec<ReadRun<'_>> = study.runs.iter().map(|run| self.until_read(run)).collect();
        let controls = self.controls(&runs);
        let graded: Vec<Task> = runs.iter().map(|tasks| self.grade(tasks, &controls)).collect();
        let states = self.states(&runs, &graded);
        let fit = self.fit(&states);
        let uncertainty = self.uncertainty(&states);
        let shown = |(tasks, graded): (&ReadRun<'_>, &Task)| RunTasks {
            run: tasks.run.path.clone(),
            graded: graded.name(),
            points: tasks.read.name(),
        };
        let control = |(on, task): (&Apparatus, &Task)| ControlTask { name: on.name(), task: task.name() };
        Chain {
            runs: runs.iter().zip(&graded).map(shown).collect(),
            controls: controls.iter().map(control).collect(),
            fit: fit.name(),
            uncertainty: uncertainty.name(),
        }
    }

    fn push(&mut self, task: Task) -> Task {
        shared(self.plan, &self.main, task)
    }

    fn task(&self, stage: &'static str, of: &str, code: &'static str, outputs: &[Output], work: Work) -> Task {
        Task {
            stage,
            of: of.to_owned(),
            variant: self.variant.map(str::to_owned),
            code,
            settings: Vec::new(),
            inputs: Vec::new(),
            tool: None,
            outputs: outputs.to_vec(),
            work,
        }
    }

    fn stage(&self, role: &'static str, stage: &str, value: &impl Serialize) -> Settings {
        of_stage(self.variant, role, stage, value)
    }

    fn until_read(&mut self, run: &'a RunPlan) -> ReadRun<'a> {
        let ingest = self.ingest(run);
        let clean = self.clean(run, &ingest);
        let read = self.read(run, &clean);
        ReadRun { run, ingest, clean, read }
    }

    fn ingest(&mut self, run: &RunPlan) -> Task {
        let settings = vec![
            self.common.layouts[&run.layout].clone(),
            Settings::new("sheet", format!("{}.sheets", run.entry), &run.sheet),
            self.common.ingest.clone(),
        ];
        let raw = Input { name: "raw".to_owned(), source: Source::Raw(run.file.clone()) };
        let task = self.task("ingest", &names::subject(&run.path), code::INGEST, &INGEST, ingest::work);
        self.push(Task { settings, inputs: vec![raw], ..task })
    }

    fn clean(&mut self, run: &RunPlan, ingest: &Task) -> Task {
        let none: Vec<SetAside> = Vec::new();
        let set_aside = self.study.set_aside.get(&run.path).unwrap_or(&none);
        let mut settings = self.apparatus(run);
        settings.extend([
            self.common.clean.clone(),
            self.common.includes_inertia[&run.layout].clone(),
            Settings::new("set_aside", "set_aside", set_aside),
        ]);
        let task = self.task("clean", &names::subject(&run.path), code::CLEAN, &CLEAN, clean::work);
        self.push(Task { settings, inputs: vec![ingest.output("readings", "readings")], ..task })
    }

    /// Geometry, instrument and sample of a run, each under its place in the study file.
    fn apparatus(&self, run: &RunPlan) -> Vec<Settings> {
        let Common { geometries, instruments, samples, .. } = &self.common;
        let of_run = [&geometries[&run.geometry], &instruments[&run.instrument], &samples[&run.sample]];
        of_run.map(Settings::clone).to_vec()
    }

    fn read(&mut self, run: &RunPlan, clean: &Task) -> Task {
        let mut settings = self.apparatus(run);
        settings.extend([Settings::new("run", run.entry.clone(), &run.path), self.common.reading.clone()]);
        let inputs = vec![clean.output("points", "points"), clean.output("notes", "notes")];
        let of = names::subject(&run.path);
        let task = self.task("reversal: read", &of, code::REVERSAL, &READ, reversal::read_work);
        self.push(Task { settings, inputs, ..task })
    }

    /// One task per instrument and geometry that has control runs.
    fn controls(&mut self, runs: &[ReadRun<'_>]) -> BTreeMap<Apparatus, Task> {
        let mut inputs: BTreeMap<Apparatus, Vec<Input>> = BTreeMap::new();
        for tasks in runs.iter().filter(|tasks| self.study.samples[&tasks.run.sample].control) {
            inputs
                .entry(Apparatus::of_run(tasks.run))
                .or_default()
                .push(tasks.read.output(tasks.run.path.clone(), "read"));
        }
        let mut controls = BTreeMap::new();
        for (apparatus, inputs) in inputs {
            let settings = vec![self.stage("reversal", "reversal", &self.stages.reversal.controlling())];
            let of = names::subject(&apparatus.name());
            let task = self.task("reversal: control", &of, code::REVERSAL, &CONTROL, reversal::control_work);
            controls.insert(apparatus, self.push(Task { settings, inputs, ..task }));
        }
        controls
    }

    fn grade(&mut self, tasks: &ReadRun<'_>, controls: &BTreeMap<Apparatus, Task>) -> Task {
        let run = tasks.run;
        let sample = &self.study.samples[&run.sample];
        let identity = Rule {
            run: run.path.clone(),
            sample: sample.name.clone(),
            control: sample.control,
            volume_fraction: sample.volume_fraction.map(|phi| (phi.value, phi.u)),
            geometry: run.geometry.clone(),
            instrument: run.instrument.clone(),
            loading: run.loading.clone(),
            repeat: run.repeat.clone(),
            preamble: run.preamble.clone(),
        };
        let mut settings = self.apparatus(run);
        settings.retain(|s| s.role == "geometry");
        settings
            .extend([Settings::new("identity", run.entry.clone(), &identity), self.common.grading_settings.clone()]);
        let mut inputs = vec![
            tasks.read.output("read", "read"),
            tasks.clean.output("notes", "notes"),
            tasks.ingest.output("head", "head"),
        ];
        let control = controls.get(&Apparatus::of_run(run));
        inputs.extend(control.map(|task| task.output("control", "control")));
        let of = names::subject(&run.path);
        let task = self.task("reversal: grade", &of, code::REVERSAL, &GRADE, reversal::grade_work);
        self.push(Task { settings, inputs, ..task })
    }

    fn states(&mut self, runs: &[ReadRun<'_>], graded: &[Task]) -> Task {
        let listed: BTreeMap<&str, _> = self
            .study
            .runs
            .iter()
            .map(|run| (run.path.as_str(), &run.set_points))
            .filter(|(_, s)| !s.is_empty())
            .collect();
        let settings = vec![
            self.stage("states", "reversal.states", &self.stages.reversal.states),
            Settings::new("samples", "samples", &self.study.samples),
            Settings::new("set_points", "raw.set_points", &listed),
        ];
        let inputs = runs.iter().zip(graded).map(|(tasks, graded)| graded.output(tasks.run.path.clone(), "graded"));
        let inputs = inputs.collect();
        let task = self.task("states", "study", code::STATES, &states::OUTPUTS, states::work);
        self.push(Task { settings, inputs, ..task })
    }

    fn fit(&mut self, states: &Task) -> Task {
        let settings = vec![
            self.stage("fit", "fit", &self.stages.fit),
            Settings::new("samples", "samples", &self.study.samples),
            Settings::new("geometries", "geometries", &self.study.geometries),
            Settings::new("seed", "seed", &self.study.seed),
        ];
        let task = self.task("fit", "study", code::FIT, &fit::OUTPUTS, fit::work);
        self.push(Task { settings, inputs: vec![states.output("states", "states")], ..task })
    }

    fn uncertainty(&mut self, states: &Task) -> Task {
        let settings = vec![
            self.stage("uncertainty", "uncertainty", &self.stages.uncertainty),
            Settings::new("samples", "samples", &self.study.samples),
            Settings::new("geometries", "geometries", &self.study.geometries),
            Settings::new("seed", "seed", &self.study.seed),
        ];
        let task = self.task("uncertainty", "study", code::UNCERTAINTY, &uncertainty::OUTPUTS, uncertainty::work);
        let inputs = vec![states.output("states", "states"), states.output("alternatives", "alternatives")];
        self.push(Task { settings, inputs, ..task })
    }
}

/// What one control measures.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
struct Apparatus {
    instrument: String,
    geometry: String,
}

impl Apparatus {
    fn of_run(run: &RunPlan) -> Self {
        Self { instrument: run.instrument.clone(), geometry: run.geometry.clone() }
    }

    fn name(&self) -> String {
        format!("{} {}", self.instrument, self.geometry)
    }
}

/// An empty plan of the study: its title, and its study file as written.
pub fn empty(study: &Study) -> Plan {
    Plan {
        study: study.title.clone(),
        study_file: STUDY_FILE.to_owned(),
        study_text: study.text.clone(),
        written: study.written.clone(),
        ..Plan::default()
    }
}
