//! Whole exports in, readings out: what is kept, what is refused and by which name, what is said.

use super::compute::read;
use super::layout::{Column, Columns, Decimal, Encoding, Layout, Separator};
use super::params::Params;
use super::remark::Remark;
use super::result::{Head, Readings};
use proptest::prelude::*;

fn column(name: &str, unit: &str) -> Option<Column> {
    Some(Column { name: name.into(), unit: Some(unit.into()), ..Column::default() })
}

fn unitless(name: &str) -> Option<Column> {
    Some(Column { name: name.into(), ..Column::default() })
}

/// A layout with step, time, angle and torque.
fn ledger() -> Layout {
    let columns = Columns {
        step: unitless("Part"),
        time: column("Clock", "s"),
        angle: column("Angle", "mrad"),
        torque: column("Torque", "uN.m"),
        temperature: column("Bath", "Cel"),
        ..Columns::default()
    };
    Layout { separator: Separator::Semicolon, decimal: Decimal::Comma, columns, ..Layout::default() }
}

/// A layout without step column; units from the export.
fn bare() -> Layout {
    let columns = Columns { time: unitless("t"), torque: unitless("M"), rate: unitless("D"), ..Columns::default() };
    Layout { columns, ..Layout::default() }
}

const LEDGER: &str = "Sample;S1\r\nTool radius;25,000;mm\r\n\r\n\
    Part;Part label;Clock;Angle;Torque;Bath\r\n-;-;s;mrad;uN.m;degC\r\n\
    1;shear;0,0020;0,0007;42,9842;25,02\r\n\
    1;shear;0,0040;0,0040;7,06893E1;25,02\r\n\
    2;reverse;0,0060;0,0096;-81,1850;25,02\r\n";

