//! One small export for each way in which programs write them, made here, and files that are no exports: the same
//! three readings come out, or a clear refusal.

use super::compute::read;
use super::layout::{Column, Columns, Decimal, Layout, Thousands};
use super::made_workbook::workbook;
use super::params::Params;
use super::remark::Remark;
use super::result::{Head, Readings};
use proptest::prelude::*;
use std::io::Write;

fn named(name: &str) -> Option<Column> {
    Some(Column { name: name.into(), ..Column::default() })
}

fn layout() -> Layout {
    let columns = Columns { time: named("t"), torque: named("M"), speed: named("n"), ..Columns::default() };
    Layout { columns, ..Layout::default() }
}

fn comma() -> Layout {
    Layout { decimal: Decimal::Comma, ..layout() }
}

fn tried(bytes: &[u8], sheet: Option<&str>, layout: &Layout) -> Result<(Readings, Head), String> {
    read(bytes, sheet, layout, &Params::default())
        .map_err(|problems| problems.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"))
}

/// Times 0.5, 1, 1.5 s; torque 1.25, −2.5, 1250 mN m; speed 60, −60, 60 rpm.
fn same(what: &str, bytes: &[u8], layout: &Layout) {
    let (readings, head) = tried(bytes, None, layout).unwrap_or_else(|said| panic!("{what}: {said}"));
    let close = |found: &[f64], wanted: [f64; 3]| {
        assert_eq!(found.len(), 3, "{what}");
        // The shift to SI rounds in the last places.
        assert!(found.iter().zip(wanted).all(|(a, b)| (a - b).abs() <= 1e-12 * b.abs()), "{what}: {found:?}");
    };
    close(&readings.time_s, [0.5, 1.0, 1.5]);
    close(readings.torque_n_m.as_deref().unwrap_or_default(), [1.25e-3, -2.5e-3, 1.25]);
    let turn = 2.0 * std::f64::consts::PI;
    close(readings.speed_rad_per_s.as_deref().unwrap_or_default(), [turn, -turn, turn]);
    assert_eq!((head.rows, head.refused.len()), (3, 0), "{what}");
}

const TABS: &str = "t\tM\tn\ns\tmN.m\trpm\n0.5\t1.25\t60\n1\t-2.5\t-60\n1.5\t1250\t60\n";

#[test]
fn separators_line_ends_and_encodings() {
    for sign in [";", ",", "|", " ", "   "] {
        same(sign, TABS.replace('\t', sign).as_bytes(), &layout());
    }
    for end in ["\r\n", "\r"] {
        same("line end", TABS.replace('\n', end).as_bytes(), &layout());
    }
    let signs = TABS.replace("mN.m", "mN·m");
    same("UTF-8 with mark", format!("\u{feff}{signs}").as_bytes(), &layout());
    same("Latin-1", &signs.chars().map(|c| c as u8).collect::<Vec<_>>(), &layout());
    // What Latin-1 leaves to control characters, Windows-1252 has for dashes, quotes and the euro (its table by W3C,
    // Encoding Standard).
    let named =
        [b"Operator \x96 \x93nobody\x94, 5 \x80\n".as_slice(), &signs.replace('\u{b7}', ".").into_bytes()].concat();
    same("Windows-1252", &named, &layout());
    assert_eq!(tried(&named, None, &layout()).map(|(_, head)| head.encoding), Ok("windows-1252".to_owned()));
    for mark in ["", "\u{feff}"] {
        let units = || format!("{mark}{signs}").encode_utf16().collect::<Vec<u16>>();
        same("UTF-16LE", &units().into_iter().flat_map(u16::to_le_bytes).collect::<Vec<_>>(), &layout());
        same("UTF-16BE", &units().into_iter().flat_map(u16::to_be_bytes).collect::<Vec<_>>(), &layout());
    }
}

#[test]
fn ways_of_writing_numbers() {
    let body = "t;M;n\ns;mN.m;rpm\n0,5;1,25E+00;60\n1;-2,5;-60\n1,5;1250;60\n";
    same("decimal comma", body.as_bytes(), &comma());
    for (sign, thousands) in [(".", Thousands::Point), (" ", Thousands::Space), ("'", Thousands::Apostrophe)] {
        let grouped = Layout { thousands: Some(thousands), ..comma() };
        same(sign, body.replace("1250", &format!("1{sign}250,0")).as_bytes(), &grouped);
    }
    let grouped = Layout { thousands: Some(Thousands::Comma), ..layout() };
    same("thousands by commas", TABS.replace("1250", "1,250.0").as_bytes(), &grouped);
    for written in ["1,25E-00", "125E-02", "12,5e-1", "0,125E+01", "+1,25", "1,250000"] {
        same(written, body.replace("1,25E+00", written).as_bytes(), &comma());
    }
    for minus in ["\u{2212}2,5", "-2,5E0", "-25E-01"] {
        same(minus, body.replace("-2,5", minus).as_bytes(), &comma());
    }
    for blank in ["\u{a0}", "\u{202f}", "\u{2009}"] {
        let grouped = Layout { thousands: Some(Thousands::Space), ..comma() };
        same("a blank that does not break", body.replace("1250", &format!("1{blank}250")).as_bytes(), &grouped);
    }
    same("quotes", TABS.replace("1.25", "\"1.25\"").replace("1250", "\"1250\"").as_bytes(), &layout());
}

#[test]
fn comments_above_between_and_below_the_readings() {
    for mark in ["#", "%", "//", "!"] {
        let said = TABS.replace("\n1\t", &format!("\n{mark} a bubble, perhaps\n  {mark}{mark}\n1\t"));
        let text = format!("{mark} Operator: nobody\n{mark} gap = 52 um\n{said}{mark} end of file\n");
        let layout = Layout { comment: Some(mark.into()), ..layout() };
        same(mark, text.as_bytes(), &layout);
        let (readings, head) = tried(text.as_bytes(), None, &layout).unwrap_or_else(|said| panic!("{mark}: {said}"));
        assert_eq!(readings.row, [5, 8, 9], "{mark}: a row is a line of the file");
        assert_eq!((&*head.preamble["Operator"], &*head.preamble["gap"]), ("nobody", "52 um"), "{mark}");
    }
}

#[test]
fn preambles_of_several_hands() {
    for (line, key, value) in [
        ("Operator: nobody", "Operator", "nobody"),
        ("Operator = nobody", "Operator", "nobody"),
        ("Operator\tnobody", "Operator", "nobody"),
        ("\"Operator\"\t\"nobody\"", "Operator", "nobody"),
        ("Start: 13.01.2026 10:20", "Start", "13.01.2026 10:20"),
        ("Gap, mm: 0.052", "Gap, mm", "0.052"),
        ("Gap\t0.052\tmm", "Gap", "0.052 mm"),
        ("Note: a: b = c", "Note", "a: b = c"),
        ("Operator: \"nobody; at all\"", "Operator", "nobody; at all"),
        ("Tool = \"cone 7\", 2 deg", "Tool", "\"cone 7\", 2 deg"),
    ] {
        let text = format!("{line}\nno entry\n\n{TABS}");
        same(line, text.as_bytes(), &layout());
        let (_, head) = tried(text.as_bytes(), None, &layout()).unwrap_or_else(|said| panic!("{line}: {said}"));
        assert_eq!(head.preamble, [(key.to_owned(), value.to_owned())].into(), "{line}");
    }
}

#[test]
fn columns_in_any_order_beside_others() {
    let cells: Vec<Vec<&str>> = TABS.lines().map(|line| line.split('\t').collect()).collect();
    for order in [[0, 1, 2], [0, 2, 1], [1, 0, 2], [1, 2, 0], [2, 0, 1], [2, 1, 0]] {
        let line = |row: &Vec<&str>| order.map(|at| row[at]).join(";");
        same("in another order", cells.iter().map(|row| line(row) + "\n").collect::<String>().as_bytes(), &layout());
        // Words and holes in columns that nobody mapped are nobody's business.
        let secondary = |(at, row): (usize, &Vec<&str>)| match at {
            0 => format!("no;{};remark\n", line(row)),
            1 => format!(";{};\n", line(row)),
            _ => format!("{at};{};{}\n", line(row), ["fine", "", "over load"][at - 2]),
        };
        same("beside others", cells.iter().enumerate().map(secondary).collect::<String>().as_bytes(), &layout());
    }
}

#[test]
fn units_in_names_rows_and_the_layout() {
    same("in names", TABS.replace("t\tM\tn\ns\tmN.m\trpm", "t\tM\tn\n[s]\t(mNm)\t1/min").as_bytes(), &layout());
    let bare = TABS.replace("s\tmN.m\trpm\n", "");
    let mut stated = layout();
    let unit = |name: &str, unit: &str| Some(Column { unit: Some(unit.into()), ..named(name).unwrap_or_default() });
    stated.columns.time = unit("t", "s");
    stated.columns.torque = unit("M", "mN.m");
    stated.columns.speed = unit("n", "1/min");
    same("in the layout", bare.as_bytes(), &stated);
    let mut inline = layout();
    inline.columns.time = named("t/s");
    inline.columns.torque = named("M [mN·m]");
    inline.columns.speed = named("n in rpm");
    same("inline", bare.replace("t\tM\tn", "t/s\tM [mN·m]\tn in rpm").as_bytes(), &inline);
}

/// The fourth column of an export, whose units row says this, as it is read in SI (°C for temperatures).
fn fourth(role: &str, unit: &str) -> f64 {
    let mut columns = layout().columns;
    let column = match role {
        "angle" => &mut columns.angle,
        "strain" => &mut columns.strain,
        "temperature" => &mut columns.temperature,
        "stress" => &mut columns.stress,
        "normal_force" => &mut columns.normal_force,
        _ => &mut columns.rate,
    };
    *column = named("x");
    let text = format!("t\tM\tn\tx\ns\tmN.m\trpm\t{unit}\n0.5\t1.25\t60\t-180\n1\t-2.5\t-60\t-180\n");
    let layout = Layout { columns, ..Layout::default() };
    let (r, _) = tried(text.as_bytes(), None, &layout).unwrap_or_else(|said| panic!("{role} in {unit}: {said}"));
    let all = [r.angle_rad, r.strain, r.temperature_c, r.stress_pa, r.normal_force_n, r.rate_per_s];
    all.into_iter().flatten().next().map_or(f64::NAN, |values| values[0])
}

#[test]
fn unit_rows_as_people_write_them() {
    let pi = std::f64::consts::PI;
    let cases = [
        ("angle", "rad", -180.0),
        ("angle", "mrad", -0.18),
        ("angle", "deg", -pi),
        ("angle", "°", -pi),
        ("strain", "%", -1.8),
        ("strain", "1", -180.0),
        ("strain", "-", -180.0),
        ("temperature", "degC", -180.0),
        ("temperature", "C", -180.0),
        ("temperature", "°C", -180.0),
        ("temperature", "[°C]", -180.0),
        ("temperature", "K", -180.0 - 273.15),
        ("stress", "Pa", -180.0),
        ("stress", "kPa", -180e3),
        ("stress", "mPa", -0.18),
        ("stress", "N/m²", -180.0),
        ("normal_force", "mN", -0.18),
        ("rate", "1/s", -180.0),
        ("rate", "s-1", -180.0),
        ("rate", "s^-1", -180.0),
        ("rate", "1/min", -3.0),
    ];
    for (role, unit, value) in cases {
        let found = fourth(role, unit);
        assert!((found - value).abs() <= 1e-12 * f64::abs(value), "{role} in {unit}: {found}");
    }
    let torque = |unit: &str, of: &str| TABS.replace("mN.m", unit).replace("1.25\t", of);
    for (unit, of) in [
        ("N.m", "0.00125"),
        ("N·m", "0.00125"),
        ("Nm", "0.00125"),
        ("mNm", "1.25"),
        ("uN.m", "1250"),
        ("µN·m", "1250"),
        ("μNm", "1250"),
        ("nN.m", "1.25e6"),
        ("nNm", "1250000"),
    ] {
        let text = torque(unit, &format!("{of}\t"));
        let (readings, _) = tried(text.as_bytes(), None, &layout()).unwrap_or_else(|said| panic!("{unit}: {said}"));
        let first = readings.torque_n_m.map_or(f64::NAN, |m| m[0]);
        assert!((first / 1.25e-3 - 1.0).abs() < 1e-12, "{unit}: {first}");
    }
    for (unit, seconds) in [("s", 0.5), ("ms", 0.5e-3), ("min", 30.0), ("h", 1800.0)] {
        let text = TABS.replace("\ns\t", &format!("\n{unit}\t"));
        let (readings, _) = tried(text.as_bytes(), None, &layout()).unwrap_or_else(|said| panic!("{unit}: {said}"));
        assert!((readings.time_s[0] / seconds - 1.0).abs() < 1e-12, "{unit}");
    }
    let turn = 2.0 * std::f64::consts::PI;
    for (unit, speed) in
        [("rpm", turn), ("1/min", turn), ("min-1", turn), ("rad/s", 60.0), ("mrad/s", 0.06), ("deg/s", turn / 6.0)]
    {
        let text = TABS.replace("rpm", unit);
        let (readings, _) = tried(text.as_bytes(), None, &layout()).unwrap_or_else(|said| panic!("{unit}: {said}"));
        let first = readings.speed_rad_per_s.map_or(f64::NAN, |n| n[0]);
        assert!((first / speed - 1.0).abs() < 1e-12, "{unit}: {first}");
    }
}

#[test]
fn words_for_what_is_missing() {
    for word in ["", "-", "--", "NaN", "nan", "n/a", "NULL", "*"] {
        let text = TABS.replace("\t-2.5\t", &format!("\t{word}\t"));
        let (readings, head) =
            tried(text.as_bytes(), None, &layout()).unwrap_or_else(|said| panic!("`{word}`: {said}"));
        let torque = readings.torque_n_m.unwrap_or_default();
        assert!(torque[1].is_nan() && torque[0].is_finite() && head.rows == 3, "`{word}`: {torque:?}");
    }
}

#[test]
fn repeated_names_quoted_line_ends_and_more_columns() {
    let text = "x;M;n;M;t\n;Pa;rpm;mN.m;s\na;7;60;1.25;0.5\nb;7;-60;-2.5;1\nc;7;60;1250;1.5\n";
    let mut second = layout();
    second.columns.torque = Some(Column { which: Some(2), ..named("M").unwrap_or_default() });
    same("the second M", text.as_bytes(), &second);
    assert!(tried(text.as_bytes(), None, &layout()).is_err_and(|said| said.contains("add `which: 1`")));
    second.columns.torque = Some(Column { which: Some(3), ..named("M").unwrap_or_default() });
    assert!(tried(text.as_bytes(), None, &second).is_err_and(|said| said.contains("wants number 3")));
    let quoted = "t;\"remark\non two lines\";M;n\ns;;mN.m;rpm\n0.5;\"a\nb\";1.25;60\n1;;-2.5;-60\n1.5;;1250;60\n";
    same("quoted", quoted.as_bytes(), &layout());
    assert_eq!(tried(quoted.as_bytes(), None, &layout()).map(|(r, _)| r.row), Ok(vec![4, 6, 7]));
}

#[test]
fn times_of_every_kind() {
    let with = |format: &str, times: [&str; 3]| {
        let mut clock = layout();
        clock.columns.time = Some(Column { format: Some(format.into()), ..named("t").unwrap_or_default() });
        let text = TABS.replace("s\tmN", "\tmN").replace("\n0.5\t", &format!("\n{}\t", times[0]));
        let text = text.replace("\n1\t", &format!("\n{}\t", times[1])).replace("\n1.5\t", &format!("\n{}\t", times[2]));
        tried(text.as_bytes(), None, &clock).map(|(readings, _)| readings.time_s)
    };
    assert_eq!(with("hh:mm:ss", ["0:00:00.5", "0:00:01", "1:00:01.5"]), Ok(vec![0.5, 1.0, 3601.5]));
    let stamps = ["13.01.2026 23:59:59.5", "14.01.2026 00:00:00", "14.01.2026 00:00:00.5"];
    assert_eq!(with("date-time", stamps), Ok(vec![0.0, 0.5, 1.0]));
    let ambiguous = ["01/02/2026 10:00:00", "01/02/2026 10:00:01", "01/02/2026 10:00:02"];
    assert_eq!(with("%d/%m/%Y %H:%M:%S", ambiguous), Ok(vec![0.0, 1.0, 2.0]));
    assert!(with("date-time", ambiguous).is_err_and(|said| said.contains("found `01/02/2026 10:00:00`")));
    let said = tried(TABS.replace("0.5\t", "0:00:00.5\t").as_bytes(), None, &layout()).err().unwrap_or_default();
    assert!(said.contains("`format: hh:mm:ss`"), "{said}");
}

/// A motion at 30° a reading, that turns round after three turns.
#[test]
fn angles_that_grow_or_are_wrapped() {
    let wanted: Vec<f64> = (0..72_i32).map(|at| f64::from(36 - (36 - at).abs()) * 30.0).collect();
    let mut columns = layout().columns;
    (columns.speed, columns.angle) = (None, named("a"));
    let angles = Layout { columns, ..Layout::default() };
    let degrees = std::f64::consts::PI / 180.0;
    for (unit, factor) in [("deg", 1.0), ("°", 1.0), ("rad", degrees), ("mrad", 1e3 * degrees)] {
        for from in [f64::NEG_INFINITY, 0.0, -180.0] {
            let shown = |angle: &f64| if from.is_finite() { (angle - from).rem_euclid(360.0) + from } else { *angle };
            let row = |(at, angle): (usize, &f64)| format!("{at}\t1\t{:.4}\n", shown(angle) * factor);
            let rows: String = wanted.iter().enumerate().map(row).collect();
            let text = format!("t\tM\ta\ns\tmN.m\t{unit}\n{rows}");
            let (readings, head) =
                tried(text.as_bytes(), None, &angles).unwrap_or_else(|said| panic!("{unit}: {said}"));
            let found = readings.angle_rad.unwrap_or_default();
            // Four decimals of the unit, and the last places of sums.
            let rounded = 0.500_001e-4 * degrees / factor;
            let near = |(found, wanted): (&f64, &f64)| (found - wanted * degrees).abs() <= rounded;
            assert!(found.iter().zip(&wanted).all(near), "{unit} from {from}: {found:?}");
            assert_eq!(head.remarks.len(), usize::from(from.is_finite()), "{unit} from {from}: {:?}", head.remarks);
        }
    }
}

fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    encoder.write_all(bytes).and_then(|()| encoder.finish()).unwrap_or_default()
}

