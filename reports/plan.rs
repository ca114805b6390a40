//! The tasks that this crate brings to a study: tables, claims, figures, the document; and where their files stand in
//! `results/`. It plans; the work is elsewhere.

use crate::document::attached;
use crate::document::data::{FigureRef, Own, Section, SetAside, SettingLine, Study};
use crate::figures::relative_viscosity::MadeOf;
use crate::figures::work as draw;
use crate::tables::work as write;
use crate::text::methods::InForce;
use crate::text::slug::slugs;
use crate::{code, document};
use pipeline::stage::{Input, Output, Plan, Publication, Settings, Source, Task, Tool, Work};
use stages::claims::params::Claim;
use stages::earlier_results::params::EarlierTable;
use stages::physics::geometry::Geometry;
use stages::physics::instrument::Instrument;
use stages::physics::materials::Sample;
use stages::plan::MainLine;
use std::collections::{BTreeMap, BTreeSet};

/// The stages that [`add`] uses, in their order.
pub const STAGES: [&str; 6] = ["table", "claims", "earlier results", "figure", "section", "document"];

/// The tasks of one run that reports read; all by [`Task::name`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RunTasks {
    /// Path of the raw export in the study.
    pub run: String,
    /// The task with the output `graded`.
    pub graded: String,
    /// The task with the output `points`, the published table of readings.
    pub points: String,
}

/// A control: a name in ASCII, and the task with the output `control`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ControlTask {
    /// Instrument and geometry.
    pub name: String,
    /// The task.
    pub task: String,
}

/// What reports need to know of a study: its facts, and the tasks whose results they show.
#[derive(Debug, Clone)]
pub struct ReportInputs {
    /// Name of the variant; none for the main line. A variant has tables only.
    pub variant: Option<String>,
    /// Title, authors, …
    pub study: Study,
    /// All samples in the order of the study file, controls included.
    pub samples: Vec<Sample>,
    /// Geometries in use.
    pub geometries: Vec<Geometry>,
    /// Instruments in use.
    pub instruments: Vec<Instrument>,
    /// Settings of the stages.
    pub in_force: InForce,
    /// Every setting as it is printed.
    pub settings: Vec<SettingLine>,
    /// What was set aside by hand.
    pub set_aside: Vec<SetAside>,
    /// Sections of the authors' own.
    pub own: Vec<Own>,
    /// The study file as read.
    pub study_file: serde_json::Value,
    /// Runs in the order of the study.
    pub runs: Vec<RunTasks>,
    /// Controls.
    pub controls: Vec<ControlTask>,
    /// The task with the output `states` that is shown: of `uncertainty`, or of `states` where that is left out.
    pub states: String,
    /// The task with the output `fits`, if there is one.
    pub fits: Option<String>,
    /// The task with the output `budget`, if there is one.
    pub budget: Option<String>,
    /// Variants of the study with their tasks of the output `states`; for the main line only.
    pub variants: Vec<(String, String)>,
    /// Claims of the study file.
    pub claims: Vec<Claim>,
    /// Tables of results from before, by name.
    pub earlier_results: BTreeMap<String, EarlierTable>,
    /// The typesetter, as [`document::find::find_typst`] found it.
    pub typst: Tool,
}

/// Adds the tasks of tables, claims, figures and the document, and their publications.
pub fn add(plan: &mut Plan, inputs: &ReportInputs) {
    for stage in STAGES {
        if !plan.stages.contains(&stage) {
            plan.stages.push(stage);
        }
    }
    let main = MainLine::of(plan, inputs.variant.as_deref());
    let mut planner = Planner { plan, main, inputs, figures: Vec::new(), attached: Vec::new() };
    planner.tables();
    planner.claims();
    planner.earlier_results();
    if inputs.variant.is_none() {
        planner.figures();
        let sections = planner.sections();
        planner.document(sections);
    }
}

/// Keys of the preambles' entries that become columns of `runs`, sorted.
fn chosen_entries(study_file: &serde_json::Value) -> BTreeSet<String> {
    let raw = study_file["raw"].as_array().into_iter().flatten();
    let keys = raw.flat_map(|entry| entry["preamble"].as_array().into_iter().flatten());
    keys.filter_map(|key| key.as_str().map(str::to_owned)).collect()
}

