//! What exports tell of the geometries and instruments they were measured with: how many there are, which export has
//! which, and the part of a study file in which the person fills them in. Numbers are left to the person.

use super::columns::TODO;
use super::names::Export;
use super::yaml::comment;
use std::collections::BTreeSet;
use std::fmt::Write;

/// Words of preambles that speak of a geometry, in English, German and French.
const WORDS: [&str; 14] = [
    "tool",
    "cone",
    "kegel",
    "cône",
    "plate",
    "platte",
    "cylinder",
    "zylinder",
    "couette",
    "bob",
    "radius",
    "truncation",
    "geometr",
    "gap",
];

/// Words that tell the kind of a geometry, and the keys that each kind has.
const KINDS: [(&[&str], &str, &str); 3] = [
    (&["cone", "kegel", "cône"], "cone-plate", "radius: TODO mm, angle: TODO deg, truncation: TODO um"),
    (&["plate", "platte", "plan"], "parallel-plates", "radius: TODO mm, gap: TODO mm"),
    (
        &["cylinder", "zylinder", "couette", "bob"],
        "concentric-cylinders",
        "inner_radius: TODO mm, outer_radius: TODO mm, length: TODO mm",
    ),
];

/// With more than this the entries tell something else than the tool, a measured gap for example (empirical).
const MOST: usize = 4;

/// One geometry to be filled in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Tool {
    /// Its name in the study file.
    pub(super) name: String,
    /// What the exports say of it.
    told: Vec<String>,
}

/// Which geometry each export has, by index; and a word where that stays unclear.
pub(super) fn geometries(exports: &[Export]) -> (Vec<Tool>, Vec<usize>, Option<String>) {
    let told: Vec<Vec<String>> = exports.iter().map(told).collect();
    let mut kinds: Vec<&Vec<String>> = Vec::new();
    for entries in &told {
        if !kinds.contains(&entries) {
            kinds.push(entries);
        }
    }
    if kinds.len() == 2 {
        // What says nothing is of the only one that something is said of.
        kinds.retain(|kind| !kind.is_empty());
    }
    if (2..=MOST).contains(&kinds.len()) {
        let tool =
            |(at, told): (usize, &&Vec<String>)| Tool { name: format!("geometry-{}", at + 1), told: (*told).clone() };
        let of = told.iter().map(|entries| kinds.iter().position(|kind| *kind == entries).unwrap_or(0)).collect();
        return (kinds.iter().enumerate().map(tool).collect(), of, None);
    }
    let unclear = (kinds.len() > MOST)
        .then(|| format!("the exports tell {} different things of their geometry; all share one here", kinds.len()));
    let all: BTreeSet<String> = told.iter().flatten().cloned().collect();
    let one = Tool { name: "geometry".to_owned(), told: all.into_iter().take(8).collect() };
    (vec![one], vec![0; exports.len()], unclear)
}

/// An instrument for each layout where each layout has geometries of its own, as each program writes its exports in its
/// way; else one: a control serves only runs on its own instrument.
pub(super) fn instruments(exports: &[Export], tool_of: &[usize]) -> Vec<String> {
    let layouts: BTreeSet<&str> = exports.iter().map(|export| export.layout.as_str()).collect();
    let pairs: BTreeSet<(usize, &str)> =
        exports.iter().zip(tool_of).map(|(export, tool)| (*tool, export.layout.as_str())).collect();
    let tools: BTreeSet<&usize> = tool_of.iter().collect();
    let apart = pairs.len() == tools.len();
    match layouts.len() {
        2..=MOST if apart => layouts.into_iter().map(instrument_of).collect(),
        _ => vec!["rheometer".to_owned()],
    }
}

/// Name of the instrument whose exports have this layout, where each has its own.
pub(super) fn instrument_of(layout: &str) -> String {
    format!("rheometer-{layout}")
}

/// Entries of a preamble that speak of the geometry.
fn told(export: &Export) -> Vec<String> {
    let of_tool = export.preamble.iter().filter(|(key, value)| speaks(&format!("{key} {value}"), &WORDS));
    of_tool.map(|(key, value)| comment(&format!("{key} = {value}"))).collect()
}

