//! Every written column stands in the dictionary and the other way round; unresolved is null with a bound.

use super::*;
use crate::fixture;
use stages::table::{Table, Values};

fn all() -> Vec<(&'static str, Table)> {
    let (runs, states) = (fixture::runs(), fixture::states());
    vec![
        ("runs", runs::runs_table(&runs)),
        ("exclusions", runs::exclusions_table(&runs)),
        ("validity", validity::validity_table(&runs)),
        ("controls", controls::controls_table(&[fixture::control()], &runs)),
        ("reversals", reversals::reversals_table(&states.reversals)),
        ("states", states::states_table(&states.states)),
        ("thickening", states::thickening_table(&states.thickening)),
        ("fits", rows::fits_table(&fixture::fits().rows)),
        ("models", models::models_table(&fixture::fits().quality)),
        ("candidate_models", models::candidate_models_table(&fixture::fits().candidate_models)),
        ("flow_states", models::flow_states_table(&fixture::fits().flow_states)),
        ("budget", rows::budget_table(&fixture::budget().rows)),
        ("sensitivity", rows::sensitivity_table(&fixture::sensitivity())),
        ("claims", rows::claims_table(&[])),
        ("earlier_results", rows::earlier_results_table(&[])),
    ]
}

#[test]
fn columns_and_dictionary_agree() {
    let dictionary = dictionary::table(&[]);
    let (tables, columns) = (dictionary.texts("table").unwrap(), dictionary.texts("column").unwrap());
    for (name, table) in all() {
        let csv = String::from_utf8(table.to_csv().unwrap()).unwrap();
        let written: Vec<&str> = csv.lines().next().unwrap().split(',').collect();
        let listed: Vec<&str> = tables
            .iter()
            .zip(columns)
            .filter(|(t, _)| t.as_deref() == Some(name))
            .map(|(_, c)| c.as_deref().unwrap())
            .collect();
        assert_eq!(written, listed, "{name}");
    }
}

#[test]
fn every_column_has_a_meaning_and_its_unit_where_the_name_says_one() {
    let units = [("_pa_s", "Pa s"), ("_pa", "Pa"), ("_per_s", "1/s"), ("_n_m", "N m"), ("time_s", "s")];
    for spec in published() {
        for column in &spec.columns {
            assert!(!column.meaning.is_empty() && !column.meaning.ends_with('.'), "{}.{}", spec.name, column.name);
            let base = column.name.trim_end_matches("_low").trim_end_matches("_high");
            let base = base.strip_suffix("_before_pa").map_or(base, |_| "_pa");
            if let Some((_, unit)) = units.iter().find(|(end, _)| base.ends_with(end) && base != "rad_per_s") {
                let speed = column.name == "speed_rad_per_s";
                assert_eq!(column.unit, if speed { "rad/s" } else { unit }, "{}.{}", spec.name, column.name);
            }
        }
    }
}

#[test]
fn the_contract_s_columns_are_there() {
    let wanted = [
        ("runs", "run blake3 rows kept sample volume_fraction geometry instrument loading repeat started"),
        (
            "points",
            "run row step time_s torque_n_m sample_torque_n_m speed_rad_per_s stress_pa rate_per_s strain \
          viscosity_pa_s normal_force_n temperature_c reversal strain_since_reversal excluded",
        ),
        ("exclusions", "run reason points counted share"),
        ("validity", "run check step value unit bound holds remarks"),
        (
            "reversals",
            "reversal run row step time_s sample volume_fraction loading repeat set_point controlled control \
          stress_before_pa u_stress_before_pa rate_before_per_s u_rate_before_per_s viscosity_before_pa_s \
          u_viscosity_before_pa_s viscosity_after_pa_s u_viscosity_after_pa_s contact_share u_contact_share \
          contact_share_low contact_share_high degrees_of_freedom estimator viscosity_plateau_pa_s \
          contact_share_plateau viscosity_minimum_pa_s contact_share_minimum strain_at_minimum recovery_strain \
          recovery_strain_90 contact_recovery_strain dead_strain steady resolved grade remarks",
        ),
        (
            "states",
            "sample volume_fraction set_point controlled stress_pa u_stress_pa stress_pa_low stress_pa_high \
          rate_per_s u_rate_per_s rate_per_s_low viscosity_pa_s u_viscosity_pa_s viscosity_pa_s_high \
          hydrodynamic_viscosity_pa_s u_hydrodynamic_viscosity_pa_s contact_viscosity_pa_s \
          contact_viscosity_pa_s_low relative_viscosity relative_viscosity_low contact_share u_contact_share \
          contact_share_low contact_share_high degrees_of_freedom loadings reversals",
        ),
        (
            "thickening",
            "sample volume_fraction set_point_low set_point_high stress_low_pa stress_high_pa \
          states_without_value viscosity_rise_pa_s contact_share_of_rise u_contact_share_of_rise \
          contact_share_of_rise_low contact_share_of_rise_high degrees_of_freedom verdict",
        ),
        (
            "fits",
            "model scope parameter unit value u_value value_low value_high rss degrees_of_freedom aicc bic remarks",
        ),
        ("budget", "quantity sample set_point source u share"),
        ("claims", "says value found u_found within holds"),
    ];
    for (table, columns) in wanted {
        let spec = published().into_iter().find(|t| t.name == table).unwrap();
        for column in columns.split_whitespace() {
            assert!(spec.columns.iter().any(|c| c.name == column), "{table}.{column}");
        }
    }
}

