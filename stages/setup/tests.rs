//! Study files, good and bad: what each gives, word for word where somebody will read it.

use super::*;
use crate::physics::geometry::Shape;
use crate::physics::quantity::Quantity;
use crate::reversal::result::Controlled;
use std::fs;
use tempfile::TempDir;

/// The tables that claims of these tests can be about.
pub(super) fn tables() -> Tables<'static> {
    BTreeMap::from([("states", vec!["sample", "set_point", "contact_share", "viscosity_pa_s"])])
}

/// A study folder with this study file and empty files at these paths.
pub(super) fn folder(study: &str, files: &[&str]) -> TempDir {
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join(STUDY_FILE), study).unwrap();
    for file in files {
        let path = folder.path().join(file);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, "").unwrap();
    }
    folder
}

fn good(study: &str, files: &[&str]) -> Study {
    load(folder(study, files).path(), &tables()).unwrap_or_else(|problems| panic!("{}", shown(&problems)))
}

fn shown(problems: &[Diagnostic]) -> String {
    problems.iter().map(|problem| format!("{problem}\n")).collect()
}

fn problems(study: &str, files: &[&str]) -> String {
    load(folder(study, files).path(), &tables()).err().map_or_else(String::new, |problems| shown(&problems))
}

/// The study files of the open studies as they stand; the number of runs is the number of exports beside each.
#[test]
fn open_studies_load_as_they_stand() {
    let table = [
        (include_str!("reference/ledger-study.yaml"), "txt", &["S1", "S2", "S3"][..], 10),
        (include_str!("reference/sheet-study.yaml"), "tsv", &["S1", "S2", "S3"][..], 10),
        (include_str!("reference/mixed-study.yaml"), "txt", &["S1", "S2", "S3", "S4"][..], 13),
    ];
    for (text, ending, samples, runs) in table {
        let mut files = vec![format!("raw/control/control_L1.{ending}")];
        files.extend(samples.iter().flat_map(|s| (1..=3).map(move |l| format!("raw/{s}/{s}_L{l}.{ending}"))));
        let study = good(text, &files.iter().map(String::as_str).collect::<Vec<_>>());
        assert_eq!(study.runs.len(), runs);
        assert_eq!(study.runs[1].loading, Some(Name::Fixed("2".into())));
        assert_eq!(study.stages.fit.models.len(), 1);
    }
}

#[test]
fn the_ledger_study_in_si() {
    let files = ["raw/S1/S1_L1.txt", "raw/S2/S2_L1.txt", "raw/S3/S3_L1.txt", "raw/control/control_L1.txt"];
    let study = good(include_str!("reference/ledger-study.yaml"), &files);
    assert_eq!((study.title.as_str(), study.seed), ("Synthetic campaign 9101", 9101));
    let sample = &study.samples["S1"];
    assert_eq!(sample.liquid.viscosity, Some(Quantity { value: 1.0002237, u: 1.0002237 * 0.005 }));
    assert_eq!(sample.volume_fraction, Some(Quantity { value: 0.5063, u: 0.002 }));
    assert!(study.samples["oil"].control && study.samples["oil"].volume_fraction.is_none());
    let degree = std::f64::consts::PI / 180.0;
    let cone = Shape::ConePlate {
        radius: Quantity { value: 0.025, u: 1e-5 },
        angle: Quantity { value: 2.0 * degree, u: 0.005 * degree },
        truncation: Some(Quantity::exact(52e-6)),
    };
    assert_eq!(study.geometries["cone"].shape, cone);
    let bench = &study.instruments["bench"];
    assert_eq!(bench.inertia, Some(Quantity::exact(31.5e-6)));
    assert_eq!(
        (bench.torque_floor, bench.torque_ceiling, bench.torque_calibration),
        (Some(2e-7), Some(0.2), Some(0.005))
    );
    assert_eq!(study.runs[3].sample, "oil");
    assert_eq!(study.runs[0].entry, "raw[1]");
}

/// A study with everything; tests change a line of it.
pub(super) const WHOLE: &str = "\
study: Beads in oil
authors: [{name: Invented Person, orcid: 0000-0002-1825-0097}]
date: 2026-11-25
liquids:
  carrier: {viscosity: 45.2(5) mPa.s, density: 1208 kg/m3}
particles:
  beads: {density: 2470(10) kg/m3, diameter: 9.2 um}
