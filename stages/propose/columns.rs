//! What the columns of an export are for, judged by their names, units and values. Separators and headers are found
//! elsewhere.

use super::shape::{Shape, format, time_format};
use crate::ingest::header::split;
use crate::ingest::layout::{Column, Columns, Role};
use crate::ingest::number::Field;
use crate::ingest::times::TimeFormat;
use crate::ingest::units::{bare, exported_unit, with_unit};
use crate::physics::units::{Dimension, code};

/// The mark of what only the person knows.
pub(super) const TODO: &str = "TODO";

/// One column of an export.
#[derive(Debug, Clone)]
pub(super) struct Seen {
    /// As it stands in the header.
    pub(super) name: String,
    /// Which of the columns of that name, where there are several.
    pub(super) which: Option<usize>,
    /// Name without its unit, in lower case.
    plain: String,
    /// Unit as the export says it.
    pub(super) unit: Option<String>,
    dimension: Option<Dimension>,
    /// How its times are written.
    time: Option<TimeFormat>,
    /// Values, NaN where missing; empty for columns of words.
    values: Vec<f64>,
    /// How often a word changes from row to row, in a column of words.
    changes: Option<usize>,
}

/// Columns with their roles, and what stays unclear.
#[derive(Debug, Default)]
pub(super) struct Mapped {
    pub(super) columns: Columns,
    pub(super) time_restarts: bool,
    pub(super) unclear: Vec<String>,
    /// Columns that have no role, by name.
    pub(super) unused: Vec<String>,
}

/// Words by role: whole names, and parts of names. German and French beside English, because instruments speak them.
struct Words {
    role: Role,
    whole: &'static [&'static str],
    part: &'static [&'static str],
}

/// In the order in which roles choose: names that say most come first.
const WORDS: [Words; 11] = [
    Words {
        role: Role::Step,
        whole: &[
            "step",
            "part",
            "leg",
            "segment",
            "interval",
            "abschnitt",
            "schritt",
            "stage",
            "section",
            "phase",
            "stufe",
            "étape",
        ],
        part: &["step", "segment", "interval", "abschnitt", "section no"],
    },
    Words {
        role: Role::Time,
        whole: &["t", "time", "zeit", "temps", "clock", "elapsed"],
        part: &["time", "zeit", "temps", "clock", "elapsed", "stamp"],
    },
    Words {
        role: Role::Torque,
        whole: &["m", "md", "torque", "moment", "couple"],
        part: &["torque", "drehmoment", "moment", "couple"],
    },
    Words {
        role: Role::Angle,
        whole: &["phi", "φ", "θ", "theta", "angle", "winkel"],
        part: &["angle", "angular displacement", "angular position", "winkel", "deflection", "auslenk"],
    },
    Words {
        role: Role::Speed,
        whole: &["n", "omega", "ω", "speed", "drehzahl"],
        part: &["speed", "drehzahl", "velocity", "vitesse", "winkelgeschw"],
    },
    Words {
        role: Role::Stress,
        whole: &["tau", "τ", "sigma", "σ", "stress"],
        part: &["shear stress", "stress", "schubspannung", "spannung", "contrainte"],
    },
    Words {
        role: Role::Rate,
        whole: &["d", "gammadot", "gamma_dot", "γ̇", "rate"],
        part: &["shear rate", "shear-rate", "rate", "scherrate", "schergeschw", "gradient", "gammadot"],
    },
    Words { role: Role::Strain, whole: &["gamma", "γ", "strain"], part: &["strain", "deform", "verform", "scherung"] },
    Words {
        role: Role::NormalForce,
        whole: &["fn", "f_n", "f", "push"],
        part: &["normal force", "normalkraft", "axial force", "force normale", "axialkraft"],
    },
    Words { role: Role::Temperature, whole: &["temp", "temperature", "temperatur", "bath"], part: &["temp", "bath"] },
    Words { role: Role::Label, whole: &["label"], part: &["label", "step name", "kind", "name"] },
];

