//! Bytes that pass by are counted and hashed, so that no file is read twice and none is held in memory.

use pipeline::store::digest::{Digest, Growing};
use sha2::{Digest as _, Sha256, Sha512};
use std::io::{self, Read, Write};

/// How much is held at a time, bytes.
const PIECE: usize = 1 << 17;

/// Size and hashes of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hashes {
    /// Bytes.
    pub size: u64,
    /// BLAKE3, as in the manifest of results.
    pub blake3: Digest,
    /// SHA-256, hex digits.
    pub sha256: String,
    /// SHA-512, hex digits.
    pub sha512: String,
}

impl Hashes {
    /// Of these bytes.
    pub fn of(bytes: &[u8]) -> Self {
        let mut taking = Taking::default();
        taking.take(bytes);
        taking.hashes()
    }
}

#[derive(Default)]
struct Taking {
    size: u64,
    blake3: Growing,
    sha256: Sha256,
    sha512: Sha512,
}

impl Taking {
    fn take(&mut self, bytes: &[u8]) {
        self.size += bytes.len() as u64;
        self.blake3.take(bytes);
        self.sha256.update(bytes);
        self.sha512.update(bytes);
    }

    fn hashes(self) -> Hashes {
        Hashes {
            size: self.size,
            blake3: self.blake3.digest(),
            sha256: hex(&self.sha256.finalize()),
            sha512: hex(&self.sha512.finalize()),
        }
    }
}

/// Copies at most `limit` bytes; more is an error.
///
/// # Errors
/// As reader and writer say, or if there is more than `limit`.
pub fn copy(from: &mut dyn Read, to: &mut dyn Write, limit: u64) -> io::Result<Hashes> {
    let mut taking = Taking::default();
    let mut piece = vec![0; PIECE];
    loop {
        let n = match from.read(&mut piece) {
            Ok(0) => return Ok(taking.hashes()),
            Ok(n) => n,
            Err(e) if e.kind() == io::ErrorKind::Interrupted => continue,
            Err(e) => return Err(e),
        };
        taking.take(&piece[..n]);
        if taking.size > limit {
            return Err(io::Error::other("it holds more than its entry says"));
        }
        to.write_all(&piece[..n])?;
    }
}

/// Lower-case hex digits.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// FIPS 180-2, appendices B and C (messages "abc" and 448/896 bits), and the empty message of NIST's CAVP vectors.
    #[test]
    fn sha_2_gives_the_published_vectors() {
        for (message, sha256, sha512) in [
            (
                "",
                "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
                "cf83e1357eefb8bdf1542850d66d8007d620e4050b5715dc83f4a921d36ce9ce47d0d13c5d85f2b0ff8318d2877eec2f63b931bd47417a81a538327af927da3e",
            ),
            (
                "abc",
                "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
                "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a2192992a274fc1a836ba3c23a3feebbd454d4423643ce80e2a9ac94fa54ca49f",
            ),
        ] {
            let hashes = Hashes::of(message.as_bytes());
            assert_eq!((hashes.sha256.as_str(), hashes.sha512.as_str()), (sha256, sha512));
        }
        let two_blocks = Hashes::of(b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq");
        assert_eq!(two_blocks.sha256, "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
        let two_long_blocks = Hashes::of(
            b"abcdefghbcdefghicdefghijdefghijkefghijklfghijklmghijklmnhijklmnoijklmnopjklmnopqklmnopqrlmnopqrsmnopqrstnopqrstu",
        );
        assert_eq!(
            two_long_blocks.sha512,
            "8e959b75dae313da8cf4f72814fc143f8f7779c6eb9f7fa17299aeadb6889018501d289e4900f7e4331b99dec4b5433ac7d329eeb6dd26545e96e55b874be909"
        );
    }

    #[test]
    fn a_copy_hashes_what_passes_and_stops_at_the_limit() {
        let bytes: Vec<u8> = (0..300_000_u32).map(|i| (i % 251) as u8).collect();
        let mut out = Vec::new();
        assert_eq!(copy(&mut &*bytes, &mut out, bytes.len() as u64).unwrap(), Hashes::of(&bytes));
        assert_eq!(out, bytes);
        assert!(copy(&mut &*bytes, &mut Vec::new(), 299_999).is_err());
    }
}
