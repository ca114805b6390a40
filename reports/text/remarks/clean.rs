//! What is said of a run by its cleaning: remarks, and checks of the flow that do not hold.

use crate::text::numbers::{count, percent, plain, plus_minus, setting, significant};
use crate::text::words::listed;
use stages::clean::remark::{NoSlope, NoTemperature, Remark};
use stages::clean::result::{Check, ValidityCheck};
use stages::physics::geometry::Caution;
use stages::physics::geometry::concentric_cylinders::{SHORTEST, WIDEST_RATIO};

/// A remark on a run.
pub fn words(remark: &Remark) -> String {
    match remark {
        Remark::TorqueFalls { step, row } => format!(
            "step {step}: the torque falls for good from line {row} on; later steps may measure a smaller filling"
        ),
        Remark::Drifted { step, first_step, change, u, excluded } => {
            let then = if *excluded { "; the later visit is excluded" } else { "" };
            let change = plus_minus(100.0 * change, 100.0 * u);
            format!(
                "back at one set-point in step {step}, the viscosity differs by ({change}) % from that of step {first_step}{then}"
            )
        }
        Remark::InertiaNotAsStated { stated, found } => format!(
            "`torque_includes_inertia` is {stated}, but at the turning points the exported torque is {} of the inertia \
             torque, where {} is expected: check the layout and the moments of inertia",
            significant(*found, 2),
            if *stated { "nearly 1" } else { "nearly 0" }
        ),
        Remark::InertiaUnknown => {
            "no moment of inertia is known: changes of speed are left out instead of corrected".to_owned()
        }
        Remark::TorqueTurnedRound => {
            "torque and motion have opposite signs in the export; the sign of the torque was changed".to_owned()
        }
        Remark::TimeStartsAnew { times } => {
            format!(
                "the time starts anew {}; each step was counted from the end of the one before",
                count(*times, "time")
            )
        }
        Remark::NothingToExclude { because } => {
            format!("nothing was excluded for `{because}`: no reading of this run fits")
        }
        Remark::ApparentStress { why } => {
            format!("parallel plates: the stress is the apparent one, {}", no_slope(*why))
        }
        Remark::ApparentStressIn { steps } => format!(
            "parallel plates: the stress stays the apparent one in {}, where the flow curve falls or jumps",
            in_steps(steps)
        ),
        Remark::RatesAsMeasured { why } => format!("the rates stay as measured, because {}", no_temperature(*why)),
        Remark::RatesAsMeasuredIn { steps } => {
            format!("the rates stay as measured in {}, where no usable temperature is known", in_steps(steps))
        }
        Remark::RatesAtOneTemperature { reference_c, low, high } => format!(
            "the rates were brought to {} °C by factors of {} to {}",
            setting(*reference_c),
            significant(*low, 4),
            significant(*high, 4)
        ),
        Remark::Geometry { caution } => geometry(*caution),
    }
}

fn in_steps(steps: &[i64]) -> String {
    let noun = if steps.len() == 1 { "step" } else { "steps" };
    format!("{noun} {}", listed(steps.iter().map(i64::to_string)))
}

fn no_slope(why: NoSlope) -> String {
    match why {
        NoSlope::AsAsked => "as the study asks".to_owned(),
        NoSlope::FewRates(n) => {
            format!("because {} are too few for the slope of a flow curve", count(n as u64, "different steady rate"))
        }
        NoSlope::Folded => "because its flow curve has different torques at one rate, and so no slope".to_owned(),
    }
}

fn no_temperature(why: NoTemperature) -> &'static str {
    match why {
        NoTemperature::NoCoefficient => "the liquid is of no known composition, and `per_kelvin` is not stated",
        NoTemperature::NoReference => "the liquid is of no known composition, and `reference` is not stated",
        NoTemperature::NotExported => "the export has no temperature",
    }
}

fn geometry(caution: Caution) -> String {
    match caution {
        Caution::WeightedByTorque => {
            "parallel plates: the rate is that at the rim, and the contact share a mean over the radius weighted by torque"
                .to_owned()
        }
        Caution::MeansOfWalls(difference) => format!(
            "concentric cylinders: stress and rate are means of both walls, between which the stress differs by {}",
            percent(difference)
        ),
        Caution::WideGap(ratio) => format!(
            "concentric cylinders: a ratio of radii of {} is above {}, the widest for which representative values are meant",
            significant(ratio, 4),
            setting(WIDEST_RATIO)
        ),
        Caution::ShortCylinder(length) => format!(
            "concentric cylinders: a length of {} inner radii is below {}, so that the end effect is not that of the \
             standard geometry",
            plain(length),
            setting(SHORTEST)
        ),
    }
}

/// The check's name in print.
pub const fn title(check: Check) -> &'static str {
    match check {
        Check::TorqueInFloors => "torque over the smallest torque of the instrument",
        Check::TorqueOfCeiling => "torque over the largest torque of the instrument",
        Check::StrainOfTwist { .. } => "strain that the twist of the instrument would mimic",
        Check::InertialNormalStress => "inertial normal stress",
        Check::Reynolds { .. } => "Reynolds number of the gap",
        Check::Taylor => "Taylor number",
        Check::MomentumTime => "time that momentum takes across the gap",
        Check::EdgeStress => "stress at the edge",
        Check::EdgeStressOlderLimit => "stress at the edge, older limit",
        Check::Confinement => "confinement",
        Check::Nahme { .. } => "Nahme number",
        Check::TemperatureSpan { .. } => "temperature span",
        Check::GapTooNarrow { .. } => "gap in particle diameters",
        Check::ParticleReynolds => "particle Reynolds number",
        Check::Stokes => "Stokes number",
        Check::Peclet { .. } => "Péclet number",
        Check::Settled { .. } => "settling",
        Check::StressOverWeight => "stress over weight",
    }
}

