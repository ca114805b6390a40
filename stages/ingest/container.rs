//! What an export is packed in: nothing, gzip, or a workbook. What its text says is read elsewhere.

use super::text::RAW;
use pipeline::diagnostic::{Diagnostic, Place};
use pipeline::stage::unreadable;
use std::io::{self, Cursor, Read};

/// Where the bytes of an export come from: they are gone through once to see what they are, and once to be read.
pub trait Export {
    /// From the beginning.
    ///
    /// # Errors
    /// If it cannot be opened.
    fn open(&self) -> Result<Box<dyn Read + '_>, Vec<Diagnostic>>;
}

impl Export for &[u8] {
    fn open(&self) -> Result<Box<dyn Read + '_>, Vec<Diagnostic>> {
        Ok(Box::new(*self))
    }
}

/// Goes through an export to its end, which tells whether it is the one that was meant.
///
/// # Errors
/// Those of the work, and what cannot be read.
pub(crate) fn pass<T>(
    export: &dyn Export,
    work: impl FnOnce(&mut Unpacked<'_>) -> Result<T, Vec<Diagnostic>>,
) -> Result<T, Vec<Diagnostic>> {
    let mut stream = export.open()?;
    let done = work(&mut Unpacked::new(&mut stream)?)?;
    io::copy(&mut stream, &mut io::sink()).map_err(unreadable)?;
    Ok(done)
}

/// What files of gzip begin with (RFC 1952, 2.3.1), and ZIP archives, which workbooks are (APPNOTE.TXT, 4.3.7).
const GZIP: &[u8] = b"\x1F\x8B";
const ZIP: &[u8] = b"PK\x03\x04";

/// An export unpacks to at most so much: more than any run, and less than what would fill a machine.
const LARGEST: u64 = 2 << 30;

/// The bytes of an export out of their packing, as they pass by.
pub(crate) struct Unpacked<'a> {
    from: Box<dyn Read + 'a>,
    /// Whether they were packed by gzip.
    pub(super) gzip: bool,
    /// Whether it may be a workbook.
    pub(super) zip: bool,
    /// What is whole was read, and damage follows.
    pub(super) cut: bool,
    given: u64,
    largest: u64,
}

impl<'a> Unpacked<'a> {
    /// Unpacks by what the bytes begin with, whatever the file is called.
    fn new(mut stream: impl Read + 'a) -> Result<Self, Vec<Diagnostic>> {
        let mut head = Vec::new();
        stream.by_ref().take(ZIP.len() as u64).read_to_end(&mut head).map_err(unreadable)?;
        let (gzip, zip) = (head.starts_with(GZIP), head.starts_with(ZIP));
        let whole = Cursor::new(head).chain(stream);
        let from: Box<dyn Read + 'a> =
            if gzip { Box::new(flate2::read::MultiGzDecoder::new(io::BufReader::new(whole))) } else { Box::new(whole) };
        Ok(Self { from, gzip, zip, cut: false, given: 0, largest: LARGEST })
    }
}

impl Read for Unpacked<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if !self.gzip {
            return self.from.read(buffer);
        }
        if self.cut {
            return Ok(0);
        }
        let read = match self.from.read(buffer) {
            Ok(read) => read,
            // What is whole is read; damage behind it is told as a cut.
            Err(_) if self.given > 0 => {
                self.cut = true;
                0
            }
            Err(error) => {
                let message = format!("this gzip file is damaged: {error}");
                return Err(told(message, "pack or copy it again"));
            }
        };
        self.given += read as u64;
        if self.given > self.largest {
            let message = format!("this gzip file unpacks to more than {} bytes", self.largest);
            return Err(told(message, "unpack it, and cut it into runs"));
        }
        Ok(read)
    }
}

fn told(message: String, help: &str) -> io::Error {
    io::Error::other(Diagnostic::new(message).at(Place::file(RAW)).help(help))
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

    /// The text, and whether it was cut off.
    fn unpack(bytes: &[u8], largest: u64) -> Result<(Vec<u8>, bool), Vec<Diagnostic>> {
        pass(&bytes, |unpacked| {
            unpacked.largest = largest;
            let mut text = Vec::new();
            unpacked.read_to_end(&mut text).map_err(unreadable)?;
            Ok((text, unpacked.cut))
        })
    }

    #[test]
    fn gzip_is_known_by_its_beginning() {
        let whole = packed(b"t;M\n1;2\n");
        assert_eq!(unpack(&whole, LARGEST).unwrap(), (b"t;M\n1;2\n".to_vec(), false));
        let two = [packed(b"t;M\n"), packed(b"1;2\n")].concat();
        assert_eq!(unpack(&two, LARGEST).unwrap(), (b"t;M\n1;2\n".to_vec(), false));
    }

    #[test]
    fn a_cut_or_damaged_packing_is_told() {
        let text: String = (0..5000).map(|i| format!("{i};{}\n", i * 7919 % 1000)).collect();
        let whole = packed(text.as_bytes());
        let (half, cut) = unpack(&whole[..whole.len() / 2], LARGEST).unwrap();
        assert!(cut && !half.is_empty() && text.as_bytes().starts_with(&half));
        assert!(unpack(&whole[..4], LARGEST).unwrap_err()[0].to_string().contains("is damaged"));
        let said = unpack(&packed(&[b'7'; 5000]), 4000).unwrap_err()[0].to_string();
        assert!(said.starts_with("raw: ") && said.contains("more than 4000 bytes"), "{said}");
    }
}