/// Whether a word begins with one of these, or holds a long one as German compounds do: silicone is no cone.
fn speaks(text: &str, words: &[&str]) -> bool {
    let lower = text.to_lowercase();
    let within = |word: &str| words.iter().any(|w| word.starts_with(w) || (w.len() > 4 && word.contains(w)));
    lower.split(|c: char| !c.is_alphanumeric()).any(within)
}

/// Geometries and instruments as part of a study file.
pub(super) fn text(geometries: &[Tool], instruments: &[String]) -> String {
    let mut out =
        "\n# The shape of each geometry and its moment of inertia; without an inertia nothing is corrected for it.\n"
            .to_owned();
    let known = |tool: &Tool| KINDS.iter().find(|(words, _, _)| speaks(&tool.told.join(" "), words));
    if geometries.iter().any(|tool| known(tool).is_none()) {
        for (_, kind, keys) in KINDS {
            let _ = writeln!(out, "# {kind}: {keys}");
        }
    }
    out += "geometries:\n";
    for tool in geometries {
        for entry in &tool.told {
            let _ = writeln!(out, "  # The exports say: {entry}");
        }
        let _ = match known(tool) {
            Some((_, kind, keys)) => {
                writeln!(out, "  {}: {{kind: {kind}, {keys}}}     # inertia: 9.1 uN.m.s2", tool.name)
            }
            None => writeln!(out, "  {}: {{kind: {TODO}}}", tool.name),
        };
    }
    out += "\n# Inertia of the moving part without the geometry, and the range in which its torque can be read.\n";
    if instruments.len() > 1 {
        out += "# If two of these are one machine, keep one, also in `raw`: a control serves the runs on its instrument.\n";
    }
    out += "instruments:\n";
    for name in instruments {
        let _ = writeln!(
            out,
            "  {name}: {{inertia: {TODO} uN.m.s2, torque_floor: {TODO} nN.m, torque_ceiling: {TODO} mN.m, torque_calibration: {TODO} %}}"
        );
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn export(layout: &str, preamble: &[(&str, &str)]) -> Export {
        let preamble = preamble.iter().map(|(k, v)| ((*k).to_owned(), (*v).to_owned())).collect();
        Export { layout: layout.to_owned(), preamble, ..Export::default() }
    }

    #[test]
    fn two_cones_are_two_geometries() {
        let exports = [
            export("csv", &[("Messkegel", "50 mm, 2°"), ("Sample", "silicone")]),
            export("tsv", &[("cone", "40 mm / 1.5 deg")]),
            export("csv", &[("Messkegel", "50 mm, 2°"), ("Sample", "B46")]),
        ];
        let (found, of, unclear) = geometries(&exports);
        assert_eq!((of, unclear), (vec![0, 1, 0], None));
        let text = text(&found, &instruments(&exports, &[0, 1, 0]));
        assert!(text.contains("# The exports say: Messkegel = 50 mm, 2°\n  geometry-1: {kind: cone-plate"), "{text}");
        assert!(text.contains("  rheometer-tsv: {inertia: TODO"), "{text}");
    }

    #[test]
    fn one_cone_with_two_kinds_of_exports_is_on_one_machine() {
        let exports = ["xlsx", "tsv"].map(|layout| export(layout, &[("cone", "40 mm / 1.5 deg")]));
        assert_eq!(instruments(&exports, &geometries(&exports).1), ["rheometer"]);
    }

    #[test]
    fn a_gap_that_differs_in_each_export_parts_nothing() {
        let exports: Vec<Export> = (0..9).map(|i| export("txt", &[("Gap", &format!("0.99{i} mm"))])).collect();
        let (found, of, unclear) = geometries(&exports);
        let of_one = vec![0; 9];
        assert_eq!((found.len(), &of), (1, &of_one));
        assert!(unclear.is_some_and(|word| word.contains("9 different things")));
        assert_eq!(instruments(&exports, &of_one), ["rheometer"]);
        assert!(text(&found, &[]).contains("geometry: {kind: TODO}"), "the kind is not told");
    }
}
