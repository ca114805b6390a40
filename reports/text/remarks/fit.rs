//! What is said of fits.

use crate::text::models::{self, meaning, unit};
use crate::text::numbers::{percent, plain, setting, significant, whole};
use crate::text::words::{counted, listed, number, shortened};
use stages::fit::result::{
    Allowance, Candidate, Course, Need, NeedOfFit, Preference, Remark, Scope, Selection, Side, StateRemark,
    StudyRemark, Trend,
};
use stages::fit::rules::{CLOSEST_PACKING, LOOSEST_PACKING};
use stages::physics::models::Subject;

/// A remark on a fit or on one of its parameters.
pub fn words(remark: &Remark) -> String {
    match remark {
        Remark::NoStates { subject: Subject::FlowCurve } => "not fitted: no state has a viscosity and a rate".to_owned(),
        Remark::NoStates { .. } => {
            "not fitted: no state has a relative viscosity, a stress and a solid fraction".to_owned()
        }
        Remark::FewStates { free_parameters, states } => {
            let free = counted(u64::from(*free_parameters), "free parameter");
            format!("not fitted: {free}, {}", counted(u64::from(*states), "state"))
        }
        Remark::OutsideModel => "not fitted: the data lie outside what the model can give".to_owned(),
        Remark::NoStateNear { loss_scale } => {
            format!("not fitted: no state lies within {} standard uncertainties of the model", setting(*loss_scale))
        }
        Remark::NotConverged => "not converged: no value is given".to_owned(),
        Remark::FewFractions { fractions: 1 } => {
            "not identified: one solid fraction does not tell the amplitude from the jamming fractions".to_owned()
        }
        Remark::FewFractions { fractions } => format!(
            "not identified: {} solid fractions determine amplitude and jamming fractions without any check on the law",
            number(u64::from(*fractions))
        ),
        Remark::NoStressDependence { low_pa, high_pa } => format!(
            "not identified: from {} to {} Pa no viscosity depends on the stress beyond its uncertainty; either the \
             onset stress lies outside or these particles do not thicken",
            plain(*low_pa),
            plain(*high_pa)
        ),
        Remark::NoRateDependence => "not identified: the viscosity does not depend on the rate beyond its uncertainty, and \
                                     one level determines neither a second one nor the rate between them"
            .to_owned(),
        Remark::WildState { sample, set_point, standard_deviations, decides } => {
            let (no_value, decides) =
                if *decides { ("no value: ", ", and the parameters depend on it") } else { ("", "") };
            format!(
                "{no_value}the state of {sample} at {set_point} lies {} standard deviations off \
                 what the others give{decides}: check its reversals, set it aside with a reason, or choose a robust loss",
                significant(*standard_deviations, 2)
            )
        }
        Remark::Misses { standard_uncertainties } => {
            format!(
                "no value: the data miss the model by {} standard uncertainties",
                significant(*standard_uncertainties, 2)
            )
        }
        Remark::Misfit { rss, degrees_of_freedom, allowance } => {
            let allowance = match allowance {
                Allowance::NoValue => "",
                Allowance::Widened => "; uncertainties are widened by the root of their ratio",
                Allowance::InTheLoss => "; uncertainties allow for it",
            };
            format!(
                "does not fit: sum of squares {} on {}, more than chance gives{allowance}",
                whole(rss.round() as u64),
                counted(*degrees_of_freedom as u64, "degree of freedom")
            )
        }
        Remark::NotSeparated => "not identified: the data do not tell the parameters apart".to_owned(),
        Remark::Replaceable => "not identified: other parameters can take its place".to_owned(),
        Remark::Unbounded { parameter } => {
            format!("not identified: the sum of squares hardly rises whatever the {} is", meaning(parameter))
        }
        Remark::OneSided { parameter, side, bound } => format!(
            "not identified: the data bound the {} from {} only, at {} (95 %)",
            meaning(parameter),
            side_word(*side),
            in_unit(&plain(*bound), parameter)
        ),
        Remark::OnBound { parameter, bound, side, reach } => {
            let inside = reach.map_or_else(
                || "nothing bounds it on the other side".to_owned(),
                |reach| format!("{} {} at 95 %", side_word(*side), in_unit(&plain(reach), parameter)),
            );
            format!("not identified: on its bound {}; {inside}", in_unit(&setting(*bound), parameter))
        }
        Remark::Wide { low, high } => {
            format!("not identified: anything from {} to {} is possible", plain(*low), plain(*high))
        }
        Remark::DenserThanPacking => format!(
            "implausible: denser than equal spheres can be packed ({}); sizes are mixed, solid fractions are off, or the \
             law does not hold",
            significant(CLOSEST_PACKING, 4)
        ),
        Remark::LooserThanJamming => format!(
            "implausible: looser than spheres were found to jam ({}); particles are not spheres or stick together, solid \
             fractions are off, or the law does not hold",
            setting(LOOSEST_PACKING)
        ),
        Remark::FallsWithStress => {
            "above the frictionless jamming fraction: the viscosity falls as the stress rises, for which this law is not \
             meant"
                .to_owned()
        }
        Remark::BoundElsewhere { parameter, bound } => {
            format!("with the {} on its bound {}", meaning(parameter), in_unit(&setting(*bound), parameter))
        }
        Remark::OneLoading => "one loading per state: uncertainties from the residuals alone, without solid fraction, \
                               liquid and instrument"
            .to_owned(),
        Remark::RobustLoss => {
            "robust loss: uncertainties are those of an M-estimate, and no criterion weighs models".to_owned()
        }
        Remark::HydrodynamicPart { trend, change } => {
            let change = change.map_or_else(String::new, |(low, high)| {
                format!(" ({} to {} over the stresses measured, at 95 %)", signed_percent(low), signed_percent(high))
            });
            trend_of("hydrodynamic", *trend) + &change
        }
        Remark::ContactPart { trend } => trend_of("contact", *trend),
        Remark::Thickens { course } => match course {
            Course::NotDecided => "whether it thickens continuously or discontinuously is not decided",
            Course::Jams => "thickens discontinuously and jams at high stress",
            Course::DiscontinuousMayJam => "thickens discontinuously; whether it jams is not decided",
            Course::Discontinuous => "thickens discontinuously, does not jam",
            Course::Continuous => "thickens continuously",
        }
        .to_owned(),
        Remark::Held => "held".to_owned(),
        Remark::Follows => "follows from the parameters".to_owned(),
        Remark::Stresses { states: 1, low_pa, .. } => format!("one state at {} Pa", plain(*low_pa)),
        Remark::Stresses { low_pa, high_pa, .. } => {
            format!("states from {} to {} Pa", plain(*low_pa), plain(*high_pa))
        }
    }
}