/// What makes a name something else than its unit suggests.
const OTHERWISE: [&str; 17] = [
    "n1",
    "n2",
    "normal stress",
    "modulus",
    "storage",
    "loss",
    "complex",
    "yield",
    "pressure",
    "std",
    "error",
    "deviation",
    "ambient",
    "oscill",
    "amplitude",
    "phase angle",
    "humidity",
];

/// What makes a column a command instead of a reading.
const COMMANDED: [&str; 6] = ["set", "target", "soll", "consigne", "nominal", "command"];

/// The columns of an export with all their values.
pub(super) fn seen(lines: &[&str], shape: &Shape) -> Vec<Seen> {
    let format = format(shape.decimal, shape.thousands);
    let mut texts: Vec<Vec<&str>> = vec![Vec::new(); shape.names.len()];
    let mut fields = Vec::new();
    for line in &shape.rows {
        split(lines[*line], shape.separator, &mut fields);
        for (at, column) in texts.iter_mut().enumerate() {
            column.push(fields.get(at).copied().unwrap_or_default());
        }
    }
    let names = &shape.names;
    (0..names.len())
        .map(|at| {
            let row = shape.units.as_ref().and_then(|(_, fields)| fields.get(at)).map(|text| bare(text));
            let row = row.filter(|text| !text.is_empty() && text.chars().any(|c| c != '-'));
            let (base, inline) = with_unit(&names[at]).map_or((names[at].as_str(), None), |(n, u)| (n, Some(u)));
            let unit = row.or(inline).map(str::to_owned);
            let words = texts[at].iter().find(|text| !text.is_empty());
            let time = words.and_then(|text| time_format(text));
            let number = |text: &&str| match format.read(text) {
                Field::Number(value) => value,
                _ => f64::NAN,
            };
            let values: Vec<f64> = texts[at].iter().map(number).collect();
            let numeric = values.iter().filter(|v| v.is_finite()).count() * 2 > values.len();
            Seen {
                name: names[at].clone(),
                which: which(names, at),
                plain: base.trim().to_lowercase(),
                dimension: unit.as_deref().and_then(|unit| exported_unit(unit).ok()).map(|unit| unit.dimension),
                unit,
                time,
                values: if numeric { values } else { Vec::new() },
                changes: (!numeric).then(|| texts[at].windows(2).filter(|w| w[0] != w[1]).count()),
            }
        })
        .collect()
}

fn which(names: &[String], at: usize) -> Option<usize> {
    let same = names.iter().filter(|name| **name == names[at]).count();
    (same > 1).then(|| names[..at].iter().filter(|name| **name == names[at]).count() + 1)
}

impl Seen {
    fn says(&self, words: &[&str]) -> bool {
        words.iter().any(|word| self.plain.contains(word))
    }

    /// How well a name fits a role: 3 whole, 2 in part, 0 not.
    fn named(&self, words: &Words) -> u8 {
        let capital = self.name.starts_with(|c: char| c.is_uppercase());
        // `T` is a temperature and `t` a time where no unit says otherwise.
        if self.plain == "t" && self.dimension.is_none() {
            return 3 * u8::from(words.role == if capital { Role::Temperature } else { Role::Time });
        }
        let parts: Vec<&str> = self.plain.split(['_', '-', ' ', '.', '(', '[']).collect();
        if words.whole.contains(&self.plain.as_str()) {
            3
        } else if words.whole.contains(&parts[0]) || self.says(words.part) {
            2
        } else {
            0
        }
    }

    /// Whether the unit allows the role, forbids it (none), or leaves it open.
    fn fits(&self, role: Role) -> Option<u8> {
        let Some(wanted) = role.dimension() else {
            let unitless = self.unit.is_none() || self.dimension == Some(Dimension::NONE);
            return unitless.then_some(0);
        };
        if role == Role::Time && self.time.is_some() {
            return Some(2);
        }
        match self.dimension {
            Some(found) if found == wanted => Some(2),
            Some(found) if role == Role::Speed && found == Dimension::RATE => Some(0),
            Some(_) => None,
            None if self.values.is_empty() => None,
            None => Some(0),
        }
    }

