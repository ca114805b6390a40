//! One raw export → its readings in SI and its head. Every row of data comes out or is refused by name.

use super::container::{Export, pass};
use super::header::{self, Header, as_header, split, without_comment};
use super::layout::{Decimal, Layout, Role, Separator};
use super::number::{Field, Format};
use super::pages::{End, Looked, Page, Pages, Survey, look_over};
use super::params::Params;
use super::remark::Remark;
use super::result::{Head, Readings};
use super::steps::Steps;
use super::text::{RAW, lines, problem, shown};
use super::times::{Clock, TimeFormat};
use super::units::{Conversion, UnitsRow, conversions};
use super::{angle, steps, workbook};
use pipeline::diagnostic::{Diagnostic, Place};
use std::collections::BTreeMap;

/// After so many unreadable numbers the rest of the file is not looked at.
const ENOUGH_PROBLEMS: usize = 5;

/// Reads an export that is at hand, as [`read_export`].
///
/// # Errors
/// As there.
pub fn read(
    bytes: &[u8],
    sheet: Option<&str>,
    layout: &Layout,
    params: &Params,
) -> Result<(Readings, Head), Vec<Diagnostic>> {
    read_export(&bytes, sheet, layout, params)
}

/// Reads an export by its layout; of a workbook this sheet, or the only one with the columns of the layout. The
/// hash in the head is left to the caller.
///
/// # Errors
/// If the bytes are no text or workbook, the header or a unit is not as the layout says, a number cannot be read, or
/// no row of data is left.
pub fn read_export(
    export: &dyn Export,
    sheet: Option<&str>,
    layout: &Layout,
    params: &Params,
) -> Result<(Readings, Head), Vec<Diagnostic>> {
    let problems = layout.problems();
    if !problems.is_empty() {
        return Err(problems.into_iter().map(Diagnostic::new).collect());
    }
    match (look_over(export, layout.encoding)?, sheet) {
        (Looked::Workbook(bytes), _) => {
            let format = Format::new(layout, &params.missing);
            let layout = of_sheets(layout);
            let fits = |text: &str| header::find(&lines(text), &layout).is_ok();
            let text = workbook::text(&bytes, sheet, &format, fits)?;
            read_text(
                Pages::open(&mut text.as_bytes(), &Survey::of(&text))?,
                ("workbook", End::Closed),
                &layout,
                params,
            )
        }
        (Looked::Text(_), Some(sheet)) => {
            let help = "take `sheets` out of the raw entry, or export the run as .xlsx";
            Err(problem(format!("this is no workbook, so it has no sheet `{sheet}`"), help))
        }
        (Looked::Text(survey), None) => {
            pass(export, |text| read_text(Pages::open(text, &survey)?, (survey.encoding(), survey.end), layout, params))
        }
    }
}

/// The layout of a sheet's text, in which cells are apart and numbers plain already.
pub(crate) fn of_sheets(layout: &Layout) -> Layout {
    Layout { separator: Separator::Tab, decimal: Decimal::Point, thousands: None, ..layout.clone() }
}

fn read_text(
    mut pages: Pages<'_>,
    (encoding, end): (&str, End),
    layout: &Layout,
    params: &Params,
) -> Result<(Readings, Head), Vec<Diagnostic>> {
    let header = find_header(&mut pages, layout)?;
    let mut page = pages.page();
    let preamble = header::preamble(page.lines(), &header, layout);
    let mut reader = Reader::new(layout, params, &page, header, end)?;
    loop {
        reader.rows(&page)?;
        if page.is_last() {
            break;
        }
        let done = page.done();
        pages.turn(done)?;
        page = pages.page();
    }
    let mut head = Head {
        started: header::started(&preamble).or_else(|| reader.clock.as_ref()?.started()),
        preamble,
        encoding: encoding.to_owned(),
        ..Head::default()
    };
    let readings = reader.finish(&mut head)?;
    Ok((readings, head))
}

/// The header, with all that stands above it on the first page.
fn find_header(pages: &mut Pages<'_>, layout: &Layout) -> Result<Header, Vec<Diagnostic>> {
    loop {
        let page = pages.page();
        match header::find(page.lines(), layout) {
            Ok(header) if page.holds(header.line) => return Ok(header),
            Err(problems) if page.is_last() => return Err(problems),
            // It may stand further down, or go on there.
            _ => {}
        }
        drop(page);
        pages.longer()?;
    }
}