samples:
  A54: {liquid: carrier, particles: beads, particle_mass: 31.20(1) g, liquid_mass: 12.99(1) g}
  carrier only: {liquid: carrier, control: true}
geometries:
  cone40: {kind: cone-plate, radius: 20.00(2) mm, angle: 2.00(2) deg, truncation: 55 um, inertia: 9.1 uN.m.s2}
instruments:
  bench: {inertia: 21 uN.m.s2, torque_floor: 50 nN.m, torque_ceiling: 150 mN.m, torque_calibration: 0.5 %}
layouts:
  log:
    separator: tab
    columns: {time: {name: t, unit: s}, torque: {name: M, unit: uN.m}, angle: {name: angle, unit: rad}}
raw:
  - {files: raw/A54/*.txt, sample: A54, loading: {preamble: Loading}, repeat: {path: '_R(\\d+)'}, set_points: [1 Pa, 3.0 1/s]}
  - {files: raw/oil.txt, sample: carrier only, loading: 1}
set_aside:
  - {run: raw/oil.txt, step: 5, from: 1 min, because: bubble seen at the rim}
stages:
  clean: {spike: {threshold: 6}, edge_fracture: false}
  reversal:
    before: {window: 3}
    states: {smallest_rise: 0.2}
variants:
  strict: {clean: {spike: {window: 7}, edge_fracture: true}, reversal: {states: {lowest_grade: A}}}
report: {subtitle: Trial, paper: letter}
claims:
  - {says: Contacts carry most, table: states, where: {sample: A54, set_point: 100 Pa}, column: contact_share, value: 0.86, within: 0.03}
";

pub(super) const FILES: [&str; 3] = ["raw/A54/L1_R1.txt", "raw/A54/L1_R2.txt", "raw/oil.txt"];

#[test]
fn everything_is_understood() {
    let study = good(WHOLE, &FILES);
    // (31.20/2470)/(31.20/2470 + 12.99/1208) = 0.01263158/(0.01263158 + 0.01075331) = 0.540160 by hand.
    let phi = study.samples["A54"].volume_fraction.unwrap();
    assert!((phi.value - 0.540_160).abs() < 1e-6, "{}", phi.value);
    let run = &study.runs[0];
    assert_eq!((run.layout.as_str(), run.geometry.as_str(), run.instrument.as_str()), ("log", "cone40", "bench"));
    assert_eq!(
        run.set_points.iter().map(|s| (s.controlled, s.value)).collect::<Vec<_>>(),
        [(Controlled::Stress, 1.0), (Controlled::Rate, 3.0)]
    );
    assert_eq!(study.runs[2].loading, Some(Name::Fixed("1".into())));
    assert_eq!((&run.loading, &run.repeat), (&Some(Name::Preamble("Loading".into())), &Some(Name::Fixed("1".into()))));
    let aside = &study.set_aside["raw/oil.txt"][0];
    assert_eq!((aside.step, aside.from_s, aside.to_s), (Some(5), Some(60.0), None));
    assert_eq!(study.stages.reversal.before.window, 3.0);
    assert_eq!(study.stages.reversal.states.smallest_rise, 0.2);
}

#[test]
fn a_variant_is_the_main_line_with_what_it_changes() {
    let study = good(WHOLE, &FILES);
    let strict = &study.variants["strict"];
    let spike = strict.clean.spike.on().unwrap();
    assert_eq!((spike.window, spike.threshold), (7, 6.0));
    assert!(study.stages.clean.edge_fracture.on().is_none() && strict.clean.edge_fracture.on().is_some());
    assert_eq!(strict.reversal.states.smallest_rise, 0.2);
    assert_eq!(strict.reversal.states.lowest_grade, crate::states::params::LowestGrade::A);
    assert_eq!(strict.reversal.reading(), study.stages.reversal.reading());
}

#[test]
fn leaves_are_known_as_written_and_as_tasks_name_them() {
    let written = good(WHOLE, &FILES).written;
    let at = |path: &str| written.get(path).map(|w| (w.text.as_str(), w.line, w.column)).unwrap_or_default();
    assert_eq!(at("geometries.cone40.radius"), ("20.00(2) mm", 12, 38));
    assert_eq!(at("geometries.cone40.shape.cone-plate.radius"), at("geometries.cone40.radius"));
    assert_eq!(at("samples.A54.liquid.viscosity").0, "45.2(5) mPa.s");
    assert_eq!(at("samples.A54.particles.diameter").0, "9.2 um");
    assert_eq!(at("samples.A54.volume_fraction"), ("31.20(1) g of particles, 12.99(1) g of liquid", 9, 59));
    assert_eq!(at("raw[1].set_points").0, "[1 Pa, 3.0 1/s]");
    assert_eq!(at("raw[1].repeat.path").0, r"'_R(\d+)'");
    assert_eq!(at("layouts.log.columns.torque.unit"), ("uN.m", 18, 65));
    assert_eq!(at("variants.strict.clean.spike.window"), ("7", 30, 36));
    assert_eq!(at("variants.strict.clean.spike.threshold"), at("stages.clean.spike.threshold"));
}

#[test]
fn a_leaf_of_a_task_is_a_leaf_of_the_file() {
    let study = good(WHOLE, &FILES);
    let settings = pipeline::stage::Settings::new("geometry", "geometries.cone40", &study.geometries["cone40"]);
    let shape = settings.value["shape"]["cone-plate"].as_object().unwrap();
    for key in shape.keys() {
        assert!(study.written.contains_key(&format!("{}.shape.cone-plate.{key}", settings.path)), "{key}");
    }
}

/// `<words>` in an expected text stand for the place of those words in the study file.
fn with_places(expected: &str, study: &str) -> String {
    let mut lines = String::new();
    for line in expected.lines() {
        let marked = line.strip_prefix('<').and_then(|line| line.split_once(">: "));
        let line = marked.map_or(line.to_owned(), |(words, rest)| {
            let before = &study[..study.find(words).unwrap_or_else(|| panic!("{words}"))];
            let column = before.chars().rev().take_while(|c| *c != '\n').count() + 1;
            format!("{STUDY_FILE}:{}:{column}: {rest}", before.matches('\n').count() + 1)
        });
        lines.push_str(&line);
        lines.push('\n');
    }
    lines
}

/// One line of `WHOLE` changed: what is found, what stands there instead, and all that must be said.
#[test]
fn each_mistake_has_its_diagnostic() {
    let table = [
        // Names.
        (
            "liquid: carrier, p",
            "liquid: carier, p",
            "<carier,>: there is no liquid `carier` (did you mean `carrier`?)\n",
        ),
        ("particles: beads, p", "particles: sand, p", "<sand,>: there is no particles `sand` (there are `beads`)\n"),
        ("sample: A54, l", "sample: A45, l", "<A45,>: there is no sample `A45` (did you mean `A54`?)\n"),
        (
            "sample: A54, l",
            "l",
            "<{files: raw/A54>: `sample` is missing, and the study has more than one (add `sample: …`, one of `A54`, `carrier only`)\n",
        ),
        (
            "run: raw/oil.txt",
            "run: raw/oil.tx",
            "<raw/oil.tx,>: there is no run `raw/oil.tx` (did you mean `raw/oil.txt`?)\n",
        ),
        // Units and values.
        ("45.2(5) mPa.s", "45.2(5)", "<45.2(5),>: `45.2(5)` has no unit: expected a viscosity, for example `mPa.s`\n"),
        ("45.2(5) mPa.s", "45.2(5) mPas", "<45.2(5) mPas>: unknown unit `mPas`: did you mean `mPa.s`?\n"),
        ("9.2 um", "9.2 s", "<9.2 s>: `s` is the unit of a time: expected a length, for example `mm`\n"),
        ("radius: 20.00(2) mm", "radius: -20 mm", "<-20 mm>: radius is -20 mm: it must be above 0\n"),
        ("angle: 2.00(2) deg", "angle: 90 deg", "<90 deg>: angle is 90 deg: it must lie between 0 and 90 deg\n"),
        (
            "particle_mass: 31.20(1) g, liquid_mass: 12.99(1) g",
            "volume_fraction: 1.02",
            "<1.02}>: volume fraction is 1.02: it must lie between 0 and 1\n",
        ),
        (
            "particle_mass: 31.20(1) g, liquid_mass: 12.99(1) g",
            "volume_fraction: 54.1",
            "<54.1}>: volume fraction is 54.1: it must lie between 0 and 1\n",
        ),
        (", liquid_mass: 12.99(1) g", "", "<A54: {>: `liquid_mass` is missing: the solid fraction needs both masses\n"),
        (
            "particle_mass",
            "volume_fraction: 0.54, particle_mass",
            "<0.54,>: the solid fraction is given twice (keep either `volume_fraction` or the two masses)\n",
        ),
        (
            ", density: 1208 kg/m3",
            "",
            "<A54: {>: the solid fraction from masses needs the density of `carrier` (add `density: …` to liquids.carrier, or give `volume_fraction` instead of the masses)\n",
        ),
        (
            "control: true",
            "control: true, particles: beads",
            "<beads}>: a control is a Newtonian liquid without particles (take `particles` out, or `control: true`)\n",
        ),
        (
            ", control: true",
            "",
            "<carrier only: {>: sample `carrier only` has no particles (add `particles: …`, or `control: true` if this is a liquid without particles)\n",
        ),
        (
            "kind: cone-plate",
            "kind: parallel-plates, gap: 1 mm",
            "<2.00(2) deg>: parallel-plates has no `angle` (it has `radius`, `gap`)\n<55 um>: parallel-plates has no `truncation` (it has `radius`, `gap`)\n",
        ),
        ("radius: 20.00(2) mm, ", "", "<cone40: {>: cone-plate needs `radius` (add `radius: …` with its unit)\n"),
        (
            "torque_ceiling: 150 mN.m",
            "torque_ceiling: 50 nN.m",
            "<50 nN.m, torque_cal>: the torque ceiling must be above the torque floor\n",
        ),
        (
            "3.0 1/s]",
            "3.0 s]",
            "<3.0 s]>: `s` is the unit of a time: expected a stress, for example `Pa` (a set-point is a stress, `10 Pa`, or a rate, `10 1/s`)\n",
        ),
        ("from: 1 min", "from: 1 min, to: 30 s", "<30 s,>: `to` must be later than `from`\n"),
        // Files.
        (
            "raw/A54/*.txt",
            "raw/A54/*.csv",
            "<raw/A54/*.csv>: no file matches `raw/A54/*.csv` (raw/A54/ holds `raw/A54/L1_R1.txt`, `raw/A54/L1_R2.txt`)\n",
        ),
        (
            "raw/A54/*.txt",
            "raw/A45/*.txt",
            "<raw/A45>: no file matches `raw/A45/*.txt` (there is no folder `raw/A45/`: did you mean `raw/A54/`?)\n",
        ),
        (
            "raw/A54/*.txt",
            "'raw/[A54/*.txt'",
            "<'raw/[A>: `raw/[A54/*.txt` is no pattern: unclosed character class; missing ']' (`*`, `?`, `[ab]`, `{a,b}` and `**` have a meaning)\n",
        ),
        (
            "files: raw/oil.txt",
            "files: raw/*/L1_R2.txt",
            "<raw/*/L1_R2.txt>: `raw/A54/L1_R2.txt` is matched twice (a run belongs to one entry; the first one stands in line 20)\n<raw/oil.txt, step>: there is no run `raw/oil.txt`\n",
        ),
        (
            "files: raw/oil.txt",
            "files: /raw/oil.txt",
            "</raw/oil.txt, sample>: `/raw/oil.txt` is an absolute path (write it relative to the folder of the study file)\n<raw/oil.txt, step>: there is no run `raw/oil.txt`\n",
        ),
        (
            "files: raw/oil.txt",
            r"files: raw\oil.txt",
            "<raw\\oil>: `raw\\oil.txt` has a backslash (separate folders by `/` on every system)\n<raw/oil.txt, step>: there is no run `raw/oil.txt`\n",
        ),
        (
            "files: raw/oil.txt",
            "files: ../raw/oil.txt",
            "<../raw>: `../raw/oil.txt` goes through `.` or `..` (write it from the folder of the study file downwards; raw exports lie inside the study)\n<raw/oil.txt, step>: there is no run `raw/oil.txt`\n",
        ),
        (
            "_R(",
            "_Q(",
            "<'_Q>: the pattern `_Q(\\d+)` does not match `raw/A54/L1_R1.txt`, nor 1 more (a group takes the name out of the path: `{path: '_L(\\d+)'}`)\n",
        ),
        // Front, claims, settings.
        ("study: Beads in oil", "study: ''", "<''>: the study has no title (write `study: …`)\n"),
        (
            "2026-11-25",
            "25.11.2026",
            "<25.11.2026>: `25.11.2026` is not a date (write it as YYYY-MM-DD, for example `2026-11-25`)\n",
        ),
        (
            "1825-0097",
            "1825-0098",
            "<0000-0002-1825-0098>: `0000-0002-1825-0098` is not an ORCID iD (write it as four groups of four, for example `0000-0002-1825-0097`; its last sign is a check digit)\n",
        ),
        ("table: states", "table: state", "<state,>: `state` is no table (did you mean `states`?)\n"),
        (
            "column: contact_share",
            "column: contact_shares",
            "<contact_shares>: `contact_shares` is no column of table `states` (did you mean `contact_share`?)\n",
        ),
        (
            "threshold: 6",
            "threshold: 600",
            "<600>: `threshold` is 600: its range is 2 to 50 (Distance from the neighbours' median in robust standard deviations.)\n",
        ),
        (
            "window: 7",
            "window: 1",
            "<1}, edge>: `window` is 1: its range is 2 to 50 (Readings on each side that a reading is compared with.)\n",
        ),
        (
            "  strict: ",
            "  str ict: ",
            "<str ict>: `str ict` cannot be the name of a variant (a variant names a folder: letters, digits, `-` and `_`)\n",
        ),
        ("unit: uN.m}", "unit: Pa}", "<Pa}>: `Pa` is the unit of a stress: expected a torque, for example `uN.m`\n"),
        // What the YAML library finds.
        ("report: {subtitle", "report: {subtitel", "<subtitel>: unknown key `subtitel` (did you mean `subtitle`?)\n"),
        // The authors' own sections.
        (
            "report: {subtitle: Trial,",
            "report: {sections: [{title: More, file: raw/oil.tx}],",
            "<raw/oil.tx}>: `raw/oil.tx` is neither Typst nor plain text (name it `.typ` where it is Typst, `.txt` where it is plain text)\n<raw/oil.tx}>: there is no file `raw/oil.tx` in the study (did you mean `raw/oil.txt`?)\n",
        ),
        (
            "report: {subtitle: Trial,",
            "report: {sections: [{title: More, file: raw/oil.txt, uses: [../secret.png]}],",
            "<../secret.png]>: there is no file `../secret.png` in the study (write its path from the folder of the study file downwards, with `/`)\n",
        ),
        (
            "{smallest_rise: 0.2}",
            "{ends: {A45: {low: 1 Pa}}}",
            "<A45>: `A45` is no sample with a rise (did you mean `A54`?)\n",
        ),
        (
            "{smallest_rise: 0.2}",
            "{ends: {A54: {low: 1 Pas}}}",
            "<1 Pas>: unknown unit `Pas`: did you mean `Pa.s`? (a set-point is a stress, `10 Pa`, or a rate, `10 1/s`)\n",
        ),
        ("geometries:", "geometrys:", "<geometrys>: unknown key `geometrys` (did you mean `geometries`?)\n"),
        (
            "    before: {window: 3}",
            "    befor: {window: 3}",
            "<befor:>: unknown key `befor` (did you mean `before`?)\n",
        ),
        (
            "    before: {window: 3}",
            "    before: {windw: 3}",
            "<windw>: unknown key `windw` (did you mean `window`?)\n",
        ),
        (
            "    states: {smallest_rise",
            "    states: {smalest_rise",
            "<smalest>: unknown key `smalest_rise` (did you mean `smallest_rise`?)\n",
        ),
        ("spike: {window: 7}", "spike: {windows: 7}", "<windows>: unknown key `windows` (did you mean `window`?)\n"),
        (
            "kind: cone-plate",
            "kind: cone-plates",
            "<cone-plates>: `cone-plates` is not one of the choices (did you mean `cone-plate`?)\n",
        ),
        (
            "liquids:",
            "study: Again\nliquids:",
            "<study: Again>: the key `study` is there twice (keep one of them, or give the second another name)\n",
        ),
        (
            "beads: {density: 2470(10) kg/m3, diameter: 9.2 um}",
            "beads: {density: 2470(10) kg/m3}\n  beads: {}",
            "<beads: {}>: the key `beads` is there twice (keep one of them, or give the second another name)\n",
        ),
        ("study: Beads in oil\n", "", "study.yaml: `study` is missing (add `study: …`)\n"),
        ("within: 0.03", "within: narrow", "<narrow>: this cannot be read as a number\n"),
        ("control: true", "control: yes", "<yes}>: this is neither `true` nor `false` (write one of them)\n"),
        ("date: 2026-11-25", "seed: -7", "<-7>: this cannot be read as a whole number that is not negative\n"),
        (
            "loading: {preamble: Loading}",
            "loading: {preambel: Loading}",
            "<preambel>: `preambel` is not one of the choices (did you mean `preamble`?)\n",
        ),
    ];
    let mut failed = String::new();
    for (from, to, expected) in table {
        assert!(WHOLE.contains(from), "{from}");
        let study = WHOLE.replacen(from, to, 1);
        let (found, expected) = (problems(&study, &FILES), with_places(expected, &study));
        if found != expected {
            failed.push_str(&format!("{to}\n  expected {expected}  found    {found}"));
        }
    }
    assert!(failed.is_empty(), "\n{failed}");
}

