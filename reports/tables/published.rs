//! The list of published tables: name, what a row is, the columns that name a row, the result it is made from, the
//! columns. Everything else that knows tables reads this list: plan, dictionary, `show`, `compare`, `audit`, claims.

use super::column::{self, Column};
use super::controls::ControlResults;
use super::dictionary::{self, Entry};
use super::{controls, models, reversals, rows, runs, states, validity};
use pipeline::diagnostic::Diagnostic;
use pipeline::stage::{Context, Produced, from_json, mistake};
use serde::de::DeserializeOwned;
use stages::claims::result::ClaimRow;
use stages::earlier_results::result::Held;
use stages::fit::result::Fits;
use stages::reversal::result::GradedRun;
use stages::states::result::States;
use stages::table::{ColumnSpec, Table};
use stages::uncertainty::result::{Budget, Remark, SensitivityRow};

/// The result that a table is made from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TableSource {
    /// `graded` of every run.
    GradedRuns,
    /// Every `control`, and `graded` of every run.
    Controls,
    /// `states` of the study.
    States,
    /// `fits` of the study.
    Fits,
    /// `budget` of the study.
    Budget,
    /// `sensitivity` of the study.
    Sensitivity,
    /// `claims`, where the study file has any.
    Claims,
    /// `held` of every earlier table.
    EarlierResults,
    /// This list, and the setting `preamble`.
    Dictionary,
    /// None: the stage `reversal: read` writes it, a file per run.
    Readings,
}

type Write = Box<dyn Fn(&Context<'_>) -> Result<Produced, Vec<Diagnostic>>>;

/// A published table.
pub struct PublishedTable {
    /// Name, as in `tables/NAME.parquet`.
    pub name: &'static str,
    /// What a row stands for.
    pub row: &'static str,
    /// The columns that name a row: no two rows have the same values in them.
    pub key: &'static [&'static str],
    /// What it is made from.
    pub source: TableSource,
    /// The columns in order.
    pub columns: Vec<ColumnSpec>,
    write: Option<Write>,
}

impl PublishedTable {
    /// The table, as outputs `parquet` and `csv`.
    ///
    /// # Errors
    /// If an input does not fit, or the table is one that another stage writes: mistakes in the program.
    pub fn write(&self, context: &Context<'_>) -> Result<Produced, Vec<Diagnostic>> {
        let write = self.write.as_ref().ok_or_else(|| mistake(format!("`{}` is written elsewhere", self.name)))?;
        write(context)
    }

    /// Whether a claim can be about it: it holds results of the analysis, in one file.
    pub const fn claimable(&self) -> bool {
        use TableSource::{Budget, Controls, Fits, GradedRuns, Sensitivity, States};
        matches!(self.source, GradedRuns | Controls | States | Fits | Budget | Sensitivity)
    }
}

/// Every published table, in the order of the dictionary; a table stands behind those that its source reads.
pub fn published() -> Vec<PublishedTable> {
    let points = PublishedTable {
        name: "points",
        row: "reading",
        key: &["run", "row"],
        source: TableSource::Readings,
        columns: runs::POINTS.to_vec(),
        write: None,
    };
    vec![
        declared("runs", "raw export", &["run"], column::specs(&runs::runs()), |runs: Vec<GradedRun>| {
            runs::runs_table(&runs)
        }),
        plain("exclusions", "run and reason", &["run", "reason"], runs::exclusions(), |runs: Vec<GradedRun>| {
            runs::exclusion_rows(&runs)
        }),
        plain("validity", "run and check", &["run", "check"], validity::validity(), |runs: Vec<GradedRun>| {
            validity::rows(&runs)
        }),
        plain(
            "controls",
            "instrument and geometry with a control",
            &["instrument", "geometry"],
            controls::controls(),
            controls::rows,
        ),
        // Reversals are counted through the study, so that one export more or less shifts their names.
        plain("reversals", "reversal", &["run", "step"], reversals::reversals(), |s: States| s.reversals),
        plain("states", "state", &["sample", "set_point", "controlled"], states::states(), |s: States| s.states),
        plain("thickening", "sample", &["sample"], states::thickening(), |s: States| s.thickening),
        plain("fits", "model and parameter", &["model", "scope", "parameter"], rows::fits(), |f: Fits| f.rows),
        plain("models", "model and what it was fitted to", &["model", "scope"], models::models(), |f: Fits| f.quality),
        plain(
            "candidate_models",
            "explanation of contact shares",
            &["scope", "candidate"],
            models::candidate_models(),
            |f: Fits| f.candidate_models,
        ),
        plain(
            "flow_states",
            "state under the fitted law",
            &["scope", "sample", "set_point", "controlled"],
            models::flow_states(),
            |f: Fits| f.flow_states,
        ),
        plain(
            "budget",
            "quantity and source",
            &["quantity", "sample", "set_point", "source"],
            rows::budget(),
            |b: Budget| b.rows,
        ),
        plain(
            "sensitivity",
            "quantity and choice",
            &["quantity", "sample", "set_point", "choice"],
            rows::sensitivity(),
            |rows: Vec<SensitivityRow>| rows,
        ),
        plain("claims", "claim", &["says"], rows::claims(), |rows: Vec<ClaimRow>| rows),
        plain(
            "earlier_results",
            "earlier number",
            &["earlier_table", "row", "column"],
            rows::earlier_results(),
            |tables: Vec<Held>| tables.into_iter().flat_map(|held| held.rows).collect(),
        ),
        plain("dictionary", "column", &["table", "column"], dictionary::columns(), |rows: Vec<Entry>| rows),
        points,
    ]
}

