//! The budget: what every source adds to the standard uncertainty of each headline quantity.
//!
//! Of a state, first-order in the scale of the quantity; a term that acts as a parabola a d + b d² of a normal draw d
//! has the variance a² + 2b² exactly. Of the rise, over the draws of each term alone.

use super::effects::{Effect, LiquidTerm, Parabola};
use super::result::{BudgetRow, HeadlineQuantity, UncertaintySource};
use crate::numerics::fieller::Spread;
use crate::physics::rise::Rise;
use crate::physics::shares;
use crate::states::result::State;

/// What one source adds to a quantity, in its unit.
struct Part {
    source: UncertaintySource,
    u: f64,
}

fn term(place: &str) -> UncertaintySource {
    UncertaintySource::Term { place: place.to_owned() }
}

/// What the loadings themselves show.
fn scatter(loadings: usize) -> UncertaintySource {
    if loadings > 1 { UncertaintySource::ScatterBetweenLoadings } else { UncertaintySource::ScatterWithinLoading }
}

/// Budget of viscosity, relative viscosity and contact share of one state.
pub(super) fn of_state(
    state: &State,
    names: &[String],
    effects: &[Effect],
    liquid: Option<&LiquidTerm>,
) -> Vec<BudgetRow> {
    let label = Some(state.set_point.as_str());
    let named = |of: fn(&Effect) -> Parabola, scale: f64| {
        let part = |(name, effect): (&String, &Effect)| Part { source: term(name), u: scale * of(effect).u() };
        names.iter().zip(effects).map(part).collect::<Vec<Part>>()
    };
    let (loadings, within) = (state.loadings_for_shares(), state.within());
    let u_ln = shares::ln_viscosity(&loadings, within, 0.0).map_or(0.0, |m| m.u);
    let source = scatter(state.loading_means.len());
    let mut rows = Vec::new();
    if let Some(viscosity) = state.viscosity_pa_s {
        let mut sources = named(|e| e.ln_viscosity, viscosity.value);
        sources.push(Part { source: source.clone(), u: viscosity.value * u_ln });
        rows.extend(budget(HeadlineQuantity::ViscosityPaS, &state.sample, label, sources));
    }
    if let Some(relative) = state.relative_viscosity {
        let mut sources = named(|e| e.ln_viscosity, relative.value);
        sources.push(Part { source, u: relative.value * u_ln });
        sources.extend(liquid.map(|l| Part { source: term(&l.place), u: relative.value * l.relative_u }));
        rows.extend(budget(HeadlineQuantity::RelativeViscosity, &state.sample, label, sources));
    }
    if let Some(share) = state.contact_share {
        let slope = 1.0 - share.value;
        let u_z = shares::z(&loadings, within, 0.0).map_or(0.0, |m| m.u);
        let mut sources = named(|e| e.z, slope);
        sources.push(Part { source: scatter(state.loadings as usize), u: slope * u_z });
        sources.push(Part { source: UncertaintySource::SharedByReversals, u: slope * state.u_z_shared });
        rows.extend(budget(HeadlineQuantity::ContactShare, &state.sample, label, sources));
    }
    rows
}

/// Budget of the share of a rise: `alone` without the terms, `parts` the (co)variances that each term adds.
pub(super) fn of_rise(sample: &str, alone: &Rise, names: &[String], parts: &[Spread]) -> Vec<BudgetRow> {
    let mut sources = vec![
        Part { source: scatter(alone.loadings), u: alone.u_scatter },
        Part { source: UncertaintySource::SharedByReversals, u: alone.u_shared },
    ];
    let u_of = |spread: &Spread| spread.of_difference(alone.share).max(0.0).sqrt() / alone.rise.abs();
    sources.extend(names.iter().zip(parts).map(|(name, spread)| Part { source: term(name), u: u_of(spread) }));
    budget(HeadlineQuantity::ContactShareOfRise, sample, None, sources)
}

/// Rows of one quantity, largest first.
fn budget(quantity: HeadlineQuantity, sample: &str, set_point: Option<&str>, mut parts: Vec<Part>) -> Vec<BudgetRow> {
    parts.sort_by(|a, b| b.u.total_cmp(&a.u).then_with(|| a.source.cmp(&b.source)));
    let sum: f64 = parts.iter().map(|part| part.u * part.u).sum();
    let row = |Part { source, u }: Part| BudgetRow {
        quantity,
        sample: sample.to_owned(),
        set_point: set_point.map(str::to_owned),
        source,
        u,
        share: if sum > 0.0 { u * u / sum } else { 0.0 },
    };
    parts.into_iter().map(row).collect()
}