#[test]
fn independent_mistakes_are_told_together_in_the_order_of_the_file() {
    let study = WHOLE
        .replace("45.2(5) mPa.s", "45.2")
        .replace("sample: A54, l", "sample: A55, l")
        .replace("table: states", "table: stats");
    let found = problems(&study, &FILES);
    let lines: Vec<_> = found.lines().map(|line| line.split(':').nth(1).unwrap()).collect();
    assert_eq!(lines, ["5", "20", "33"], "{found}");
}

#[test]
fn a_diagnostic_shows_its_line() {
    let study = WHOLE.replace("9.2 um", "9.2 micron");
    let found = load(folder(&study, &FILES).path(), &tables()).unwrap_err();
    let place = found[0].place.as_ref().unwrap();
    assert_eq!(place.text.as_deref(), Some("  beads: {density: 2470(10) kg/m3, diameter: 9.2 micron}"));
    assert_eq!(found[0].message, "unknown unit `micron`: did you mean `um`?");
}

#[test]
fn a_missing_key_is_told_beside_its_neighbours() {
    let found = problems(&WHOLE.replace("{liquid: carrier, control: true}", "{control: true}"), &FILES);
    assert_eq!(found, "study.yaml:10:18: `liquid` is missing (add `liquid: …` beside this key)\n");
}

