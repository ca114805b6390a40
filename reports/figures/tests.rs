//! All figures of the invented study: same bytes twice, no number that is none, user text escaped, and figures with
//! nothing to show say why.

use super::*;
use crate::fixture::{self, HOSTILE, LONG};
use stages::fit::result::Fits;
use stages::reversal::result::Control;
use stages::states::result::States;

fn all(states: &States, fits: &Fits, control: &Control) -> Vec<(&'static str, Figure)> {
    let samples = [HOSTILE.to_owned(), LONG.to_owned()];
    vec![
        ("viscosity", viscosity::draw(HOSTILE, &states.states).unwrap()),
        ("contact share", contact_share::draw(&samples, &states.states).unwrap()),
        ("typical", typical::draw(&states.reversals).unwrap()),
        ("control", control::draw(control, &states.reversals).unwrap()),
        ("atlas", atlas::draw(HOSTILE, &states.reversals).unwrap()),
        ("flow curves", flow_curves::draw(&samples, &states.states, fits).unwrap()),
        ("relative viscosity", relative_viscosity::draw(states, fits).unwrap()),
    ]
}

fn of_fixture() -> Vec<(&'static str, Figure)> {
    all(&fixture::states(), &fixture::fits(), &fixture::control())
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
    for (name, figure) in all(&States::default(), &Fits::default(), &Control::default()) {
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
    let chosen = typical::chosen(&states.reversals).unwrap();
    assert!(chosen.judged.resolved && !chosen.identity.control && chosen.judged.grade.name() == "A");
    assert!(typical::chosen(&states.reversals[3..4]).is_none());
}