#[test]
fn workbooks_and_their_sheets() {
    let above = format!("Sample\tA\n{TABS}");
    same("a sheet", &workbook(&[("notes", "dear\treader"), ("run", &above)]), &layout());
    same("numbers as text", &workbook(&[("run", &TABS.replace('.', ",").replace("mN,m", "mN.m"))]), &comma());
    let two = workbook(&[("L1", TABS), ("L2", TABS)]);
    assert!(tried(&two, None, &layout()).is_err_and(|said| said.contains("write `sheets: [L1, L2]`")));
    assert!(tried(&two, Some("L2"), &layout()).is_ok_and(|(readings, _)| readings.len() == 3));
    assert!(tried(&two, Some("L3"), &layout()).is_err_and(|said| said.contains("it has `L1`, `L2`")));
    assert!(tried(TABS.as_bytes(), Some("L1"), &layout()).is_err_and(|said| said.contains("no workbook")));
    for cut in [60, two.len() / 2, two.len() - 4] {
        assert!(tried(&two[..cut], Some("L1"), &layout()).is_err(), "{cut}");
    }
}

#[test]
fn gzip_whole_and_cut_off() {
    same("gzip", &gzip(TABS.as_bytes()), &layout());
    let long =
        TABS.to_owned() + &(0..4000).map(|i| format!("{}\t{}\t60\n", i + 2, i * 7919 % 1009)).collect::<String>();
    let packed = gzip(long.as_bytes());
    let (readings, head) = tried(&packed[..packed.len() / 2], None, &layout()).unwrap_or_else(|said| panic!("{said}"));
    assert_eq!(head.rows, readings.len() as u64 + 1);
    assert_eq!(head.refused["cut off at the end of the file"], 1);
}

