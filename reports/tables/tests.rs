//! Every written column stands in the dictionary and the other way round; unresolved is null with a bound.

use super::published::{PublishedTable, TableSource, named, published};
use super::{cells, dictionary, runs};
use crate::fixture;
use pipeline::stage::{Context, Produced, Settings};
use stages::states::result::States;
use stages::table::{Table, Values};
use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

/// The table as its task writes it from the invented study; none where another stage does.
fn written(table: &PublishedTable) -> Option<Table> {
    let json = |name: &str, value: &dyn erased_json::Json| vec![(name.to_owned(), Arc::new(value.bytes()))];
    let inputs = match table.source {
        TableSource::GradedRuns => fixture::runs().iter().flat_map(|run| json(&run.identity.run, run)).collect(),
        TableSource::Controls => {
            let runs = fixture::runs();
            let runs = runs.iter().flat_map(|run| json(&run.identity.run, run));
            json("control:bench", &fixture::control()).into_iter().chain(runs).collect()
        }
        TableSource::States => json("states", &fixture::states()),
        TableSource::Fits => json("fits", &fixture::fits()),
        TableSource::Budget => json("budget", &fixture::budget()),
        TableSource::Sensitivity => json("sensitivity", &fixture::sensitivity()),
        TableSource::Claims | TableSource::EarlierResults | TableSource::Dictionary => Vec::new(),
        TableSource::Readings => return None,
    };
    Some(parsed(&write(table, inputs)))
}

mod erased_json {
    pub(super) trait Json {
        fn bytes(&self) -> Vec<u8>;
    }
    impl<T: serde::Serialize> Json for T {
        fn bytes(&self) -> Vec<u8> {
            serde_json::to_vec(self).unwrap()
        }
    }
}

fn write(table: &PublishedTable, inputs: Vec<(String, Arc<Vec<u8>>)>) -> Produced {
    let chosen: [&str; 0] = [];
    let settings = [Settings::new("preamble", "raw", &chosen)];
    let never = AtomicBool::new(false);
    table.write(&Context::new(&settings, inputs, None, Path::new(""), &never)).unwrap()
}

fn parsed(produced: &Produced) -> Table {
    let bytes = produced.outputs.iter().find(|(name, _)| *name == "parquet").map(|(_, bytes)| bytes).unwrap();
    Table::from_parquet(bytes).unwrap()
}

fn of_states(name: &str, states: &States) -> Table {
    let inputs = vec![("states".to_owned(), Arc::new(serde_json::to_vec(states).unwrap()))];
    parsed(&write(&named(name).unwrap(), inputs))
}

fn names(table: &Table) -> Vec<&str> {
    table.columns().iter().map(|(name, _)| name.as_str()).collect()
}

#[test]
fn columns_and_dictionary_agree() {
    let dictionary = dictionary::entries(&[]);
    for table in published() {
        let Some(written) = written(&table) else { continue };
        let listed: Vec<&str> =
            dictionary.iter().filter(|e| e.table == table.name).map(|e| e.column.as_str()).collect();
        assert_eq!(names(&written), listed, "{}", table.name);
    }
}

#[test]
fn the_key_of_a_table_names_one_row() {
    for table in published() {
        let columns: Vec<&str> = table.columns.iter().map(|c| c.name).collect();
        assert!(!table.key.is_empty() && table.key.iter().all(|key| columns.contains(key)), "{}", table.name);
        let Some(written) = written(&table) else { continue };
        let mut seen = BTreeSet::new();
        for row in 0..written.height() {
            let key: Vec<_> = table.key.iter().map(|name| cells::cell(&written, name, row)).collect();
            assert!(seen.insert(key.clone()), "{}: {key:?}", table.name);
        }
    }
}

#[test]
fn the_readme_lists_every_table() {
    let readme = include_str!("../../README.md");
    let line = readme.lines().find(|line| line.starts_with("| `tables/` |")).unwrap();
    let listed: BTreeSet<&str> = line.split('`').skip(3).step_by(2).map(|name| name.trim_end_matches('/')).collect();
    let wanted: BTreeSet<&str> = published().iter().map(|table| table.name).collect();
    assert_eq!(listed, wanted);
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
        let spec = named(table).unwrap();
        for column in columns.split_whitespace() {
            assert!(spec.columns.iter().any(|c| c.name == column), "{table}.{column}");
        }
    }
}

#[test]
fn unresolved_has_a_bound_and_no_value() {
    let states = of_states("states", &fixture::states());
    let column = |name: &str| states.floats(name).unwrap();
    let open: Vec<usize> = (0..states.height()).filter(|i| column("contact_share")[*i].is_nan()).collect();
    assert_eq!(open.len(), 2);
    for i in &open {
        assert!(column("contact_share_high")[*i].is_nan() && column("u_contact_share")[*i].is_nan());
    }
    assert_eq!(column("contact_share_low")[open[0]], 0.42);
    assert!(column("contact_share_low")[open[1]].is_nan());
    let reversals = of_states("reversals", &fixture::states());
    let Some(Values::Bool(resolved)) = reversals.column("resolved") else { unreachable!() };
    for (i, resolved) in resolved.iter().enumerate().filter(|(_, r)| **r == Some(false)) {
        assert!(reversals.floats("contact_share").unwrap()[i].is_nan(), "{resolved:?}");
        assert!(reversals.floats("contact_share_high").unwrap()[i].is_nan());
        assert!(reversals.floats("viscosity_after_pa_s").unwrap()[i].is_nan());
    }
}

#[test]
fn tables_without_rows_keep_their_heads_and_types() {
    let (empty, full) = (of_states("states", &States::default()), of_states("states", &fixture::states()));
    assert_eq!((empty.height(), names(&empty)), (0, names(&full)));
    let kinds = |table: &Table| table.columns().iter().map(|(_, v)| std::mem::discriminant(v)).collect::<Vec<_>>();
    assert_eq!(kinds(&empty), kinds(&full));
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
    let dictionary = dictionary::entries(&keys.map(str::to_owned));
    let columns: Vec<&str> = dictionary.iter().map(|entry| entry.column.as_str()).collect();
    assert!(names.iter().all(|name| columns.contains(name)), "{columns:?}");
    let same = runs::preamble_columns(["a b", "A-B"].into_iter());
    assert_eq!(same, [("A-B", "preamble_a_b".to_owned()), ("a b", "preamble_a_b_2".to_owned())]);
}
