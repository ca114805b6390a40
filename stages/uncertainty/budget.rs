//! The budget: what every source adds to the standard uncertainty of each headline quantity.
//!
//! Of a state, first-order in the scale of the quantity; a term that acts as a parabola a d + b d² of a normal draw d
//! has the variance a² + 2b² exactly. Of the rise, over the draws of each term alone.

use super::effects::{Effect, Parabola};
use super::result::BudgetRow;
use crate::numerics::fieller::Spread;
use crate::physics::rise::Rise;
use crate::physics::shares;
use crate::states::result::State;

/// Name of the source that the loadings themselves show.
const SCATTER: &str = "scatter between loadings";
/// Its name where there is one loading.
const WITHIN: &str = "scatter within the loading";
/// Name of the source that all reversals of a state share.
const SHARED: &str = "shared by all reversals";

/// Budget of viscosity, relative viscosity and contact share of one state.
pub(super) fn of_state(
    state: &State,
    names: &[String],
    effects: &[Effect],
    liquid: Option<&(String, f64)>,
) -> Vec<BudgetRow> {
    let label = Some(state.set_point.as_str());
    let named = |of: fn(&Effect) -> Parabola, scale: f64| {
        let u = |(name, effect): (&String, &Effect)| (name.clone(), scale * of(effect).u());
        names.iter().zip(effects).map(u).collect::<Vec<(String, f64)>>()
    };
    let (loadings, within) = (state.loadings_for_shares(), state.within());
    let u_ln = shares::ln_viscosity(&loadings, within, 0.0).map_or(0.0, |m| m.u);
    let scatter = if state.loading_means.len() > 1 { SCATTER } else { WITHIN };
    let mut rows = Vec::new();
    if let Some(viscosity) = state.viscosity_pa_s {
        let mut sources = named(|e| e.ln_viscosity, viscosity.value);
        sources.push((scatter.to_owned(), viscosity.value * u_ln));
        rows.extend(budget("viscosity_pa_s", &state.sample, label, sources));
    }
    if let Some(relative) = state.relative_viscosity {
        let mut sources = named(|e| e.ln_viscosity, relative.value);
        sources.push((scatter.to_owned(), relative.value * u_ln));
        sources.extend(liquid.map(|(name, u)| (name.clone(), relative.value * u)));
        rows.extend(budget("relative_viscosity", &state.sample, label, sources));
    }
    if let Some(share) = state.contact_share {
        let slope = 1.0 - share.value;
        let u_z = shares::z(&loadings, within, 0.0).map_or(0.0, |m| m.u);
        let scatter = if state.loadings > 1 { SCATTER } else { WITHIN };
        let mut sources = named(|e| e.z, slope);
        sources.extend([(scatter.to_owned(), slope * u_z), (SHARED.to_owned(), slope * state.u_z_shared)]);
        rows.extend(budget("contact_share", &state.sample, label, sources));
    }
    rows
}

/// Budget of the share of a rise: `alone` without the terms, `parts` the (co)variances that each term adds.
pub(super) fn of_rise(sample: &str, alone: &Rise, names: &[String], parts: &[Spread]) -> Vec<BudgetRow> {
    let scatter = if alone.loadings > 1 { SCATTER } else { WITHIN };
    let mut sources = vec![(scatter.to_owned(), alone.u_scatter), (SHARED.to_owned(), alone.u_shared)];
    let of = |spread: &Spread| spread.at(alone.share).max(0.0).sqrt() / alone.rise.abs();
    sources.extend(names.iter().cloned().zip(parts.iter().map(of)));
    budget("contact_share_of_rise", sample, None, sources)
}

/// Rows of one quantity, largest first.
fn budget(quantity: &str, sample: &str, set_point: Option<&str>, mut sources: Vec<(String, f64)>) -> Vec<BudgetRow> {
    sources.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    let sum: f64 = sources.iter().map(|(_, u)| u * u).sum();
    let row = |(source, u): (String, f64)| BudgetRow {
        quantity: quantity.to_owned(),
        sample: sample.to_owned(),
        set_point: set_point.map(str::to_owned),
        source,
        u,
        share: if sum > 0.0 { u * u / sum } else { 0.0 },
    };
    sources.into_iter().map(row).collect()
}
