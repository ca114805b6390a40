//! The contact share of one reversal as other defensible settings, forms and estimators would read it, from what is
//! stored with it. It fits no trace.

use super::result::{Choice, LEAST_FORM_WEIGHT, LINE_STRAIN, StudyReversal};
use crate::numerics::interval::{mean, quadrature};
use crate::reversal::result::{After, Estimate, Graded, OtherSetting, SensitivityReading};

/// Fewest bins of a straight line.
const LEAST_BINS: usize = 4;

/// All other readings: stored settings in the order in which they are first met, forms, estimators.
pub(super) fn choices(reversals: &[StudyReversal]) -> Vec<Choice> {
    let reads = || reversals.iter().filter(|r| !r.identity.control).map(|r| &r.graded.read);
    let mut found: Vec<Choice> = Vec::new();
    let stored = reads().flat_map(|r| &r.sensitivity).map(|stored| Choice::Setting(stored.setting));
    stored.for_each(|choice| {
        if !found.contains(&choice) {
            found.push(choice);
        }
    });
    if found.is_empty() {
        // The study asked for no grid.
        return found;
    }
    let forms = reads().filter_map(|r| r.after.as_ref()).flat_map(|a| &a.forms);
    let mut forms: Vec<&str> = forms.map(|f| f.form.as_str()).collect();
    forms.sort_unstable();
    forms.dedup();
    found.extend(forms.into_iter().map(|form| Choice::FormAlone { form: form.to_owned() }));
    found.extend([Choice::StraightLine, Choice::EarlyPlateau, Choice::Minimum]);
    found
}

/// The contact share as a choice would read it; none where it leaves none.
pub(super) fn share_under(choice: &Choice, graded: &Graded) -> Option<Estimate> {
    let (in_force, after) = (graded.contact_share?, graded.read.after.as_ref()?);
    let same_error = |value: f64| Some(Estimate { value, u: in_force.u });
    match choice {
        Choice::Setting(setting) => stored(*setting, graded, in_force, after),
        Choice::FormAlone { form } => Some(of_form(form, after).map_or(in_force, |x| moved(in_force, after, x))),
        Choice::StraightLine => straight_line(graded, after),
        Choice::EarlyPlateau => same_error(after.plateau?.1),
        Choice::Minimum => same_error(1.0 - after.minimum_pa_s / graded.read.before.as_ref()?.viscosity_pa_s.value),
        Choice::LowestGrade { .. } => Some(in_force),
    }
}

/// Under this setting, as it is stored.
fn stored(setting: OtherSetting, graded: &Graded, in_force: Estimate, after: &After) -> Option<Estimate> {
    let reading: &SensitivityReading = graded.read.sensitivity.iter().find(|c| c.setting == setting)?;
    let chosen = reading.contact_share?;
    match setting.strain_factor() {
        None => Some(moved(in_force, after, chosen)),
        // The control forbids to read from there.
        Some(factor) if graded.read.dead.control > 0.0 && earlier(graded, factor) => Some(in_force),
        Some(_) => Some(Estimate { u: joined(in_force, after, chosen.u), ..chosen }),
    }
}

/// Whether this factor on the first usable strain leaves it before the control's.
fn earlier(graded: &Graded, factor: f64) -> bool {
    let dead = &graded.read.dead;
    let own = [dead.speed, dead.inertia, dead.momentum, dead.sampling].into_iter().fold(0.0, f64::max);
    factor * own < dead.control
}

/// The value in force, moved by as much as the choice moves the headline: the two differ where the control asks for a
/// later first strain.
fn moved(in_force: Estimate, after: &After, chosen: Estimate) -> Estimate {
    let value = in_force.value + chosen.value - after.contact_share.value;
    Estimate { value, u: joined(in_force, after, chosen.u) }
}

/// A choice stores the error of its own fit alone; what the place of zero strain and the control add to the error in
/// force is the same for all.
fn joined(in_force: Estimate, after: &After, u: f64) -> f64 {
    let of_fit = after.contact_share.u * after.contact_share.u - after.u_zero * after.u_zero;
    let secondary = (in_force.u * in_force.u - of_fit).max(0.0);
    (u * u + secondary).sqrt()
}

/// Mean over the minima of one form; none where the trace speaks against it.
fn of_form(form: &str, after: &After) -> Option<Estimate> {
    let own = || after.forms.iter().filter(|f| f.form == form);
    let weight: f64 = own().map(|f| f.weight).sum();
    if weight < LEAST_FORM_WEIGHT {
        return None;
    }
    let over = |of: &dyn Fn(Estimate) -> f64| own().map(|f| f.weight * of(f.contact_share)).sum::<f64>() / weight;
    let value = over(&|x| x.value);
    let variance = over(&|x| x.u * x.u + (x.value - value) * (x.value - value));
    Some(Estimate { value, u: variance.sqrt() })
}

/// Straight line through the bins, by least squares; its error from the scatter about it.
fn straight_line(graded: &Graded, after: &After) -> Option<Estimate> {
    let before = graded.read.before.as_ref()?.viscosity_pa_s;
    let first = graded.read.dead.first_usable();
    let enters = |strain: f64| strain >= first && LINE_STRAIN.contains(&strain);
    let bins: Vec<(f64, f64)> = after.bins.iter().filter(|b| enters(b.0)).map(|b| (b.0, b.1)).collect();
    let n = bins.len() as f64;
    if bins.len() < LEAST_BINS {
        return None;
    }
    let of = |f: fn(&(f64, f64)) -> f64| mean(&bins.iter().map(f).collect::<Vec<f64>>());
    let (x, y) = (of(|b| b.0), of(|b| b.1));
    let sum = |f: &dyn Fn(f64, f64) -> f64| bins.iter().map(|b| f(b.0 - x, b.1 - y)).sum::<f64>();
    let width = sum(&|a, _| a * a);
    let slope = sum(&|a, b| a * b) / width;
    let left = sum(&|a, b| (b - slope * a) * (b - slope * a)) / (n - 2.0);
    let level = y - slope * x;
    let u = (left * (1.0 / n + x * x / width)).sqrt();
    Some(Estimate { value: 1.0 - level, u: quadrature(u, level * before.u / before.value) })
}
