//! `peek`: how exports would be read, and the layout as YAML that can be pasted.

use super::proposal::Proposal;
use super::source;
use super::survey::Survey;
use super::yaml;
use crate::design::columns;
use crate::ingest::remark::Remark;
use crate::ingest::result::{Head, Readings};
use crate::table::Values;
use clap::{Arg, ArgMatches, value_parser};
use pipeline::command::{Answer, Command, Exit, Failure};
use std::fmt::Write;
use std::path::PathBuf;

/// The command, with the words of what reading an export remarks.
pub(crate) struct Peek {
    pub(crate) words: fn(&Remark) -> String,
}

impl Command for Peek {
    fn typed(&self) -> clap::Command {
        clap::Command::new("peek")
            .about("Show how exports would be read: encoding, columns, units, steps, first rows, what is unclear")
            .long_about(
                "Show how exports would be read: encoding, separator, columns, units, steps, the first rows in SI and what \
                 stays unclear, with the layout as YAML to paste into study.yaml. Several exports are grouped by layout, and \
                 the design is shown that their names and preambles tell. Writes nothing.",
            )
            .arg(Arg::new("FILE").required(true).num_args(1..).value_parser(value_parser!(PathBuf)).help("Raw exports"))
    }

    fn perform(&self, typed: &ArgMatches) -> Result<Answer, Failure> {
        let files: Vec<&PathBuf> = typed.get_many("FILE").into_iter().flatten().collect();
        let mut survey = Survey::default();
        let mut text = String::new();
        for file in &files {
            let name = file.to_string_lossy().replace('\\', "/");
            match source::read(file) {
                Ok(bytes) => {
                    survey.add(&name, &bytes, |run, proposal| text += &about(run, bytes.len(), proposal, self.words))
                }
                Err(problem) => survey.refused.push(problem),
            }
        }
        if survey.layouts.is_empty() {
            return Err(Failure::input(survey.refused));
        }
        text += &together(&survey);
        let exit = if survey.refused.is_empty() { Exit::Good } else { Exit::Input };
        Ok(Answer { text, remarks: survey.refused, exit })
    }
}

/// The layouts and the design.
fn together(survey: &Survey) -> String {
    let mut out = String::new();
    let named = survey.named(&survey.exports.iter().map(|export| export.file.clone()).collect::<Vec<_>>());
    let design = survey.design(&named);
    if !design.is_empty() {
        let _ = writeln!(
            out,
            "design, as a first look at the exports tells it (number of reversals)\n{}",
            design.in_columns()
        );
        let _ = writeln!(out, "  {}\n", named.how.join("; "));
    }
    let _ = writeln!(out, "# --- for study.yaml ---\nlayouts:");
    for (name, proposal) in &survey.layouts {
        out += &yaml::layout(name, &proposal.layout, proposal, 2);
    }
    out
}

/// What was found in one export.
fn about(run: &str, size: usize, proposal: &Proposal, words: fn(&Remark) -> String) -> String {
    let shape = &proposal.shape;
    let mut out = format!("{run}\n");
    let mut line = |what: &str, text: String| {
        let _ = writeln!(out, "  {what:<10} {text}");
    };
    line("encoding", format!("{}, {size} bytes", proposal.encoding));
    let marks = [
        Some(format!("`{}` between fields", shape.separator.name())),
        Some(format!("decimal `{}`", shape.decimal.sign())),
        shape.thousands.map(|sign| format!("thousands `{}`", sign.sign())),
        shape.comment.map(|mark| format!("comments `{mark}`")),
    ];
    line("marks", marks.into_iter().flatten().collect::<Vec<_>>().join(", "));
    for (key, value) in &proposal.preamble {
        line("preamble", format!("{key} = {value}"));
    }
    let units = shape.units.as_ref().map_or("none below it".to_owned(), |(at, _)| format!("units in line {}", at + 1));
    line("header", format!("line {}; {units}", shape.header + 1));
    for (role, column) in proposal.layout.columns.mapped() {
        let unit = column.unit.as_ref().or(column.format.as_ref()).map_or(String::new(), |unit| format!(" in {unit}"));
        line("column", format!("{:<13}{}{unit}", role.name(), column.name));
    }
    if !proposal.unused.is_empty() {
        line("not used", proposal.unused.join(", "));
    }
    line("steps", steps(proposal));
    out += &read(proposal, words);
    for text in &proposal.unclear {
        let _ = writeln!(out, "  {:<10} {text}", "unclear");
    }
    out.push('\n');
    out
}

fn steps(proposal: &Proposal) -> String {
    let columns = &proposal.layout.columns;
    let from = match (&columns.step, &proposal.layout.step_starts, &columns.label) {
        (Some(step), _, _) => format!("by column `{}`", step.name),
        (None, Some(pattern), _) => format!("by lines that match `{pattern}`"),
        (None, None, Some(label)) => format!("where column `{}` changes", label.name),
        (None, None, None) if columns.set_stress.is_some() || columns.set_rate.is_some() => {
            "where a set-point changes".to_owned()
        }
        _ => "nothing tells them; reversals are found from the motion".to_owned(),
    };
    let Some((readings, _)) = &proposal.read else { return from };
    let changes = readings.step.windows(2).filter(|w| w[0] != w[1]).count();
    format!("{}, {from}", changes + 1)
}

/// How many rows were read, and the first of them in SI.
fn read(proposal: &Proposal, words: fn(&Remark) -> String) -> String {
    let Some((readings, head)) = &proposal.read else {
        return "  rows       not read: see what is unclear\n".to_owned();
    };
    let mut out = format!("  rows       {}\n", counts(readings, head));
    for remark in &head.remarks {
        let _ = writeln!(out, "  remark     {}", words(remark));
    }
    let table = readings.to_table();
    let names = table.columns().iter().map(|(name, _)| name.clone()).collect();
    let mut rows = vec![names];
    for at in 0..readings.len().min(5) {
        rows.push(table.columns().iter().map(|(_, values)| shown(values, at)).collect());
    }
    for row in columns(&rows) {
        let _ = writeln!(out, "    {row}");
    }
    out
}

/// A value to seven digits, empty for a missing one.
fn shown(values: &Values, row: usize) -> String {
    match values {
        Values::Float(v) => v[row].map_or_else(String::new, |v| format!("{v:.6e}").parse().unwrap_or(v).to_string()),
        Values::Int(v) => v[row].map_or_else(String::new, |v| v.to_string()),
        Values::Text(v) => v[row].clone().unwrap_or_default(),
        Values::Bool(v) => v[row].map_or_else(String::new, |v| v.to_string()),
    }
}

fn counts(readings: &Readings, head: &Head) -> String {
    let refused: u64 = head.refused.values().sum();
    let started = head.started.as_ref().map_or(String::new(), |started| format!(", started {started}"));
    format!("{} in the file, {} read, {refused} refused{started}", head.rows, readings.len())
}