#[test]
fn exports_that_end_half_way() {
    let wide = |text: &str| text.encode_utf16().flat_map(u16::to_le_bytes).collect::<Vec<u8>>();
    let (whole, packed) = (wide(TABS), gzip(&wide(TABS)));
    let body = TABS.trim_end();
    let cases: [(&str, Vec<u8>); 6] = [
        ("half a number", TABS.replace("60\n", "60.00\n").trim_end_matches("0\n").as_bytes().to_vec()),
        ("before the last separator", body.as_bytes()[..body.len() - 3].to_vec()),
        ("in the first field", format!("{}1.", &body[..body.len() - 11]).into_bytes()),
        ("half a unit of UTF-16", whole[..whole.len() - 3].to_vec()),
        ("half a sign", [body.as_bytes(), "\tµ".as_bytes().split_at(2).0].concat()),
        ("its packing", packed[..packed.len() - 9].to_vec()),
    ];
    for (what, bytes) in cases {
        let (readings, head) = tried(&bytes, None, &layout()).unwrap_or_else(|said| panic!("{what}: {said}"));
        assert_eq!((readings.len(), head.rows), (2, 3), "{what}: {head:?}");
        assert_eq!(head.refused, [("cut off at the end of the file".to_owned(), 1)].into(), "{what}");
        let reason = "cut off at the end of the file".to_owned();
        let said = Remark::RowsRefused { rows: 1, all: 3, reason, line: 5 };
        assert_eq!(head.remarks, [said], "{what}");
    }
    for (what, bytes) in [("in the header", &TABS[..4]), ("in the units", &TABS[..9]), ("before readings", &TABS[..15])]
    {
        assert!(tried(bytes.as_bytes(), None, &layout()).is_err(), "{what}");
    }
}

