//! Families of answering times, with the slopes that fitting needs.
//!
//! Each is a distribution of the logarithm of the hours, moved by μ and stretched by σ, or two of them side by side. A figure is
//! kept in a form without bounds: ln σ for σ, the logit for a share.

use super::normal;
use std::f64::consts::PI;

/// Figures a family has at most.
pub const FIGURES_MAX: usize = 5;
/// Euler's constant: how far below its scale the logarithm of a Weibull time lies on average, in σ.
const EULER: f64 = 0.577_215_664_901_532_9;
/// The largest logarithm that is raised again.
const LOG_MOST: f64 = 700.0;

/// A family of answering times.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Family {
    /// The logarithm of the time is normal: figures μ, ln σ.
    LogNormal,
    /// The logarithm of the time is logistic: figures μ, ln σ.
    LogLogistic,
    /// Weibull: figures ln scale, ln (1 / shape).
    Weibull,
    /// Two log-normal kinds of answer side by side: μ, ln σ of the quick, of the slow, and the logit of the share of the quick.
    TwoLogNormal,
    /// Two Weibull kinds of answer side by side, with figures in the same order.
    TwoWeibull,
}

/// A density or a chance at one time, and how it changes with each figure.
#[derive(Debug, Clone, Copy, Default)]
pub struct CurveReading {
    /// The value.
    pub value: f64,
    /// Its slope by each figure.
    pub by: [f64; FIGURES_MAX],
}

impl Family {
    /// Number of figures.
    pub fn figures(self) -> usize {
        match self {
            Family::LogNormal | Family::LogLogistic | Family::Weibull => 2,
            Family::TwoLogNormal | Family::TwoWeibull => 5,
        }
    }

    /// Whether it is made of two kinds.
    pub fn two(self) -> bool {
        matches!(self, Family::TwoLogNormal | Family::TwoWeibull)
    }

    /// Its name, as it stands on the page.
    pub fn words(self) -> &'static str {
        match self {
            Family::LogNormal => "log-normal",
            Family::LogLogistic => "log-logistic",
            Family::Weibull => "Weibull",
            Family::TwoLogNormal => "two log-normal kinds, quick and slow",
            Family::TwoWeibull => "two Weibull kinds, quick and slow",
        }
    }

    /// The figures at which the logarithm of the hours has a mean and a standard deviation; of two kinds, one on either side.
    pub fn by_moments(self, mean: f64, deviation: f64) -> Vec<f64> {
        let one = |mean: f64, deviation: f64| match self {
            Family::LogNormal | Family::TwoLogNormal => [mean, deviation.ln()],
            Family::LogLogistic => [mean, (deviation * 3.0_f64.sqrt() / PI).ln()],
            Family::Weibull | Family::TwoWeibull => {
                let sigma = deviation * 6.0_f64.sqrt() / PI;
                [mean + EULER * sigma, sigma.ln()]
            }
        };
        if !self.two() {
            return one(mean, deviation).to_vec();
        }
        // 0.8² + 0.6² = 1: apart and wide enough to have the same deviation together.
        let [quick, slow] = [-0.8, 0.8].map(|side| one(mean + side * deviation, 0.6 * deviation));
        [&quick[..], &slow, &[0.0]].concat()
    }

    /// Density at `hours`, an hour.
    pub fn density(self, figures: &[f64], hours: f64) -> CurveReading {
        let log = hours.ln();
        self.both(figures, |at| {
            let sigma = figures[at + 1].exp();
            let z = (log - figures[at]) / sigma;
            let (density, slope) = self.kernel(z);
            let by_hour = 1.0 / (sigma * hours);
            (by_hour * density, [-by_hour * slope / sigma, -by_hour * (slope * z + density)])
        })
    }

    /// Chance to take longer than `hours`.
    pub fn longer(self, figures: &[f64], hours: f64) -> CurveReading {
        let log = hours.ln();
        self.both(figures, |at| {
            let sigma = figures[at + 1].exp();
            let z = (log - figures[at]) / sigma;
            let density = self.kernel(z).0;
            (self.tail(z), [density / sigma, density * z])
        })
    }

    /// As [`Family::longer`], without slopes.
    pub fn chance_longer(self, figures: &[f64], hours: f64) -> f64 {
        let log = hours.ln();
        let tail = |at: usize| self.tail((log - figures[at]) / figures[at + 1].exp());
        if !self.two() {
            return tail(0);
        }
        let quick = share(figures[4]);
        quick * tail(0) + (1.0 - quick) * tail(2)
    }

    /// One part, or two weighed by the share of the quick.
    fn both(self, figures: &[f64], part: impl Fn(usize) -> (f64, [f64; 2])) -> CurveReading {
        let (first, [a, b]) = part(0);
        if !self.two() {
            return CurveReading { value: first, by: [a, b, 0.0, 0.0, 0.0] };
        }
        let (second, [c, d]) = part(2);
        let quick = share(figures[4]);
        let slow = 1.0 - quick;
        CurveReading {
            value: quick * first + slow * second,
            by: [quick * a, quick * b, slow * c, slow * d, quick * slow * (first - second)],
        }
    }

    /// Density of the standard distribution of the logarithm, and its slope.
    fn kernel(self, z: f64) -> (f64, f64) {
        match self {
            Family::LogNormal | Family::TwoLogNormal => {
                let density = normal::density(z);
                (density, -z * density)
            }
            Family::LogLogistic => {
                let longer = share(-z);
                let density = longer * (1.0 - longer);
                (density, density * (2.0 * longer - 1.0))
            }
            Family::Weibull | Family::TwoWeibull => {
                let hazard = z.min(LOG_MOST).exp();
                let density = hazard * (-hazard).exp();
                (density, if density > 0.0 { density * (1.0 - hazard) } else { 0.0 })
            }
        }
    }

    /// Chance of the standard distribution of the logarithm to be above.
    fn tail(self, z: f64) -> f64 {
        match self {
            Family::LogNormal | Family::TwoLogNormal => normal::above(z),
            Family::LogLogistic => share(-z),
            Family::Weibull | Family::TwoWeibull => (-z.min(LOG_MOST).exp()).exp(),
        }
    }
}

