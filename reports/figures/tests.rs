//! All figures of the invented study: same bytes twice, no number that is none, user text escaped, and figures with
//! nothing to show say why.

use super::*;
use crate::fixture::{self, HOSTILE, LONG};
use stages::fit::result::Fits;
use stages::reversal::result::Control;
use stages::states::result::{Reason, States};
use stages::uncertainty::result::Budget;

fn all(states: &States, fits: &Fits, control: &Control, sums: &Budget) -> Vec<(&'static str, Figure)> {
    let samples = [HOSTILE.to_owned(), LONG.to_owned()];
    vec![
        ("viscosity", viscosity::draw(HOSTILE, &states.states).unwrap()),
        ("contact share", contact_share::draw(&samples, &states.states).unwrap()),
        ("typical", typical::draw(states).unwrap()),
        ("control", control::draw(control, &states.reversals).unwrap()),
        ("atlas", atlas::draw(HOSTILE, &states.reversals).unwrap()),
        ("flow curves", flow_curves::draw(&samples, &states.states, fits).unwrap()),
        ("flow state", flow_state::draw(&samples, fits).unwrap()),
        ("residuals", residuals::draw(&samples, fits).unwrap()),
        ("relative viscosity", relative_viscosity::draw(&made_of(), &states.states, fits).unwrap()),
        ("budget", budget::draw(sums, &states.thickening).unwrap()),
        ("sensitivity", sensitivity::draw(&fixture::sensitivity(), &states.thickening).unwrap()),
    ]
}

fn of_fixture() -> Vec<(&'static str, Figure)> {
    all(&fixture::states(), &fixture::fits(), &fixture::control(), &fixture::budget())
}

fn made_of() -> Vec<relative_viscosity::MadeOf> {
    let of = |sample: &str| relative_viscosity::MadeOf {
        sample: sample.to_owned(),
        particles: "beads".to_owned(),
        liquid: "carrier".to_owned(),
    };
    vec![of(HOSTILE), of(LONG)]
}

#[test]
fn the_same_results_give_the_same_bytes() {
    assert_eq!(of_fixture(), of_fixture());
}

#[test]
fn pictures_hold_numbers_only_and_escape_what_users_wrote() {
    for (name, figure) in of_fixture() {
        assert!(figure.caption.empty.is_none() && figure.data.height() > 0, "{name}");
        assert!(!figure.svg.contains("NaN") && !figure.svg.contains("inf\""), "{name}");
        assert!(!figure.svg.contains("<d>") && figure.svg.ends_with("</svg>\n"), "{name}");
        assert!(!figure.caption.alt.is_empty() && figure.caption.text.ends_with('.'), "{name}");
    }
}

#[test]
fn a_figure_with_nothing_to_show_says_why() {
    for (name, figure) in all(&States::default(), &Fits::default(), &Control::default(), &Budget::default()) {
        let why = figure.caption.empty.unwrap_or_else(|| panic!("{name} shows something"));
        assert!(figure.svg.contains(&why) && figure.data.height() == 0, "{name}: {why}");
    }
}

#[test]
fn an_unresolved_state_is_a_bound_and_no_value() {
    let figure = contact_share::draw(&[HOSTILE.to_owned()], &fixture::states().states).unwrap();
    let (values, low) =
        (figure.data.floats("contact_share").unwrap(), figure.data.floats("contact_share_low").unwrap());
    assert!(values[3].is_nan() && low[3] == 0.42, "{values:?} {low:?}");
}

#[test]
fn the_typical_reversal_is_of_the_best_grade_and_no_control() {
    let states = fixture::states();
    let chosen = typical::chosen(&states).unwrap().reversal;
    assert!(chosen.graded.resolved && !chosen.identity.control && chosen.graded.grade.name() == "A");
    let unresolved = States { reversals: states.reversals[3..4].to_vec(), ..states };
    assert!(typical::chosen(&unresolved).is_none());
}

#[test]
fn a_sample_that_does_not_thicken_is_typical_only_where_none_does() {
    let mut states = fixture::states();
    states.thickening[0].reason = Reason::NoLargerViscosity;
    let chosen = typical::chosen(&states).unwrap();
    assert!(chosen.thickens && chosen.reversal.identity.sample == LONG);
    states.thickening[1].reason = Reason::NoLargerViscosity;
    let chosen = typical::chosen(&states).unwrap();
    assert!(!chosen.thickens);
    assert!(typical::draw(&states).unwrap().caption.text.contains("no sample is shown to thicken"));
}

#[test]
fn laws_of_one_end_differ_by_their_dashes() {
    let mut fits = fixture::fits();
    let mut other = fits.law_curves[0].clone();
    other.model = "krieger-dougherty".into();
    fits.law_curves.push(other);
    let figure = relative_viscosity::draw(&made_of(), &fixture::states().states, &fits).unwrap();
    let strokes = |color: &str| figure.svg.matches(&format!("stroke=\"{color}\" stroke-width=\"1\"")).count();
    assert!(strokes("#0072b2") > 10, "the second law is cut into dashes");
    assert!(figure.svg.contains("Krieger–Dougherty"));
}