/// A whole number that lost digits is a whole number still, and a field that lost them all is empty: what is shorter
/// than in the row before is not trusted.
#[test]
fn a_whole_number_that_was_cut_is_no_reading() {
    let body = TABS.trim_end();
    for lost in [1, 2] {
        let (readings, head) =
            tried(&body.as_bytes()[..body.len() - lost], None, &layout()).unwrap_or_else(|said| panic!("{said}"));
        assert_eq!((readings.len(), head.refused.len()), (2, 1), "{lost}: {:?}", readings.speed_rad_per_s);
    }
}

#[test]
fn steps_in_comments_and_times_that_begin_anew() {
    let text = "t\tM\tn\ns\tmN.m\trpm\n# step 1\n0.5\t1\t60\n1\t1\t60\n# step 2\n0.5\t1\t-60\n1\t1\t-60\n";
    let anew = Layout {
        comment: Some("#".into()),
        step_starts: Some(r"^# step (\d+)".into()),
        time_restarts: true,
        ..layout()
    };
    let (readings, head) = tried(text.as_bytes(), None, &anew).unwrap_or_else(|said| panic!("{said}"));
    assert_eq!((readings.step, readings.time_s), (vec![1, 1, 2, 2], vec![0.5, 1.0, 1.5, 2.0]));
    assert!(head.remarks.iter().any(|remark| matches!(remark, Remark::StepsLaidEndToEnd { .. })), "{head:?}");
}

