//! The work of the three tasks: declared inputs in, declared outputs out. What is computed stands in the
//! neighbouring files.

use super::identity::Rule;
use super::params::{Controlling, GradingSettings, Reading};
use super::read::Setup;
use super::result::{Control, GradedRun, ReversalRead, RunRead};
use super::{control, grading, published, read, restart};
use crate::clean::result::{Account, CleanNotes, Flags, Points};
use crate::ingest::result::Head;
use crate::physics::geometry::{Geometry, Shape};
use crate::physics::instrument::Instrument;
use crate::physics::materials::Sample;
use pipeline::diagnostic::Diagnostic;
use pipeline::stage::{Context, Produced};

/// `reversal: read`: settings `run`, `reversal` ([`Reading`]), `geometry`, `instrument`, `sample`; inputs `points`,
/// `notes`; outputs `read`, `points`.
///
/// # Errors
/// If inputs or settings are not what was declared.
pub fn read_work(context: &Context<'_>) -> Result<Produced, Vec<Diagnostic>> {
    let run: String = context.settings("run")?;
    let settings: Reading = context.settings("reversal")?;
    let geometry: Geometry = context.settings("geometry")?;
    let instrument: Instrument = context.settings("instrument")?;
    let sample: Sample = context.settings("sample")?;
    let notes: CleanNotes = context.json("notes")?;
    // Read again when they are handed on: points can be many, and are not held while reversals are read.
    let points = Points::for_reversals(&context.input("points")?)?;
    let setup = Setup {
        run: &run,
        geometry: &geometry,
        instrument: &instrument,
        sample: &sample,
        notes: &notes,
        settings: &settings,
    };
    let mut outcome = read::read(points, &setup);
    outcome.read.excluded = read::excluded(outcome.flags.iter().copied().flat_map(Flags::reasons));
    outcome.read.account = Account::new(outcome.flags.iter());
    let table = published::parquet(&context.input("points")?, &outcome)?;
    Ok(Produced::default().with_json("read", &outcome.read)?.with("points", table))
}

/// `reversal: control`: settings `reversal` ([`Controlling`]); inputs: the `read` of each control run; output
/// `control`.
///
/// # Errors
/// If inputs or settings are not what was declared.
pub fn control_work(context: &Context<'_>) -> Result<Produced, Vec<Diagnostic>> {
    let settings: Controlling = context.settings("reversal")?;
    let runs: Vec<RunRead> = context.names().map(|name| context.json(name)).collect::<Result<_, _>>()?;
    Produced::default().with_json("control", &control::control(&runs, &settings.control))
}

/// `reversal: grade`: settings `reversal` ([`GradingSettings`]), `identity` ([`Rule`]), `geometry`; inputs `read`, `notes`,
/// `head`, and `control` where there is one; output `graded`.
///
/// # Errors
/// If the preamble lacks a name, or inputs or settings are not what was declared.
pub fn grade_work(context: &Context<'_>) -> Result<Produced, Vec<Diagnostic>> {
    let settings: GradingSettings = context.settings("reversal")?;
    let rule: Rule = context.settings("identity")?;
    let geometry: Geometry = context.settings("geometry")?;
    let (read, notes, head): (RunRead, CleanNotes, Head) =
        (context.json("read")?, context.json("notes")?, context.json("head")?);
    let has_control = context.names().any(|name| name == "control");
    let control: Option<Control> = has_control.then(|| context.json("control")).transpose()?;
    let identity = rule.resolve(&head).map_err(|problem| vec![problem])?;
    let plates = matches!(geometry.shape, Shape::ParallelPlates { .. });
    let around = grading::Around {
        control: control.as_ref(),
        plates,
        is_control: identity.control,
        restart_failed: restart::failed(&read.restarts, settings.grade.restart),
        fallen: false,
    };
    let graded = |r: ReversalRead| {
        let fallen = read.fallen.contains(&r.number);
        grading::grade_reversal(r, &grading::Around { fallen, ..around }, &settings)
    };
    let mut reversals: Vec<_> = read.reversals.into_iter().map(graded).collect();
    let restarts = restart::remark(&read.restarts, settings.grade.restart);
    let once = restarts.into_iter().chain(grading::said_once(&mut reversals)).collect();
    let remarks = [rule.lacking(&head), read.remarks, once].concat();
    let mut account = read.account;
    account.refuse(&head.refused);
    let graded = GradedRun {
        identity,
        reversals,
        excluded: read.excluded,
        account,
        validity: notes.validity,
        ingest_remarks: head.remarks,
        clean_remarks: notes.remarks,
        remarks,
    };
    Produced::default().with_json("graded", &graded)
}
