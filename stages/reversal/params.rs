//! Settings of the reversal stage: every default of the recipe is here and nowhere else. What they do stands
//! beside the code that uses them. Strains are dimensionless.
//!
//! The defaults were chosen by trials on several hundred synthetic studies (transients with dips of 0–45 % and
//! elastic releases, noise 0.5–5 %) unless a source is named.

use crate::settings::Rule;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Settings of the reversal stage.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Params {
    /// How reversals are found in the motion.
    pub find: Find,
    /// How the steady stretch before a reversal is read.
    pub before: Before,
    /// From which strain on readings after a reversal are used.
    pub dead: Dead,
    /// How the viscosity at zero strain is read.
    pub fit: Fit,
    /// What is read beside the headline value.
    pub secondary: Secondary,
    /// When a contact share counts as resolved.
    pub resolved: Resolved,
    /// Limits of the grades.
    pub grade: Grade,
    /// What a control run must show.
    pub control: Control,
    /// Other defensible settings under which every contact share is read once more.
    pub sensitivity: Rule<Sensitivity>,
    /// How reversals are joined to states; read by the task that joins them, not by those of this stage.
    pub states: crate::states::params::Params,
}

impl Params {
    /// What reading a run depends on.
    pub fn reading(&self) -> Reading {
        let Self { find, before, dead, fit, secondary, sensitivity, .. } = self.clone();
        Reading { find, before, dead, fit, secondary, sensitivity }
    }

    /// What reading the controls depends on.
    pub fn controlling(&self) -> Controlling {
        Controlling { control: self.control.clone() }
    }

    /// What judging a run depends on.
    pub fn grading_settings(&self) -> GradingSettings {
        GradingSettings { resolved: self.resolved.clone(), grade: self.grade.clone() }
    }
}

/// The part of [`Params`] that a run is read with: its task is not run again when another part changes.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Reading {
    /// How reversals are found in the motion.
    pub find: Find,
    /// How the steady stretch before a reversal is read.
    pub before: Before,
    /// From which strain on readings after a reversal are used.
    pub dead: Dead,
    /// How the viscosity at zero strain is read.
    pub fit: Fit,
    /// What is read beside the headline value.
    pub secondary: Secondary,
    /// Other defensible settings.
    pub sensitivity: Rule<Sensitivity>,
}

/// The part of [`Params`] that controls are read with.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Controlling {
    /// What a control run must show.
    pub control: Control,
}

/// The part of [`Params`] that a run is judged with.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct GradingSettings {
    /// When a contact share counts as resolved.
    pub resolved: Resolved,
    /// Limits of the grades.
    pub grade: Grade,
}

/// How reversals are found in the motion.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Find {
    /// Speed, as a share of the slower of the two sides, below which the sample counts as standing still.
    #[schemars(range(min = 0.001, max = 0.5))]
    pub rest: f64,
    /// Strain that the motion must cover in one sense, on each side, for the change of sense to count.
    #[schemars(range(min = 0.0, max = 10.0))]
    pub strain: f64,
    /// Readings with motion in one sense, on each side, for the change of sense to count.
    #[schemars(range(min = 2, max = 1000))]
    pub readings: u32,
    /// Relative change of the rate from one stretch to the next that starts a new record of steady shear.
    #[schemars(range(min = 0.01, max = 1.0))]
    pub rate_change: f64,
}

impl Default for Find {
    fn default() -> Self {
        Self { rest: 0.02, strain: 0.02, readings: 3, rate_change: 0.1 }
    }
}

/// How the steady stretch before a reversal is read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Before {
    /// Strain of the window that ends at the reversal.
    #[schemars(range(min = 0.1, max = 100.0))]
    pub window: f64,
    /// Shortest strain that may stand in for the window where no more was recorded.
    #[schemars(range(min = 0.05, max = 100.0))]
    pub shortest: f64,
    /// Readings for which a coarsely sampled window reaches further back.
    #[schemars(range(min = 5, max = 10000))]
    pub readings: u32,
    /// Strain after the last change of rate or sense that such a window does not reach into.
    #[schemars(range(min = 0.1, max = 100.0))]
    pub settled: f64,
    /// Fewest readings in the window.
    #[schemars(range(min = 2, max = 10000))]
    pub fewest: u32,
    /// Relative band around the speed before within which the sense has not begun to change.
    #[schemars(range(min = 0.001, max = 0.2))]
    pub speed_band: f64,
    /// Relative change of viscosity over the window above which a significant drift means not steady.
    #[schemars(range(min = 0.001, max = 1.0))]
    pub drift: f64,
    /// Standard uncertainty of that change above which steadiness is not shown.
    #[schemars(range(min = 0.001, max = 1.0))]
    pub drift_uncertainty: f64,
    /// Relative difference of the viscosity recovered afterwards above which a significant one means not steady.
    #[schemars(range(min = 0.001, max = 1.0))]
    pub recovery: f64,
    /// Strain on record after the reversal from which the recovered viscosity is compared.
    #[schemars(range(min = 1.0, max = 1000.0))]
    pub recovery_strain: f64,
    /// Lag in strain up to which the noise is read from the windows.
    #[schemars(range(min = 0.1, max = 10.0))]
    pub noise_lag: f64,
}

