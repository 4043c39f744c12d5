//! Chance with a seed: every draw of the demo comes from here, so that one seed gives one season for ever.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// A seeded source of draws. Only whole 64-bit words are taken from the generator, so that no library's way of
/// shuffling can change a season.
#[derive(Debug, Clone)]
pub struct Dice(ChaCha8Rng);

impl Dice {
    /// Dice for a seed and a purpose; two purposes of one seed never share draws.
    pub fn new(seed: u64, purpose: &str) -> Dice {
        Dice(ChaCha8Rng::seed_from_u64(mix(seed, purpose)))
    }

    /// A number from 0 to `n` - 1; 0 when `n` is 0.
    pub fn below(&mut self, n: usize) -> usize {
        if n == 0 {
            return 0;
        }
        // A remainder is uneven by less than n / 2^64, far below anything a season could show.
        usize::try_from(self.0.next_u64() % n as u64).unwrap_or(0)
    }

    /// A fraction from 0 (included) to 1 (excluded).
    pub fn fraction(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// True with the given probability.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.fraction() < probability
    }

    /// A draw from the standard normal distribution (Box and Muller 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.fraction()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.fraction()).cos()
    }

    /// A draw from the log-normal distribution with the given median and sigma.
    pub fn log_normal(&mut self, median: f64, sigma: f64) -> f64 {
        median * (sigma * self.normal()).exp()
    }

    /// One of the items, or the fallback when there are none.
    pub fn pick<'a, T: ?Sized>(&mut self, items: &[&'a T], fallback: &'a T) -> &'a T {
        items.get(self.below(items.len())).copied().unwrap_or(fallback)
    }

    /// The position of one of the weights, drawn in proportion.
    pub fn weighted(&mut self, weights: &[f64]) -> usize {
        let mut left = self.fraction() * weights.iter().sum::<f64>();
        for (at, weight) in weights.iter().enumerate() {
            left -= weight;
            if left < 0.0 {
                return at;
            }
        }
        weights.len().saturating_sub(1)
    }

    /// Puts the items in a random order.
    pub fn shuffle<T>(&mut self, items: &mut [T]) {
        for at in (1..items.len()).rev() {
            items.swap(at, self.below(at + 1));
        }
    }
}

/// A seed from a seed and words: FNV-1a over the bytes, then the finishing steps of SplitMix64.
fn mix(seed: u64, words: &str) -> u64 {
    let mut hash = 0xcbf2_9ce4_8422_2325_u64;
    for byte in seed.to_le_bytes().iter().chain(words.as_bytes()) {
        hash = (hash ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3);
    }
    hash = (hash ^ (hash >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    hash = (hash ^ (hash >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    hash ^ (hash >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_seed_and_purpose_give_the_same_draws() {
        let draw = |seed, purpose| {
            let mut dice = Dice::new(seed, purpose);
            (0..8).map(|_| dice.below(1000)).collect::<Vec<_>>()
        };
        assert_eq!(draw(7, "names"), draw(7, "names"));
        assert_ne!(draw(7, "names"), draw(8, "names"));
        assert_ne!(draw(7, "names"), draw(7, "phones"));
    }

    #[test]
    fn normal_draws_have_mean_nought_and_deviation_one() {
        let mut dice = Dice::new(1, "normal");
        let draws: Vec<f64> = (0..20_000).map(|_| dice.normal()).collect();
        let mean = draws.iter().sum::<f64>() / draws.len() as f64;
        let variance = draws.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / draws.len() as f64;
        assert!(mean.abs() < 0.03, "mean {mean}");
        assert!((variance - 1.0).abs() < 0.05, "variance {variance}");
    }

    #[test]
    fn weights_are_drawn_in_proportion() {
        let mut dice = Dice::new(1, "weights");
        let twos = (0..10_000).filter(|_| dice.weighted(&[1.0, 0.0, 3.0]) == 2).count();
        assert!((7200..7800).contains(&twos), "{twos}");
    }
}