#[test]
fn a_study_without_raw_exports_or_apparatus_says_what_is_missing() {
    assert_eq!(
        problems("study: A\n", &[]),
        "study.yaml: the study has no raw exports (add an entry such as `- {files: \"raw/*.txt\", sample: …}`)\n"
    );
    let found = problems("study: A\nraw: [{files: a.txt}]\n", &["a.txt"]);
    for kind in ["layout", "sample", "geometry", "instrument"] {
        let message = format!(
            "study.yaml:2:7: `{kind}` is missing, and the study defines none (add `{kind}` here, and what it means above)\n"
        );
        assert!(found.contains(&message), "{found}");
    }
}

#[test]
fn the_study_file_itself() {
    let empty = TempDir::new().unwrap();
    let found = |folder: &TempDir| shown(&load(folder.path(), &tables()).unwrap_err());
    assert!(found(&empty).starts_with("study.yaml: there is no `study.yaml` in this folder (name the folder"));
    fs::write(empty.path().join("study.yml"), "").unwrap();
    assert!(found(&empty).contains("(rename `study.yml` to `study.yaml`)"));
    for nothing in ["", "\n  \n", "# only a comment\n", "\u{feff}"] {
        assert!(found(&folder(nothing, &[])).starts_with("study.yaml: the study file is empty"), "{nothing:?}");
    }
    let directory = TempDir::new().unwrap();
    fs::create_dir(directory.path().join(STUDY_FILE)).unwrap();
    assert_eq!(found(&directory), "study.yaml: `study.yaml` is a folder (the study file is a text file)\n");
    let latin = folder("", &[]);
    fs::write(latin.path().join(STUDY_FILE), b"study: A\nabstract: M\xfcller\n").unwrap();
    assert_eq!(found(&latin), "study.yaml:2:12: the study file is not UTF-8 (save it as UTF-8 in the editor)\n");
}