    fn score(&self, words: &Words) -> u8 {
        let Some(by_unit) = self.fits(words.role) else { return 0 };
        let by_name = self.named(words);
        let tells = matches!(
            words.role,
            Role::Torque | Role::Angle | Role::Stress | Role::NormalForce | Role::Temperature | Role::Time
        );
        // Some units say by themselves what is measured; a speed in 1/s must be called one.
        match (by_name, by_unit) {
            (0, 2) if tells || self.dimension == Some(Dimension::ANGULAR_SPEED) => 2,
            (0, 2) if words.role == Role::Rate => 1,
            (0, _) => 0,
            (name, unit) => name + unit,
        }
    }

    fn whole_numbers(&self) -> bool {
        !self.values.is_empty() && self.values.iter().all(|v| v.is_finite() && v.fract() == 0.0)
    }

    /// How often the value changes from one row to the next.
    fn value_changes(&self) -> usize {
        self.values.windows(2).filter(|w| w[0] != w[1]).count()
    }

    /// A step stays the same over rows, and numbers are whole.
    fn looks_like_steps(&self) -> bool {
        self.whole_numbers() && self.value_changes() * 3 <= self.values.len()
    }

    /// A number of the reading: it grows by one from row to row, and has no unit.
    fn looks_like_a_count(&self) -> bool {
        let by_one = self.values.windows(2).filter(|w| w[1] - w[0] == 1.0).count();
        self.unit.is_none() && self.whole_numbers() && by_one * 2 > self.values.len()
    }

    fn falls(&self) -> usize {
        self.values.windows(2).filter(|w| w[1] < w[0]).count()
    }

    fn column(&self, role: Role) -> Column {
        let base = Column { name: self.name.clone(), which: self.which, ..Column::default() };
        if role.dimension().is_none() {
            return base;
        }
        if let Some(format) = self.time.as_ref().filter(|_| role == Role::Time) {
            let format = match format {
                TimeFormat::Hours => "hh:mm:ss",
                TimeFormat::Minutes => "mm:ss",
                _ => "date-time",
            };
            return Column { format: Some(format.to_owned()), ..base };
        }
        let unit = self.unit.as_deref().and_then(code).filter(|unit| role.unit(unit).is_ok());
        // A strain without unit is a pure number: nothing else is usual but %, and that would be said.
        let pure = || (role == Role::Strain).then(|| "1".to_owned());
        Column { unit: Some(unit.or_else(pure).unwrap_or_else(|| TODO.to_owned())), ..base }
    }
}

/// Finds the role of every column that has one.
pub(super) fn map(seen: &[Seen]) -> Mapped {
    let mut mapped = Mapped::default();
    let mut taken = vec![false; seen.len()];
    set_points(seen, &mut taken, &mut mapped);
    for words in &WORDS {
        if let Some(at) = choose(seen, &taken, words, &mut mapped) {
            taken[at] = true;
            *slot(&mut mapped.columns, words.role) = Some(seen[at].column(words.role));
            if words.role == Role::Time {
                mapped.time_restarts = seen[at].falls() > 0 && seen[at].time.is_none();
            }
        }
    }
    drop_growing_strain(seen, &mut mapped);
    ask(&mut mapped);
    mapped.unused = (0..seen.len()).filter(|at| !taken[*at]).map(|at| seen[at].name.clone()).collect();
    mapped
}

fn set_points(seen: &[Seen], taken: &mut [bool], mapped: &mut Mapped) {
    for (at, column) in seen.iter().enumerate().filter(|(_, column)| column.says(&COMMANDED)) {
        taken[at] = true;
        let role = match column.dimension {
            Some(Dimension::STRESS) => Role::SetStress,
            Some(Dimension::RATE) => Role::SetRate,
            _ => continue,
        };
        *slot(&mut mapped.columns, role) = Some(column.column(role));
    }
}