const TABLE_OUTPUTS: [Output; 2] = [Output { name: "parquet", bulky: false }, Output { name: "csv", bulky: false }];
const FIGURE_OUTPUTS: [Output; 3] = [
    Output { name: "svg", bulky: false },
    Output { name: "csv", bulky: false },
    Output { name: "caption", bulky: false },
];

struct Planner<'a> {
    plan: &'a mut Plan,
    main: MainLine,
    inputs: &'a ReportInputs,
    /// The figures so far, in the order in which they stand in their section.
    figures: Vec<FigureRef>,
    /// The tables that the document carries.
    attached: Vec<Input>,
}

impl Planner<'_> {
    fn task(&self, stage: &'static str, of: &str, code: &'static str, work: Work) -> Task {
        Task {
            stage,
            of: of.to_owned(),
            variant: self.inputs.variant.clone(),
            code,
            settings: Vec::new(),
            inputs: Vec::new(),
            tool: None,
            outputs: Vec::new(),
            work,
        }
    }

    /// Adds the task and gives its name, or that of the main line's task that is the same.
    fn push(&mut self, task: Task) -> String {
        stages::plan::shared(self.plan, &self.main, task).name()
    }

    fn publish(&mut self, path: String, task: &str, output: &'static str) {
        self.plan.publications.push(Publication { path, task: task.to_owned(), output });
    }

    /// Path of a table's files, without ending.
    fn table_path(&self, name: &str) -> String {
        match &self.inputs.variant {
            None => format!("tables/{name}"),
            // A variant's name is free text as well.
            Some(variant) => format!("variants/{}/tables/{name}", crate::text::slug::slug(variant)),
        }
    }

    fn states(&self) -> Input {
        input("states", &self.inputs.states, "states")
    }

    fn graded(&self, prefix: &str) -> Vec<Input> {
        self.inputs.runs.iter().map(|r| input(&format!("{prefix}{}", r.run), &r.graded, "graded")).collect()
    }

    fn fits(&self) -> Vec<Input> {
        self.inputs.fits.iter().map(|task| input("fits", task, "fits")).collect()
    }

    fn budget(&self) -> Vec<Input> {
        self.inputs.budget.iter().map(|task| input("budget", task, "budget")).collect()
    }

    fn sensitivity(&self) -> Vec<Input> {
        self.inputs.budget.iter().map(|task| input("sensitivity", task, "sensitivity")).collect()
    }

    fn table(&mut self, stage: &'static str, of: &str, name: &str, inputs: Vec<Input>, work: Work) {
        let task = self.task(stage, of, code::TABLE, work);
        let settings = vec![which("table", name)];
        let task = Task { settings, inputs, outputs: TABLE_OUTPUTS.to_vec(), ..task };
        let (path, producer) = (self.table_path(name), self.push(task));
        self.publish(format!("{path}.parquet"), &producer, "parquet");
        self.publish(format!("{path}.csv"), &producer, "csv");
        self.attach(name, &producer);
    }

    /// The document carries the tables of the main line.
    fn attach(&mut self, table: &str, producer: &str) {
        if self.inputs.variant.is_none() {
            self.publish(format!("report/{}/{table}.csv", attached::FOLDER), producer, "csv");
            self.attached.push(input(&format!("table:{table}"), producer, "csv"));
        }
    }

    fn controls(&self) -> Vec<Input> {
        let controls = self.inputs.controls.iter();
        controls.map(|c| input(&format!("{}{}", write::CONTROL, c.name), &c.task, "control")).collect()
    }

    fn tables(&mut self) {
        let (graded, states) = (self.graded(""), self.states());
        let (fits, budget) = (self.fits(), self.budget());
        self.table("table", "runs", "runs", graded.clone(), write::runs);
        self.table("table", "exclusions", "exclusions", graded.clone(), write::exclusions);
        let mut with_controls = self.controls();
        with_controls.extend(graded.clone());
        self.table("table", "validity", "validity", graded, write::validity);
        self.table("table", "controls", "controls", with_controls, write::controls);
        self.table("table", "reversals", "reversals", vec![states.clone()], write::reversals);
        self.table("table", "states", "states", vec![states.clone()], write::states);
        self.table("table", "thickening", "thickening", vec![states], write::thickening);
        self.table("table", "fits", "fits", fits.clone(), write::fits);
        self.table("table", "models", "models", fits.clone(), write::models);
        self.table("table", "candidate_models", "candidate_models", fits.clone(), write::candidate_models);
        self.table("table", "flow_states", "flow_states", fits, write::flow_states);
        self.table("table", "budget", "budget", budget, write::budget);
        self.table("table", "sensitivity", "sensitivity", self.sensitivity(), write::sensitivity);
        let chosen = Settings::new("preamble", "raw", &chosen_entries(&self.inputs.study_file));
        let dictionary = Task {
            outputs: TABLE_OUTPUTS.to_vec(),
            settings: vec![chosen],
            ..self.task("table", "dictionary", code::TABLE, write::dictionary)
        };
        let (path, producer) = (self.table_path("dictionary"), self.push(dictionary));
        self.publish(format!("{path}.csv"), &producer, "csv");
        self.attach("dictionary", &producer);
        self.points();
    }

    fn points(&mut self) {
        let names: Vec<String> = self.inputs.runs.iter().map(|r| r.run.clone()).collect();
        for (run, slug) in self.inputs.runs.iter().zip(slugs(&names)) {
            let path = self.table_path(&format!("points/{slug}.parquet"));
            self.publish(path, &run.points, "points");
        }
    }

    /// Claims read the tables that they name as published, and their own table follows.
    fn claims(&mut self) {
        let claimable: Vec<&str> = crate::tables::claimable().iter().map(|t| t.name).collect();
        let claims = || self.inputs.claims.iter();
        let named = |table: &&str| {
            claims().any(|c| c.table == **table || (*table == "sensitivity" && c.hangs_on_sensitivity()))
        };
        let tables = claimable.into_iter().filter(named);
        let inputs = tables.map(|t| input(t, &self.task("table", t, code::TABLE, write::claims).name(), "parquet"));
        let inputs: Vec<Input> = inputs.collect();
        if self.inputs.claims.is_empty() {
            self.table("claims", "table", "claims", Vec::new(), write::claims);
            return;
        }
        let check = Task {
            settings: vec![Settings::new("claims", "claims", &self.inputs.claims)],
            inputs,
            outputs: stages::claims::OUTPUTS.to_vec(),
            ..self.task("claims", "study", stages::code::CLAIMS, stages::claims::work)
        };
        let found = check.output("claims", "claims");
        self.plan.tasks.push(check);
        self.table("claims", "table", "claims", vec![found], write::claims);
    }

    /// The task of an earlier table.
    fn held(&self, name: &str) -> Task {
        self.task("earlier results", name, stages::code::EARLIER_RESULTS, stages::earlier_results::work)
    }

    /// Each earlier table reads its file and the published table that it is held against; one table shows them all.
    fn earlier_results(&mut self) {
        let mut inputs = Vec::new();
        for (name, old) in &self.inputs.earlier_results {
            let table = self.task("table", &old.table, code::TABLE, write::earlier_results).name();
            let task = Task {
                settings: vec![
                    Settings::new("old", format!("earlier_results.{name}"), old),
                    Settings::new("name", "", name),
                    Settings::new("units", "", &units(old)),
                ],
                inputs: vec![
                    Input { name: "raw".to_owned(), source: Source::Raw(old.file.clone()) },
                    input("table", &table, "parquet"),
                ],
                outputs: stages::earlier_results::OUTPUTS.to_vec(),
                ..self.held(name)
            };
            inputs.push(task.output(format!("held:{name}"), "held"));
            self.plan.tasks.push(task);
        }
        self.table("earlier results", "table", "earlier_results", inputs, write::earlier_results);
    }

    /// A figure per earlier table and column.
    fn figures_of_earlier_results(&mut self) {
        for (name, old) in &self.inputs.earlier_results {
            for column in old.numbers.keys() {
                let figure = format!("old-results-{name}-{column}");
                let settings = vec![Settings::new("column", "", column)];
                let inputs = vec![self.held(name).output("held", "held")];
                self.figure(Section::Results, "earlier_results", &figure, settings, inputs, draw::earlier_results);
            }
        }
    }

    /// Adds a figure, in the order of its section in the document.
    fn figure(&mut self, at: Section, kind: &str, name: &str, settings: Vec<Settings>, inputs: Vec<Input>, work: Work) {
        let settings = settings.into_iter().chain([which("figure", kind)]).collect();
        let task = self.task("figure", name, code::FIGURE, work);
        let task = Task { settings, inputs, outputs: FIGURE_OUTPUTS.to_vec(), ..task };
        let producer = task.name();
        self.plan.tasks.push(task);
        for (folder, output) in [("figures", "svg"), ("figures", "csv"), ("report/figures", "svg")] {
            self.publish(format!("{folder}/{name}.{output}"), &producer, output);
        }
        self.figures.push(FigureRef { name: name.to_owned(), section: at });
    }

    /// Adds all figures.
    fn figures(&mut self) {
        let (states, samples) = (vec![self.states()], vec![self.asked()]);
        let with_fits: Vec<Input> = states.iter().cloned().chain(self.fits()).collect();
        let with_budget: Vec<Input> = states.iter().cloned().chain(self.budget()).collect();
        let with_choices: Vec<Input> = states.iter().cloned().chain(self.sensitivity()).collect();
        let made_of = vec![self.made_of()];
        use Section::{Budget, Fits, Results, Sensitivity, Typical};
        self.figure(Results, "contact_share", "contact-share", samples.clone(), states.clone(), draw::contact_share);
        self.figures_of_samples(&states);
        self.figure(Typical, "typical", "typical-reversal", Vec::new(), states, draw::typical);
        self.figures_of_controls();
        self.figure(Fits, "flow_curves", "flow-curves", samples.clone(), with_fits.clone(), draw::flow_curves);
        self.figure(Fits, "residuals", "residuals", samples.clone(), self.fits(), draw::residuals);
        self.figure(Fits, "flow_state", "flow-state", samples, self.fits(), draw::flow_state);
        self.figure(Fits, "relative_viscosity", "relative-viscosity", made_of, with_fits, draw::relative_viscosity);
        self.figure(Budget, "budget", "budget", Vec::new(), with_budget, draw::budget);
        self.figure(Sensitivity, "sensitivity", "sensitivity", Vec::new(), with_choices, draw::sensitivity);
        self.figures_of_earlier_results();
    }

    fn figures_of_samples(&mut self, states: &[Input]) {
        let names: Vec<String> = self.inputs.samples.iter().map(|s| s.name.clone()).collect();
        for (sample, slug) in self.inputs.samples.iter().zip(slugs(&names)) {
            let setting = || vec![Settings::new("sample", "samples", &sample.name)];
            if !sample.control {
                let name = format!("viscosity-{slug}");
                self.figure(Section::Results, "viscosity", &name, setting(), states.to_vec(), draw::viscosity);
            }
            let name = format!("atlas-{slug}");
            self.figure(Section::Atlas, "atlas", &name, setting(), states.to_vec(), draw::atlas);
        }
    }

    fn figures_of_controls(&mut self) {
        let controls: Vec<String> = self.inputs.controls.iter().map(|c| c.name.clone()).collect();
        for (control, slug) in self.inputs.controls.iter().zip(slugs(&controls)) {
            let inputs = vec![self.states(), input("control", &control.task, "control")];
            let name = format!("control-{slug}");
            self.figure(Section::Control, "control", &name, Vec::new(), inputs, draw::control);
        }
    }

    /// Names of the samples that are no controls.
    fn asked(&self) -> Settings {
        let asked: Vec<&String> = self.inputs.samples.iter().filter(|s| !s.control).map(|s| &s.name).collect();
        Settings::new("samples", "samples", &asked)
    }

    /// The same with what they are made of.
    fn made_of(&self) -> Settings {
        let made_of = |s: &Sample| MadeOf {
            sample: s.name.clone(),
            particles: s.particles.as_ref().map_or_else(String::new, |p| p.name.clone()),
            liquid: s.liquid.name.clone(),
        };
        let samples: Vec<MadeOf> = self.inputs.samples.iter().filter(|s| !s.control).map(made_of).collect();
        Settings::new("made_of", "samples", &samples)
    }

    /// Adds a task for each file of the authors' own sections; gives them as inputs.
    fn sections(&mut self) -> Vec<Input> {
        let files = attached::files(&self.inputs.own);
        let names: Vec<String> = files.iter().map(|file| (*file).to_owned()).collect();
        let task = |(file, slug): (&&str, String)| Task {
            settings: vec![Settings::new("own", "report.sections", file)],
            inputs: vec![Input { name: "file".to_owned(), source: Source::Raw((*file).to_owned()) }],
            outputs: attached::OUTPUTS.to_vec(),
            ..self.task("section", &slug, code::DOCUMENT, attached::work)
        };
        let tasks: Vec<(&str, Task)> =
            files.iter().zip(slugs(&names)).map(task).zip(&files).map(|(t, f)| (*f, t)).collect();
        let mut inputs = Vec::new();
        for (file, task) in tasks {
            let producer = task.name();
            self.plan.tasks.push(task);
            self.publish(format!("report/{}/{file}", attached::OWN), &producer, "file");
            inputs.push(input(&format!("own:{file}"), &producer, "file"));
        }
        inputs
    }

    fn document(&mut self, sections: Vec<Input>) {
        let task = Task {
            settings: self.document_settings(),
            inputs: self.document_inputs(sections),
            tool: Some(self.inputs.typst.clone()),
            outputs: document::OUTPUTS.to_vec(),
            ..self.task("document", "study", code::DOCUMENT, document::work)
        };
        let producer = task.name();
        self.plan.tasks.push(task);
        for output in document::OUTPUTS {
            let path = match output.name {
                "pdf" => "report.pdf".to_owned(),
                "methods" => "methods.md".to_owned(),
                "study.yaml" => format!("report/{}/study.yaml", attached::FOLDER),
                source => format!("report/{source}"),
            };
            self.publish(path, &producer, output.name);
        }
    }

    fn document_settings(&self) -> Vec<Settings> {
        let i = self.inputs;
        // Maps by name, so that `why` can name the one entry that changed.
        let samples: BTreeMap<&str, &Sample> = i.samples.iter().map(|s| (s.name.as_str(), s)).collect();
        let geometries: BTreeMap<&str, &Geometry> = i.geometries.iter().map(|g| (g.name.as_str(), g)).collect();
        let instruments: BTreeMap<&str, &Instrument> = i.instruments.iter().map(|a| (a.name.as_str(), a)).collect();
        let printed = i.settings.iter().map(|s| (s.path.as_str(), (&s.value, &s.meaning, s.from_study)));
        let printed: BTreeMap<&str, (&String, &String, bool)> = printed.collect();
        vec![
            Settings::new("study", "", &i.study),
            Settings::new("samples", "samples", &samples),
            Settings::new("geometries", "geometries", &geometries),
            Settings::new("instruments", "instruments", &instruments),
            Settings::new("in_force", "stages", &i.in_force),
            Settings::new("settings", "", &printed),
            Settings::new("set_aside", "set_aside", &i.set_aside),
            Settings::new("figures", "report", &self.figures),
            Settings::new("own", "report.sections", &i.own),
            Settings::new("study_file", "", &i.study_file),
        ]
    }

    fn document_inputs(&self, sections: Vec<Input>) -> Vec<Input> {
        let mut inputs = self.graded("run:");
        inputs.push(self.states());
        inputs.extend(self.controls());
        if !self.inputs.claims.is_empty() {
            let check = self.task("claims", "study", code::TABLE, write::claims);
            inputs.push(check.output("claims", "claims"));
        }
        inputs.extend(self.fits());
        inputs.extend(self.budget());
        inputs.extend(self.sensitivity());
        inputs
            .extend(self.inputs.variants.iter().map(|(name, task)| input(&format!("variant:{name}"), task, "states")));
        for FigureRef { name, .. } in &self.figures {
            let producer = self.task("figure", name, code::FIGURE, draw::typical).name();
            inputs.push(input(&format!("figure:{name}"), &producer, "svg"));
            inputs.push(input(&format!("caption:{name}"), &producer, "caption"));
        }
        inputs.extend(self.attached.iter().cloned().chain(sections));
        inputs
    }
}

/// Units of our columns that an earlier table has numbers for.
fn units(old: &EarlierTable) -> BTreeMap<String, String> {
    let published = crate::tables::published();
    let columns = published.iter().filter(|table| table.name == old.table).flat_map(|table| &table.columns);
    let mapped = columns.filter(|column| old.numbers.contains_key(column.name));
    mapped.map(|column| (column.name.to_owned(), column.unit.to_owned())).collect()
}

/// Tasks of one stage that read the same inputs differ by what they make of them, and their keys must as well.
fn which(role: &'static str, kind: &str) -> Settings {
    Settings::new(role, "", &kind)
}

fn input(name: &str, task: &str, output: &'static str) -> Input {
    Input { name: name.to_owned(), source: Source::Task { task: task.to_owned(), output } }
}
