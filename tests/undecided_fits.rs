//! Studies whose data cannot carry a fit end in words: in the tables, on the page, and in the methods text. The whole
//! program reads raw exports that are written here, stress held, without inertia; the physics is written once more.

use crate::support::shearback;
use crate::support::table::{Row, read};
use std::fmt::Write as _;
use std::path::Path;

const STRESSES: [f64; 6] = [0.5, 2.0, 5.0, 12.0, 30.0, 100.0];
const LIQUID_PA_S: f64 = 1.0;
/// Strain of the legs at one stress: on, against, back.
const LEGS: [f64; 3] = [5.0, 4.0, 4.0];

/// A made-up study.
struct Made {
    fractions: &'static [f64],
    /// Onset stress, Pa; none where contacts do not matter at any stress.
    onset: Option<f64>,
    /// Sample and stress, by their places, at which every loading reads three times the viscosity.
    wild: Option<(usize, usize)>,
    models: &'static str,
}

/// Draws between −1 and 1 from a name, so that no order of calls matters (SplitMix64; Steele, Lea & Flood 2014, from
/// memory).
fn draw(name: &[u64]) -> f64 {
    let mut z =
        name.iter().fold(0x9e37_79b9_7f4a_7c15_u64, |h, v| (h ^ v).wrapping_mul(0xbf58_476d_1ce4_e5b9) ^ (h >> 29));
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
}

impl Made {
    /// Steady viscosity (Pa s) and its contact share, by Wyart and Cates with φ_0 = 0.65, φ_m = 0.57, β = 1, A = 1.
    fn steady(&self, sample: usize, stress: usize) -> (f64, f64) {
        let relative = |f: f64| {
            let gap = 1.0 - self.fractions[sample] / (0.65 - 0.08 * f);
            1.0 / (gap * gap)
        };
        let friction = self.onset.map_or(0.0, |onset| libm::exp(-onset / STRESSES[stress]));
        let (low, whole) = (relative(0.0), relative(friction));
        let wild = if self.wild == Some((sample, stress)) { 3.0 } else { 1.0 };
        (LIQUID_PA_S * whole * wild, (0.2 * low + 0.9 * (whole - low)) / whole)
    }

    /// One loading through all stresses: time, angle, torque, with 0.3 % of noise on the torque.
    fn export(&self, sample: usize, loading: u64) -> String {
        // A cone of 20 mm and 1 degree.
        let (torque_per_stress, angle_per_strain) =
            (2.0 / 3.0 * std::f64::consts::PI * 8e-6, std::f64::consts::PI / 180.0);
        let filling = libm::exp(0.02 * draw(&[sample as u64, loading]));
        let mut text = "t_s,angle_rad,torque_Nm\n".to_owned();
        let (mut time, mut angle) = (0.0, 0.0);
        for (at, stress) in STRESSES.iter().enumerate() {
            let (viscosity, share) = self.steady(sample, at);
            for (leg, length) in LEGS.into_iter().enumerate() {
                let sense = if leg == 1 { -1.0 } else { 1.0 };
                let mut strain = 0.0;
                while strain < length {
                    let step = (0.15 * strain).clamp(0.002, 0.05);
                    strain += step;
                    let left = if leg == 0 { 0.0 } else { share * libm::exp(-strain / 0.5) };
                    let here =
                        viscosity * filling * (1.0 - left) * (1.0 + 0.004 * draw(&[sample as u64, loading, at as u64]));
                    time += step * here / stress;
                    angle += sense * step * angle_per_strain;
                    let name = [sample as u64, loading, at as u64, leg as u64, (strain * 1e4) as u64];
                    let torque = sense * stress * torque_per_stress * (1.0 + 0.003 * draw(&name));
                    let _ = writeln!(text, "{time:.6},{angle:.9},{torque:.6e}");
                }
            }
        }
        text
    }