#[test]
fn what_is_no_export_is_refused_clearly() {
    let junk: Vec<u8> = (0..5000u32).map(|i| (i.wrapping_mul(2_654_435_761) >> 11) as u8).collect();
    let image = [b"\x89PNG\r\n\x1a\n".as_slice(), &junk].concat();
    let cases: [(&[u8], &str); 6] = [
        (b"", "the file is empty"),
        (&junk, "this is not text"),
        (&image, "a PNG image"),
        (&[b'7'; 10 << 20], "more than 1048576 bytes"),
        (b"dear reader,\n", "no line holds any of the columns"),
        (b"PK\x03\x04 no workbook", "a ZIP archive"),
    ];
    for (bytes, expected) in cases {
        let said = tried(bytes, None, &layout()).err().unwrap_or_default();
        assert!(said.contains(expected) && said.len() < 2000, "{expected}: {said}");
    }
}

/// Exports of every packing and of several habits, whole.
pub(crate) fn whole() -> Vec<Vec<u8>> {
    let steps = "Sample;A\nStep 1\nt;M;n\ns;mN.m;rpm\n0,5;1,25;60\n1;-2,5;-60\n\nStep 2\n1,5;1.250;60\n2;1E+03;-60\n";
    let long = TABS.to_owned() + &(0..300).map(|i| format!("{}\t{}\t60\n", i + 2, i * 7919 % 1009)).collect::<String>();
    vec![
        TABS.as_bytes().to_vec(),
        gzip(long.as_bytes()),
        workbook(&[("run", TABS)]),
        workbook(&[("notes", "dear\treader"), ("L1", &long), ("L2", TABS)]),
        TABS.encode_utf16().flat_map(u16::to_le_bytes).collect(),
        steps.as_bytes().to_vec(),
        TABS.replace("t\tM\tn", "# made by nobody\nt\tM\tn").replace("0.5", "0:00:00.5").into_bytes(),
    ]
}

