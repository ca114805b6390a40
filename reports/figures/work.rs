//! The work of the tasks that draw figures: results in; SVG, CSV and caption out. No drawing.

use super::{
    Figure, atlas, budget, contact_share, control, earlier_results, flow_curves, flow_state, relative_viscosity,
    residuals, sensitivity, typical, viscosity,
};
use pipeline::diagnostic::Diagnostic;
use pipeline::stage::{Context, Produced};
use stages::earlier_results::result::Held;
use stages::fit::result::Fits;
use stages::reversal::result::Control;
use stages::states::result::States;
use stages::uncertainty::result::{Budget, SensitivityRow};

type Made = Result<Produced, Vec<Diagnostic>>;

/// Outputs `svg`, `csv` and `caption`.
fn written(figure: &Figure) -> Made {
    let produced = Produced::default().with("svg", figure.svg.clone().into_bytes()).with("csv", figure.data.to_csv()?);
    produced.with_json("caption", &figure.caption)
}

fn states(context: &Context<'_>) -> Result<States, Vec<Diagnostic>> {
    context.json("states")
}

/// Fits where the study has them.
fn fits(context: &Context<'_>) -> Result<Fits, Vec<Diagnostic>> {
    if context.inputs().iter().any(|(name, _)| name == "fits") { context.json("fits") } else { Ok(Fits::default()) }
}

/// Settings `sample`, input `states`.
pub fn viscosity(context: &Context<'_>) -> Made {
    let sample: String = context.settings("sample")?;
    written(&viscosity::draw(&sample, &states(context)?.states)?)
}

/// Settings `samples` (those that are no controls, in order), input `states`.
pub fn contact_share(context: &Context<'_>) -> Made {
    let samples: Vec<String> = context.settings("samples")?;
    written(&contact_share::draw(&samples, &states(context)?.states)?)
}

/// Input `states`.
pub fn typical(context: &Context<'_>) -> Made {
    written(&typical::draw(&states(context)?)?)
}

/// Inputs `states` and `control`.
pub fn control(context: &Context<'_>) -> Made {
    let control: Control = context.json("control")?;
    written(&control::draw(&control, &states(context)?.reversals)?)
}

/// Settings `sample`, input `states`.
pub fn atlas(context: &Context<'_>) -> Made {
    let sample: String = context.settings("sample")?;
    written(&atlas::draw(&sample, &states(context)?.reversals)?)
}

/// Settings `column`, input `held`.
pub fn earlier_results(context: &Context<'_>) -> Made {
    let column: String = context.settings("column")?;
    written(&earlier_results::draw(&column, &context.json::<Held>("held")?)?)
}

/// Settings `samples`, inputs `states` and, where there are any, `fits`.
pub fn flow_curves(context: &Context<'_>) -> Made {
    let samples: Vec<String> = context.settings("samples")?;
    written(&flow_curves::draw(&samples, &states(context)?.states, &fits(context)?)?)
}

/// Settings `samples`, input `fits` where there are any.
pub fn flow_state(context: &Context<'_>) -> Made {
    let samples: Vec<String> = context.settings("samples")?;
    written(&flow_state::draw(&samples, &fits(context)?)?)
}

/// Settings `samples`, input `fits` where there are any.
pub fn residuals(context: &Context<'_>) -> Made {
    let samples: Vec<String> = context.settings("samples")?;
    written(&residuals::draw(&samples, &fits(context)?)?)
}

/// Settings `made_of` (samples that are no controls), inputs `states` and, where there are any, `fits`.
pub fn relative_viscosity(context: &Context<'_>) -> Made {
    let samples: Vec<relative_viscosity::MadeOf> = context.settings("made_of")?;
    written(&relative_viscosity::draw(&samples, &states(context)?.states, &fits(context)?)?)
}

/// Inputs `states` and, where there is one, `budget`.
pub fn budget(context: &Context<'_>) -> Made {
    let there = context.inputs().iter().any(|(name, _)| name == "budget");
    let budget: Budget = if there { context.json("budget")? } else { Budget::default() };
    written(&budget::draw(&budget, &states(context)?.thickening)?)
}

/// Inputs `states` and, where there are any, `sensitivity`.
pub fn sensitivity(context: &Context<'_>) -> Made {
    let there = context.inputs().iter().any(|(name, _)| name == "sensitivity");
    let rows: Vec<SensitivityRow> = if there { context.json("sensitivity")? } else { Vec::new() };
    written(&sensitivity::draw(&rows, &states(context)?.thickening)?)
}