    fn write(&self, folder: &Path) {
        let (mut samples, mut raw) = (String::new(), String::new());
        for (sample, phi) in self.fractions.iter().enumerate() {
            let _ = writeln!(samples, "  S{sample}: {{liquid: l, particles: p, volume_fraction: {phi} ± 0.001}}");
            let _ = writeln!(
                raw,
                "  - {{files: raw/S{sample}_*.csv, layout: t, sample: S{sample}, geometry: cone, instrument: i, loading: \
                 {{path: '_L(\\d+)'}}, set_points: [{}]}}",
                STRESSES.map(|s| format!("{s} Pa")).join(", ")
            );
            for loading in 1..=3 {
                std::fs::create_dir_all(folder.join("raw")).unwrap();
                let path = folder.join(format!("raw/S{sample}_L{loading}.csv"));
                std::fs::write(path, self.export(sample, loading)).unwrap();
            }
        }
        let text = format!(
            "study: What fits cannot know\nliquids:\n  l: {{viscosity: {LIQUID_PA_S} Pa.s ± 1 %, density: 1000 kg/m3}}\n\
             particles:\n  p: {{density: 1000 kg/m3, diameter: 1 um}}\nsamples:\n{samples}geometries:\n  cone: {{kind: \
             cone-plate, radius: 20 mm, angle: 1 deg}}\ninstruments:\n  i: {{inertia: 1 nN.m.s2}}\nlayouts:\n  t: \
             {{separator: \",\", torque_includes_inertia: true, columns: {{time: {{name: t_s, unit: s}}, angle: {{name: \
             angle_rad, unit: rad}}, torque: {{name: torque_Nm, unit: N.m}}}}}}\nraw:\n{raw}stages:\n  fit: {{models: \
             [{}]}}\n  uncertainty: {{skip: true}}\n  reversal: {{sensitivity: false}}\n",
            self.models
        );
        std::fs::write(folder.join("study.yaml"), text).unwrap();
    }
}

/// What the program says of a study.
struct Words {
    fits: Vec<Row>,
    models: Vec<Row>,
    thickening: Vec<Row>,
    /// What stands on the page about fits, one sentence a line, as [`plain`] makes it.
    page: String,
    methods: String,
}

/// All texts below a value.
fn strings(value: &serde_json::Value) -> Vec<&str> {
    use serde_json::Value::{Array, Object, String};
    match value {
        String(text) => vec![text],
        Array(all) => all.iter().flat_map(strings).collect(),
        Object(all) => all.values().flat_map(strings).collect(),
        _ => Vec::new(),
    }
}

/// Without capitals and unbreakable spaces, which sentences have on the page and not in the tables.
fn plain(text: &str) -> String {
    text.to_lowercase().replace(['\u{a0}', '\u{202f}'], " ")
}

fn words(made: &Made) -> Words {
    let folder = tempfile::tempdir().unwrap();
    made.write(folder.path());
    let said = shearback(&["run", folder.path().to_str().unwrap()]);
    assert_eq!(said.status, 0, "{}\n{}", said.out, said.err);
    let results = folder.path().join("results");
    let table = |name: &str| read(&results.join(format!("tables/{name}.csv")));
    let data = std::fs::read_to_string(results.join("report/data.json")).unwrap();
    let data: serde_json::Value = serde_json::from_str(&data).unwrap();
    let words = Words {
        fits: table("fits"),
        models: table("models"),
        thickening: table("thickening"),
        page: plain(&[strings(&data["fits"]), strings(&data["tables"]["said_of_fits"])].concat().join("\n")),
        methods: std::fs::read_to_string(results.join("methods.md")).unwrap(),
    };
    println!("{}\n", words.page);
    for row in words.fits.iter().filter(|row| row.text("model") != "stress-trend") {
        println!(
            "{} | {} | {:?} | {}",
            row.text("model"),
            row.text("parameter"),
            row.number("value"),
            row.text("remarks")
        );
    }
    words
}

impl Words {
    /// No row of these models has a number but what was held, and every other says why; so does the page, once.
    fn carry_no_number(&self, models: &[&str], why: &str) {
        let mut seen = 0;
        for row in self.fits.iter().filter(|row| models.contains(&row.text("model"))) {
            seen += 1;
            let held = row.text("remarks").starts_with("held");
            for column in ["value", "u_value", "value_low", "value_high"] {
                let number = row.number(column).filter(|_| !(held && column == "value"));
                assert_eq!(number, None, "{} of {}: {}", column, row.text("parameter"), row.text("remarks"));
            }
            assert!(held || row.text("remarks").contains(why), "{}", row.text("remarks"));
        }
        assert!(seen > 0, "{models:?}");
        assert!(self.page.contains(&plain(why)), "{}", self.page);
    }