#[test]
fn hostile_or_broken_yaml_is_an_error_and_no_crash() {
    let bomb: String =
        (1..30).map(|i| format!("a{i}: &x{i} [*x{0}, *x{0}, *x{0}, *x{0}, *x{0}, *x{0}]\n", i - 1)).collect();
    let table = [
        "[".repeat(20_000),
        format!("study: A\na0: &x0 [1]\n{bomb}"),
        "study: A\n\tauthors: []\n".to_owned(),
        "study: A\n---\nstudy: B\n".to_owned(),
        "study: [A\n".to_owned(),
        "just text\n".to_owned(),
        "- study\n".to_owned(),
        "study: {a: b}\n".to_owned(),
        "study: A\nclaims: [{value: .nan}]\n".to_owned(),
    ];
    for text in table {
        let found = problems(&text, &[]);
        let start: String = text.chars().take(40).collect();
        assert!(found.starts_with("study.yaml") && found.lines().count() == 1, "{start}: {found}");
    }
}

#[test]
fn a_mark_and_line_ends_of_other_systems_change_nothing() {
    let plain = good(WHOLE, &FILES);
    let marked = good(&format!("\u{feff}{}", WHOLE.replace('\n', "\r\n")), &FILES);
    // The ledger keeps the bytes as they stand.
    assert!(marked.text.starts_with(b"\xEF\xBB\xBFstudy"));
    assert_eq!(plain, Study { text: plain.text.clone(), ..marked });
}

