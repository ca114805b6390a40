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

    /// FIPS 180-2, appendices B and C (messages "abc", of 448 or 896 bits, and a million times "a"), and the empty message
    /// of NIST's CAVP vectors. FIPS 180-4 takes its examples from there.
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
    fn sha_2_gives_the_published_vector_of_a_million_signs_as_they_pass() {
        let message = vec![b'a'; 1_000_000];
        let hashes = copy(&mut &*message, &mut io::sink(), u64::MAX).unwrap();
        assert_eq!(hashes.sha256, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
        assert_eq!(
            hashes.sha512,
            "e718483d0ce769644e2e42c7bc15b4638e1f98b13b2044285632a803afa973ebde0ff244877ea60a4cb0432ce577c31beb009c5c2c49aa2e4eadb217ad8cc09b"
        );
    }

    /// The test vectors that the authors of BLAKE3 publish with it (`test_vectors.json`, 32 bytes of each): of one block, one
    /// chunk, whole and begun trees, and of more than is held at a time.
    #[test]
    fn blake3_gives_the_published_vectors() {
        let input: Vec<u8> = (0..102_400_u32).map(|i| (i % 251) as u8).collect();
        for (length, hash) in [
            (0, "af1349b9f5f9a1a6a0404dea36dcc9499bcb25c9adc112b7cc9a93cae41f3262"),
            (1, "2d3adedff11b61f14c886e35afa036736dcd87a74d27b5c1510225d0f592e213"),
            (1023, "10108970eeda3eb932baac1428c7a2163b0e924c9a9e25b35bba72b28f70bd11"),
            (1024, "42214739f095a406f3fc83deb889744ac00df831c10daa55189b5d121c855af7"),
            (1025, "d00278ae47eb27b34faecf67b4fe263f82d5412916c1ffd97c8cb7fb814b8444"),
            (2048, "e776b6028c7cd22a4d0ba182a8bf62205d2ef576467e838ed6f2529b85fba24a"),
            (2049, "5f4d72f40d7a5f82b15ca2b2e44b1de3c2ef86c426c95c1af0b6879522563030"),
            (3073, "7124b49501012f81cc7f11ca069ec9226cecb8a2c850cfe644e327d22d3e1cd3"),
            (4096, "015094013f57a5277b59d8475c0501042c0b642e531b0a1c8f58d2163229e969"),
            (8193, "bab6c09cb8ce8cf459261398d2e7aef35700bf488116ceb94a36d0f5f1b7bc3b"),
            (16_384, "f875d6646de28985646f34ee13be9a576fd515f76b5b0a26bb324735041ddde4"),
            (31_744, "62b6960e1a44bcc1eb1a611a8d6235b6b4b78f32e7abc4fb4c6cdcce94895c47"),
            (102_400, "bc3e3d41a1146b069abffad3c0d44860cf664390afce4d9661f7902e7943e085"),
        ] {
            assert_eq!(Hashes::of(&input[..length]).blake3.to_string(), hash, "{length}");
        }
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
