//! JSON with its own hash in front, so that a flipped bit makes it nobody's word instead of a wrong one.
//!
//! The file is `{"blake3":"…","holds":…}`; the hash is that of the bytes after `"holds":`, without the last brace.

use super::digest::Digest;
use crate::command::Failure;
use serde::Serialize;
use serde::de::DeserializeOwned;

const BEFORE: &[u8] = b"{\"blake3\":\"";
const BETWEEN: &[u8] = b"\",\"holds\":";
const AFTER: &[u8] = b"}";
const HEX: usize = 64;

/// The bytes of a sealed file.
///
/// # Errors
/// If the value cannot be written as JSON: a mistake in the program.
pub fn seal(value: &impl Serialize) -> Result<Vec<u8>, Failure> {
    let held = super::json(value)?;
    let hash = Digest::of(&held).to_string();
    Ok([BEFORE, hash.as_bytes(), BETWEEN, &held, AFTER].concat())
}

/// What a sealed file holds; none if it is not as it was written.
pub fn open<T: DeserializeOwned>(bytes: &[u8]) -> Option<T> {
    let (hash, rest) = bytes.strip_prefix(BEFORE)?.split_at_checked(HEX)?;
    let held = rest.strip_prefix(BETWEEN)?.strip_suffix(AFTER)?;
    let whole = Digest::of(held).to_string().as_bytes() == hash;
    whole.then(|| serde_json::from_slice(held).ok()).flatten()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    #[test]
    fn it_is_json_and_comes_back() {
        let value = BTreeMap::from([("a", 1), ("b", 2)]);
        let bytes = seal(&value).unwrap();
        let read: serde_json::Value = serde_json::from_slice(&bytes).unwrap();
        assert_eq!(read["holds"]["b"], 2);
        assert_eq!(open::<BTreeMap<String, i32>>(&bytes).unwrap()["a"], 1);
    }

    #[test]
    fn no_bit_can_be_flipped_and_no_byte_left_out() {
        let bytes = seal(&BTreeMap::from([("key", "value")])).unwrap();
        for bit in 0..bytes.len() * 8 {
            let mut flipped = bytes.clone();
            flipped[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(open::<BTreeMap<String, String>>(&flipped), None, "bit {bit}");
        }
        for length in 0..bytes.len() {
            assert_eq!(open::<BTreeMap<String, String>>(&bytes[..length]), None, "{length} bytes");
        }
    }
}