/// Layouts that such exports may be read by.
fn layouts() -> Vec<Layout> {
    let step_starts = Some(r"^Step (\d+)".to_owned());
    let clock = Column { format: Some("hh:mm:ss".into()), ..named("t").unwrap_or_default() };
    let timed = Columns { time: Some(clock), ..layout().columns };
    vec![
        layout(),
        Layout { comment: Some("#".into()), columns: timed, ..layout() },
        Layout { step_starts, time_restarts: true, thousands: Some(Thousands::Point), ..comma() },
    ]
}

/// Where, what, and how something is damaged.
pub(crate) type Damage = (prop::sample::Index, u8, u8);

/// Up to five damages.
pub(crate) fn damages() -> impl Strategy<Value = Vec<Damage>> {
    prop::collection::vec((any::<prop::sample::Index>(), any::<u8>(), 0..7u8), 0..6)
}

/// An export so damaged.
pub(crate) fn damaged(mut bytes: Vec<u8>, damages: &[Damage]) -> Vec<u8> {
    for (at, byte, kind) in damages {
        if bytes.is_empty() {
            break;
        }
        let at = at.index(bytes.len());
        let to = (at + usize::from(*byte)).min(bytes.len());
        match kind {
            0 => bytes[at] = *byte,
            1 => drop(bytes.remove(at)),
            2 => bytes.insert(at, *byte),
            3 => bytes.truncate(at),
            4 => bytes = [&bytes[..to], &bytes[at..]].concat(),
            5 => drop(bytes.drain(at..to)),
            _ => {
                let sign =
                    [b"\t".as_slice(), b"\n", b"\"", b"\r", b";", b",", b"-", b"1e999", b"\0", b"\xff", b"t\tM\tn\n"];
                let sign = sign[usize::from(*byte) % sign.len()];
                bytes = [&bytes[..at], sign, &bytes[at..]].concat();
            }
        }
    }
    bytes
}

/// How many of them are tried; as many as you like by a variable.
pub(crate) fn cases() -> u32 {
    std::env::var("SHEARBACK_EXPORTS").ok().and_then(|text| text.parse().ok()).unwrap_or(200)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: cases(), failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever is changed, dropped, doubled or cut off in an export: no panic, every row is kept or refused by name,
    /// and a refusal of the whole names the file and is short enough to read.
    #[test]
    fn damaged_exports_never_lose_a_row(which in 0..7usize, by in 0..3usize, how in damages()) {
        let bytes = damaged(whole().swap_remove(which), &how);
        match read(&bytes, None, &layouts()[by], &Params::default()) {
            Ok((readings, head)) => {
                prop_assert!(!readings.is_empty());
                prop_assert_eq!(head.rows, readings.len() as u64 + head.refused.values().sum::<u64>());
            }
            Err(problems) => {
                prop_assert!(!problems.is_empty());
                for problem in problems {
                    prop_assert!(problem.place.is_some_and(|place| place.file == "raw"), "{}", problem.message);
                    prop_assert!(problem.message.len() < 2000, "{}", problem.message);
                }
            }
        }
    }
}