fn try_read(text: &str, layout: &Layout) -> Result<(Readings, Head), String> {
    read(text.as_bytes(), None, layout, &Params::default())
        .map_err(|problems| problems.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"))
}

fn ok(text: &str, layout: &Layout) -> (Readings, Head) {
    try_read(text, layout).unwrap_or_else(|problem| panic!("{problem}"))
}

fn error(text: &str, layout: &Layout) -> String {
    try_read(text, layout).err().unwrap_or_else(|| panic!("this was read"))
}

#[test]
fn a_whole_export() {
    let (readings, head) = ok(LEDGER, &ledger());
    assert_eq!(readings.row, [6, 7, 8]);
    assert_eq!(readings.step, [1, 1, 2]);
    assert_eq!(readings.time_s, [0.002, 0.004, 0.006]);
    assert_eq!(readings.angle_rad, Some(vec![0.7e-6, 4e-6, 9.6e-6]));
    // The shift to SI rounds once more than the literal does.
    let close = |(a, b): (&f64, f64)| (a / b - 1.0).abs() < 4.0 * f64::EPSILON;
    assert!(readings.torque_n_m.iter().flatten().zip([42.9842e-6, 70.6893e-6, -81.185e-6]).all(close));
    assert_eq!(readings.temperature_c, Some(vec![25.02; 3]));
    assert_eq!((head.rows, head.refused.len(), head.remarks.len()), (3, 0, 0));
    assert_eq!(head.preamble["Tool radius"], "25,000 mm");
}

#[test]
fn readings_survive_their_table() {
    let (readings, _) = ok(LEDGER, &ledger());
    let bytes = readings.to_parquet().unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(Ok(&bytes), readings.to_table().to_parquet().as_ref().map_err(ToString::to_string));
    assert_eq!(Readings::from_parquet(&bytes).unwrap_or_else(|e| panic!("{e}")), readings);
}

#[test]
fn every_row_is_kept_or_refused_by_name() {
    let text = LEDGER.to_owned()
        + "2;reverse;;0,1;1,0;25,02\r\n2;reverse;0,008\r\n;;;;;\r\n\r\n2;r;0,01;0,1;1,0;25,02;9\r\n2;r;0,012;-;NaN;\r\n";
    let (readings, head) = ok(&text, &ledger());
    let refused: Vec<(&str, u64)> = head.refused.iter().map(|(reason, n)| (reason.as_str(), *n)).collect();
    assert_eq!(refused, [("blank", 1), ("missing time", 1), ("too few fields", 1), ("too many fields", 1)]);
    assert_eq!(head.rows, readings.len() as u64 + 4);
    assert!(readings.torque_n_m.is_some_and(|m| m[3].is_nan()));
    let few = Remark::RowsRefused { rows: 1, all: 8, reason: "too few fields".into(), line: 10 };
    assert!(head.remarks.contains(&few), "{head:?}");
}

#[test]
fn a_file_that_was_cut_off_says_so() {
    let whole = LEDGER.trim_end();
    assert_eq!(ok(whole, &ledger()).0.len(), 3);
    // Behind each of its bytes, down to the beginning of the last row.
    for cut in 1.."2;reverse;0,0060;0,0096;-81,1850;25,02".len() {
        let (readings, head) = ok(&whole[..whole.len() - cut], &ledger());
        assert_eq!((readings.len(), head.rows), (2, 3), "{cut}");
        assert_eq!(head.refused["cut off at the end of the file"], 1, "{cut}");
    }
}

#[test]
fn a_number_that_is_none_is_an_error_with_its_place() {
    let said = error(&LEDGER.replace("42,9842", "over load"), &ledger());
    assert_eq!(
        said,
        "raw:6:23: column `Torque` (torque): found `over load`, expected a number with decimal `,` \
         (add the word to `stages.ingest.missing` if it stands for a missing value, or write `refuse_unreadable: true` there)"
    );
    let said = error(&LEDGER.replace(",0", ".0"), &ledger());
    assert!(said.contains("write `decimal: \".\"` in the layout"), "{said}");
    assert!(said.lines().count() <= 5);
}

#[test]
fn unreadable_rows_can_be_refused_instead() {
    let params = Params { refuse_unreadable: true, ..Params::default() };
    let text = LEDGER.replace("42,9842", "over load");
    let (readings, head) = read(text.as_bytes(), None, &ledger(), &params).unwrap_or_else(|p| panic!("{p:?}"));
    assert_eq!((readings.len(), head.refused["unreadable torque"]), (2, 1));
}

#[test]
fn a_units_row_that_disagrees_is_an_error() {
    let said = error(&LEDGER.replace(";uN.m;", ";mN.m;"), &ledger());
    assert!(said.starts_with("raw:5: column `Torque`: its unit is `mN.m` in the export and `uN.m`"), "{said}");
}

#[test]
fn units_come_from_the_row_or_the_name() {
    let (readings, _) = ok("t\tM\tD\n[min]\t(mN.m)\t1/s\n1\t2\t3\n", &bare());
    assert_eq!((readings.time_s, readings.torque_n_m), (vec![60.0], Some(vec![2e-3])));
    assert!(
        error("t\tM\tD\n1\t2\t3\n", &bare()).contains("column `M`: neither the layout nor the export says its unit")
    );
    let mut named = bare();
    named.columns.torque = unitless("M [mN.m]");
    let said = error("t\tM [mN.m]\tD\n1\t2\t3\n", &named);
    assert!(!said.contains("`M"), "{said}");
}

#[test]
fn one_is_the_unit_of_pure_numbers_and_also_a_number() {
    let strain = Layout { columns: Columns { strain: unitless("g"), ..bare().columns }, ..Layout::default() };
    let (readings, _) = ok("t\tM\tD\tg\ns\tN.m\t1/s\t1\n1\t2\t3\t4\n", &strain);
    assert_eq!((readings.row, readings.strain), (vec![3], Some(vec![4.0])));
    let mut stated = bare();
    stated.columns =
        Columns { time: column("t", "s"), torque: column("M", "N.m"), rate: column("D", "1/s"), ..Columns::default() };
    assert_eq!(ok("t\tM\tD\n1\t1\t1\n2\t2\t3\n", &stated).0.row, [2, 3], "a row of ones is a reading");
}

#[test]
fn steps_begin_at_marked_lines_and_headers_may_repeat() {
    let layout = Layout { step_starts: Some(r"^Leg no\. (\d+)".into()), ..bare() };
    let text = "Test;x\nLeg no. 4\nPoints;2\nt;M;D\ns;uN.m;1/s\n0;1;2\n1;1;2\n\n\
        Leg no. 7\nPoints;1\nM;t;D\nuN.m;s;1/s\n5;2;2\n";
    let (readings, head) = ok(text, &layout);
    assert_eq!((readings.step, readings.time_s), (vec![1, 1, 7], vec![0.0, 1.0, 2.0]));
    assert_eq!((head.rows, head.refused.len()), (3, 0));
}

#[test]
fn steps_begin_where_a_label_or_a_set_point_changes() {
    let mut layout = bare();
    layout.columns.label = unitless("what");
    let text = "t;M;D;what\ns;uN.m;1/s;\n0;1;2;a\n1;1;2;a\n2;1;2;b\n3;1;2;a\n";
    assert_eq!(ok(text, &layout).0.step, [1, 1, 2, 3]);
    layout.columns.label = None;
    layout.columns.set_rate = unitless("what");
    let text = "t;M;D;what\ns;uN.m;1/s;1/s\n0;1;2;5\n1;1;2;5\n2;1;2;-5\n3;1;2;-5\n";
    assert_eq!(ok(text, &layout).0.step, [1, 1, 2, 2]);
}

#[test]
fn a_wrapped_angle_is_unwrapped_and_said() {
    let rows: String =
        (0..30).map(|i| format!("1;{i};{};1;25\n", f64::from(i * 400 % 6283)).replace('.', ",")).collect();
    let (readings, head) = ok(&format!("Part;Clock;Angle;Torque;Bath\n{rows}"), &ledger());
    let last = readings.angle_rad.and_then(|a| a.last().copied()).unwrap_or(f64::NAN);
    // 29 × 0.4 rad; the export drops 6.283 rad per turn instead of 2π, and there was one turn.
    assert!((last - 11.6).abs() < 2e-4, "{last}");
    assert_eq!(head.remarks, [Remark::AngleStartsAnew { times: 1 }]);
}

#[test]
fn nothing_to_read_is_refused() {
    assert!(error("Part;Clock;Angle;Torque;Bath\n", &ledger()).contains("no row of data stands below the header"));
    assert!(error("", &ledger()).contains("the file is empty"));
    let commas = Layout { separator: Separator::Comma, decimal: Decimal::Point, ..bare() };
    let said = error("t,M,D\ns,uN.m,1/s\n0,1,1,2,3,4\n", &commas);
    assert!(said.contains("none of 1 rows can be used; most of them: too many fields"), "{said}");
}

/// Writes a number as a program of this habit would.
fn written(value: f64, decimal: Decimal, exponent: bool) -> String {
    let text = if exponent { format!("{value:E}") } else { format!("{value}") };
    text.replace('.', &decimal.sign().to_string())
}

fn encoded(text: &str, encoding: Encoding) -> Vec<u8> {
    match encoding {
        Encoding::Utf16Le => text.encode_utf16().flat_map(u16::to_le_bytes).collect(),
        Encoding::Utf16Be => text.encode_utf16().flat_map(u16::to_be_bytes).collect(),
        _ => text.as_bytes().to_vec(),
    }
}

fn habits() -> impl Strategy<Value = (Separator, Decimal)> {
    let separators = [Separator::Tab, Separator::Semicolon, Separator::Comma, Separator::Bar, Separator::Spaces];
    let pairs = separators.into_iter().flat_map(|s| [(s, Decimal::Point), (s, Decimal::Comma)]);
    let possible: Vec<_> = pairs.filter(|pair| *pair != (Separator::Comma, Decimal::Comma)).collect();
    prop::sample::select(possible)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever separator, decimal, encoding and line end: the same numbers, bit for bit, and no row lost.
    #[test]
    fn exports_of_any_habit_read_back(
        rows in prop::collection::vec((-1e6..1e6f64, -1e-3..1e-3f64, 0..4u8), 1..40),
        (separator, decimal) in habits(),
        encoding in prop::sample::select(vec![Encoding::Utf8, Encoding::Utf16Le, Encoding::Utf16Be]),
        end in prop::sample::select(vec!["\n", "\r\n", "\r"]),
        exponent: bool,
        stated: bool,
    ) {
        let sign = separator.sign().unwrap_or(' ');
        let mut text = format!("t{sign}M{sign}D{end}s{sign}N.m{sign}1/s{end}");
        for (torque, rate, kind) in &rows {
            let time = if *kind == 0 { "-" } else { "1" };
            let [torque, rate] = [torque, rate].map(|v| written(*v, decimal, exponent));
            text += &format!("{time}{sign}{torque}{sign}{rate}{end}");
        }
        let layout = Layout {
            separator: if stated { separator } else { Separator::Auto },
            encoding: if stated { encoding } else { Encoding::Auto },
            decimal,
            ..bare()
        };
        let refused = rows.iter().filter(|(_, _, kind)| *kind == 0).count();
        let result = read(&encoded(&text, encoding), None, &layout, &Params::default());
        if refused == rows.len() {
            prop_assert!(result.is_err());
            return Ok(());
        }
        let (readings, head) = result.map_err(|p| TestCaseError::fail(format!("{p:?}")))?;
        let kept: Vec<_> = rows.iter().filter(|(_, _, kind)| *kind != 0).collect();
        prop_assert_eq!(head.rows, rows.len() as u64);
        prop_assert_eq!(head.refused.values().sum::<u64>(), refused as u64);
        prop_assert_eq!(readings.torque_n_m, Some(kept.iter().map(|(m, _, _)| *m).collect::<Vec<_>>()));
        prop_assert_eq!(readings.rate_per_s, Some(kept.iter().map(|(_, d, _)| *d).collect::<Vec<_>>()));
    }
}
