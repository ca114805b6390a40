//! What holds of the methods text as a whole. Every setting that can change a result changes it: each leaf of the
//! settings in force is given another value, each rule is switched, and the text must differ.

use super::{InForce, markdown, paragraphs};
use crate::fixture;
use serde_json::{Value, json};
use stages::references;
use stages::settings::Rule;
use stages::states::result::States;

fn text(settings: &InForce) -> String {
    markdown(&paragraphs(settings, &fixture::runs(), &fixture::states()))
}

/// Another value for a leaf.
fn other(value: &Value) -> Vec<Value> {
    match value {
        Value::Bool(on) => vec![json!(!on)],
        Value::Number(n) if n.is_u64() => vec![json!(n.as_u64().unwrap() + 1)],
        Value::Number(n) => vec![json!(1.25 * n.as_f64().unwrap())],
        Value::Null => vec![json!(1.5)],
        // Grades, losses.
        Value::String(_) => ["A", "C", "squares", "pseudo-huber", "huber"].map(Value::from).to_vec(),
        Value::Array(items) => vec![json!(&items[..items.len().saturating_sub(1)])],
        Value::Object(_) => vec![json!(false), json!({"S": {"low": "1 Pa"}})],
    }
}

/// All values within `value`, as JSON pointers.
fn pointers(value: &Value, at: String, found: &mut Vec<String>) {
    found.push(at.clone());
    if let Value::Object(fields) = value {
        for (key, value) in fields {
            pointers(value, format!("{at}/{key}"), found);
        }
    }
}

/// Settings that differ from `settings` at one place, by that place.
fn changed(settings: &InForce) -> Vec<(String, InForce)> {
    let whole = serde_json::to_value(settings).unwrap();
    let mut found = Vec::new();
    pointers(&whole, String::new(), &mut found);
    let mut out = Vec::new();
    for at in found.iter().filter(|at| !at.is_empty()) {
        for value in other(whole.pointer(at).unwrap()) {
            let mut copy = whole.clone();
            *copy.pointer_mut(at).unwrap() = value;
            if let Ok(settings_there) = serde_json::from_value::<InForce>(copy)
                && settings_there != *settings
            {
                out.push((at.clone(), settings_there));
            }
        }
    }
    out
}

/// Studies in which between them every setting has a bearing.
fn studies() -> [InForce; 2] {
    let (cones, cylinders, angles, steps_by_set_point, stress_and_torque) = (true, true, true, true, true);
    let plain =
        InForce { inertia_known: true, cones, cylinders, angles, positions: true, rates: true, ..InForce::default() };
    let temperature = stages::physics::quantity::Quantity { value: 298.15, u: 0.1 };
    let computed_liquids = vec![("water".to_owned(), stages::physics::liquids::Composition::Water { temperature })];
    let plain = InForce { steps_by_set_point, stress_and_torque, computed_liquids, ..plain };
    let mut other = InForce { plates: true, ..plain.clone() };
    other.fit.loss = stages::fit::params::Loss::Huber;
    let edge = stages::clean::params::EdgeFracture { surface_tension: Some(0.02), ..Default::default() };
    other.clean.edge_fracture = Rule::On(edge);
    [plain, other]
}

#[test]
fn every_setting_that_changes_a_result_changes_the_text() {
    let untried = studies().map(|settings| {
        let tried = changed(&settings);
        let whole = serde_json::to_value(&settings).unwrap();
        let mut all = Vec::new();
        pointers(&whole, String::new(), &mut all);
        let leaf = |at: &&String| !whole.pointer(at).unwrap().is_object();
        all.iter().filter(leaf).filter(|at| !tried.iter().any(|(t, _)| t == *at)).cloned().collect::<Vec<String>>()
    });
    let in_both: Vec<&String> = untried[0].iter().filter(|at| untried[1].contains(at)).collect();
    assert!(in_both.is_empty(), "no other value was tried for {in_both:#?}");
    let silent = studies().map(|settings| {
        let (before, all) = (text(&settings), changed(&settings));
        assert!(all.len() > 80, "{}", all.len());
        let same = |(_, other): &(String, InForce)| text(other) == before;
        all.into_iter().filter(same).map(|(at, _)| at).collect::<Vec<String>>()
    });
    // What has no bearing in one study, because it has no plates say, has one in the other.
    let in_both: Vec<&String> = silent[0].iter().filter(|at| silent[1].contains(at)).collect();
    assert!(in_both.is_empty(), "the text is silent about {in_both:#?}");
}

/// Whatever a study file can set in a stage is in force here, so that the test above sees it.
#[test]
fn every_setting_of_a_stage_is_known_to_the_text() {
    let demo = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo-project");
    let study = crate::study::load(&demo).unwrap_or_else(|_| panic!("the demo can be read"));
    let whole = serde_json::to_value(InForce::default()).unwrap();
    let paths: Vec<String> = stages::setup::listing::settings(&study).into_iter().map(|row| row.path).collect();
    let of_stages: Vec<&str> = paths.iter().filter_map(|path| path.strip_prefix("stages.")).collect();
    assert!(of_stages.len() > 100, "{}", of_stages.len());
    for path in of_stages {
        let pointer = format!("/{}", path.replace('.', "/"));
        assert!(whole.pointer(&pointer).is_some(), "stages.{path} is not among the settings in force");
    }
}

