//! The tasks that this crate brings to a study: tables, claims, figures, the document; and where their files stand in
//! `results/`. It plans; the work is elsewhere.

use crate::document::attached;
use crate::document::data::{FigureRef, Section, SettingLine, Study};
use crate::figures::relative_viscosity::MadeOf;
use crate::figures::work as draw;
use crate::tables::published::{CONTROL, PublishedTable, TableSource, named, published};
use crate::text::methods::InForce;
use crate::text::slug::slugs;
use crate::{code, document, tables};
use pipeline::stage::{Input, Output, Plan, Publication, Settings, Source, Task, Tool, Work};
use stages::claims::params::Claim;
use stages::clean::params::SetAside;
use stages::earlier_results::params::EarlierTable;
use stages::physics::geometry::Geometry;
use stages::physics::instrument::Instrument;
use stages::physics::materials::Sample;
use stages::plan::{Chain, MainLine};
use stages::setup::document::OwnSection;
use std::collections::{BTreeMap, BTreeSet};

/// The stages that [`add`] uses, in their order.
pub const STAGES: [&str; 6] = ["table", "claims", "earlier results", "figure", "section", "document"];

/// A variant of the study, and its task with the output `states`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VariantStates {
    /// Its name.
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
    /// What was set aside by hand, by run.
    pub set_aside: BTreeMap<String, Vec<SetAside>>,
    /// Sections of the authors' own.
    pub own: Vec<OwnSection>,
    /// The study file as read.
    pub study_file: serde_json::Value,
    /// The tasks of the computation whose results are shown.
    pub chain: Chain,
    /// Variants of the study; for the main line only.
    pub variants: Vec<VariantStates>,
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
    let main = MainLine::of_plan(plan, inputs.variant.as_deref());
    let mut planner = Planner {
        plan,
        main,
        inputs,
        tables: BTreeMap::new(),
        checked: Vec::new(),
        held: Vec::new(),
        figures: Vec::new(),
        attached: Vec::new(),
    };
    planner.tables();
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

/// A figure and the task that draws it.
struct Figure {
    shown: FigureRef,
    task: String,
}