/// The published table of this name.
pub fn named(name: &str) -> Option<PublishedTable> {
    published().into_iter().find(|table| table.name == name)
}

/// A result that tables are made from.
trait SourceResult: Sized {
    const SOURCE: TableSource;

    fn read(context: &Context<'_>) -> Result<Self, Vec<Diagnostic>>;

    /// Adds what is said at the end of a run.
    fn with_remarks(&self, produced: Produced) -> Result<Produced, Vec<Diagnostic>> {
        Ok(produced)
    }
}

/// Every input, in the declared order.
fn every_input<T: DeserializeOwned>(context: &Context<'_>) -> Result<Vec<T>, Vec<Diagnostic>> {
    context.inputs().iter().map(|(name, bytes)| from_json(name, bytes)).collect()
}

impl SourceResult for Vec<GradedRun> {
    const SOURCE: TableSource = TableSource::GradedRuns;

    fn read(context: &Context<'_>) -> Result<Self, Vec<Diagnostic>> {
        every_input(context)
    }
}

/// How the names of inputs begin that are controls.
pub const CONTROL: &str = "control:";

impl SourceResult for ControlResults {
    const SOURCE: TableSource = TableSource::Controls;

    fn read(context: &Context<'_>) -> Result<Self, Vec<Diagnostic>> {
        let mut results = Self::default();
        for (name, bytes) in context.inputs() {
            if name.starts_with(CONTROL) {
                results.controls.push(from_json(name, bytes)?);
            } else {
                results.graded.push(from_json(name, bytes)?);
            }
        }
        Ok(results)
    }
}

impl SourceResult for States {
    const SOURCE: TableSource = TableSource::States;

    fn read(context: &Context<'_>) -> Result<Self, Vec<Diagnostic>> {
        context.json("states")
    }
}

impl SourceResult for Fits {
    const SOURCE: TableSource = TableSource::Fits;

    fn read(context: &Context<'_>) -> Result<Self, Vec<Diagnostic>> {
        context.json("fits")
    }
}

impl SourceResult for Budget {
    const SOURCE: TableSource = TableSource::Budget;

    fn read(context: &Context<'_>) -> Result<Self, Vec<Diagnostic>> {
        context.json("budget")
    }

    fn with_remarks(&self, produced: Produced) -> Result<Produced, Vec<Diagnostic>> {
        let left_out = self.remarks.iter().filter(|remark| **remark == Remark::TermsLeftOut);
        produced.with_remarks(&left_out.collect::<Vec<_>>())
    }
}

impl SourceResult for Vec<SensitivityRow> {
    const SOURCE: TableSource = TableSource::Sensitivity;

    fn read(context: &Context<'_>) -> Result<Self, Vec<Diagnostic>> {
        context.json("sensitivity")
    }
}

impl SourceResult for Vec<ClaimRow> {
    const SOURCE: TableSource = TableSource::Claims;

    /// No rows without claims.
    fn read(context: &Context<'_>) -> Result<Self, Vec<Diagnostic>> {
        Ok(every_input::<Self>(context)?.concat())
    }

    fn with_remarks(&self, produced: Produced) -> Result<Produced, Vec<Diagnostic>> {
        produced.with_remarks(&self.iter().filter(|row| !row.holds).collect::<Vec<_>>())
    }
}

impl SourceResult for Vec<Held> {
    const SOURCE: TableSource = TableSource::EarlierResults;

    fn read(context: &Context<'_>) -> Result<Self, Vec<Diagnostic>> {
        every_input(context)
    }
}

impl SourceResult for Vec<Entry> {
    const SOURCE: TableSource = TableSource::Dictionary;

    fn read(context: &Context<'_>) -> Result<Self, Vec<Diagnostic>> {
        Ok(dictionary::entries(&context.settings::<Vec<String>>("preamble")?))
    }
}

/// A table whose columns are those listed.
fn plain<S: SourceResult + 'static, R: 'static>(
    name: &'static str,
    row: &'static str,
    key: &'static [&'static str],
    columns: Vec<Column<R>>,
    rows: fn(S) -> Vec<R>,
) -> PublishedTable {
    let specs = column::specs(&columns);
    declared(name, row, key, specs, move |result: S| column::table(&columns, &rows(result)))
}

/// A table that is made in a way of its own.
fn declared<S: SourceResult + 'static>(
    name: &'static str,
    row: &'static str,
    key: &'static [&'static str],
    columns: Vec<ColumnSpec>,
    table: impl Fn(S) -> Table + 'static,
) -> PublishedTable {
    let write = move |context: &Context<'_>| {
        let result = S::read(context)?;
        let produced = result.with_remarks(Produced::default())?;
        let table = table(result);
        Ok(produced.with("parquet", table.to_parquet()?).with("csv", table.to_csv()?))
    };
    PublishedTable { name, row, key, source: S::SOURCE, columns, write: Some(Box::new(write)) }
}