fn choose(seen: &[Seen], taken: &[bool], words: &Words, mapped: &mut Mapped) -> Option<usize> {
    let usable = |at: &usize| !taken[*at] && !seen[*at].says(&OTHERWISE) && allowed(&seen[*at], words.role);
    let mut scored: Vec<(u8, usize)> =
        (0..seen.len()).filter(usable).map(|at| (seen[at].score(words), at)).filter(|(score, _)| *score > 0).collect();
    if words.role == Role::Time {
        // A time that runs on through the whole run says more than one that begins anew in each step.
        scored.iter_mut().for_each(|(score, at)| *score += 4 * u8::from(seen[*at].falls() == 0));
    }
    let best = scored.iter().map(|(score, _)| *score).max()?;
    let equals: Vec<usize> = scored.iter().filter(|(score, _)| *score == best).map(|(_, at)| *at).collect();
    if let [first, second, ..] = equals[..] {
        let role = words.role.name();
        let (a, b) = (&seen[first].name, &seen[second].name);
        mapped.unclear.push(format!("both `{a}` and `{b}` may be the {role}; `{a}` was taken"));
    }
    equals.first().copied()
}

fn allowed(column: &Seen, role: Role) -> bool {
    match role {
        Role::Step => column.looks_like_steps(),
        Role::Label => column.changes.is_some_and(|changes| column.time.is_none() && changes < 1000),
        Role::Time => true,
        _ => column.time.is_none() && !column.looks_like_a_count(),
    }
}

/// A strain that grows on through reversals is a path length, which says nothing of the sense.
fn drop_growing_strain(seen: &[Seen], mapped: &mut Mapped) {
    let values = |column: &Option<Column>| {
        let column = column.as_ref()?;
        seen.iter().find(|s| s.name == column.name && s.which == column.which).map(|s| s.values.as_slice())
    };
    let senses = |values: &[f64]| values.iter().any(|v| *v > 0.0) && values.iter().any(|v| *v < 0.0);
    let turns = [&mapped.columns.rate, &mapped.columns.speed].into_iter().filter_map(values).any(senses);
    let grows = values(&mapped.columns.strain).is_some_and(|strain| strain.windows(2).all(|w| w[1] >= w[0]));
    if turns && grows {
        mapped.columns.strain = None;
        mapped.unclear.push(
            "the strain column grows on where the rate changes its sign: it is a path, and is left out".to_owned(),
        );
    }
}

/// What is missing or must be asked.
fn ask(mapped: &mut Mapped) {
    let columns = &mapped.columns;
    let mut unclear: Vec<String> = columns
        .mapped()
        .into_iter()
        .filter(|(_, column)| column.unit.as_deref() == Some(TODO))
        .map(|(role, column)| {
            format!("the unit of `{}` ({}) is not told: fill in the {TODO}", column.name, role.name())
        })
        .collect();
    if columns.time.is_none() {
        unclear.push("no column was recognised as time".to_owned());
    }
    if columns.torque.is_none() && columns.stress.is_none() {
        unclear.push("no column was recognised as torque or stress".to_owned());
    }
    if columns.angle.is_none() && columns.speed.is_none() && columns.strain.is_none() && columns.rate.is_none() {
        unclear.push(
            "no column was recognised as angle, speed, strain or rate: reversals are found from the motion".to_owned(),
        );
    }
    mapped.unclear.extend(unclear);
}