/// How the number is made, and what follows where it does not hold.
pub fn note(check: Check) -> String {
    match check {
        Check::TorqueInFloors => "smallest steady torque".to_owned(),
        Check::TorqueOfCeiling => "largest steady torque".to_owned(),
        Check::StrainOfTwist { compliance } => format!(
            "no torsional compliance is given; with {} rad/(N m), the torque that changes its sign at a reversal would \
             mimic an elastic release of such a strain",
            setting(compliance)
        ),
        Check::InertialNormalStress => {
            "inertia of the sample takes this off N₁, and it was added back; the response time of the force sensor is not \
             known to the study"
                .to_owned()
        }
        Check::Reynolds { excess } => format!("a secondary flow adds {} of the torque", plain(excess)),
        Check::Taylor => "inertia of the sample drives vortices from there on".to_owned(),
        Check::MomentumTime => "density · gap² / viscosity".to_owned(),
        Check::EdgeStress => "stress over what the edge holds by surface tension".to_owned(),
        Check::EdgeStressOlderLimit => {
            "stress over the older and lower limit of Tanner and Keentok, beyond which a dent may open".to_owned()
        }
        Check::Confinement => {
            "stress over surface tension by particle radius: from there on, at the latest, particles poke through the \
             free surface"
                .to_owned()
        }
        Check::Nahme { warming_k, conductivity } => format!(
            "heat of shearing would warm the middle of the gap by {} K at {} W/(m K)",
            plain(warming_k),
            setting(conductivity)
        ),
        Check::TemperatureSpan { low_c, high_c, per_kelvin } => format!(
            "from {} °C to {} °C the liquid's viscosity changes by {} at {} per K; contact shares compare neighbours in \
             time and hardly feel it, relative viscosities do",
            significant(low_c, 4),
            significant(high_c, 4),
            percent(per_kelvin * (high_c - low_c)),
            percent(per_kelvin)
        ),
        Check::GapTooNarrow { gap_m } => format!("narrowest gap of {} µm in particle diameters", plain(1e6 * gap_m)),
        Check::ParticleReynolds => "inertia of the liquid around a particle, by its radius".to_owned(),
        Check::Stokes => "inertia of a particle, by its radius".to_owned(),
        Check::Peclet { measured } => format!(
            "Brownian motion stresses the sample as well, and is no contact; by the radius, {}",
            if measured { "at the measured temperature" } else { "at 25 °C, as no temperature was measured" }
        ),
        Check::Settled { rise, seconds } => format!(
            "part of the widest gap that particles would {} at rest in the {} s of the run, hindered by their neighbours",
            if rise { "rise" } else { "settle" },
            plain(seconds)
        ),
        Check::StressOverWeight => {
            "stress over the weight of a layer of particles, which shear keeps suspended well above 1".to_owned()
        }
    }
}

/// What is said of a check that does not hold; nothing where flags and grades tell it. Runs that fail alike say the
/// same, so that it is said once: what differs from step to step stands in the table.
pub fn beyond(found: &ValidityCheck) -> Option<String> {
    let bound = found.bound.filter(|_| found.holds == Some(false) && !found.check.told_by_flags())?;
    let side = if found.value > bound { "above" } else { "below" };
    let value = match found.step {
        None => format!("{} is {side}", plain(found.value)),
        Some(_) => format!("some steps are {side}"),
    };
    let unit = if found.check.unit().is_empty() { String::new() } else { format!(" {}", found.check.unit()) };
    Some(format!("{}: {value} {}{unit}: {}", title(found.check), bound_in_print(bound), note(found.check)))
}

/// A bound as it was set; one that was computed to three digits.
pub fn bound_in_print(value: f64) -> String {
    Some(setting(value)).filter(|text| text.chars().count() <= 5).unwrap_or_else(|| plain(value))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_check_that_fails_says_which_side_and_why() {
        let narrow = |step| ValidityCheck {
            check: Check::GapTooNarrow { gap_m: 52e-6 },
            step,
            value: 5.78,
            bound: Some(10.0),
            holds: Some(false),
        };
        let whole = "gap in particle diameters: 5.78 is below 10: narrowest gap of 52.0 µm in particle diameters";
        assert_eq!(beyond(&narrow(None)).as_deref(), Some(whole));
        assert!(beyond(&narrow(Some(3))).is_some_and(|said| said.contains("some steps are below 10")));
        assert_eq!(beyond(&ValidityCheck { holds: Some(true), ..narrow(None) }), None);
        assert_eq!(beyond(&ValidityCheck { check: Check::TorqueInFloors, ..narrow(None) }), None);
    }

    #[test]
    fn a_drift_is_said_with_its_uncertainty() {
        let drifted = Remark::Drifted { step: 9, first_step: 2, change: -0.0612, u: 0.008, excluded: true };
        let said = "back at one set-point in step 9, the viscosity differs by (\u{2212}6.12 ± 0.80) % from that of step 2; \
                    the later visit is excluded";
        assert_eq!(words(&drifted), said);
        assert!(words(&Remark::RatesAsMeasuredIn { steps: vec![3] }).contains("in step 3,"));
    }
}