fn one(problem: Diagnostic) -> Vec<Diagnostic> {
    vec![problem]
}

const CUT_OFF: &str = "cut off at the end of the file";

/// Length of a field.
#[derive(Debug, Clone, Copy, Default)]
struct Length {
    /// Digits behind the decimal sign; none without one.
    decimals: Option<usize>,
    all: usize,
}

impl Length {
    /// By decimals where the other has them: digits before the sign come and go with the value.
    fn falls_short_of(self, other: Self) -> bool {
        match other.decimals {
            Some(decimals) => self.decimals.unwrap_or(0) < decimals,
            None => self.all < other.all,
        }
    }
}

/// What became of a row.
enum Row {
    Kept,
    Refused(String),
}

/// Reads rows of data below a header.
struct Reader<'a> {
    layout: &'a Layout,
    params: &'a Params,
    format: Format,
    step_starts: Option<regex::Regex>,
    end: End,
    /// Length of the last field of the row before.
    length: Length,
    header: Header,
    units_line: Option<usize>,
    conversions: Vec<Conversion>,
    /// Reads times that are no plain numbers.
    clock: Option<Clock>,
    /// Values of the mapped columns, in the order of `header.at`; empty for `step` and `label`.
    values: Vec<Vec<f64>>,
    /// Those of the row at hand, as read.
    read: Vec<f64>,
    row: Vec<u32>,
    steps: Steps,
    /// Behind such a line: what is no row of data belongs to the heading of the step.
    in_heading: bool,
    /// Refused rows: reason, how many, first line.
    refused: BTreeMap<String, (u64, usize)>,
    problems: Vec<Diagnostic>,
    remarks: Vec<Remark>,
}

/// How the layout says that times are written, where they are no plain numbers.
fn time_format(layout: &Layout) -> Result<Option<TimeFormat>, Vec<Diagnostic>> {
    let stated = layout.columns.time.as_ref().and_then(|column| column.format.as_deref());
    stated.map(TimeFormat::parse).transpose().map_err(|message| one(Diagnostic::new(message)))
}

impl<'a> Reader<'a> {
    fn new(
        layout: &'a Layout,
        params: &'a Params,
        page: &Page<'_>,
        header: Header,
        end: End,
    ) -> Result<Self, Vec<Diagnostic>> {
        let format = Format::new(layout, &params.missing);
        let units = UnitsRow::find(page.below(header.line), &header, layout, &format);
        let (conversions, remarks) = conversions(|line| page.line(line), &header, units.as_ref(), layout)?;
        let step_starts = layout.step_starts.as_deref().map(regex::Regex::new).transpose();
        Ok(Self {
            layout,
            params,
            format,
            step_starts: step_starts.map_err(|e| one(Diagnostic::new(format!("step_starts: {e}"))))?,
            end,
            length: Length::default(),
            values: vec![Vec::new(); header.at.len()],
            header,
            units_line: units.map(|u| u.line()),
            conversions,
            clock: time_format(layout)?.map(Clock::new),
            read: Vec::new(),
            row: Vec::new(),
            steps: Steps::new(layout),
            in_heading: false,
            refused: BTreeMap::new(),
            problems: Vec::new(),
            remarks,
        })
    }

    fn rows(&mut self, page: &Page<'_>) -> Result<(), Vec<Diagnostic>> {
        let mut fields = Vec::new();
        for (line, text) in page.from(self.header.line + 1) {
            // A step may begin with a comment, so that is asked first.
            if Some(line) == self.units_line || self.begins_step(text) || self.says_nothing(text) {
                continue;
            }
            split(text, self.header.separator, &mut fields);
            if self.header_again(page, line, &fields)? || self.belongs_to_heading(&fields) {
                continue;
            }
            if let Row::Refused(reason) = self.row(line, text, &fields, page.ends_with(line)) {
                self.refused.entry(reason).or_insert((0, line)).0 += 1;
            }
            if self.problems.len() >= ENOUGH_PROBLEMS {
                break;
            }
        }
        self.problems.truncate(ENOUGH_PROBLEMS);
        if self.problems.is_empty() { Ok(()) } else { Err(std::mem::take(&mut self.problems)) }
    }

