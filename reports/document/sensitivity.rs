//! What choices and variants move, as printed tables: a line per headline number. It analyses nothing.

use super::printed::{Printed, or_missing, printed};
use crate::text::numbers;
use crate::text::remarks::states::choice;
use crate::text::words::{among_first, shortened};
use stages::states::result::{Interval, States, Thickening, Verdict};
use stages::uncertainty::result::SensitivityRow;

/// A line per headline number: as in force, the lowest and the highest that another choice gives, the verdicts. Other
/// quantities that go by the same name are left to the figure.
pub(super) fn sensitivity(rows: &[SensitivityRow], thickening: &[Thickening]) -> Printed {
    let columns = [
        ("sample", "name"),
        ("quantity", "left"),
        ("in force", "right"),
        ("lowest", "text"),
        ("highest", "text"),
        ("spread / u", "right"),
        ("verdicts", "text"),
    ];
    let same = |a: &SensitivityRow, b: &SensitivityRow| {
        (a.quantity, &a.sample, &a.set_point) == (b.quantity, &b.sample, &b.set_point)
    };
    let headline = rows.chunk_by(same).filter(|rows| is_headline(&rows[0], thickening));
    let mut lines: Vec<Vec<String>> = headline.filter_map(line).collect();
    // The lines of a sample stand together, samples in their order.
    let order = |line: &Vec<String>| thickening.iter().position(|t| t.sample == line[0]);
    lines.sort_by_key(order);
    printed(&columns, lines).grouped(&[0])
}

/// The share of the rise, and the contact share at both ends of it.
fn is_headline(row: &SensitivityRow, thickening: &[Thickening]) -> bool {
    let at_an_end = |t: &Thickening| [&t.set_point_low, &t.set_point_high].contains(&&row.set_point);
    row.set_point.is_none() || thickening.iter().any(|t| t.sample == row.sample && at_an_end(t))
}

fn line(rows: &[SensitivityRow]) -> Option<Vec<String>> {
    let base = rows.iter().find(|r| r.in_force())?.interval?;
    let others: Vec<(&SensitivityRow, Interval)> =
        rows.iter().filter(|r| !r.in_force() && r.decides()).filter_map(|r| Some((r, r.interval?))).collect();
    let lowest = others.iter().min_by(|a, b| a.1.value.total_cmp(&b.1.value))?;
    let highest = others.iter().max_by(|a, b| a.1.value.total_cmp(&b.1.value))?;
    let value_and_choice = |(row, i): &(&SensitivityRow, Interval)| {
        format!("{} {}", numbers::like(i.value, base.value, base.u), choice(row.choice.as_ref()))
    };
    let at = rows[0].set_point.as_ref();
    Some(vec![
        rows[0].sample.clone(),
        at.map_or_else(|| "share of the rise".to_owned(), |at| format!("contact share, {at}")),
        numbers::concise(base.value, base.u),
        value_and_choice(lowest),
        value_and_choice(highest),
        numbers::significant((highest.1.value - lowest.1.value) / base.u, 2),
        verdicts(rows),
    ])
}

/// What another choice does to the verdict and the share of the rise of each sample, where it takes the verdict away or
/// moves the share by more than its standard uncertainty; samples of which the same is said share a line. One line where
/// no choice does, nothing where nothing was chosen otherwise.
pub(super) fn that_matter(rows: &[SensitivityRow]) -> Vec<String> {
    let shares: Vec<&SensitivityRow> = rows.iter().filter(|r| r.set_point.is_none() && r.decides()).collect();
    if !shares.iter().any(|r| !r.in_force()) {
        return Vec::new();
    }
    let mut said: Vec<(String, Vec<String>)> = Vec::new();
    for (sample, what) in shares.chunk_by(|a, b| a.sample == b.sample).flat_map(matters) {
        match said.iter_mut().find(|(earlier, _)| *earlier == what) {
            Some((_, samples)) => samples.push(sample),
            None => said.push((what, vec![sample])),
        }
    }
    if said.is_empty() {
        let none =
            "No choice on the grid moves a verdict, or a share of the rise by more than its standard uncertainty.";
        return vec![none.to_owned()];
    }
    let all: Vec<String> = shares.chunk_by(|a, b| a.sample == b.sample).map(|of| of[0].sample.clone()).collect();
    said.into_iter()
        .map(|(what, samples)| format!("{}: {what}.", among_first(&samples, &all, "sample with a share of the rise")))
        .collect()
}

/// Sample and what is said of it.
fn matters(rows: &[&SensitivityRow]) -> Vec<(String, String)> {
    let Some(base) = rows.iter().find(|r| r.in_force()) else { return Vec::new() };
    let noun = |n: usize| if n == 1 { "choice" } else { "choices" };
    let under = |words: &str, matters: &dyn Fn(&SensitivityRow) -> bool| {
        let named = |r: &&SensitivityRow| format!("“{}”", choice(r.choice.as_ref()));
        let choices: Vec<String> = rows.iter().copied().filter(|r| matters(r)).map(|r| named(&r)).collect();
        let what = || format!("{words} under the {} {}", noun(choices.len()), shortened(choices.iter().cloned()));
        (!choices.is_empty()).then(|| (rows[0].sample.clone(), what()))
    };
    let other = |r: &SensitivityRow| r.verdict != base.verdict;
    let far = |r: &SensitivityRow| r.interval.zip(base.interval).is_some_and(|(i, b)| (i.value - b.value).abs() > b.u);
    let found = [
        under("the share of the rise has no value", &|r| other(r) && r.interval.is_none()),
        under("another verdict", &|r| other(r) && r.interval.is_some()),
        under("the share of the rise moves by more than its standard uncertainty", &far),
    ];
    found.into_iter().flatten().collect()
}