struct Planner<'a> {
    plan: &'a mut Plan,
    main: MainLine,
    inputs: &'a ReportInputs,
    /// Producers of the tables so far, by the table's name.
    tables: BTreeMap<&'static str, String>,
    /// What was found of the claims, as input; none without claims.
    checked: Vec<Input>,
    /// What was found of each earlier table, as inputs.
    held: Vec<Input>,
    /// The figures so far, in the order in which they stand in their section.
    figures: Vec<Figure>,
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

    /// This output of the task `uncertainty`, under its own name.
    fn of_uncertainty(&self, output: &'static str) -> Input {
        input(output, &self.inputs.chain.uncertainty, output)
    }

    fn states(&self) -> Input {
        self.of_uncertainty("states")
    }

    fn graded(&self, prefix: &str) -> Vec<Input> {
        self.inputs.chain.runs.iter().map(|r| input(&format!("{prefix}{}", r.run), &r.graded, "graded")).collect()
    }

    fn fits(&self) -> Input {
        input("fits", &self.inputs.chain.fit, "fits")
    }

    fn table(&mut self, table: &PublishedTable, inputs: Vec<Input>) {
        let mut settings = vec![which("table", table.name)];
        if table.source == TableSource::Dictionary {
            settings.push(Settings::new("preamble", "raw", &chosen_entries(&self.inputs.study_file)));
        }
        let task = self.task("table", table.name, code::TABLE, tables::work::work);
        let producer = self.push(Task { settings, inputs, outputs: TABLE_OUTPUTS.to_vec(), ..task });
        let path = self.table_path(table.name);
        self.publish(format!("{path}.parquet"), &producer, "parquet");
        self.publish(format!("{path}.csv"), &producer, "csv");
        self.attach(table.name, &producer);
        self.tables.insert(table.name, producer);
    }

    /// The document carries the tables of the main line.
    fn attach(&mut self, table: &str, producer: &str) {
        if self.inputs.variant.is_none() {
            self.publish(format!("report/{}/{table}.csv", attached::FOLDER), producer, "csv");
            self.attached.push(input(&format!("table:{table}"), producer, "csv"));
        }
    }

    fn controls(&self) -> Vec<Input> {
        let controls = self.inputs.chain.controls.iter();
        controls.map(|c| input(&format!("{CONTROL}{}", c.name), &c.task, "control")).collect()
    }

    fn tables(&mut self) {
        for table in published() {
            let inputs = match table.source {
                TableSource::GradedRuns => self.graded(""),
                TableSource::Controls => self.controls().into_iter().chain(self.graded("")).collect(),
                TableSource::States => vec![self.states()],
                TableSource::Fits => vec![self.fits()],
                TableSource::Budget => vec![self.of_uncertainty("budget")],
                TableSource::Sensitivity => vec![self.of_uncertainty("sensitivity")],
                TableSource::Claims => self.claims(),
                TableSource::EarlierResults => self.earlier_results(),
                TableSource::Dictionary => Vec::new(),
                TableSource::Readings => {
                    self.points(table.name);
                    continue;
                }
            };
            self.table(&table, inputs);
        }
    }

    fn points(&mut self, folder: &str) {
        let names: Vec<String> = self.inputs.chain.runs.iter().map(|r| r.run.clone()).collect();
        for (run, slug) in self.inputs.chain.runs.iter().zip(slugs(&names)) {
            let path = self.table_path(&format!("{folder}/{slug}.parquet"));
            self.publish(path, &run.points, "points");
        }
    }

    /// Claims read the tables that they name as published; gives what was found, nothing without claims.
    fn claims(&mut self) -> Vec<Input> {
        let claims = &self.inputs.claims;
        if claims.is_empty() {
            return Vec::new();
        }
        let read = |table: &str| {
            claims.iter().any(|c| c.table == table || (table == "sensitivity" && c.hangs_on_sensitivity()))
        };
        let inputs = self.tables.iter().filter(|(table, _)| read(table));
        let check = Task {
            settings: vec![Settings::new("claims", "claims", claims)],
            inputs: inputs.map(|(table, producer)| input(table, producer, "parquet")).collect(),
            outputs: stages::claims::OUTPUTS.to_vec(),
            ..self.task("claims", "study", stages::code::CLAIMS, stages::claims::work)
        };
        self.checked = vec![check.output("claims", "claims")];
        self.plan.tasks.push(check);
        self.checked.clone()
    }

    /// Each earlier table reads its file and the published table that it is held against.
    fn earlier_results(&mut self) -> Vec<Input> {
        for (name, earlier) in &self.inputs.earlier_results {
            let ours = self.tables.get(earlier.table.as_str());
            let task = Task {
                settings: vec![
                    Settings::new("old", format!("earlier_results.{name}"), earlier),
                    Settings::new("name", "", name),
                    Settings::new("units", "", &units(earlier)),
                ],
                inputs: std::iter::once(Input { name: "raw".to_owned(), source: Source::Raw(earlier.file.clone()) })
                    .chain(ours.map(|producer| input("table", producer, "parquet")))
                    .collect(),
                outputs: stages::earlier_results::OUTPUTS.to_vec(),
                ..self.task("earlier results", name, stages::code::EARLIER_RESULTS, stages::earlier_results::work)
            };
            self.held.push(task.output(format!("held:{name}"), "held"));
            self.plan.tasks.push(task);
        }
        self.held.clone()
    }

    /// A figure per earlier table and column.
    fn figures_of_earlier_results(&mut self) {
        for ((name, earlier), held) in self.inputs.earlier_results.iter().zip(self.held.clone()) {
            for column in earlier.numbers.keys() {
                let figure = format!("old-results-{name}-{column}");
                let settings = vec![Settings::new("column", "", column)];
                let inputs = vec![Input { name: "held".to_owned(), ..held.clone() }];
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
        self.figures.push(Figure { shown: FigureRef { name: name.to_owned(), section: at }, task: producer });
    }

    /// Adds all figures.
    fn figures(&mut self) {
        let (states, fits, samples) = (vec![self.states()], vec![self.fits()], vec![self.asked()]);
        let with_fits = vec![self.states(), self.fits()];
        let with_budget = vec![self.states(), self.of_uncertainty("budget")];
        let with_sensitivity = vec![self.states(), self.of_uncertainty("sensitivity")];
        let made_of = vec![self.made_of()];
        use Section::{Budget, Fits, Results, Sensitivity, Typical};
        self.figure(Results, "contact_share", "contact-share", samples.clone(), states.clone(), draw::contact_share);
        self.figures_of_samples(&states);
        self.figure(Typical, "typical", "typical-reversal", Vec::new(), states, draw::typical);
        self.figures_of_controls();
        self.figure(Fits, "flow_curves", "flow-curves", samples.clone(), with_fits.clone(), draw::flow_curves);
        self.figure(Fits, "residuals", "residuals", samples.clone(), fits.clone(), draw::residuals);
        self.figure(Fits, "flow_state", "flow-state", samples, fits, draw::flow_state);
        self.figure(Fits, "relative_viscosity", "relative-viscosity", made_of, with_fits, draw::relative_viscosity);
        self.figure(Budget, "budget", "budget", Vec::new(), with_budget, draw::budget);
        self.figure(Sensitivity, "sensitivity", "sensitivity", Vec::new(), with_sensitivity, draw::sensitivity);
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
        let controls: Vec<String> = self.inputs.chain.controls.iter().map(|c| c.name.clone()).collect();
        for (control, slug) in self.inputs.chain.controls.iter().zip(slugs(&controls)) {
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
        let printed: BTreeMap<&str, &SettingLine> = i.settings.iter().map(|s| (s.path.as_str(), s)).collect();
        vec![
            Settings::new("study", "", &i.study),
            Settings::new("samples", "samples", &samples),
            Settings::new("geometries", "geometries", &geometries),
            Settings::new("instruments", "instruments", &instruments),
            Settings::new("in_force", "stages", &i.in_force),
            Settings::new("settings", "", &printed),
            Settings::new("set_aside", "set_aside", &i.set_aside),
            Settings::new("figures", "report", &self.figures.iter().map(|figure| &figure.shown).collect::<Vec<_>>()),
            Settings::new("own", "report.sections", &i.own),
            Settings::new("study_file", "", &i.study_file),
        ]
    }

    fn document_inputs(&self, sections: Vec<Input>) -> Vec<Input> {
        let mut inputs = self.graded("run:");
        inputs.push(self.states());
        inputs.extend(self.controls());
        inputs.extend(self.checked.iter().cloned());
        inputs.extend([self.fits(), self.of_uncertainty("budget"), self.of_uncertainty("sensitivity")]);
        let variant = |variant: &VariantStates| input(&format!("variant:{}", variant.name), &variant.task, "states");
        inputs.extend(self.inputs.variants.iter().map(variant));
        for Figure { shown: FigureRef { name, .. }, task } in &self.figures {
            inputs.push(input(&format!("figure:{name}"), task, "svg"));
            inputs.push(input(&format!("caption:{name}"), task, "caption"));
        }
        inputs.extend(self.attached.iter().cloned().chain(sections));
        inputs
    }
}

/// Units of our columns that an earlier table has numbers for.
fn units(earlier: &EarlierTable) -> BTreeMap<&'static str, &'static str> {
    let columns = named(&earlier.table).into_iter().flat_map(|table| table.columns);
    columns
        .filter(|column| earlier.numbers.contains_key(column.name))
        .map(|column| (column.name, column.unit))
        .collect()
}

/// Tasks of one stage that read the same inputs differ by what they make of them, and their keys must as well.
fn which(role: &'static str, kind: &str) -> Settings {
    Settings::new(role, "", &kind)
}

fn input(name: &str, task: &str, output: &'static str) -> Input {
    Input { name: name.to_owned(), source: Source::Task { task: task.to_owned(), output } }
}