    /// Blank lines, comments and the old mark of a file's end are no rows.
    fn says_nothing(&self, text: &str) -> bool {
        text.trim_matches(|c: char| c.is_whitespace() || c == '\u{1a}').is_empty()
            || without_comment(text, self.layout).1
    }

    /// A line that begins a step; a number in the pattern's first group becomes the step's number.
    fn begins_step(&mut self, text: &str) -> bool {
        let Some(found) = self.step_starts.as_ref().and_then(|pattern| pattern.captures(text)) else { return false };
        self.steps.begin(found.get(1).and_then(|group| group.as_str().trim().parse().ok()));
        self.in_heading = true;
        true
    }

    /// Exports that repeat their header in each step: the columns may stand in another order there.
    fn header_again(&mut self, page: &Page<'_>, line: usize, fields: &[&str]) -> Result<bool, Vec<Diagnostic>> {
        let first = self.header.at.first().and_then(|(_, at)| self.header.names.get(*at));
        if !first.is_some_and(|name| fields.contains(&name.as_str())) {
            return Ok(false);
        }
        let Some(header) = as_header(page.line(line), line, self.header.separator, self.layout)? else {
            return Ok(false);
        };
        let units = UnitsRow::find(page.below(line), &header, self.layout, &self.format);
        self.conversions = conversions(|line| page.line(line), &header, units.as_ref(), self.layout)?.0;
        self.units_line = units.map(|u| u.line());
        self.header = header;
        Ok(true)
    }

    fn belongs_to_heading(&mut self, fields: &[&str]) -> bool {
        if self.in_heading {
            let time = self.field(Role::Time, fields);
            self.in_heading = !time.is_some_and(|text| self.is_time(text));
        }
        self.in_heading
    }

    fn is_time(&self, text: &str) -> bool {
        match &self.clock {
            Some(clock) => clock.clone().read(text).is_some(),
            None => matches!(self.format.read(text), Field::Number(_)),
        }
    }

