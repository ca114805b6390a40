//! The only room that names polars: a typed table of named columns, its Parquet and its CSV.
//!
//! Same table, same bytes: one chunk, fixed row groups, fixed codec, no metadata of the host, shortest decimal
//! floats. Missing is null in both, never 0 or −1.

use polars::prelude::*;
use polars_io::SerReader;
use polars_io::SerWriter;
use polars_io::csv::read::CsvReadOptions;
use polars_io::csv::write::CsvWriter;
use polars_io::parquet::read::ParquetReader;
use polars_io::parquet::write::{ParquetCompression, ParquetWriter, StatisticsOptions};
use std::fmt;
use std::ops::Range;

/// What one column of a published table holds: a row of `dictionary.csv`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ColumnSpec {
    /// `snake_case`, with the SI unit behind where there is one.
    pub name: &'static str,
    /// Unit as it is printed; empty for text, counts and dimensionless numbers.
    pub unit: &'static str,
    /// What it means, in one sentence without final stop.
    pub meaning: &'static str,
}

/// A column of a table that is too long to be copied: values where they lie.
#[derive(Clone, Copy)]
pub enum Long<'a> {
    /// Numbers; NaN is written as null.
    Float(&'a [f64]),
    /// Numbers by row; NaN is written as null.
    FloatAt(&'a dyn Fn(usize) -> f64),
    /// Whole numbers.
    Int(&'a [i64]),
    /// Lines of a file.
    Line(&'a [u32]),
    /// Whole numbers by row.
    IntAt(&'a dyn Fn(usize) -> Option<i64>),
    /// Text by row.
    TextAt(&'a dyn Fn(usize) -> Option<String>),
    /// A column of a file that is at hand.
    Of(&'a Columns<'a>, &'a str),
}

impl Long<'_> {
    /// These rows as a column of a table.
    fn rows(&self, rows: Range<usize>) -> Result<Values, TableError> {
        Ok(match self {
            Self::Float(v) => Values::Float(v[rows].iter().map(|v| (!v.is_nan()).then_some(*v)).collect()),
            Self::FloatAt(at) => Values::Float(rows.map(|row| Some(at(row)).filter(|v| !v.is_nan())).collect()),
            Self::Int(v) => Values::Int(v[rows].iter().map(|v| Some(*v)).collect()),
            Self::Line(v) => Values::Int(v[rows].iter().map(|v| Some(i64::from(*v))).collect()),
            Self::IntAt(at) => Values::Int(rows.map(at).collect()),
            Self::TextAt(at) => Values::Text(rows.map(at).collect()),
            Self::Of(columns, name) => columns.rows(name, rows)?,
        })
    }
}

/// Rows of a group in a Parquet file; a longer table has groups of equal size, the last one taking the rest.
const GROUP: usize = 65_536;

/// The Parquet bytes of so many rows, the same as those of a [`Table`] of these columns, made group by group.
///
/// # Errors
/// If columns differ in length or share a name.
pub fn long_to_parquet(height: usize, columns: &[(&str, Long<'_>)]) -> Result<Vec<u8>, TableError> {
    let part = |rows: Range<usize>| {
        let add = |table: Table, (name, long): &(&str, Long<'_>)| Ok(table.with(name, long.rows(rows.clone())?));
        columns.iter().try_fold(Table::new(), add).and_then(|table| table.frame())
    };
    let groups = (height / GROUP).max(1);
    let size = height / groups;
    let mut out = Vec::new();
    let mut writer = writer(&mut out).batched(part(0..0)?.schema())?;
    for group in 0..groups {
        let end = if group + 1 == groups { height } else { (group + 1) * size };
        writer.write_batch(&part(group * size..end)?)?;
    }
    writer.finish()?;
    Ok(out)
}

fn writer(out: &mut Vec<u8>) -> ParquetWriter<&mut Vec<u8>> {
    ParquetWriter::new(out)
        .with_compression(ParquetCompression::Zstd(None))
        .with_statistics(StatisticsOptions::full())
        .with_row_group_size(Some(GROUP))
        .set_parallel(false)
}

/// A Parquet file of which one column at a time is read.
#[derive(Debug)]
pub struct Columns<'a> {
    bytes: &'a [u8],
    names: Vec<String>,
}

impl<'a> Columns<'a> {
    /// Opens what [`long_to_parquet`] or [`Table::to_parquet`] wrote.
    ///
    /// # Errors
    /// If the bytes are no Parquet file.
    pub fn open(bytes: &'a [u8]) -> Result<Self, TableError> {
        let schema = ParquetReader::new(std::io::Cursor::new(bytes)).schema()?;
        Ok(Self { bytes, names: schema.iter_names().map(|name| name.to_string()).collect() })
    }

    fn column(&self, name: &str) -> Result<Option<Column>, TableError> {
        if !self.names.iter().any(|known| known == name) {
            return Ok(None);
        }
        let reader = ParquetReader::new(std::io::Cursor::new(self.bytes));
        let frame = reader.with_columns(Some(vec![name.to_owned()])).finish()?;
        Ok(frame.into_columns().pop())
    }

    /// These rows of a column.
    fn rows(&self, name: &str, rows: Range<usize>) -> Result<Values, TableError> {
        let reader = ParquetReader::new(std::io::Cursor::new(self.bytes)).with_slice(Some((rows.start, rows.len())));
        let frame = reader.with_columns(Some(vec![name.to_owned()])).finish()?;
        frame.columns().first().map_or_else(|| Err(TableError(format!("column {name} is missing"))), Values::of)
    }

    /// A column of numbers with NaN for null; none if it is missing.
    ///
    /// # Errors
    /// If it is of another type, or damaged.
    pub fn floats(&self, name: &str) -> Result<Option<Vec<f64>>, TableError> {
        let Some(column) = self.column(name)? else { return Ok(None) };
        let values = column.f64()?;
        Ok(Some(collected(values.len(), values.iter().map(|v| v.unwrap_or(f64::NAN)))))
    }

    /// A column of whole numbers without nulls.
    ///
    /// # Errors
    /// If it is missing, of another type, damaged, or has nulls.
    pub fn ints<T: TryFrom<i64>>(&self, name: &str) -> Result<Vec<T>, TableError> {
        let wrong = || TableError(format!("column {name} is not made of whole numbers"));
        let column = self.column(name)?.ok_or_else(wrong)?;
        let values = column.i64()?;
        let mut out = Vec::with_capacity(values.len());
        for value in values.iter() {
            out.push(value.and_then(|v| T::try_from(v).ok()).ok_or_else(wrong)?);
        }
        Ok(out)
    }

    /// What is made of each row of a column of text; none if it is missing.
    ///
    /// # Errors
    /// If it is of another type, or damaged.
    pub fn texts<T>(&self, name: &str, each: impl Fn(Option<&str>) -> T) -> Result<Option<Vec<T>>, TableError> {
        let Some(column) = self.column(name)? else { return Ok(None) };
        let values = column.str()?;
        Ok(Some(collected(values.len(), values.iter().map(each))))
    }
}

fn collected<T>(length: usize, values: impl Iterator<Item = T>) -> Vec<T> {
    let mut out = Vec::with_capacity(length);
    out.extend(values);
    out
}

/// Values of one column.
#[derive(Debug, Clone, PartialEq)]
pub enum Values {
    /// Numbers; NaN is written as null.
    Float(Vec<Option<f64>>),
    /// Whole numbers.
    Int(Vec<Option<i64>>),
    /// Text.
    Text(Vec<Option<String>>),
    /// Truth values.
    Bool(Vec<Option<bool>>),
}

impl Values {
    fn of(column: &Column) -> Result<Self, TableError> {
        Ok(match column.dtype() {
            DataType::Float64 => Self::Float(column.f64()?.to_vec()),
            DataType::Int64 => Self::Int(column.i64()?.to_vec()),
            DataType::String => Self::Text(column.str()?.iter().map(|v| v.map(str::to_owned)).collect()),
            DataType::Boolean => Self::Bool(column.bool()?.iter().collect()),
            other => return Err(TableError(format!("column {} has type {other}", column.name()))),
        })
    }

    fn len(&self) -> usize {
        match self {
            Self::Float(v) => v.len(),
            Self::Int(v) => v.len(),
            Self::Text(v) => v.len(),
            Self::Bool(v) => v.len(),
        }
    }
}

/// Named columns of one length.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Table {
    columns: Vec<(String, Values)>,
}

/// What can go wrong with a table; always a mistake in the program or a damaged file.
#[derive(Debug)]
pub struct TableError(String);

impl TableError {
    /// What is wrong with a table, in words.
    pub fn new(message: impl Into<String>) -> Self {
        Self(message.into())
    }
}

impl fmt::Display for TableError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "table: {}", self.0)
    }
}

impl std::error::Error for TableError {}

impl From<PolarsError> for TableError {
    fn from(e: PolarsError) -> Self {
        Self(e.to_string())
    }
}

impl From<TableError> for Vec<pipeline::diagnostic::Diagnostic> {
    fn from(e: TableError) -> Self {
        pipeline::stage::mistake(e.to_string())
    }
}

impl Table {
    /// An empty table.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a column of numbers; NaN becomes null.
    #[must_use]
    pub fn float(self, name: &str, values: impl IntoIterator<Item = Option<f64>>) -> Self {
        self.with(name, Values::Float(values.into_iter().map(|v| v.filter(|v| !v.is_nan())).collect()))
    }

    /// Adds a column of whole numbers.
    #[must_use]
    pub fn int(self, name: &str, values: impl IntoIterator<Item = Option<i64>>) -> Self {
        self.with(name, Values::Int(values.into_iter().collect()))
    }

    /// Adds a column of text.
    #[must_use]
    pub fn text(self, name: &str, values: impl IntoIterator<Item = Option<String>>) -> Self {
        self.with(name, Values::Text(values.into_iter().collect()))
    }

    /// Adds a column of truth values.
    #[must_use]
    pub fn bool(self, name: &str, values: impl IntoIterator<Item = Option<bool>>) -> Self {
        self.with(name, Values::Bool(values.into_iter().collect()))
    }

    /// Adds a column.
    #[must_use]
    pub fn with(mut self, name: &str, values: Values) -> Self {
        self.columns.push((name.to_owned(), values));
        self
    }

    /// Number of rows.
    pub fn height(&self) -> usize {
        self.columns.first().map_or(0, |(_, v)| v.len())
    }

    /// Names and values in order.
    pub fn columns(&self) -> &[(String, Values)] {
        &self.columns
    }

    /// The column called `name`, if there is one.
    pub fn column(&self, name: &str) -> Option<&Values> {
        self.columns.iter().find(|(n, _)| n == name).map(|(_, v)| v)
    }

    /// A column of numbers with NaN for null; none if it is missing or of another type.
    pub fn floats(&self, name: &str) -> Option<Vec<f64>> {
        match self.column(name)? {
            Values::Float(v) => Some(v.iter().map(|v| v.unwrap_or(f64::NAN)).collect()),
            _ => None,
        }
    }

    /// A column of whole numbers without nulls.
    ///
    /// # Errors
    /// If it is missing, of another type, or has nulls.
    pub fn ints(&self, name: &str) -> Result<Vec<i64>, TableError> {
        match self.column(name) {
            Some(Values::Int(v)) => v.iter().copied().collect::<Option<Vec<i64>>>(),
            _ => None,
        }
        .ok_or_else(|| TableError(format!("column {name} is not made of whole numbers")))
    }

    /// A column of text; none if it is missing or of another type.
    pub fn texts(&self, name: &str) -> Option<&[Option<String>]> {
        match self.column(name)? {
            Values::Text(v) => Some(v),
            _ => None,
        }
    }

    fn frame(&self) -> Result<DataFrame, TableError> {
        let columns = self.columns.iter().map(|(name, values)| {
            let name: PlSmallStr = name.as_str().into();
            match values {
                Values::Float(v) => Column::new(name, v),
                Values::Int(v) => Column::new(name, v),
                Values::Text(v) => Column::new(name, v),
                Values::Bool(v) => Column::new(name, v),
            }
        });
        let mut frame = DataFrame::new(self.height(), columns.collect())?;
        frame.rechunk_mut();
        Ok(frame)
    }

    fn from_frame(frame: &DataFrame) -> Result<Self, TableError> {
        let mut table = Self::new();
        for column in frame.columns() {
            table = table.with(column.name(), Values::of(column)?);
        }
        Ok(table)
    }

    /// The table as Parquet bytes.
    ///
    /// # Errors
    /// If columns differ in length or share a name.
    pub fn to_parquet(&self) -> Result<Vec<u8>, TableError> {
        let mut frame = self.frame()?;
        let mut out = Vec::new();
        writer(&mut out).finish(&mut frame)?;
        Ok(out)
    }

    /// Reads what [`Self::to_parquet`] wrote.
    ///
    /// # Errors
    /// If the bytes are no such Parquet file.
    pub fn from_parquet(bytes: &[u8]) -> Result<Self, TableError> {
        let frame = ParquetReader::new(std::io::Cursor::new(bytes)).set_rechunk(true).finish()?;
        Self::from_frame(&frame)
    }

    /// The table as CSV (RFC 4180, UTF-8, LF): empty for null.
    ///
    /// # Errors
    /// If columns differ in length or share a name.
    pub fn to_csv(&self) -> Result<Vec<u8>, TableError> {
        let mut frame = self.frame()?;
        let mut out = Vec::new();
        CsvWriter::new(&mut out).n_threads(1).finish(&mut frame)?;
        Ok(out)
    }

    /// Reads a CSV with a head, as [`Self::to_csv`] writes it; types are read off the cells.
    ///
    /// # Errors
    /// If the bytes are no such table.
    pub fn from_csv(bytes: &[u8]) -> Result<Self, TableError> {
        let options = CsvReadOptions::default().with_infer_schema_length(None).with_n_threads(Some(1));
        Self::from_frame(&options.into_reader_with_file_handle(std::io::Cursor::new(bytes)).finish()?)
    }

    /// The tables below each other; all must have the same columns in the same order.
    ///
    /// # Errors
    /// If they do not.
    pub fn stack(tables: &[Self]) -> Result<Self, TableError> {
        let Some((first, rest)) = tables.split_first() else { return Ok(Self::new()) };
        let mut frame = first.frame()?;
        for table in rest {
            frame.vstack_mut(&table.frame()?)?;
        }
        frame.rechunk_mut();
        Self::from_frame(&frame)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn sample() -> Table {
        Table::new()
            .text("run", ["a", "b,\"c"].map(|s| Some(s.to_owned())))
            .float("stress_pa", [Some(0.1), None])
            .int("row", [Some(1), None])
            .bool("steady", [Some(true), None])
    }

    #[test]
    fn parquet_is_a_fixed_point() {
        let bytes = sample().to_parquet().unwrap();
        let back = Table::from_parquet(&bytes).unwrap();
        assert_eq!(back, sample());
        assert_eq!(back.to_parquet().unwrap(), bytes);
    }

    /// Whatever its length: the groups of a long table are those that the library makes of a whole one.
    #[test]
    fn long_tables_have_the_bytes_of_whole_ones() {
        for height in [0, 1, GROUP - 1, GROUP, GROUP + 1, 2 * GROUP - 1, 2 * GROUP, 3 * GROUP + 7] {
            let float: Vec<f64> = (0..height).map(|i| if i % 7 == 3 { f64::NAN } else { 0.1 * i as f64 }).collect();
            let line: Vec<u32> = (0..height as u32).collect();
            let text = |row: usize| (row % 1000 == 5).then(|| format!("a;{}", row % 3));
            let whole = Table::new()
                .int("row", line.iter().map(|v| Some(i64::from(*v))))
                .float("x", float.iter().map(|v| Some(*v)))
                .text("excluded", (0..height).map(text));
            let columns = [("row", Long::Line(&line)), ("x", Long::Float(&float)), ("excluded", Long::TextAt(&text))];
            let bytes = long_to_parquet(height, &columns).unwrap();
            assert!(bytes == whole.to_parquet().unwrap(), "{height}");
            let columns = Columns::open(&bytes).unwrap();
            assert_eq!(columns.ints::<u32>("row").unwrap(), line);
            assert_eq!(columns.floats("y").unwrap(), None);
            let of = ["row", "x", "excluded"].map(|name| (name, Long::Of(&columns, name)));
            assert!(long_to_parquet(height, &of).unwrap() == bytes, "handed on, {height}");
            let back = columns.floats("x").unwrap().unwrap();
            assert!(back.iter().zip(&float).all(|(a, b)| a == b || a.is_nan() && b.is_nan()) && back.len() == height);
            let texts = columns.texts("excluded", |text| text.map(str::to_owned)).unwrap().unwrap();
            assert!(texts.into_iter().eq((0..height).map(text)));
        }
        assert!(Columns::open(b"no parquet").is_err());
    }

    #[test]
    fn csv_quotes_and_leaves_nulls_empty() {
        let text = String::from_utf8(sample().to_csv().unwrap()).unwrap();
        assert_eq!(text, "run,stress_pa,row,steady\na,0.1,1,true\n\"b,\"\"c\",,,\n");
    }

    #[test]
    fn csv_is_read_back() {
        assert_eq!(Table::from_csv(&sample().to_csv().unwrap()).unwrap(), sample());
        assert_eq!(Table::from_csv(b"a,b\n").unwrap().height(), 0);
        assert!(Table::from_csv(b"").is_err());
    }

    #[test]
    fn not_a_number_is_null() {
        assert_eq!(Table::new().float("x", [Some(f64::NAN)]).column("x"), Some(&Values::Float(vec![None])));
    }

    #[test]
    fn tables_of_equal_columns_stack() {
        assert_eq!(Table::stack(&[sample(), sample()]).unwrap().height(), 4);
        assert!(Table::stack(&[sample(), Table::new().float("x", [Some(1.0)])]).is_err());
    }
}