const fn side_word(side: Side) -> &'static str {
    match side {
        Side::Below => "below",
        Side::Above => "above",
    }
}

fn in_unit(number: &str, parameter: &str) -> String {
    format!("{number} {}", unit(parameter)).trim_end().to_owned()
}

fn signed_percent(change: f64) -> String {
    if change > 0.0 { format!("+{}", percent(change)) } else { percent(change) }
}

fn trend_of(part: &str, trend: Trend) -> String {
    match (part, trend) {
        ("contact", Trend::OneLoading) => "one loading: whether the contact part rises is not decided".to_owned(),
        ("contact", Trend::NotDecided) => "whether the contact part rises is not decided".to_owned(),
        (_, Trend::OneLoading) => format!("one loading: whether the {part} part stays flat is not decided"),
        (_, Trend::NotDecided) => format!("whether the {part} part stays flat is not decided"),
        (_, Trend::Falls) => format!("the {part} part falls with the stress"),
        (_, Trend::Rises) => format!("the {part} part rises with the stress"),
        (_, Trend::Flat) => format!("the {part} part stays flat"),
    }
}

/// Whether a remark is short enough for the cell of its parameter, where the rest stands below the table.
pub fn fits_a_cell(remark: &Remark) -> bool {
    use Course::{Continuous, Discontinuous};
    match remark {
        Remark::Thickens { course } => matches!(course, Continuous | Discontinuous),
        Remark::ContactPart { trend } => matches!(trend, Trend::Rises | Trend::Falls),
        _ => matches!(remark, Remark::Held | Remark::Follows | Remark::Stresses { .. } | Remark::BoundElsewhere { .. }),
    }
}

