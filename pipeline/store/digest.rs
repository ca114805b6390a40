//! BLAKE3 hashes as values that can be sorted, printed and stored.

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::fmt;
use std::io::{self, Read};
use std::path::Path;

/// A BLAKE3 hash; written as 64 hex digits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Digest([u8; 32]);

impl Digest {
    /// Hash of these bytes.
    pub fn of(bytes: &[u8]) -> Self {
        let mut hasher = blake3::Hasher::new();
        update(&mut hasher, bytes);
        Self(*hasher.finalize().as_bytes())
    }

    /// Hash and size of a file, read in pieces, each hashed on all cores: the tree of BLAKE3 gives the same hash
    /// however it is walked. The file is not mapped into memory, where one that shrinks would end the program.
    ///
    /// # Errors
    /// If it cannot be read.
    pub fn of_file(path: &Path) -> io::Result<(Self, u64)> {
        /// Large enough to keep all cores busy (empirical: no gain beyond), small beside the memory of any machine.
        const PIECE: u64 = 4 << 20;
        let mut file = std::fs::File::open(path)?;
        let (mut hasher, mut piece) = (blake3::Hasher::new(), Vec::new());
        while file.by_ref().take(PIECE).read_to_end(&mut piece)? > 0 {
            update(&mut hasher, &piece);
            piece.clear();
        }
        Ok((Self(*hasher.finalize().as_bytes()), hasher.count()))
    }

    /// The first 12 hex digits, for people.
    pub fn short(&self) -> String {
        self.to_string()[..12].to_string()
    }
}

/// On one core where others would not pay (below 128 KiB, as the documentation of blake3 advises).
fn update(hasher: &mut blake3::Hasher, bytes: &[u8]) {
    if bytes.len() < 128 << 10 {
        hasher.update(bytes);
    } else {
        hasher.update_rayon(bytes);
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(blake3::Hash::from_bytes(self.0).to_hex().as_str())
    }
}

impl fmt::Debug for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl Serialize for Digest {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(blake3::Hash::from_bytes(self.0).to_hex().as_str())
    }
}

impl<'de> Deserialize<'de> for Digest {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<'de, str>::deserialize(deserializer)?;
        let hash = blake3::Hash::from_hex(text.as_bytes()).map_err(serde::de::Error::custom)?;
        Ok(Self(*hash.as_bytes()))
    }
}

/// A hash that grows as bytes pass by.
#[derive(Debug, Clone, Default)]
pub struct Growing(blake3::Hasher);

impl Growing {
    /// Takes more bytes.
    pub fn take(&mut self, bytes: &[u8]) {
        self.0.update(bytes);
    }

    /// The hash of all that was taken.
    pub fn digest(&self) -> Digest {
        Digest(*self.0.finalize().as_bytes())
    }
}

/// Fields hashed one after the other, each with its length, so that no two lists of fields look alike.
pub(crate) struct Fields(blake3::Hasher);

impl Fields {
    pub(crate) fn new() -> Self {
        Self(blake3::Hasher::new())
    }

    pub(crate) fn add(&mut self, field: impl AsRef<[u8]>) {
        let field = field.as_ref();
        self.0.update(&(field.len() as u64).to_le_bytes());
        self.0.update(field);
    }

    pub(crate) fn add_digest(&mut self, digest: &Digest) {
        self.add(digest.0);
    }

    /// How many entries of a list follow.
    pub(crate) fn count(&mut self, count: usize) {
        self.0.update(&(count as u64).to_le_bytes());
    }

    pub(crate) fn digest(&self) -> Digest {
        Digest(*self.0.finalize().as_bytes())
    }
}

#[cfg(test)]
mod vectors {
    use super::Digest;

    #[test]
    fn a_file_has_the_hash_of_its_bytes_whatever_its_length() {
        for length in [0, 1, 131_071, 131_072, 4 << 20, (4 << 20) + 1, 9_000_001] {
            let bytes: Vec<u8> = (0..length).map(|i| (i % 251) as u8).collect();
            let file = tempfile::NamedTempFile::new().unwrap();
            std::fs::write(file.path(), &bytes).unwrap();
            let plain = blake3::hash(&bytes).to_hex().to_string();
            let (hash, size) = Digest::of_file(file.path()).unwrap();
            assert_eq!((hash.to_string(), size), (plain.clone(), length as u64));
            assert_eq!(Digest::of(&bytes).to_string(), plain);
        }
    }

    /// First words of the published BLAKE3 test vectors (input: bytes 0, 1, 2, … 250, 0, 1, …), as public programs in
    /// several languages carry them.
    #[test]
    fn hashes_are_those_of_the_published_test_vectors() {
        let input: Vec<u8> = (0..1024_u32).map(|i| (i % 251) as u8).collect();
        for (length, hex) in [
            (0, "af1349b9f5f9a1a6a0404dea36dcc9499bcb25c9adc112b7cc9a93cae41f3262"),
            (1, "2d3adedff11b61f14c886e35afa036736dcd87a74d27b5c1510225d0f592e213"),
            (1024, "42214739f095a406f3fc83deb889744ac00df831c10daa55189b5d121c855af7"),
        ] {
            assert_eq!(blake3::hash(&input[..length]).to_hex().as_str(), hex);
        }
    }
}
