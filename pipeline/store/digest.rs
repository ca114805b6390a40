//! BLAKE3 hashes as values that can be sorted, printed and stored.

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::fmt;
use std::io;
use std::path::Path;

/// A BLAKE3 hash; written as 64 hex digits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Digest([u8; 32]);

impl Digest {
    /// Hash of these bytes.
    pub fn of(bytes: &[u8]) -> Self {
        Self(*blake3::hash(bytes).as_bytes())
    }

    /// Hash and size of a file, read in pieces.
    ///
    /// # Errors
    /// If it cannot be read.
    pub fn of_file(path: &Path) -> io::Result<(Self, u64)> {
        let mut hasher = blake3::Hasher::new();
        hasher.update_reader(std::fs::File::open(path)?)?;
        Ok((Self(*hasher.finalize().as_bytes()), hasher.count()))
    }

    /// The first 12 hex digits, for people.
    pub fn short(&self) -> String {
        self.to_string()[..12].to_string()
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