/// What would give a parameter that has no value.
pub fn need(need: &Need) -> String {
    let at_least = |n: u32, what: &str| format!("at least {} {what}", number(u64::from(n)));
    match need {
        Need::LiquidAndFractions => "give the liquid's viscosity and the solid fractions in the study file".to_owned(),
        Need::SteadyStates => "measure steady states of which stress and viscosity can be read".to_owned(),
        Need::SpreadFractions { fractions } => format!(
            "measure {} of the same particles, spread from well below to near jamming",
            at_least(*fractions, "solid fractions")
        ),
        Need::HigherStresses { above_pa } => {
            format!("measure at stresses above {} Pa, by a factor of ten at least", plain(*above_pa))
        }
        Need::BelowOnset { below_pa } => {
            format!(
                "measure below {} Pa, where contacts are not yet frictional, for the frictionless jamming fraction",
                plain(*below_pa)
            )
        }
        Need::BeyondRise { above_pa } => {
            format!(
                "measure above {} Pa, until the viscosity stops rising, for the frictional jamming fraction and the onset \
                 stress",
                plain(*above_pa)
            )
        }
        Need::WithinRise => {
            "measure more stresses between the two ends of the rise, or hold `stages.fit.beta`, for the exponent of the \
             stress"
                .to_owned()
        }
        Need::OtherFraction { densest, nearer } => {
            let towards = if *nearer { "nearer to" } else { "further from" };
            let densest = significant(*densest, 2);
            format!(
                "measure a solid fraction {towards} jamming (the densest sample is at {densest} of the frictionless jamming \
                 fraction), or hold `stages.fit.alpha`, for amplitude and exponent"
            )
        }
        Need::WiderRates => "a wider range of rates".to_owned(),
        Need::Rates { rates } => at_least(*rates, "rates"),
        Need::WiderFractions => "solid fractions further apart and nearer to jamming".to_owned(),
        Need::Fractions { fractions } => at_least(*fractions, "solid fractions"),
    }
}

/// What to mind of a state, at a held rate but for a law that is jammed there.
pub fn state(remark: StateRemark) -> &'static str {
    match remark {
        StateRemark::Jammed => "the fitted law is jammed here: nothing should flow",
        StateRemark::Unstable => {
            "at a held rate this branch of the law is unstable: the flow forms bands or jumps in time, and one viscosity \
             does not describe it"
        }
        StateRemark::MayBeUnstable => "at a held rate this state may lie on the unstable branch of the law",
    }
}

/// What the data prefer among the candidate models.
pub fn preference(preference: &Preference) -> String {
    let (preferred, none_fits) = match preference {
        Preference::TooFewStates => return "too few states to weigh explanations against each other".to_owned(),
        Preference::Preferred { candidate, next, odds, none_fits } => {
            let (best, next) = (candidate.name(), next.name());
            // Tails of the scatter make huge ratios: of these only that they are huge.
            let odds = if *odds > 1e6 {
                "far more likely (ratio of Akaike weights above 10⁶) than".to_owned()
            } else {
                format!("{} times as likely as", plain(*odds))
            };
            (format!("the data prefer “{best}”, {odds} “{next}”"), *none_fits)
        }
        Preference::NotDecided { possible, none_fits } => {
            let weight =
                |(candidate, weight): &(Candidate, f64)| format!("“{}” {}", candidate.name(), percent(*weight));
            let possible: Vec<String> = possible.iter().map(weight).collect();
            (format!("the data do not decide: {}", possible.join(", ")), *none_fits)
        }
    };
    let but = if none_fits { "; but none of them describes the shares within their scatter" } else { "" };
    format!("{preferred}{but}")
}

/// A remark of the stage as a whole.
pub fn of_study(remark: &StudyRemark) -> String {
    match remark {
        StudyRemark::LeftOut => "fits were left out by the study file".to_owned(),
        StudyRemark::ContactShares { scope, preference: found } => {
            format!("contact shares, {}: {}", scope.name(), preference(found))
        }
        StudyRemark::State { sample, set_point, remark } => format!("{sample} at {set_point}: {}", state(*remark)),
        StudyRemark::Needs { needs } => format!("further measurements that would help: {}", gathered(needs)),
    }
}