/// Which verdicts are met, each with how many choices give it; one word where all agree.
fn verdicts(rows: &[SensitivityRow]) -> String {
    let mut met: Vec<(Verdict, usize)> = Vec::new();
    for verdict in rows.iter().filter(|r| r.decides()).filter_map(|r| r.verdict) {
        match met.iter_mut().find(|(v, _)| *v == verdict) {
            Some((_, n)) => *n += 1,
            None => met.push((verdict, 1)),
        }
    }
    let words = match met[..] {
        [(verdict, _)] => format!("{} under all", verdict.name()),
        _ => met.iter().map(|(v, n)| format!("{} {n}×", v.name())).collect::<Vec<_>>().join(", "),
    };
    or_missing(Some(words))
}

/// A line per variant and headline number.
pub(super) fn variants(main: &States, variants: &[(String, States)]) -> Printed {
    let columns = [
        ("variant", "name"),
        ("sample", "name"),
        ("quantity", "left"),
        ("main line", "right"),
        ("variant", "right"),
        ("moved / u", "right"),
        ("verdict", "text"),
    ];
    let lines = variants
        .iter()
        .flat_map(|(name, states)| main.thickening.iter().flat_map(move |row| moved(name, main, states, row)));
    printed(&columns, lines.collect()).grouped(&[0, 1])
}

/// What one variant does to one sample: its share of the rise, and the contact share at the upper end.
fn moved(name: &str, main: &States, variant: &States, row: &Thickening) -> Vec<Vec<String>> {
    let other = variant.thickening.iter().find(|t| t.sample == row.sample);
    let at_high = |states: &States| {
        let state =
            states.states.iter().find(|s| s.sample == row.sample && Some(&s.set_point) == row.set_point_high.as_ref());
        state.and_then(|s| s.contact_share)
    };
    let verdict = match other {
        Some(t) if t.verdict() == row.verdict() => format!("{}, as before{}", t.verdict().name(), other_ends(t, row)),
        Some(t) => format!("{}, instead of {}{}", t.verdict().name(), row.verdict().name(), other_ends(t, row)),
        None => String::new(),
    };
    let share = row.contact_share_of_rise;
    let high = row.set_point_high.as_ref().map(|at| format!("contact share, {at}"));
    let quantities = [
        Some(("share of the rise".to_owned(), share, other.and_then(|t| t.contact_share_of_rise), verdict)),
        high.map(|words| {
            let gone = at_high(main).is_some() && at_high(variant).is_none();
            (words, at_high(main), at_high(variant), if gone { "no value left" } else { "" }.to_owned())
        }),
    ];
    let line = |(quantity, before, after, verdict): (String, Option<Interval>, Option<Interval>, String)| {
        let concise = |i: Option<Interval>| or_missing(i.map(|i| numbers::concise(i.value, i.u)));
        let by = before.zip(after).filter(|(a, _)| a.u > 0.0).map(|(a, b)| (b.value - a.value) / a.u);
        vec![
            name.to_owned(),
            row.sample.clone(),
            quantity,
            concise(before),
            concise(after),
            or_missing(by.map(|by| numbers::significant(by, 2))),
            or_missing(Some(verdict)),
        ]
    };
    quantities.into_iter().flatten().map(line).collect()
}

/// Between which other set-points the rise of a variant is read, because the share of another rise is another quantity.
fn other_ends(variant: &Thickening, main: &Thickening) -> String {
    let ends = |t: &Thickening| t.set_point_low.clone().zip(t.set_point_high.clone());
    match ends(variant).filter(|found| Some(found) != ends(main).as_ref()) {
        Some((low, high)) => format!("; but of the rise from {low} to {high}"),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stages::states::result::Choice;
    use stages::uncertainty::result::HeadlineQuantity;

    fn row(sample: &str, choice: Option<Choice>, value: Option<f64>) -> SensitivityRow {
        SensitivityRow {
            sample: sample.into(),
            choice,
            quantity: HeadlineQuantity::ContactShareOfRise,
            set_point: None,
            interval: value.map(|value| Interval { value, u: 0.02, low: None, high: None }),
            verdict: Some(if value.is_some() { Verdict::ContactsDominate } else { Verdict::NotResolved }),
        }
    }

    #[test]
    fn what_is_said_of_many_samples_and_choices_stays_short() {
        let names: Vec<String> = (1..=20).map(|i| format!("S{i:02}")).collect();
        let alone = |i: i32| Choice::FormAlone { form: format!("c{i}") };
        let of_sample = |name: &String| {
            let others = (1..=9).map(|i| row(name, Some(alone(i)), (name != "S03").then_some(0.95)));
            [row(name, None, Some(0.9))].into_iter().chain(others).collect::<Vec<_>>()
        };
        let said = that_matter(&names.iter().flat_map(of_sample).collect::<Vec<_>>());
        let all = "“form c1 alone”, “form c2 alone”, “form c3 alone”, “form c4 alone”, “form c5 alone” and four others";
        assert_eq!(
            said,
            [
                format!(
                    "All samples with a share of the rise but S03: the share of the rise moves by more than its standard uncertainty under the \
                     choices {all}."
                ),
                format!("S03: the share of the rise has no value under the choices {all}."),
            ]
        );
    }
}
