//! From a fit to the number heard by an instant, with its range.

use super::bfgs::{dot, product};
use super::fit::{Fit, Stretch};

/// The mass a range should hold.
pub const MASS: f64 = 0.8;
/// Masses below this are left out at the ends of a distribution.
const NEGLIGIBLE: f64 = 1e-12;
/// Step of the differences that give how the expected number changes with each figure.
const STEP: f64 = 1e-4;
/// Where a normal uncertainty is read and how much each place weighs (Gauss and Hermite, five places; Abramowitz and
/// Stegun 25.4.46 and table 25.10, with x·√2 and w/√π).
const PLACES: [(f64, f64); 5] = [
    (0.0, 0.533_333_333_333_333_3),
    (1.355_626_179_974_266, 0.222_075_922_005_612_6),
    (-1.355_626_179_974_266, 0.222_075_922_005_612_6),
    (2.856_970_013_872_805_6, 0.011_257_411_327_720_69),
    (-2.856_970_013_872_805_6, 0.011_257_411_327_720_69),
];

/// Persons who have not answered, all alike.
#[derive(Debug, Clone)]
pub struct Waiting {
    /// How long they have been silent so far, message by message; empty if nobody has asked them yet.
    pub so_far: Vec<Stretch>,
    /// How long they will have been by the instant looked ahead to.
    pub by_then: Vec<Stretch>,
    /// How many.
    pub count: u32,
}

/// How many will have answered: the chance of each number from a first one on.
#[derive(Debug, Clone, PartialEq)]
pub struct Spread {
    /// The lowest number that has a chance.
    pub from: u32,
    /// The chance of it and of those that follow.
    pub chances: Vec<f64>,
}

impl Spread {
    /// A certain number.
    pub fn certain(number: u32) -> Spread {
        Spread { from: number, chances: vec![1.0] }
    }

    /// The number of successes among independent tries.
    pub fn of(tries: impl IntoIterator<Item = (f64, u32)>) -> Spread {
        let mut sum = Spread::certain(0);
        for (chance, count) in tries {
            let chance = chance.clamp(0.0, 1.0);
            for _ in 0..count {
                sum.one_more(chance);
            }
        }
        sum
    }

    fn one_more(&mut self, chance: f64) {
        let (mut carried, mut first) = (0.0, 0);
        self.chances.push(0.0);
        for mass in &mut self.chances {
            let old = *mass;
            *mass = old * (1.0 - chance) + carried;
            carried = old * chance;
        }
        while self.chances.len() > 1 && self.chances.last().is_some_and(|m| *m < NEGLIGIBLE) {
            self.chances.pop();
        }
        while first + 1 < self.chances.len() && self.chances[first] < NEGLIGIBLE {
            first += 1;
        }
        if first > 0 {
            self.chances.drain(..first);
            self.from += first as u32;
        }
    }

    /// Several spreads, each as likely as its weight.
    pub fn mixed(parts: &[(f64, Spread)]) -> Spread {
        let from = parts.iter().map(|(_, s)| s.from).min().unwrap_or(0);
        let to = parts.iter().map(|(_, s)| s.from as usize + s.chances.len()).max().unwrap_or(1);
        let mut chances = vec![0.0; to - from as usize];
        let whole: f64 = parts.iter().map(|(w, s)| w * s.chances.iter().sum::<f64>()).sum();
        for (weight, spread) in parts {
            for (k, mass) in spread.chances.iter().enumerate() {
                chances[(spread.from - from) as usize + k] += weight * mass / whole;
            }
        }
        Spread { from, chances }
    }

    /// The range that holds most for its length and whose mass is nearest to [`MASS`]: from the likeliest number it grows
    /// to the likelier side. Whole numbers seldom hold the mass to a hair; what is nearest errs to both sides alike, where
    /// *at least* would promise 80 and keep 90.
    pub fn range(&self) -> (u32, u32) {
        let likeliest = (0..self.chances.len()).max_by(|a, b| self.chances[*a].total_cmp(&self.chances[*b]));
        let Some(start) = likeliest else { return (self.from, self.from) };
        let (mut low, mut high, mut mass) = (start, start, self.chances[start]);
        while mass < MASS {
            let below = low.checked_sub(1).map_or(-1.0, |k| self.chances[k]);
            let over = self.chances.get(high + 1).copied().unwrap_or(-1.0);
            let more = below.max(over);
            if more < 0.0 || mass + more - MASS > MASS - mass {
                break;
            }
            if over >= below {
                high += 1
            } else {
                low -= 1
            }
            mass += more;
        }
        (self.from + low as u32, self.from + high as u32)
    }

    /// The number that is as likely passed as not.
    pub fn middle(&self) -> u32 {
        let mut mass = 0.0;
        for (number, chance) in (self.from..).zip(&self.chances) {
            mass += chance;
            if mass >= 0.5 {
                return number;
            }
        }
        self.from
    }

