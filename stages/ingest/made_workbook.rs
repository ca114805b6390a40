//! Small workbooks for tests, made here so that none has to be kept. Nothing but tests uses them.

// Seen from this crate and from the tests of the program.
#![allow(unreachable_pub)]

/// A ZIP archive whose entries are stored as they are (APPNOTE 6.3.10, 4.3).
fn zip(entries: &[(&str, String)]) -> Vec<u8> {
    let (mut out, mut directory) = (Vec::new(), Vec::new());
    for (name, content) in entries {
        let mut crc = flate2::Crc::new();
        crc.update(content.as_bytes());
        let (size, offset) = (content.len() as u32, out.len() as u32);
        let mut common = vec![20, 0, 0, 0, 0, 0, 0, 0, 0, 0];
        common.extend([crc.sum(), size, size].into_iter().flat_map(u32::to_le_bytes));
        common.extend((name.len() as u16).to_le_bytes().into_iter().chain([0, 0]));
        out.extend([b"PK\x03\x04".as_slice(), &common, name.as_bytes(), content.as_bytes()].concat());
        directory.extend(
            [b"PK\x01\x02\x14\x00".as_slice(), &common, &[0; 10], &offset.to_le_bytes(), name.as_bytes()].concat(),
        );
    }
    let (count, size, offset) = (entries.len() as u16, directory.len() as u32, out.len() as u32);
    out.extend(directory);
    out.extend([b"PK\x05\x06\0\0\0\0".as_slice(), &count.to_le_bytes(), &count.to_le_bytes()].concat());
    out.extend([size.to_le_bytes().as_slice(), &offset.to_le_bytes(), &[0, 0]].concat());
    out
}

/// A workbook whose sheets hold the cells of texts parted by tabs, all of them as text.
pub fn workbook(sheets: &[(&str, &str)]) -> Vec<u8> {
    let list = |each: &dyn Fn(usize, &str) -> String| -> String {
        sheets.iter().enumerate().map(|(at, (name, _))| each(at + 1, name)).collect()
    };
    let main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main";
    let relations = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
    let package = "http://schemas.openxmlformats.org/package/2006/relationships";
    let book = list(&|at, name| format!("<sheet name=\"{name}\" sheetId=\"{at}\" r:id=\"r{at}\"/>"));
    let targets = list(&|at, _| {
        format!("<Relationship Id=\"r{at}\" Type=\"{relations}/worksheet\" Target=\"worksheets/s{at}.xml\"/>")
    });
    let mut entries = vec![
        (
            "_rels/.rels".to_owned(),
            format!(
                "<Relationships xmlns=\"{package}\"><Relationship Id=\"r0\" Type=\"{relations}/officeDocument\" Target=\"xl/workbook.xml\"/></Relationships>"
            ),
        ),
        (
            "xl/workbook.xml".to_owned(),
            format!("<workbook xmlns=\"{main}\" xmlns:r=\"{relations}\"><sheets>{book}</sheets></workbook>"),
        ),
        (
            "xl/_rels/workbook.xml.rels".to_owned(),
            format!("<Relationships xmlns=\"{package}\">{targets}</Relationships>"),
        ),
    ];
    for (at, (_, text)) in sheets.iter().enumerate() {
        let cell = |(column, text): (usize, &str), row: usize| {
            let letter = char::from(b'A' + column as u8);
            match text.parse::<f64>() {
                Ok(value) => format!("<c r=\"{letter}{row}\"><v>{value}</v></c>"),
                Err(_) => format!("<c r=\"{letter}{row}\" t=\"inlineStr\"><is><t>{text}</t></is></c>"),
            }
        };
        let rows: String = text
            .lines()
            .enumerate()
            .map(|(row, line)| {
                let cells: String = line.split('\t').enumerate().map(|field| cell(field, row + 1)).collect();
                format!("<row r=\"{}\">{cells}</row>", row + 1)
            })
            .collect();
        entries.push((
            format!("xl/worksheets/s{}.xml", at + 1),
            format!("<worksheet xmlns=\"{main}\"><sheetData>{rows}</sheetData></worksheet>"),
        ));
    }
    let entries: Vec<(&str, String)> = entries.iter().map(|(name, content)| (name.as_str(), content.clone())).collect();
    zip(&entries)
}