fn plain(settings: &InForce) -> String {
    markdown(&paragraphs(settings, &[], &States::default()))
}

#[test]
fn a_setting_changes_its_sentence() {
    let mut settings = InForce::default();
    settings.reversal.before.window = 3.25;
    assert!(plain(&settings).contains("a window of strain 3.25 that ends"));
    settings.uncertainty.trials = 54_321;
    assert!(plain(&settings).contains("drawn 54\u{202f}321 times"));
}

#[test]
fn what_is_switched_off_is_not_told() {
    let mut settings = InForce::default();
    assert!(plain(&settings).contains("spike") && plain(&settings).contains("Wyart"));
    settings.clean.spike = Rule::Off;
    settings.fit.skip = true;
    settings.uncertainty.skip = true;
    let text = plain(&settings);
    assert!(!text.contains("spike") && !text.contains("Hampel"), "{text}");
    assert!(!text.contains("Wyart") && !text.contains("Fits") && !text.contains("were drawn"));
}

#[test]
fn every_sentence_rests_on_something_and_every_source_is_known() {
    let settings = InForce { inertia_known: true, loading_per_export: true, ..InForce::default() };
    for sentence in paragraphs(&settings, &[], &States::default()).iter().flat_map(|p| &p.sentences) {
        assert!(!sentence.from.is_empty(), "{}", sentence.text);
        assert!(sentence.text.ends_with('.'), "{}", sentence.text);
        assert!(sentence.cites.iter().all(|key| references::find(key).is_some()), "{}", sentence.text);
    }
}

/// Every number in the text has its line in the list, and the list names no paper whose title nobody could confirm.
#[test]
fn the_list_of_sources_is_whole_and_cites_what_was_confirmed() {
    let settings = InForce { cylinders: true, plates: true, ..InForce::default() };
    let paragraphs = paragraphs(&settings, &fixture::runs(), &fixture::states());
    let keys = super::cited(&paragraphs);
    assert!(keys.contains(&"gadala-maria-1980") && keys.contains(&"lin-2015"), "{keys:?}");
    for sentence in paragraphs.iter().flat_map(|p| &p.sentences) {
        let distinct: std::collections::BTreeSet<_> = sentence.cites.iter().collect();
        let numbers = super::numbers_of(sentence, &keys);
        assert_eq!(numbers.len(), distinct.len(), "{}", sentence.text);
        assert!(numbers.iter().all(|n| (1..=keys.len()).contains(n)), "{}", sentence.text);
    }
    let text = markdown(&paragraphs);
    let list = text.split("## Sources\n\n").nth(1).unwrap().lines().collect::<Vec<_>>();
    assert_eq!(list.len(), keys.len());
    for (i, (line, key)) in list.iter().zip(&keys).enumerate() {
        let source = references::find(key).unwrap();
        assert!(line.starts_with(&format!("{}. {}", i + 1, source.authors)), "{line}");
        assert_eq!(line.contains(source.title), source.checked != references::Checked::Nothing, "{line}");
    }
}

/// What decides a number and is no setting stands in the text: who has only the report can compute it again.
#[test]
fn the_numbers_of_the_recipe_that_are_no_settings_are_told() {
    use crate::text::numbers::{setting, setting_percent};
    use stages::reversal::rules;
    let settings = InForce { positions: true, rates: true, ..InForce::default() };
    let text = text(&settings);
    let (lengths, shortest, longest) = rules::LENGTHS;
    let told = [
        format!("{} standard uncertainties over that window", setting(rules::DRIFTS)),
        format!("±{} u/(1 − X)", setting(rules::TWO_SIDED)),
        format!("1 − (y + {} u)", setting(rules::ONE_SIDED)),
        format!("in steps of {}", setting(rules::LAG_STEP)),
        format!("{lengths} lengths ℓ in geometric steps from {} to {}", setting(shortest), setting(longest)),
        format!("at least {}", setting_percent(rules::TEMPERED)),
        format!("{} and {} of the way", setting_percent(rules::RECOVERED[0]), setting_percent(rules::RECOVERED[1])),
        format!("over strain {} to {}", setting(rules::ARRIVED.0), setting(rules::ARRIVED.1)),
        format!("each next one {} times later", setting(rules::TIME_BINS.1)),
        format!("by less than {} in F and {} in X", setting(rules::ONE_MINIMUM.0), setting(rules::ONE_MINIMUM.1)),
        rules::STARTS[1]
            .iter()
            .enumerate()
            .filter(|(k, _)| *k != 3)
            .map(|(_, x)| setting(*x))
            .collect::<Vec<_>>()
            .join(", "),
        rules::DELAYED_STARTS[1].map(setting).join(", "),
        format!("a weight of {} or more", setting_percent(rules::FORM_COUNTS)),
    ];
    for words in told {
        assert!(text.contains(&words), "{words}\n{text}");
    }
}

/// What is said of one loading is said only where a sample has one.
#[test]
fn one_loading_is_told_where_there_is_one() {
    let told = |states: &States| {
        markdown(&paragraphs(&InForce::default(), &[], states)).contains("A sample with one loading has no interval")
    };
    let mut states = fixture::states();
    states.thickening.iter_mut().for_each(|row| row.loadings_of_sample = 3);
    assert!(!told(&states));
    states.thickening[0].loadings_of_sample = 1;
    assert!(told(&states));
}