    /// The mass between two numbers, both included.
    pub fn mass(&self, low: u32, high: u32) -> f64 {
        (self.from..).zip(&self.chances).filter(|(n, _)| (low..=high).contains(n)).map(|(_, m)| m).sum()
    }
}

impl Waiting {
    /// Chance that one of them answers by then, having been silent so far.
    pub fn chance(&self, fit: &Fit, figures: &[f64]) -> f64 {
        let never = fit.model.never(figures);
        let now = fit.model.silent(figures, &self.so_far);
        let then = fit.model.silent(figures, &self.by_then);
        let silent = never + (1.0 - never) * now;
        if silent > 0.0 { ((1.0 - never) * (now - then) / silent).clamp(0.0, 1.0) } else { 0.0 }
    }
}

/// How many of those waiting will have answered, as one fit has it: the doubt about its figures included, along the one
/// direction in which they move the expected number most.
pub fn answers(fit: &Fit, waiting: &[Waiting]) -> Spread {
    let n = fit.figures.len();
    let expected = |figures: &[f64]| -> f64 {
        waiting.iter().map(|w| f64::from(w.count) * w.chance(fit, figures)).sum()
    };
    let mut moved = fit.figures.clone();
    let mut by = vec![0.0; n];
    for k in 0..n {
        moved[k] = fit.figures[k] + STEP;
        let up = expected(&moved);
        moved[k] = fit.figures[k] - STEP;
        by[k] = (up - expected(&moved)) / (2.0 * STEP);
        moved[k] = fit.figures[k];
    }
    let way = product(&fit.covariance, &by);
    let doubt = dot(&by, &way).max(0.0).sqrt();
    let at = |place: f64| {
        let figures: Vec<f64> = fit
            .figures
            .iter()
            .zip(&way)
            .map(|(x, w)| if doubt > 0.0 { x + place * w / doubt } else { *x })
            .collect();
        Spread::of(waiting.iter().map(|w| (w.chance(fit, &figures), w.count)))
    };
    let parts: Vec<(f64, Spread)> = PLACES.iter().map(|(place, weight)| (*weight, at(*place))).collect();
    Spread::mixed(&parts)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tries_of_one_chance_are_binomial() {
        // SciPy 1.17: binom.pmf(k, 5, 0.3).
        let expected = [0.16807, 0.36015, 0.3087, 0.1323, 0.02835, 0.00243];
        let spread = Spread::of([(0.3, 5)]);
        assert_eq!(spread.from, 0);
        assert!(spread.chances.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-12), "{spread:?}");
        assert_eq!(Spread::of([(1.0, 7), (0.0, 3)]), Spread::certain(7));
    }

    #[test]
    fn unlike_tries_add_up() {
        // (0.5 + 0.5x)(0.8 + 0.2x) = 0.4 + 0.5x + 0.1x²
        let spread = Spread::of([(0.5, 1), (0.2, 1)]);
        for (got, expected) in spread.chances.iter().zip([0.4, 0.5, 0.1]) {
            assert!((got - expected).abs() < 1e-12);
        }
        assert_eq!(spread.middle(), 1);
        assert!((spread.mass(1, 2) - 0.6).abs() < 1e-12);
    }

    #[test]
    fn a_range_is_nearest_to_its_mass() {
        let range = |from, chances: &[f64]| Spread { from, chances: chances.to_vec() }.range();
        // 0.75 is nearer to 0.8 than 0.95.
        assert_eq!(range(0, &[0.75, 0.2, 0.05]), (0, 0));
        // 0.9 is nearer than 0.6.
        assert_eq!(range(0, &[0.6, 0.3, 0.1]), (0, 1));
        assert_eq!(range(10, &[0.05, 0.2, 0.5, 0.2, 0.05]), (11, 13));
        assert_eq!(range(4, &[1.0]), (4, 4));
    }

    #[test]
    fn ranges_hold_four_fifths_on_average() {
        // Over all binomials of these sizes, what the ranges hold is above as often as below.
        let held: Vec<f64> = (1..200)
            .map(|k| {
                let spread = Spread::of([(0.9, 40), (f64::from(k) / 200.0, 60)]);
                let (low, high) = spread.range();
                spread.mass(low, high)
            })
            .collect();
        let mean = held.iter().sum::<f64>() / held.len() as f64;
        assert!((mean - MASS).abs() < 0.01, "{mean}");
    }

    #[test]
    fn a_mixture_weighs_its_parts() {
        let mixed = Spread::mixed(&[(3.0, Spread::certain(2)), (1.0, Spread::certain(4))]);
        assert_eq!(mixed, Spread { from: 2, chances: vec![0.75, 0.0, 0.25] });
    }
}