impl Default for Before {
    fn default() -> Self {
        Self {
            window: 2.0,
            shortest: 1.0,
            readings: 10,
            settled: 2.0,
            fewest: 3,
            speed_band: 0.01,
            drift: 0.03,
            drift_uncertainty: 0.05,
            recovery: 0.05,
            recovery_strain: 3.0,
            noise_lag: 0.6,
        }
    }
}

/// From which strain on readings after a reversal are used; clean's rule for the instrument's inertia comes first.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Dead {
    /// Relative band around the speed at strain 0.3–1 within which the motor has arrived (rate control).
    #[schemars(range(min = 0.001, max = 0.2))]
    pub speed_band: f64,
    /// Times ρh²/η that momentum is given to cross the gap.
    #[schemars(range(min = 0.0, max = 10.0))]
    pub diffusion: f64,
}

impl Default for Dead {
    fn default() -> Self {
        Self { speed_band: 0.02, diffusion: 0.5 }
    }
}

/// How the viscosity at zero strain is read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Fit {
    /// Factor on the width of every prior of the fitted curve.
    #[schemars(range(min = 0.1, max = 10.0))]
    pub prior_width: f64,
    /// Factor on the width of the strain bins.
    #[schemars(range(min = 0.1, max = 10.0))]
    pub bin_width: f64,
    /// Whether forms with an elastic release are among those averaged.
    pub release: bool,
    /// Whether forms whose contacts begin to return after a delay are among those averaged.
    pub delay: bool,
    /// Relative deviation of a true transient from the fitted form, smooth in strain, that is allowed for.
    #[schemars(range(min = 0.0, max = 0.1))]
    pub form_error: f64,
    /// Fewest strain bins that are fitted.
    #[schemars(range(min = 4, max = 1000))]
    pub bins: u32,
}

impl Default for Fit {
    fn default() -> Self {
        Self { prior_width: 1.0, bin_width: 1.0, release: true, delay: true, form_error: 0.006, bins: 6 }
    }
}

/// What is read beside the headline value.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Secondary {
    /// Largest strain of an early plateau.
    #[schemars(range(min = 0.05, max = 5.0))]
    pub plateau_end: f64,
    /// Ratio of the plateau's last to its first strain.
    #[schemars(range(min = 1.5, max = 100.0))]
    pub plateau_ratio: f64,
    /// Relative change of viscosity over a plateau.
    #[schemars(range(min = 0.001, max = 0.2))]
    pub plateau_change: f64,
    /// Largest strain at which the minimum is looked for.
    #[schemars(range(min = 0.1, max = 100.0))]
    pub minimum_end: f64,
    /// Times its standard uncertainty that the fall must have for recovery strains to be given.
    #[schemars(range(min = 0.0, max = 10.0))]
    pub significant_fall: f64,
    /// Largest share by which the liquid's viscosity may fall after the reversal, assumed for the bound.
    #[schemars(range(min = 0.0, max = 0.9))]
    pub largest_dip: f64,
}

impl Default for Secondary {
    fn default() -> Self {
        Self {
            plateau_end: 0.5,
            plateau_ratio: 3.0,
            plateau_change: 0.03,
            minimum_end: 2.0,
            significant_fall: 3.0,
            largest_dip: 0.45,
        }
    }
}

/// When a contact share counts as resolved.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Resolved {
    /// Largest first usable strain.
    #[schemars(range(min = 0.001, max = 0.05))]
    pub dead_strain: f64,
    /// Largest standard uncertainty of the contact share.
    #[schemars(range(min = 0.001, max = 0.5))]
    pub uncertainty: f64,
    /// Smallest contact share.
    #[schemars(range(min = -1.0, max = 0.0))]
    pub smallest_share: f64,
    /// Fewest strain bins below strain 0.1.
    #[schemars(range(min = 1, max = 100))]
    pub early_bins: u32,
}

impl Default for Resolved {
    fn default() -> Self {
        Self { dead_strain: 0.03, uncertainty: 0.05, smallest_share: -0.1, early_bins: 3 }
    }
}

