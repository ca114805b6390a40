//! What an export is packed in: nothing, gzip, or a workbook. What its text says is read elsewhere.

use super::text::problem;
use super::workbook;
use pipeline::diagnostic::Diagnostic;
use std::borrow::Cow;
use std::io::Read;

/// An export out of its packing.
#[derive(Debug)]
pub(crate) enum Unpacked<'a> {
    /// Bytes of a text, and whether their packing was cut off.
    Text(Cow<'a, [u8]>, bool),
    /// A workbook.
    Workbook(&'a [u8]),
}

/// An export unpacks to at most so much: more than any run, and less than what would fill a machine.
const LARGEST: u64 = 2 << 30;

/// Unpacks by what the bytes begin with, whatever the file is called.
///
/// # Errors
/// If the packing is damaged, or holds too much.
pub(crate) fn unpack(bytes: &[u8]) -> Result<Unpacked<'_>, Vec<Diagnostic>> {
    if bytes.starts_with(b"\x1F\x8B") {
        return gunzip(bytes, LARGEST);
    }
    if workbook::is_one(bytes) {
        return Ok(Unpacked::Workbook(bytes));
    }
    Ok(Unpacked::Text(Cow::Borrowed(bytes), false))
}

/// What is whole is read; damage behind it is told as a cut.
fn gunzip(bytes: &[u8], largest: u64) -> Result<Unpacked<'_>, Vec<Diagnostic>> {
    let mut text = Vec::new();
    let unpacked = flate2::read::MultiGzDecoder::new(bytes).take(largest + 1).read_to_end(&mut text);
    if text.len() as u64 > largest {
        return Err(problem(
            format!("this gzip file unpacks to more than {largest} bytes"),
            "unpack it, and cut it into runs",
        ));
    }
    match unpacked {
        Ok(_) => Ok(Unpacked::Text(Cow::Owned(text), false)),
        Err(_) if !text.is_empty() => Ok(Unpacked::Text(Cow::Owned(text), true)),
        Err(error) => Err(problem(format!("this gzip file is damaged: {error}"), "pack or copy it again")),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use std::io::Write;

    fn packed(text: &[u8]) -> Vec<u8> {
        let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
        encoder.write_all(text).unwrap();
        encoder.finish().unwrap()
    }

    #[test]
    fn gzip_is_known_by_its_beginning() {
        let whole = packed(b"t;M\n1;2\n");
        let Unpacked::Text(text, cut) = unpack(&whole).unwrap() else { unreachable!() };
        assert_eq!((&*text, cut), (b"t;M\n1;2\n".as_slice(), false));
        let two = [packed(b"t;M\n"), packed(b"1;2\n")].concat();
        assert!(matches!(unpack(&two).unwrap(), Unpacked::Text(text, false) if *text == *b"t;M\n1;2\n"));
    }

    #[test]
    fn a_cut_or_damaged_packing_is_told() {
        let text: String = (0..5000).map(|i| format!("{i};{}\n", i * 7919 % 1000)).collect();
        let whole = packed(text.as_bytes());
        let half = unpack(&whole[..whole.len() / 2]).unwrap();
        assert!(matches!(half, Unpacked::Text(found, true) if text.as_bytes().starts_with(&found)));
        assert!(unpack(&whole[..4]).unwrap_err()[0].to_string().contains("is damaged"));
        let said = gunzip(&packed(&[b'7'; 5000]), 4000).unwrap_err()[0].to_string();
        assert!(said.contains("more than 4000 bytes"), "{said}");
    }
}