#[test]
fn links_out_of_the_study_are_refused() {
    #[cfg(unix)]
    {
        let elsewhere = folder("", &["outside.txt"]);
        let study = folder(WHOLE, &["raw/A54/L1_R1.txt"]);
        std::os::unix::fs::symlink(elsewhere.path().join("outside.txt"), study.path().join("raw/oil.txt")).unwrap();
        let found = shown(&load(study.path(), &tables()).unwrap_err());
        assert!(found.contains("`raw/oil.txt` is a link out of the study"), "{found}");
        fs::remove_file(study.path().join("raw/oil.txt")).unwrap();
        std::os::unix::fs::symlink("A54/L1_R1.txt", study.path().join("raw/oil.txt")).unwrap();
        assert_eq!(load(study.path(), &tables()).unwrap().runs.len(), 2);
    }
}

#[test]
fn what_is_ours_is_no_export() {
    let study = WHOLE.replace("raw/oil.txt, sample", "'**/oil.txt', sample");
    let files = ["raw/A54/L1_R1.txt", "raw/oil.txt", "results/oil.txt", ".shearback/oil.txt", "edited/1/oil.txt"];
    assert_eq!(good(&study, &files).runs.len(), 2);
}

#[test]
fn paths_may_have_any_letters() {
    let study = WHOLE.replace("raw/oil.txt", "raw/Öl 1.txt");
    assert_eq!(good(&study, &["raw/A54/L1_R1.txt", "raw/Öl 1.txt"]).runs[1].path, "raw/Öl 1.txt");
}