    fn field<'f>(&self, role: Role, fields: &[&'f str]) -> Option<&'f str> {
        let (_, at) = self.header.at.iter().find(|(r, _)| *r == role)?;
        fields.get(*at).copied()
    }

    fn row(&mut self, line: usize, text: &str, fields: &[&str], last: bool) -> Row {
        if last && self.cut_off(fields) {
            return Row::Refused(CUT_OFF.to_owned());
        }
        if let Some(reason) = self.wrong_shape(fields) {
            return Row::Refused(reason.to_owned());
        }
        // One buffer for all rows: an export has millions.
        let mut read = std::mem::take(&mut self.read);
        read.clear();
        for column in 0..self.header.at.len() {
            let (role, at) = self.header.at[column];
            match self.value(role, fields[at], line, text) {
                Ok(value) => read.push(value),
                Err(reason) => return Row::Refused(reason),
            }
        }
        // Only an open end is held against it.
        if self.end == End::Open {
            self.length = self.length_of_last(fields);
        }
        let row = self.keep(line, fields, &read);
        self.read = read;
        row
    }

    /// Why a row has not the shape of the header; none if it has.
    fn wrong_shape(&self, fields: &[&str]) -> Option<&'static str> {
        let needed = self.header.at.iter().map(|(_, at)| at + 1).max().unwrap_or(0);
        if fields.len() < needed {
            Some("too few fields")
        } else if fields.iter().skip(self.header.names.len()).any(|field| !field.is_empty()) {
            Some("too many fields")
        } else if self.header.at.iter().all(|(_, at)| fields[*at].is_empty()) {
            Some("blank")
        } else {
            None
        }
    }

    /// Whether the file's last row stops short: fields are lacking, a number is no number, or the last field is shorter
    /// than in the row before. The last sign can be wrong, and then costs one reading, told by name.
    fn cut_off(&self, fields: &[&str]) -> bool {
        if self.end != End::Open {
            return self.end == End::Broken;
        }
        let readable = |(role, at): &(Role, usize)| match role {
            Role::Label => true,
            Role::Time if self.clock.is_some() => self.is_time(fields[*at]),
            _ => self.format.read(fields[*at]) != Field::Unreadable,
        };
        fields.len() < self.header.names.len()
            || !self.header.at.iter().all(readable)
            || self.length_of_last(fields).falls_short_of(self.length)
    }

    fn length_of_last(&self, fields: &[&str]) -> Length {
        let last = fields.get(self.header.names.len().saturating_sub(1)).copied().unwrap_or_default();
        let decimals = last.split_once(self.layout.decimal.sign()).map(|(_, behind)| behind.len());
        Length { decimals, all: last.len() }
    }

    /// The value in SI; NaN where missing; `Err` is the reason for which the row is refused.
    fn value(&mut self, role: Role, text: &str, line: usize, whole: &str) -> Result<f64, String> {
        if role == Role::Label {
            return Ok(f64::NAN);
        }
        match self.field_of(role, text) {
            Field::Number(value) if role == Role::Step && (value.fract() != 0.0 || value.abs() > 1e15) => {
                self.unreadable(role, text, line, whole)
            }
            Field::Number(value) => Ok(value),
            Field::Missing if role == Role::Time => Err("missing time".to_owned()),
            Field::Missing => Ok(f64::NAN),
            Field::Unreadable => self.unreadable(role, text, line, whole),
        }
    }

    fn field_of(&mut self, role: Role, text: &str) -> Field {
        match self.clock.as_mut().filter(|_| role == Role::Time) {
            Some(clock) => match clock.read(text) {
                Some(seconds) => Field::Number(seconds),
                None if self.format.read(text) == Field::Missing => Field::Missing,
                None => Field::Unreadable,
            },
            None => self.format.read(text),
        }
    }

    fn unreadable(&mut self, role: Role, text: &str, line: usize, whole: &str) -> Result<f64, String> {
        if self.params.refuse_unreadable {
            return Err(format!("unreadable {}", role.name()));
        }
        let expected = match (role, &self.clock) {
            (Role::Step, _) => "a whole number".to_owned(),
            (Role::Time, Some(clock)) => clock.format().example().to_owned(),
            _ => format!("a number with decimal `{}`", self.layout.decimal.sign()),
        };
        let name = self.header.at.iter().find(|(r, _)| *r == role).and_then(|(_, at)| self.header.names.get(*at));
        let message =
            format!("column `{}` ({}): found `{text}`, expected {expected}", name.map_or("", |n| n), role.name());
        let help = match (role, self.format.other_decimal(text)) {
            (Role::Step, _) => "map a column of names to `label` instead of `step`".to_owned(),
            (Role::Time, _) if text.contains(':') => {
                "write in the layout how times are written: `format: hh:mm:ss`, `format: date-time`, or a pattern such as \
                 `format: \"%d/%m/%Y %H:%M:%S\"`"
                    .to_owned()
            }
            (_, Some(other)) => format!("write `decimal: \"{}\"` in the layout", other.sign()),
            _ => "add the word to `stages.ingest.missing` if it stands for a missing value, or write `refuse_unreadable: true` there".to_owned(),
        };
        // Fields are slices of their line, so the distance of their beginnings is the place in bytes.
        let before = (text.as_ptr() as usize).saturating_sub(whole.as_ptr() as usize);
        let column = whole.get(..before).map(|b| b.chars().count() as u64 + 1);
        let place = Place { column, text: Some(shown(whole)), ..Place::line(RAW, line as u64 + 1) };
        self.problems.push(Diagnostic::new(message).at(place).help(help));
        Ok(f64::NAN)
    }

    fn keep(&mut self, line: usize, fields: &[&str], read: &[f64]) -> Row {
        let Ok(row) = u32::try_from(line + 1) else { return Row::Refused("line beyond 4294967295".to_owned()) };
        for (at, ((role, field), value)) in self.header.at.iter().zip(read).enumerate() {
            match role {
                Role::Step => self.steps.number(value.is_finite().then_some(*value as i64)),
                Role::Label => self.steps.label(fields[*field]),
                _ => self.values[at].push(self.conversions[at].apply(*value)),
            }
        }
        self.row.push(row);
        self.steps.row();
        Row::Kept
    }

    fn finish(mut self, head: &mut Head) -> Result<Readings, Vec<Diagnostic>> {
        let kept = self.row.len() as u64;
        head.rows = kept + self.refused.values().map(|(count, _)| count).sum::<u64>();
        if kept == 0 {
            return Err(one(self.nothing_left(head.rows)));
        }
        let mut readings = Readings { step: self.steps()?, ..Readings::default() };
        self.take_columns(&mut readings);
        readings.row = std::mem::take(&mut self.row);
        self.lay_end_to_end(&mut readings);
        let again = readings.angle_rad.as_mut().filter(|_| self.params.unwrap_angle).map_or(0, |a| angle::unwrap(a));
        if again > 0 {
            self.remarks.push(Remark::AngleStartsAnew { times: again as u64 });
        }
        let all = head.rows;
        self.remarks.extend(self.refused.iter().map(|(reason, (rows, line))| Remark::RowsRefused {
            rows: *rows,
            all,
            reason: reason.clone(),
            line: *line as u64 + 1,
        }));
        head.refused = self.refused.into_iter().map(|(reason, (count, _))| (reason, count)).collect();
        head.remarks = self.remarks;
        Ok(readings)
    }

    /// Joins the times of steps that each begin anew, and says what was done to times.
    fn lay_end_to_end(&mut self, readings: &mut Readings) {
        if let Some(midnights @ 1..) = self.clock.as_ref().map(Clock::midnights) {
            self.remarks.push(Remark::MidnightsPassed { times: midnights as u64 });
        }
        if self.layout.time_restarts {
            let joined = steps::lay_end_to_end(&mut readings.time_s, &readings.step);
            self.remarks.push(Remark::StepsLaidEndToEnd { steps: joined as u64 });
        }
    }

    fn nothing_left(&self, rows: u64) -> Diagnostic {
        let place = Place::line(RAW, self.header.line as u64 + 1);
        let Some((reason, (_, line))) = self.refused.iter().max_by_key(|(_, (count, _))| *count) else {
            return Diagnostic::new("no row of data stands below the header").at(place).help("export the run again");
        };
        Diagnostic::new(format!("none of {rows} rows can be used; most of them: {reason} (first in line {})", line + 1))
            .at(place)
            .help("check `separator`, `decimal` and `columns` of the layout")
    }

    fn steps(&mut self) -> Result<Vec<i64>, Vec<Diagnostic>> {
        let set = self.header.at.iter().zip(&self.values);
        let set: Vec<&[f64]> =
            set.filter(|((role, _), _)| matches!(role, Role::SetStress | Role::SetRate)).map(|(_, v)| &v[..]).collect();
        let steps = std::mem::take(&mut self.steps);
        let (steps, carried) = steps.finish(self.row.len(), &set, self.params.set_point_change).ok_or_else(|| {
            let place = Place::line(RAW, u64::from(self.row.first().copied().unwrap_or(1)));
            one(Diagnostic::new("the first row has no step number")
                .at(place)
                .help("leave `step` out of the layout's columns"))
        })?;
        if carried > 0 {
            self.remarks.push(Remark::StepsCarried { rows: carried as u64 });
        }
        Ok(steps)
    }

    fn take_columns(&mut self, readings: &mut Readings) {
        for ((role, _), values) in self.header.at.iter().zip(&mut self.values) {
            let values = std::mem::take(values);
            if *role == Role::Time {
                readings.time_s = values;
                continue;
            }
            let values = Some(values);
            match role {
                Role::Step | Role::Label | Role::Time => {}
                Role::Angle => readings.angle_rad = values,
                Role::Speed => readings.speed_rad_per_s = values,
                Role::Torque => readings.torque_n_m = values,
                Role::Stress => readings.stress_pa = values,
                Role::Rate => readings.rate_per_s = values,
                Role::Strain => readings.strain = values,
                Role::NormalForce => readings.normal_force_n = values,
                Role::Temperature => readings.temperature_c = values,
                Role::SetStress => readings.set_stress_pa = values,
                Role::SetRate => readings.set_rate_per_s = values,
            }
        }
    }
}
