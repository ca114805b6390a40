//! A state's viscosity and its two shares from the means of its loadings, with intervals.
//!
//! Means are geometric: ln η for the viscosity, z = −ln(1 − X) for the contact share, because X is one less a ratio
//! of viscosities. So η_H = η(1 − X) is a geometric mean too, and η_C = η − η_H closes exactly. Where the numbers
//! come from is not known here.

use crate::numerics::float;
use crate::numerics::interval::{Interval, Mean, share_of};

/// What one loading says of a state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Loading {
    /// Mean of ln(η / Pa s).
    pub ln_viscosity: f64,
    /// Mean of z = −ln(1 − X); none where nothing is resolved.
    pub z: Option<f64>,
}

/// Standard uncertainties that the scatter between loadings does not show, because all of them share these.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Shared {
    /// Of ln η.
    pub ln_viscosity: f64,
    /// Of z.
    pub z: f64,
    /// Of ln η − z, the logarithm of the hydrodynamic viscosity.
    pub ln_hydrodynamic: f64,
    /// Of the contact viscosity, relative to the viscosity.
    pub contact: f64,
}

impl Shared {
    /// Where only z has a shared part: dη_H/η_H = −dz, d(η_C/η) = (1 − X) dz.
    pub fn of_z(u_z: f64, z: f64) -> Self {
        Self { ln_viscosity: 0.0, z: u_z, ln_hydrodynamic: u_z, contact: float::exp(-z) * u_z }
    }

    /// Both at once, for independent sources.
    #[must_use]
    pub fn plus(self, other: Self) -> Self {
        use crate::numerics::interval::quadrature;
        Self {
            ln_viscosity: quadrature(self.ln_viscosity, other.ln_viscosity),
            z: quadrature(self.z, other.z),
            ln_hydrodynamic: quadrature(self.ln_hydrodynamic, other.ln_hydrodynamic),
            contact: quadrature(self.contact, other.contact),
        }
    }
}

/// Standard uncertainties that a single loading knows of itself; used only where there is no second loading.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Within {
    /// Of ln η.
    pub ln_viscosity: f64,
    /// Of z.
    pub z: f64,
}

/// The shares of a state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shares {
    /// X.
    pub contact_share: Interval,
    /// η(1 − X), Pa s.
    pub hydrodynamic: Interval,
    /// ηX, Pa s.
    pub contact: Interval,
    /// n − 1 over the loadings with a share; none for one.
    pub degrees_of_freedom: Option<f64>,
}

/// Mean of ln η over loadings.
pub fn ln_viscosity(loadings: &[Loading], within: Within, shared: f64) -> Option<Mean> {
    let values: Vec<f64> = loadings.iter().map(|l| l.ln_viscosity).collect();
    Mean::of_loadings(&values, within.ln_viscosity, shared)
}

/// Mean of z over the loadings that have one.
pub fn z(loadings: &[Loading], within: Within, shared: f64) -> Option<Mean> {
    let values: Vec<f64> = loadings.iter().filter_map(|l| l.z).collect();
    Mean::of_loadings(&values, within.z, shared)
}

/// The shares; none if no loading has one.
///
/// Scatter of η_H and η_C is taken over the loadings that have both, so that what moves η alone in a loading stays
/// in both.
pub fn shares(loadings: &[Loading], within: Within, shared: Shared) -> Option<Shares> {
    let ln_viscosity = ln_viscosity(loadings, within, shared.ln_viscosity)?.value;
    let z = z(loadings, within, shared.z)?;
    let viscosity = float::exp(ln_viscosity);
    let ln_hydrodynamic = ln_viscosity - z.value;
    let hydrodynamic = float::exp(ln_hydrodynamic);
    let both: Vec<(f64, f64)> = loadings.iter().filter_map(|l| Some((l.ln_viscosity, l.z?))).collect();
    let of_loading = |f: &dyn Fn(f64, f64) -> f64| both.iter().map(|(l, z)| f(*l, *z)).collect::<Vec<f64>>();
    let within_h = (within.ln_viscosity * within.ln_viscosity + within.z * within.z).sqrt();
    let within_c = viscosity * relative_contact_error(z.value, within);
    let h = Mean::of_loadings(&of_loading(&|l, z| l - z), within_h, shared.ln_hydrodynamic)?.about(ln_hydrodynamic);
    let c = Mean::of_loadings(&of_loading(&|l, z| float::exp(l) * share_of(z)), within_c, viscosity * shared.contact)?;
    Some(Shares {
        contact_share: z.share(),
        hydrodynamic: Interval { value: hydrodynamic, ..h.exponential() },
        contact: c.about(viscosity - hydrodynamic).interval(),
        degrees_of_freedom: z.degrees_of_freedom,
    })
}

/// u(η_C)/η of one loading from u(ln η) and u(z): dη_C/η = X d ln η + (1 − X) dz.
fn relative_contact_error(z: f64, within: Within) -> f64 {
    let share = share_of(z);
    let (a, b) = (share * within.ln_viscosity, (1.0 - share) * within.z);
    (a * a + b * b).sqrt()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests {
    use super::*;
    use crate::numerics::interval::z_of;

    fn loading(viscosity: f64, share: f64) -> Loading {
        Loading { ln_viscosity: viscosity.ln(), z: Some(z_of(share)) }
    }

    #[test]
    fn the_two_viscosities_close_exactly() {
        let loadings = [loading(10.0, 0.3), loading(11.0, 0.4), loading(9.0, -0.1)];
        let viscosity = ln_viscosity(&loadings, Within::default(), 0.0).unwrap().exponential().value;
        let shares = shares(&loadings, Within::default(), Shared::default()).unwrap();
        assert_eq!(shares.hydrodynamic.value + shares.contact.value, viscosity);
        let by_share = viscosity * (1.0 - shares.contact_share.value);
        assert!((shares.hydrodynamic.value / by_share - 1.0).abs() < 1e-15);
    }

    #[test]
    fn a_geometric_mean_by_hand() {
        // η = √(4·9) = 6; 1 − X = √(0.5·0.32) = 0.4; η_H = 2.4.
        let shares = shares(&[loading(4.0, 0.5), loading(9.0, 0.68)], Within::default(), Shared::default()).unwrap();
        assert!((shares.contact_share.value - 0.6).abs() < 1e-15);
        assert!((shares.hydrodynamic.value - 2.4).abs() < 1e-14);
        assert_eq!(shares.degrees_of_freedom, Some(1.0));
    }

    #[test]
    fn what_loadings_share_widens_each_interval() {
        let loadings = [loading(10.0, 0.3), loading(11.0, 0.32), loading(10.5, 0.33)];
        let narrow = shares(&loadings, Within::default(), Shared::default()).unwrap();
        let wide = shares(&loadings, Within::default(), Shared::of_z(0.2, 0.4)).unwrap();
        assert!(wide.contact_share.high > narrow.contact_share.high);
        assert!(wide.hydrodynamic.high > narrow.hydrodynamic.high);
        assert!(wide.contact.low < narrow.contact.low);
        assert_eq!(wide.contact_share.value, narrow.contact_share.value);
    }

    #[test]
    fn a_loading_without_share_still_counts_for_the_viscosity() {
        let loadings = [loading(10.0, 0.5), Loading { ln_viscosity: 40f64.ln(), z: None }];
        let shares = shares(&loadings, Within { ln_viscosity: 0.0, z: 0.01 }, Shared::default()).unwrap();
        assert!((shares.hydrodynamic.value - 10.0).abs() < 1e-13);
        assert_eq!(shares.contact_share.low, None);
    }
}