/// Each need once, with the models and scopes that have it.
fn gathered(needs: &[NeedOfFit]) -> String {
    /// A model with the scopes of its fits.
    type OfModel<'a> = (&'a str, Vec<&'a Scope>);
    let mut met: Vec<(&Need, Vec<OfModel<'_>>)> = Vec::new();
    for NeedOfFit { need, model, scope } in needs {
        let fits = entry(&mut met, need);
        entry(fits, models::name(model)).push(scope);
    }
    let of_need = |(what, fits): (&Need, Vec<OfModel<'_>>)| {
        let fits = listed(fits.into_iter().map(|(model, scopes)| format!("{model} ({})", scopes_named(&scopes))));
        if names_its_fit(what) { format!("{} for {fits}", need(what)) } else { need(what) }
    };
    met.into_iter().map(of_need).collect::<Vec<_>>().join("; ")
}

/// Whether the need does not say by itself what it is for.
fn names_its_fit(need: &Need) -> bool {
    matches!(need, Need::WiderRates | Need::Rates { .. } | Need::WiderFractions | Need::Fractions { .. })
}

/// Many samples are counted; ends of the stress of several groups are parted by semicolons.
fn scopes_named(scopes: &[&Scope]) -> String {
    let names = scopes.iter().map(|scope| scope.name());
    let two_parts = |scope: &&Scope| scope.group.is_some() && scope.states != Selection::All;
    if scopes.iter().any(two_parts) { names.collect::<Vec<_>>().join("; ") } else { shortened(names) }
}

/// The entry of a key, made where there is none yet.
fn entry<K: PartialEq, T: Default>(met: &mut Vec<(K, T)>, key: K) -> &mut T {
    let at = met.iter().position(|(known, _)| *known == key).unwrap_or(met.len());
    if at == met.len() {
        met.push((key, T::default()));
    }
    &mut met[at].1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_need_that_many_fits_have_is_given_once() {
        let of = |need: Need, model: &str, scope: Scope| NeedOfFit { need, model: model.into(), scope };
        let low = Scope { states: Selection::LowStress, group: Some("beads in oil".into()) };
        let samples = (1..=20).map(|i| of(Need::WiderRates, "cross", Scope::sample(&format!("S{i}"))));
        let needs =
            [of(Need::SteadyStates, "wyart-cates", low.clone()), of(Need::Fractions { fractions: 2 }, "eilers", low)];
        let needs = needs.into_iter().chain(samples).collect();
        assert_eq!(
            of_study(&StudyRemark::Needs { needs }),
            "further measurements that would help: measure steady states of which stress and viscosity can be read; at least two solid \
             fractions for Eilers (low stress, beads in oil); a wider range of rates for Cross (S1, S2, S3, S4, S5 and 15 \
             others)"
        );
    }

    #[test]
    fn remarks_name_parameters_by_their_meaning_and_numbers_with_their_unit() {
        let bound =
            Remark::OnBound { parameter: "yield_stress".into(), bound: 0.0, side: Side::Below, reach: Some(0.0312) };
        assert_eq!(words(&bound), "not identified: on its bound 0 Pa; below 0.0312 Pa at 95 %");
        let open = Remark::OneSided { parameter: "phi_m".into(), side: Side::Above, bound: 0.571_2 };
        assert_eq!(
            words(&open),
            "not identified: the data bound the frictional jamming fraction from above only, at 0.571 (95 %)"
        );
        let part = Remark::HydrodynamicPart { trend: Trend::Flat, change: Some((-0.04, 0.021)) };
        assert_eq!(
            words(&part).replace('\u{a0}', " "),
            "the hydrodynamic part stays flat (\u{2212}4.0 % to +2.1 % over the stresses measured, at 95 %)"
        );
    }

    #[test]
    fn huge_odds_are_not_given_as_a_number() {
        let preferred = |odds: f64| {
            let (candidate, next) = (Candidate::ContactsCarryTheRise, Candidate::ConstantShare);
            preference(&Preference::Preferred { candidate, next, odds, none_fits: false })
        };
        assert!(preferred(31.24).contains("31.2 times as likely as “constant share”"));
        assert!(!preferred(3e9).contains('3'), "{}", preferred(3e9));
    }
}