    /// What the table of models advises, which the page repeats.
    fn advise(&self, model: &str, what: &str) {
        let advice = self.models.iter().find(|row| row.text("model") == model).unwrap().text("further_measurements");
        assert!(advice.contains(what), "{advice}");
        assert!(
            self.page.contains("further measurements that would help") && self.page.contains(&plain(what)),
            "{}",
            self.page
        );
    }
}

const LAWS: &str = "wyart-cates, maron-pierce, krieger-dougherty";

#[test]
fn one_solid_fraction() {
    let words = words(&Made { fractions: &[0.52], onset: Some(5.0), wild: None, models: LAWS });
    words
        .carry_no_number(&["wyart-cates"], "one solid fraction does not tell the amplitude from the jamming fractions");
    words.carry_no_number(&["maron-pierce"], "not fitted: one free parameter, one state");
    words.carry_no_number(&["krieger-dougherty"], "not fitted: two free parameters, one state");
    words.advise("wyart-cates", "at least three solid fractions");
    words.advise("krieger-dougherty", "at least three solid fractions");
    assert!(words.methods.contains("The thickening law asks for three solid fractions"), "{}", words.methods);
}

#[test]
fn two_solid_fractions() {
    let words = words(&Made { fractions: &[0.47, 0.53], onset: Some(5.0), wild: None, models: LAWS });
    words.carry_no_number(
        &["wyart-cates"],
        "two solid fractions determine amplitude and jamming fractions without any check",
    );
    words.carry_no_number(&["krieger-dougherty"], "not fitted: two free parameters, two states");
    words.advise("wyart-cates", "at least three solid fractions");
}

#[test]
fn stresses_below_the_onset() {
    let words = words(&Made { fractions: &[0.45, 0.5, 0.54], onset: Some(2e4), wild: None, models: "wyart-cates" });
    words.carry_no_number(&["wyart-cates"], "from 0.500 to 100 Pa no viscosity depends on the stress");
    words.carry_no_number(&["wyart-cates"], "either the onset stress lies outside or these particles do not thicken");
    words.advise("wyart-cates", "measure at stresses above 100 Pa");
    assert!(words.thickening.iter().all(|row| row.text("verdict") == "no thickening to explain"));
}

/// The same viscosity at all rates is a power law of index 1, and no yield stress, no second plateau, no time can be
/// told from it.
#[test]
fn a_constant_viscosity() {
    let models = "wyart-cates, power-law, herschel-bulkley, cross, carreau";
    let words = words(&Made { fractions: &[0.45, 0.5, 0.54], onset: None, wild: None, models });
    words.carry_no_number(&["wyart-cates"], "no viscosity depends on the stress");
    let of = |model: &str, parameter: &str| {
        let rows = words.fits.iter().filter(|r| (r.text("model"), r.text("parameter")) == (model, parameter));
        rows.map(|row| (row.number("value"), row.text("remarks").to_owned())).collect::<Vec<_>>()
    };
    for (index, _) in of("power-law", "flow_index") {
        assert!((index.unwrap() - 1.0).abs() < 0.01, "{index:?}");
    }
    words.carry_no_number(&["cross", "carreau"], "the viscosity does not depend on the rate beyond its uncertainty");
    words.advise("cross", "a wider range of rates");
    assert!(words.page.contains("cross (s0, s1 and s2)"), "{}", words.page);
    for (value, remarks) in of("herschel-bulkley", "yield_stress") {
        assert!(value.is_none() && remarks.contains("not identified"), "{value:?} {remarks}");
    }
}

#[test]
fn one_wild_state() {
    let made = Made { fractions: &[0.45, 0.5, 0.54], onset: Some(5.0), wild: Some((1, 3)), models: "wyart-cates" };
    let words = words(&made);
    words.carry_no_number(&["wyart-cates"], "no value: the state of S1 at 12 Pa lies");
    words.carry_no_number(&["wyart-cates"], "and the parameters depend on it");
    words.carry_no_number(&["wyart-cates"], "set it aside with a reason, or choose a robust loss");
    assert!(words.methods.contains("moves a parameter by more than its standard uncertainty"), "{}", words.methods);
}
