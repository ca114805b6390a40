//! Random numbers by name: each purpose has its own ChaCha12 stream, so that a new file or term moves no other draw.

use rand_chacha::ChaCha12Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// A stream of draws.
pub(crate) struct Stream(ChaCha12Rng);

impl Stream {
    /// The stream of this name under this seed.
    pub(crate) fn named(seed: u64, name: &str) -> Self {
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        rng.set_stream(fnv1a(name));
        Self(rng)
    }

    /// Uniform in [0, 1).
    pub(crate) fn uniform(&mut self) -> f64 {
        const STEP: f64 = 1.0 / (1_u64 << 53) as f64;
        (self.0.next_u64() >> 11) as f64 * STEP
    }

    /// Standard normal (Box & Muller 1958; the second value is not used, so that draws stay countable).
    pub(crate) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * libm::log(1.0 - self.uniform())).sqrt();
        radius * libm::cos(2.0 * std::f64::consts::PI * self.uniform())
    }

    /// Normal about `centre`.
    pub(crate) fn around(&mut self, centre: f64, sd: f64) -> f64 {
        centre + sd * self.normal()
    }

    /// A whole number below `end`.
    pub(crate) fn below(&mut self, end: usize) -> usize {
        (self.uniform() * end as f64) as usize
    }
}

/// FNV-1a, 64 bits: a stable number for a name.
fn fnv1a(name: &str) -> u64 {
    name.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3))
}
