//! Reads the truth that lies in the repository, for tests that hearlier results to it.
#![allow(clippy::panic)] // A test stops with the reason.

use std::path::{Path, PathBuf};

/// One reversal as it truly was in its run; columns as in `truth.csv`.
#[derive(Debug, Clone)]
pub(crate) struct Reversal {
    pub(crate) run: String,
    pub(crate) step: i64,
    pub(crate) sample: String,
    pub(crate) set_point: f64,
    pub(crate) viscosity_before_pa_s: f64,
    pub(crate) contact_share: f64,
    /// Empty for an honest reversal.
    pub(crate) flaw: String,
}

/// One state without the scatter of loadings; columns as in `truth_states.csv`.
#[derive(Debug, Clone)]
pub(crate) struct State {
    pub(crate) sample: String,
    pub(crate) set_point: f64,
    pub(crate) unit: String,
    pub(crate) volume_fraction: f64,
    pub(crate) stress_pa: f64,
    pub(crate) viscosity_pa_s: f64,
    pub(crate) hydrodynamic_viscosity_pa_s: f64,
    pub(crate) contact_share: f64,
}

/// The folder `demo-project`.
pub(crate) fn demo_project() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    here.ancestors().map(|folder| folder.join("demo-project")).find(|folder| folder.is_dir()).unwrap_or_default()
}

/// Every reversal of the campaign, controls and flawed ones included.
pub(crate) fn reversals() -> Vec<Reversal> {
    rows("truth.csv")
        .map(|row| Reversal {
            run: row.text("run"),
            step: row.number("step") as i64,
            sample: row.text("sample"),
            set_point: row.number("set_point"),
            viscosity_before_pa_s: row.number("viscosity_before_pa_s"),
            contact_share: row.number("contact_share"),
            flaw: row.text("flaw"),
        })
        .collect()
}

/// Every state of the four samples, but for the one below the torque floor.
pub(crate) fn states() -> Vec<State> {
    rows("truth_states.csv")
        .map(|row| State {
            sample: row.text("sample"),
            set_point: row.number("set_point"),
            unit: row.text("unit"),
            volume_fraction: row.number("volume_fraction"),
            stress_pa: row.number("stress_pa"),
            viscosity_pa_s: row.number("viscosity_pa_s"),
            hydrodynamic_viscosity_pa_s: row.number("hydrodynamic_viscosity_pa_s"),
            contact_share: row.number("contact_share"),
        })
        .collect()
}

/// One value of `truth_world.csv`, for example `("bare beads", "phi_0")`.
pub(crate) fn world(of: &str, quantity: &str) -> f64 {
    rows("truth_world.csv")
        .find(|row| row.text("of") == of && row.text("quantity") == quantity)
        .unwrap_or_else(|| panic!("truth_world.csv knows no {quantity} of {of}"))
        .number("value")
}

struct Row {
    head: Vec<String>,
    cells: Vec<String>,
}

impl Row {
    fn text(&self, column: &str) -> String {
        let at = self.head.iter().position(|name| name == column);
        at.and_then(|at| self.cells.get(at)).unwrap_or_else(|| panic!("no column {column}")).clone()
    }

    fn number(&self, column: &str) -> f64 {
        let text = self.text(column);
        text.parse().unwrap_or_else(|_| panic!("{column}: {text} is no number"))
    }
}

fn rows(file: &str) -> impl Iterator<Item = Row> + use<> {
    let path = demo_project().join("truth").join(file);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let mut lines = text.lines().map(|line| line.split(',').map(str::to_owned).collect::<Vec<_>>()).collect::<Vec<_>>();
    let head = lines.remove(0);
    lines.into_iter().map(move |cells| Row { head: head.clone(), cells })
}