/// The share behind a logit.
pub fn share(logit: f64) -> f64 {
    if logit >= 0.0 {
        1.0 / (1.0 + (-logit).exp())
    } else {
        let e = logit.exp();
        e / (1.0 + e)
    }
}

/// The logit of a share.
pub fn logit(share: f64) -> f64 {
    (share / (1.0 - share)).ln()
}

#[cfg(test)]
mod tests {
    use super::*;

    const CASES: [(Family, &[f64]); 5] = [
        (Family::LogNormal, &[-0.5, 0.7]),
        (Family::LogLogistic, &[1.2, 0.1]),
        (Family::Weibull, &[2.0, 0.693]),
        (Family::TwoLogNormal, &[-1.1, 0.2, 3.0, -0.1, 0.4]),
        (Family::TwoWeibull, &[-1.1, 0.2, 3.0, -0.1, -0.7]),
    ];

    #[test]
    fn the_chances_are_those_of_scipy() {
        // SciPy 1.17: lognorm.sf(3, 2, scale=35/60), fisk.sf(3, 2, scale=10), weibull_min.sf(3, 0.5, scale=4).
        let cases = [
            (Family::LogNormal, [(35.0_f64 / 60.0).ln(), 2.0_f64.ln()], 0.206_449_011_595),
            (Family::LogLogistic, [10.0_f64.ln(), 0.5_f64.ln()], 0.917_431_192_661),
            (Family::Weibull, [4.0_f64.ln(), 2.0_f64.ln()], 0.420_620_026_054),
        ];
        for (family, figures, expected) in cases {
            let got = family.chance_longer(&figures, 3.0);
            assert!((got - expected).abs() < 1e-9, "{family:?}: {got}");
        }
    }

    #[test]
    fn every_slope_is_that_of_small_steps() {
        const STEP: f64 = 1e-5;
        for (family, figures) in CASES {
            for hours in [0.05, 0.8, 6.0, 90.0] {
                let here = [family.density(figures, hours), family.longer(figures, hours)];
                let tail = |hours| family.chance_longer(figures, hours);
                let slope = (tail(hours - STEP) - tail(hours + STEP)) / (2.0 * STEP);
                assert!((slope - here[0].value).abs() < 1e-5 * slope.max(1e-3), "{family:?} at {hours} h");
                assert_eq!(here[1].value, tail(hours));
                for at in 0..family.figures() {
                    let moved = |by: f64| {
                        let mut moved = figures.to_vec();
                        moved[at] += by;
                        [family.density(&moved, hours).value, family.longer(&moved, hours).value]
                    };
                    let (up, down) = (moved(STEP), moved(-STEP));
                    for which in 0..2 {
                        let slope = (up[which] - down[which]) / (2.0 * STEP);
                        assert!((slope - here[which].by[at]).abs() < 1e-7, "{family:?} {at} at {hours} h");
                    }
                }
            }
        }
    }

    #[test]
    fn a_share_and_its_logit_are_one_thing() {
        for part in [0.001, 0.05, 0.5, 0.98] {
            assert!((share(logit(part)) - part).abs() < 1e-15);
        }
        assert_eq!((share(800.0), share(-800.0)), (1.0, 0.0));
    }
}
