//! The settings of all stages as they are in force, with what else of a study the methods text hangs on.

use serde::{Deserialize, Serialize};
use stages::clean::params::Params as Clean;
use stages::fit::params::Params as Fit;
use stages::ingest::params::Params as Ingest;
use stages::physics::liquids::Composition;
use stages::reversal::params::Params as Reversal;
use stages::uncertainty::params::Params as Uncertainty;

/// The settings of all stages, as they are in force.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct InForce {
    /// `stages.ingest`.
    pub ingest: Ingest,
    /// `stages.clean`.
    pub clean: Clean,
    /// `stages.reversal`, the settings of states included.
    pub reversal: Reversal,
    /// `stages.fit`.
    pub fit: Fit,
    /// `stages.uncertainty`.
    pub uncertainty: Uncertainty,
    /// Seed of all random numbers.
    pub seed: u64,
    /// Nothing told loadings apart for some exports: each export counts as a loading of its own.
    pub loading_per_export: bool,
    /// Liquids whose viscosity follows from their composition, by name.
    pub computed_liquids: Vec<(String, Composition)>,
    /// Whether an inertia is known for any instrument or geometry in use.
    pub inertia_known: bool,
    /// Whether any geometry in use is parallel plates.
    pub plates: bool,
    /// Whether any geometry in use is a cone and plate.
    pub cones: bool,
    /// Whether any geometry in use is concentric cylinders.
    pub cylinders: bool,
    /// Whether any export in use gives the angle of the moving part.
    pub angles: bool,
    /// Whether any export in use gives an angle or a strain.
    pub positions: bool,
    /// Whether any export in use gives neither, so that its speed or rate is integrated.
    pub rates: bool,
    /// Whether any export in use tells its steps by nothing but a set-point.
    pub steps_by_set_point: bool,
    /// Whether any export in use gives both stress and torque.
    pub stress_and_torque: bool,
    /// Whether any export in use gives stress and no torque.
    pub stress_exported: bool,
    /// Whether the solid fraction of any sample follows from masses.
    pub weighed: bool,
}