/// Limits of the grades.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Grade {
    /// Strain after the reversal below which it was aborted (F).
    #[schemars(range(min = 0.01, max = 10.0))]
    pub aborted: f64,
    /// Torque floors that the median torque of a stretch must reach (else F).
    #[schemars(range(min = 0.0, max = 1000.0))]
    pub torque_floors: f64,
    /// Relative difference of the speeds before and after above which a reversal is not usable (F).
    #[schemars(range(min = 0.01, max = 1.0))]
    pub speed_unusable: f64,
    /// Relative difference of the speeds before and after above which it is remarked (B).
    #[schemars(range(min = 0.001, max = 1.0))]
    pub speed_remarked: f64,
    /// Standard uncertainty of the contact share above which it is remarked (B).
    #[schemars(range(min = 0.001, max = 0.5))]
    pub uncertainty: f64,
    /// First usable strain above which it is remarked (B).
    #[schemars(range(min = 0.001, max = 0.05))]
    pub dead_strain: f64,
    /// Strain after the reversal below which it is remarked (B).
    #[schemars(range(min = 0.1, max = 100.0))]
    pub strain_after: f64,
    /// Strain since the last change of rate or sense before the reversal below which it is remarked (B).
    #[schemars(range(min = 0.1, max = 100.0))]
    pub record_before: f64,
    /// Sum of squares per bin above which it is remarked (B).
    #[schemars(range(min = 1.0, max = 100.0))]
    pub misfit: f64,
    /// Difference between forms, in standard uncertainties, above which it is remarked (B).
    #[schemars(range(min = 0.5, max = 10.0))]
    pub forms: f64,
    /// Relative change of viscosity at a restart in the old sense above which a significant one puts the reversals of its
    /// run in doubt (C).
    #[schemars(range(min = 0.001, max = 1.0))]
    pub restart: f64,
}

impl Default for Grade {
    fn default() -> Self {
        Self {
            aborted: 0.3,
            torque_floors: 5.0,
            speed_unusable: 0.1,
            speed_remarked: 0.02,
            uncertainty: 0.03,
            dead_strain: 0.015,
            strain_after: 2.0,
            record_before: 4.0,
            misfit: 2.0,
            forms: 2.0,
            restart: 0.03,
        }
    }
}

/// What a control run must show.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Control {
    /// Standard uncertainties of torque within which the control is back at its steady value.
    #[schemars(range(min = 1.0, max = 10.0))]
    pub back_within: f64,
    /// Apparent contact share of the control below which it never counts as failed.
    #[schemars(range(min = 0.0, max = 0.5))]
    pub failed_share: f64,
}

impl Default for Control {
    fn default() -> Self {
        Self { back_within: 2.0, failed_share: 0.01 }
    }
}

/// Other defensible settings under which every contact share is read once more, one at a time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Sensitivity {
    /// Factors on the first usable strain.
    pub dead_strain: Vec<f64>,
    /// Strains of the window before.
    pub window: Vec<f64>,
    /// Factors on the width of the priors.
    pub prior_width: Vec<f64>,
    /// Factors on the width of the strain bins.
    pub bin_width: Vec<f64>,
    /// Whether forms with an elastic release are left out once.
    pub without_release: bool,
    /// Whether readings that count as spikes are left in once.
    pub with_spikes: bool,
}

impl Default for Sensitivity {
    fn default() -> Self {
        Self {
            dead_strain: vec![1.5, 2.0],
            window: vec![1.0, 4.0],
            prior_width: vec![0.7, 2.0],
            bin_width: vec![0.5],
            without_release: true,
            with_spikes: true,
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn defaults_survive_the_way_through_json_and_unknown_keys_do_not() {
        let text = serde_json::to_string(&Params::default()).unwrap();
        assert_eq!(serde_json::from_str::<Params>(&text).unwrap(), Params::default());
        assert_eq!(serde_json::from_str::<Params>("{}").unwrap(), Params::default());
        assert!(serde_json::from_str::<Params>(r#"{"before": {"windw": 1}}"#).is_err());
    }

    #[test]
    fn the_schema_names_meaning_and_range_of_every_number() {
        let schema = serde_json::to_value(schemars::schema_for!(Params)).unwrap();
        for (name, group) in schema["$defs"].as_object().unwrap() {
            for (field, setting) in group["properties"].as_object().into_iter().flatten() {
                assert!(setting["description"].is_string(), "{name}.{field} has no meaning");
                let number = setting["type"] == "number" || setting["type"] == "integer";
                assert!(!number || setting["maximum"].is_number(), "{name}.{field} has no range");
            }
        }
    }
}
