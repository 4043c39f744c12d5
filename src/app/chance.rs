//! The two sources of randomness there are: the host's, and one that a seed decides.

use crate::service::ports::Random;
use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;

/// The host's cryptographic source: the only place that asks for it.
pub struct HostRandom;

impl Random for HostRandom {
    #[allow(clippy::disallowed_methods)]
    fn fill(&mut self, buffer: &mut [u8]) {
        // Without randomness every link could be guessed, so the program ends rather than go on.
        if getrandom::fill(buffer).is_err() {
            tracing::error!("the host gives no randomness");
            std::process::abort();
        }
    }
}

/// For the demo and for tests: the same seed, the same bytes.
pub struct SeededRandom(ChaCha8Rng);

impl SeededRandom {
    /// Starts from a seed.
    pub fn new(seed: u64) -> SeededRandom {
        SeededRandom(ChaCha8Rng::seed_from_u64(seed))
    }
}

impl Random for SeededRandom {
    fn fill(&mut self, buffer: &mut [u8]) {
        self.0.fill_bytes(buffer);
    }
}