fn slot(columns: &mut Columns, role: Role) -> &mut Option<Column> {
    match role {
        Role::Step => &mut columns.step,
        Role::Label => &mut columns.label,
        Role::Time => &mut columns.time,
        Role::Angle => &mut columns.angle,
        Role::Speed => &mut columns.speed,
        Role::Torque => &mut columns.torque,
        Role::Stress => &mut columns.stress,
        Role::Rate => &mut columns.rate,
        Role::Strain => &mut columns.strain,
        Role::NormalForce => &mut columns.normal_force,
        Role::Temperature => &mut columns.temperature,
        Role::SetStress => &mut columns.set_stress,
        Role::SetRate => &mut columns.set_rate,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::super::shape;
    use super::*;
    use crate::ingest::text::lines;

    fn mapped(text: &str) -> Mapped {
        let lines = lines(text);
        map(&seen(&lines, &shape::of(&lines).unwrap()))
    }

    fn roles(text: &str) -> Vec<(&'static str, String, String)> {
        let mapped = mapped(text);
        let column = |(role, c): (Role, &Column)| {
            (role.name(), c.name.clone(), c.unit.clone().or_else(|| c.format.clone()).unwrap_or_default())
        };
        mapped.columns.mapped().into_iter().map(column).collect()
    }

    fn has(found: &[(&'static str, String, String)], role: &str, name: &str, unit: &str) {
        assert!(
            found.iter().any(|(r, n, u)| (*r, n.as_str(), u.as_str()) == (role, name, unit)),
            "{role} {name} {unit}: {found:?}"
        );
    }

    #[test]
    fn units_tell_what_names_do_not() {
        let found = roles(
            "Part;Part label;Clock;Angle;Torque;Push;Bath\n-;-;s;mrad;uN.m;N;degC\n1;a;0.1;1;2;3;25\n1;a;0.2;2;2;3;25\n1;a;0.3;3;2;3;25\n2;b;0.4;4;2;3;25\n",
        );
        for (role, name, unit) in [
            ("step", "Part", ""),
            ("label", "Part label", ""),
            ("time", "Clock", "s"),
            ("angle", "Angle", "mrad"),
            ("torque", "Torque", "uN.m"),
            ("normal_force", "Push", "N"),
            ("temperature", "Bath", "Cel"),
        ] {
            has(&found, role, name, unit);
        }
    }

    #[test]
    fn the_time_that_runs_on_is_taken_and_row_numbers_are_not_steps() {
        let text = "no\tleg\tt_leg\tt_abs\ttau\tD\teta\tgamma\tN1\tT\n1\t1\ts\tmin\tPa\t1/s\tmPa.s\t%\tPa\tC\n\
            1\t1\t1\t1\t5\t1\t5\t1\t3\t25\n2\t1\t2\t2\t5\t1\t5\t2\t3\t25\n3\t1\t3\t3\t5\t1\t5\t3\t3\t25\n4\t2\t1\t4\t-5\t-1\t5\t2\t3\t25\n5\t2\t2\t5\t-5\t-1\t5\t1\t3\t25\n6\t2\t3\t6\t-5\t-1\t5\t0\t3\t25\n";
        let found = roles(text);
        for (role, name, unit) in [
            ("step", "leg", ""),
            ("time", "t_abs", "min"),
            ("stress", "tau", "Pa"),
            ("rate", "D", "1/s"),
            ("strain", "gamma", "%"),
            ("temperature", "T", "Cel"),
        ] {
            has(&found, role, name, unit);
        }
        assert!(mapped(text).unused.contains(&"N1".to_owned()));
    }

    #[test]
    fn units_stand_in_names_and_repeated_names_are_counted() {
        let found = roles("Zeit [hh:mm:ss];Drehmoment (mNm);Drehzahl / 1/min\n00:00:01;1;2\n00:00:02;1;2\n");
        has(&found, "time", "Zeit [hh:mm:ss]", "hh:mm:ss");
        has(&found, "torque", "Drehmoment (mNm)", "mN.m");
        has(&found, "speed", "Drehzahl / 1/min", "1/min");
        let twice = mapped("t;M;M;D\ns;Pa;uN.m;1/s\n1;2;3;4\n2;3;4;5\n").columns.torque.unwrap();
        assert_eq!((twice.name.as_str(), twice.which), ("M", Some(2)));
    }

    #[test]
    fn what_is_not_told_is_asked() {
        let found = mapped("t;torque;angle\n1;2;3\n2;3;3.5\n");
        assert_eq!(found.unclear.len(), 3, "{:?}", found.unclear);
        assert_eq!(mapped("t;torque;n\n1;2;1\n2;3;2\n3;3;3\n").columns.speed, None, "a count of readings is no speed");
        assert_eq!(found.columns.torque.unwrap().unit.as_deref(), Some(TODO));
        let path = mapped("t;M;D;gamma\ns;uN.m;1/s;1\n1;2;3;1\n2;3;-3;2\n3;3;-3;3\n");
        assert!(path.columns.strain.is_none() && path.unclear.iter().any(|u| u.contains("it is a path")));
    }
}