#[test]
fn unresolved_has_a_bound_and_no_value() {
    let states = states::states_table(&fixture::states().states);
    let column = |name: &str| states.floats(name).unwrap();
    let open: Vec<usize> = (0..states.height()).filter(|i| column("contact_share")[*i].is_nan()).collect();
    assert_eq!(open.len(), 2);
    for i in &open {
        assert!(column("contact_share_high")[*i].is_nan() && column("u_contact_share")[*i].is_nan());
    }
    assert_eq!(column("contact_share_low")[open[0]], 0.42);
    assert!(column("contact_share_low")[open[1]].is_nan());
    let reversals = reversals::reversals_table(&fixture::states().reversals);
    let Some(Values::Bool(resolved)) = reversals.column("resolved") else { unreachable!() };
    for (i, resolved) in resolved.iter().enumerate().filter(|(_, r)| **r == Some(false)) {
        assert!(reversals.floats("contact_share").unwrap()[i].is_nan(), "{resolved:?}");
        assert!(reversals.floats("contact_share_high").unwrap()[i].is_nan());
        assert!(reversals.floats("viscosity_after_pa_s").unwrap()[i].is_nan());
    }
}

#[test]
fn tables_without_rows_keep_their_heads_and_types() {
    let table = rows::fits_table(&[]);
    assert_eq!(Table::from_parquet(&table.to_parquet().unwrap()).unwrap(), table);
    assert!(String::from_utf8(table.to_csv().unwrap()).unwrap().starts_with("model,scope,parameter,"));
}

/// What a referee asks first: where did the readings go?
#[test]
fn rows_are_those_kept_and_those_excluded_by_name() {
    let graded = fixture::runs();
    for run in &graded {
        let counted: u64 = runs::exclusion_rows(std::slice::from_ref(run)).iter().map(|e| e.counted).sum();
        assert_eq!(run.identity.rows, run.account.kept + counted, "{}", run.identity.run);
    }
    let rows = runs::exclusion_rows(&graded[..1]);
    let found: Vec<_> = rows.iter().map(|e| (e.reason.as_str(), e.points, e.counted)).collect();
    assert_eq!(found, [("instrument-inertia", 120, 120), ("refused: missing time", 2, 2), ("spike", 3, 2)]);
}

#[test]
fn chosen_entries_of_preambles_are_columns_of_runs() {
    let mut graded = fixture::runs();
    let keys = ["Bediener", "Gap, mm", "gap mm"];
    for (at, run) in graded.iter_mut().enumerate() {
        let value = |key: &&str| (key.to_string(), (at == 0).then(|| format!("{key} of the first")));
        run.identity.preamble = keys.iter().map(value).collect();
    }
    let table = runs::runs_table(&graded);
    let names = ["preamble_bediener", "preamble_gap__mm", "preamble_gap_mm"];
    for (key, name) in keys.iter().zip(names) {
        let values = table.texts(name).unwrap();
        assert_eq!((values[0].as_deref(), &values[1]), (Some(&*format!("{key} of the first")), &None), "{name}");
    }
    let dictionary = dictionary::table(&keys.map(str::to_owned));
    let columns: Vec<&str> = dictionary.texts("column").unwrap().iter().flatten().map(String::as_str).collect();
    assert!(names.iter().all(|name| columns.contains(name)), "{columns:?}");
    let same = runs::preamble_columns(["a b", "A-B"].into_iter());
    assert_eq!(same, [("A-B", "preamble_a_b".to_owned()), ("a b", "preamble_a_b_2".to_owned())]);
}
