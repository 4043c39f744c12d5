//! The normal distribution, worked out from its series and its continued fraction (Abramowitz and Stegun 26.2.11 and 26.2.14).

use std::f64::consts::TAU;

/// From here on the continued fraction is the shorter road.
const FAR: f64 = 2.8;
/// Terms of the continued fraction; at [`FAR`] and beyond the rest is below the precision of the number.
const LEVELS: u32 = 70;

/// Density of the standard normal distribution.
pub fn density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / TAU.sqrt()
}

/// Chance that a standard normal figure is above `z`.
pub fn above(z: f64) -> f64 {
    if z.abs() < FAR { 0.5 - density(z) * near(z) } else { far(z) }
}

/// The chance between 0 and `z` over the density: z + z³/3 + z⁵/(3·5) + …
fn near(z: f64) -> f64 {
    let (mut term, mut sum, mut odd) = (z, z, 1.0);
    while term.abs() > sum.abs() * f64::EPSILON {
        odd += 2.0;
        term *= z * z / odd;
        sum += term;
    }
    sum
}

fn far(z: f64) -> f64 {
    let x = z.abs();
    let below = (1..=LEVELS).rev().fold(x, |tail, k| x + f64::from(k) / tail);
    let tail = density(x) / below;
    if z > 0.0 { tail } else { 1.0 - tail }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tail_is_that_of_published_tables() {
        // Abramowitz and Stegun, table 26.1 (to 2.5) and 26.2 (beyond); SciPy 1.17 `norm.sf` gives the same digits.
        let cases = [
            (0.0, 0.5),
            (0.5, 0.308_537_538_725_987),
            (1.0, 0.158_655_253_931_457),
            (1.281_551_565_544_6, 0.1),
            (2.5, 0.006_209_665_325_776_13),
            (-1.0, 0.841_344_746_068_543),
            (2.799_999, 0.002_555_138_245_890_6),
            (2.8, 0.002_555_130_330_427_93),
            (5.0, 2.866_515_718_791_94e-7),
            (10.0, 7.619_853_024_160_53e-24),
            (-5.0, 0.999_999_713_348_428),
        ];
        for (z, expected) in cases {
            assert!((above(z) / expected - 1.0).abs() < 1e-12, "{z}: {} for {expected}", above(z));
        }
    }

    #[test]
    fn the_density_is_the_slope_of_the_tail() {
        for z in [-4.0, -2.0, -0.3, 0.0, 0.7, 2.0, 3.5] {
            let slope = (above(z - 1e-5) - above(z + 1e-5)) / 2e-5;
            assert!((slope - density(z)).abs() < 1e-9, "{z}");
        }
    }
}