#[test]
fn settings_in_force_with_default_range_meaning_and_line() {
    let rows = listing::settings(&good(WHOLE, &FILES));
    let row = |path: &str| rows.iter().find(|row| row.path == path).unwrap();
    let threshold = row("stages.clean.spike.threshold");
    assert_eq!((threshold.value.as_f64(), threshold.default.as_ref().unwrap().as_f64()), (Some(6.0), Some(5.0)));
    assert_eq!((threshold.range.as_deref(), threshold.line), (Some("2 to 50"), Some(25)));
    assert_eq!(row("stages.clean.edge_fracture").value, false);
    assert_eq!(row("stages.clean.edge_fracture").default, Some(true.into()));
    assert_eq!(row("stages.clean.spike").value, true);
    assert_eq!(row("stages.reversal.before.window").line, Some(27));
    assert_eq!(row("stages.reversal.states.lowest_grade").range.as_deref(), Some("A | B | C"));
    assert_eq!(row("seed").default, Some(1.into()));
    assert_eq!(row("report.paper").value, "letter");
    assert_eq!(row("layouts.log.separator").value, "tab");
    assert!(rows.iter().all(|row| !row.meaning.is_empty()), "{:?}", rows.iter().find(|row| row.meaning.is_empty()));
}

#[test]
fn the_schema_allows_what_loads_and_names_what_it_means() {
    let schema = schema();
    assert_eq!(schema["additionalProperties"], false);
    assert_eq!(schema["required"], serde_json::json!(["study"]));
    for (key, section) in schema["properties"].as_object().unwrap() {
        assert!(section["description"].is_string(), "{key} has no meaning");
    }
    let pattern = schema["$defs"]["Quantity"]["pattern"].as_str().unwrap();
    let pattern = regex::Regex::new(pattern).unwrap();
    for text in ["20.00(2) mm", "(45.2 ± 0.5) mPa.s", "-3 Cel", ".5 mm", "45.2 mPa.s ± 1 %"] {
        assert!(pattern.is_match(text), "{text}");
    }
}

