//! Runs the stages in process, as the engine would: readings → points → judged reversals. It makes no data.

use super::laboratory::Declared;
use crate::instrument::Reading;
use pipeline::diagnostic::Diagnostic;
use pipeline::stage::{Context, Produced, Settings, Work};
use serde_json::Value;
use stages::ingest::result::{Head, Readings};
use stages::reversal::identity::{Name, Rule};
use stages::reversal::params::Params;
use stages::reversal::result::GradedRun;
use stages::settings;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

/// Who a run is.
pub(super) struct Label<'a> {
    pub(super) run: &'a str,
    /// Place of its sample among those declared.
    pub(super) sample: usize,
    pub(super) loading: &'a str,
}

/// One run from its readings to its judged reversals.
///
/// # Errors
/// What the stages say.
pub(super) fn graded(readings: &[Reading], label: &Label<'_>, declared: &Declared) -> Result<GradedRun, String> {
    let sample = declared.sample(label.sample);
    let (geometry, instrument) = (declared.geometry(), declared.instrument());
    let apparatus = || {
        vec![
            Settings::new("geometry", "", &geometry),
            Settings::new("instrument", "", &instrument),
            Settings::new("sample", "", &sample),
        ]
    };
    // The grid of other choices is shown beside the result and takes most of the time.
    let params = Params { sensitivity: settings::Rule::Off, ..Params::default() };
    let table = parquet(readings)?;
    let none: [Value; 0] = [];
    let clean = [
        apparatus(),
        vec![
            Settings::new("clean", "", &stages::clean::params::Params::default()),
            Settings::new("torque_includes_inertia", "", &true),
            Settings::new("set_aside", "", &none),
        ],
    ]
    .concat();
    let cleaned = run(stages::clean::work, &clean, vec![("readings", table)])?;
    let reading = vec![Settings::new("run", "", &label.run), Settings::new("reversal", "", &params.reading())];
    let inputs = vec![("points", output(&cleaned, "points")?), ("notes", output(&cleaned, "notes")?)];
    let read = run(stages::reversal::read_work, &[apparatus(), reading].concat(), inputs)?;
    let rule = Rule {
        run: label.run.to_owned(),
        sample: sample.name.clone(),
        control: false,
        volume_fraction: sample.volume_fraction.map(|q| (q.value, q.u)),
        geometry: geometry.name.clone(),
        instrument: instrument.name.clone(),
        loading: Some(Name::Fixed(label.loading.to_owned())),
        repeat: None,
        preamble: Vec::new(),
    };
    let grading_settings = vec![
        Settings::new("reversal", "", &params.grading_settings()),
        Settings::new("identity", "", &rule),
        Settings::new("geometry", "", &geometry),
    ];
    let head = serde_json::to_vec(&Head::default()).map_err(|e| e.to_string())?;
    let inputs = vec![("read", output(&read, "read")?), ("notes", output(&cleaned, "notes")?), ("head", head)];
    let graded = run(stages::reversal::grade_work, &grading_settings, inputs)?;
    serde_json::from_slice(&output(&graded, "graded")?).map_err(|e| e.to_string())
}

fn run(work: Work, settings: &[Settings], inputs: Vec<(&str, Vec<u8>)>) -> Result<Produced, String> {
    let cancel = AtomicBool::new(false);
    let inputs = inputs.into_iter().map(|(name, bytes)| (name.to_owned(), Arc::from(bytes))).collect();
    work(&Context::new(settings, inputs, None, Path::new(""), &cancel)).map_err(|d| told(&d))
}

fn told(diagnostics: &[Diagnostic]) -> String {
    format!("{diagnostics:?}")
}

fn output(produced: &Produced, name: &str) -> Result<Vec<u8>, String> {
    let found = produced.outputs.iter().find(|(n, _)| *n == name).map(|(_, bytes)| bytes.clone());
    found.ok_or_else(|| format!("a stage gave no {name}"))
}

fn parquet(readings: &[Reading]) -> Result<Vec<u8>, String> {
    let column = |of: fn(&Reading) -> f64| Some(readings.iter().map(of).collect::<Vec<f64>>());
    let table = Readings {
        row: (1..=readings.len() as u32).collect(),
        step: readings.iter().map(|r| r.step as i64).collect(),
        time_s: readings.iter().map(|r| r.time).collect(),
        angle_rad: column(|r| r.angle),
        torque_n_m: column(|r| r.torque),
        ..Readings::default()
    };
    table.to_table().to_parquet().map_err(|e| format!("{e:?}"))
}