/// Anything a person or a broken editor may leave in the file is an answer or an error, never a crash.
mod anything {
    use super::*;
    use crate::physics::quantity::Quantity;
    use crate::physics::units::{Dimension, parse_unit};
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn units_and_quantities(text in "[0-9.,eE()±+/%µ°²⁻·* a-zA-Z-]{0,24}|\\PC{0,24}") {
            let _ = parse_unit(&text);
            for dimension in [Dimension::NONE, Dimension::LENGTH, Dimension::TEMPERATURE] {
                if let Ok(q) = Quantity::parse(&text, dimension) {
                    prop_assert!(q.value.is_finite() && q.u.is_finite() && q.u >= 0.0);
                }
            }
        }

        #[test]
        fn a_study_file_with_a_piece_exchanged(start in 0..WHOLE.len(), length in 0usize..40, piece in "\\PC{0,12}") {
            let ends = |at: usize| (at..=WHOLE.len()).find(|at| WHOLE.is_char_boundary(*at)).unwrap_or(0);
            let (start, end) = (ends(start), ends((start + length).min(WHOLE.len())));
            let study = format!("{}{piece}{}", &WHOLE[..start], &WHOLE[end..]);
            if let Err(problems) = load(folder(&study, &FILES).path(), &tables()) {
                prop_assert!(!problems.is_empty() && problems.iter().all(|p| !p.message.is_empty()));
            }
        }
    }
}

/// A study with one liquid written this way, and nothing else that could be wrong.
fn with_liquid(liquid: &str) -> String {
    format!(
        "study: s
liquids: {{carrier: {liquid}}}
particles: {{beads: {{density: 2470 kg/m3}}}}
samples: {{A: {{liquid: carrier, particles: beads, volume_fraction: 0.5}}}}
geometries: {{c: {{kind: cone-plate, radius: 20 mm, angle: 2 deg}}}}
instruments: {{b: {{}}}}
layouts: {{l: {{columns: {{time: {{name: t, unit: s}}, torque: {{name: M, unit: N.m}}, angle: {{name: a, unit: rad}}}}}}}}
raw: [{{files: a.txt, sample: A}}]
"
    )
}

#[test]
fn a_liquid_may_be_known_by_its_composition() {
    let study =
        good(&with_liquid("{composition: water-glycerol, glycerol: 80 %, temperature: 25.0(1) degC}"), &["a.txt"]);
    let liquid = &study.samples["A"].liquid;
    // Cheng (2008) at 80 % and 25 °C, by an independent script (physics/reference/cheng2008_fine.csv).
    assert!((liquid.viscosity.unwrap().value / 45.350_400_888_5e-3 - 1.0).abs() < 1e-10, "{liquid:?}");
    // 1205.5 kg/m³ in handbooks (from memory): volumes that add up are low, within what is claimed.
    let density = liquid.density.unwrap();
    assert!((density.value - 1205.5).abs() < 2.0 * density.u, "{liquid:?}");
}

#[test]
fn a_composition_without_its_particulars_or_with_too_many_is_refused() {
    let table = [
        ("{composition: water}", "`temperature` is missing: the viscosity follows from it"),
        ("{composition: water, temperature: 25 degC, glycerol: 0.2}", "nothing follows from `glycerol` here"),
        ("{composition: water-glycerol, temperature: 25 degC}", "`glycerol` is missing"),
        ("{viscosity: 1 Pa.s, temperature: 25 degC}", "nothing follows from `temperature` here"),
        ("{composition: water, temperature: 25 degC, viscosity: 1 mPa.s}", "the viscosity is given twice"),
        ("{composition: water, temperature: 60 degC}", "it must lie between 0 °C and 40 °C"),
    ];
    for (liquid, expected) in table {
        let found = problems(&with_liquid(liquid), &["a.txt"]);
        assert!(found.contains(expected), "{liquid}: {found}");
    }
}
