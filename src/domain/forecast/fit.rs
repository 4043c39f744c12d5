//! Fitting answering times to what was seen, silence included, and to what was believed before.
//!
//! A case that has answered tells its density; a silent one only that the time was longer, or that it is one of those who
//! never answer. With each message the time begins anew, so a case is a row of stretches of silence, the last of which may
//! end in an answer.

use super::bfgs::{Matrix, inverse, lowest};
use super::curve::{CurveReading, Family, logit, share};
use std::f64::consts::TAU;

/// Step of the differences that give the curvature.
const STEP: f64 = 1e-4;
/// What is taken for a density or chance of nothing, so that its logarithm exists.
const NEXT_TO_NOTHING: f64 = 1e-290;
/// Curvature added, and then multiplied, until every direction bends upwards.
const STIFFENING: f64 = 1e-6;

/// A stretch of waiting after a message of one channel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Which channel, from 0.
    pub channel: usize,
    /// How long.
    pub hours: f64,
}

/// What was seen, each with how often.
#[derive(Debug, Clone, Default)]
pub struct Sample {
    /// Stretches that ended with an answer; as many cases have answered.
    pub answered: Vec<(Stretch, f64)>,
    /// Silent stretches before the last, of cases that have answered.
    pub passed: Vec<(Stretch, f64)>,
    /// Cases that have not answered, each with all its stretches.
    pub silent: Vec<(Vec<Stretch>, f64)>,
}

/// What is fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Model {
    /// The family of answering times.
    pub family: Family,
    /// Whether a share never answers.
    pub never: bool,
    /// Whether a message may be overlooked by one who answers another.
    pub overlooks: bool,
    /// Number of channels, each with figures of its own.
    pub channels: usize,
}

/// A belief about one figure held before any answer: its mean and how far from it the figure may well be.
#[derive(Debug, Clone, Copy)]
pub struct Belief {
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    pub spread: f64,
}

/// A fitted model.
#[derive(Debug, Clone)]
pub struct Fit {
    /// Which.
    pub model: Model,
    /// Its figures: the logits of the share that never answers and of the share of messages overlooked (if it has them), then
    /// those of each channel.
    pub figures: Vec<f64>,
    /// How far the figures may be off, together.
    pub covariance: Matrix,
    /// Log-likelihood of what was seen.
    pub log_likelihood: f64,
    /// Logarithm of how well the model as a whole foretold what was seen (Laplace's approximation); without beliefs the
    /// log-likelihood less the number of figures, as Akaike has it.
    pub evidence: f64,
}

impl Model {
    /// Number of figures.
    pub fn figures(self) -> usize {
        self.begin(self.channels)
    }

    /// Where a channel's figures begin.
    fn begin(self, channel: usize) -> usize {
        usize::from(self.never) + usize::from(self.overlooks) + channel * self.family.figures()
    }

    /// The share that never answers.
    pub fn never(self, figures: &[f64]) -> f64 {
        if self.never { share(figures[0]) } else { 0.0 }
    }

    /// The share of messages that are overlooked by those who answer another.
    pub fn overlooked(self, figures: &[f64]) -> f64 {
        if self.overlooks { share(figures[usize::from(self.never)]) } else { 0.0 }
    }

    /// Chance that one who answers at all is silent through stretches.
    pub fn silent(self, figures: &[f64], stretches: &[Stretch]) -> f64 {
        let overlooked = self.overlooked(figures);
        let longer = |s: &Stretch| self.family.chance_longer(&figures[self.begin(s.channel)..], s.hours);
        stretches.iter().map(|s| overlooked + (1.0 - overlooked) * longer(s)).product()
    }

    /// Log-likelihood of a sample; adds its slope to `slope`.
    pub fn log_likelihood(self, sample: &Sample, figures: &[f64], slope: &mut [f64]) -> f64 {
        let never = self.never(figures);
        let overlooked = self.overlooked(figures);
        let own = |stretch: &Stretch| {
            let begin = self.begin(stretch.channel);
            (begin, &figures[begin..])
        };
        let mut sum = 0.0;
        for (stretch, weight) in &sample.answered {
            let (begin, figures) = own(stretch);
            let density = self.family.density(figures, stretch.hours);
            sum += weight * ((1.0 - never).ln() + (1.0 - overlooked).ln());
            sum += self.add(slope, begin, &density, *weight);
            if self.never {
                slope[0] -= weight * never;
            }
            if self.overlooks {
                slope[usize::from(self.never)] -= weight * overlooked;
            }
        }
        for (stretch, weight) in &sample.passed {
            let (begin, figures) = own(stretch);
            let longer = self.family.longer(figures, stretch.hours);
            sum += self.add_silence(slope, begin, &longer, overlooked, *weight);
        }
        for (stretches, weight) in &sample.silent {
            let longer = self.silent(figures, stretches);
            let chance = (never + (1.0 - never) * longer).max(NEXT_TO_NOTHING);
            sum += weight * chance.ln();
            let outer = weight * (1.0 - never) * longer / chance;
            for stretch in stretches {
                let (begin, figures) = own(stretch);
                let longer = self.family.longer(figures, stretch.hours);
                self.add_silence(slope, begin, &longer, overlooked, outer);
            }
            if self.never {
                slope[0] += weight * never * (1.0 - never) * (1.0 - longer) / chance;
            }
        }
        sum
    }

    /// Adds the slope of a reading's logarithm, weighed; gives the logarithm.
    fn add(self, slope: &mut [f64], begin: usize, reading: &CurveReading, weight: f64) -> f64 {
        let value = reading.value.max(NEXT_TO_NOTHING);
        for (slope, by) in slope[begin..].iter_mut().zip(&reading.by[..self.family.figures()]) {
            *slope += weight * by / value;
        }
        weight * value.ln()
    }

    /// As [`Model::add`], of the chance to be silent: the message was overlooked, or the answer takes longer.
    fn add_silence(
        self,
        slope: &mut [f64],
        begin: usize,
        longer: &CurveReading,
        overlooked: f64,
        weight: f64,
    ) -> f64 {
        let seen = 1.0 - overlooked;
        let value = (overlooked + seen * longer.value).max(NEXT_TO_NOTHING);
        if self.overlooks {
            slope[usize::from(self.never)] += weight * overlooked * seen * (1.0 - longer.value) / value;
        }
        let silence = CurveReading { value, by: longer.by.map(|by| seen * by) };
        self.add(slope, begin, &silence, weight)
    }

    /// Fits the model: the figures that make what was seen, and what was believed, most likely together. Without beliefs
    /// there is one for each figure only as a place to begin from, and `sample` alone decides.
    pub fn fit(self, sample: &Sample, beliefs: &[Belief], believed: bool) -> Fit {
        let n = self.figures();
        let height = |figures: &[f64], slope: &mut [f64]| {
            slope.fill(0.0);
            let mut sum = self.log_likelihood(sample, figures, slope);
            for (k, belief) in beliefs.iter().enumerate().filter(|_| believed) {
                let off = (figures[k] - belief.mean) / belief.spread;
                sum -= 0.5 * off * off;
                slope[k] -= off / belief.spread;
            }
            slope.iter_mut().for_each(|s| *s = -*s);
            -sum
        };
        let start = self.start(sample, beliefs);
        let figures = lowest(&start, height);
        let bend = bend(&figures, height);
        let (covariance, log_bend) = firm(bend);
        let log_likelihood = self.log_likelihood(sample, &figures, &mut vec![0.0; n]);
        let evidence = if believed {
            let prior: f64 = beliefs
                .iter()
                .zip(&figures)
                .map(|(b, x)| -0.5 * ((x - b.mean) / b.spread).powi(2) - b.spread.ln() - 0.5 * TAU.ln())
                .sum();
            log_likelihood + prior + 0.5 * n as f64 * TAU.ln() - 0.5 * log_bend
        } else {
            log_likelihood - n as f64
        };
        Fit { model: self, figures, covariance, log_likelihood, evidence }
    }

    /// A place to begin from: the moments of what was answered, held together by what was believed.
    fn start(self, sample: &Sample, beliefs: &[Belief]) -> Vec<f64> {
        /// Answers that weigh as much as the belief, for the beginning only.
        const HELD: f64 = 3.0;
        let mut start: Vec<f64> = beliefs.iter().map(|b| b.mean).collect();
        for channel in 0..self.channels {
            let own = sample.answered.iter().filter(|(s, _)| s.channel == channel);
            let (mut count, mut sum, mut squares) = (0.0, 0.0, 0.0);
            for (stretch, weight) in own {
                let log = stretch.hours.ln();
                count += weight;
                sum += weight * log;
                squares += weight * log * log;
            }
            if count < 2.0 {
                continue;
            }
            let mean = sum / count;
            let deviation = (squares / count - mean * mean).max(0.01).sqrt();
            let begin = self.begin(channel);
            let pull = |old: f64, new: f64| (HELD * old + count * new) / (HELD + count);
            // The share of the quick keeps what was believed: the moments tell nothing of it.
            let figures = self.family.by_moments(mean, deviation);
            for (old, new) in start[begin..].iter_mut().zip(&figures[..figures.len().min(4)]) {
                *old = pull(*old, *new);
            }
        }
        if self.never {
            let answered: f64 = sample.answered.iter().map(|(_, w)| w).sum();
            let silent: f64 = sample.silent.iter().map(|(_, w)| w).sum();
            // Half of the silent, before anything is known of how long they have been so.
            start[0] = logit((0.5 * silent + share(start[0]) * HELD) / (answered + silent + HELD)).min(1.0);
            if self.overlooks {
                start[1] = start[0];
            }
        }
        start
    }
}

/// The curvature, by differences of the slope.
fn bend(figures: &[f64], mut height: impl FnMut(&[f64], &mut [f64]) -> f64) -> Matrix {
    let n = figures.len();
    let mut bend = vec![vec![0.0; n]; n];
    let (mut up, mut down) = (vec![0.0; n], vec![0.0; n]);
    let mut moved = figures.to_vec();
    for i in 0..n {
        moved[i] = figures[i] + STEP;
        height(&moved, &mut up);
        moved[i] = figures[i] - STEP;
        height(&moved, &mut down);
        moved[i] = figures[i];
        for j in 0..n {
            bend[i][j] += (up[j] - down[j]) / (4.0 * STEP);
            bend[j][i] += (up[j] - down[j]) / (4.0 * STEP);
        }
    }
    bend
}

/// The inverse of a curvature and its logarithm, stiffened where it is level.
fn firm(mut bend: Matrix) -> (Matrix, f64) {
    let mut more = STIFFENING;
    loop {
        if let Some(found) = inverse(&bend) {
            return found;
        }
        for (k, row) in bend.iter_mut().enumerate() {
            row[k] = if row[k].is_finite() { row[k] + more } else { 1.0 };
            if more > 1e6 {
                row.iter_mut().enumerate().for_each(|(j, x)| *x = f64::from(u8::from(j == k)));
            }
        }
        more *= 10.0;
    }
}

impl Fit {
    /// The figures of one channel.
    pub fn channel(&self, channel: usize) -> &[f64] {
        let begin = self.model.begin(channel);
        &self.figures[begin..begin + self.model.family.figures()]
    }

    /// The share that never answers.
    pub fn never(&self) -> f64 {
        self.model.never(&self.figures)
    }

    /// The share of messages that are overlooked by those who answer another.
    pub fn overlooked(&self) -> f64 {
        self.model.overlooked(&self.figures)
    }

    /// The time within which half of those who answer have answered, in hours.
    pub fn median_hours(&self, channel: usize) -> f64 {
        let figures = self.channel(channel);
        let (mut low, mut high) = (-20.0_f64, 20.0_f64);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if self.model.family.chance_longer(figures, middle.exp()) > 0.5 {
                low = middle
            } else {
                high = middle
            }
        }
        (0.5 * (low + high)).exp()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SEEN: [(usize, f64); 6] = [(0, 0.4), (0, 3.0), (0, 11.0), (1, 0.2), (1, 0.9), (1, 7.0)];

    fn sample() -> Sample {
        let stretch = |(channel, hours)| Stretch { channel, hours };
        Sample {
            answered: SEEN.iter().map(|one| (stretch(*one), 2.0)).collect(),
            passed: vec![(stretch((0, 24.0)), 1.0)],
            silent: vec![(vec![stretch((0, 24.0)), stretch((1, 30.0))], 1.5), (vec![stretch((1, 5.0))], 1.0)],
        }
    }

    #[test]
    fn the_slope_of_the_likelihood_is_that_of_small_steps() {
        for family in crate::domain::forecast::FAMILIES {
            let model = Model { family, never: true, overlooks: true, channels: 2 };
            let figures: Vec<f64> = (0..model.figures()).map(|k| 0.3 * (k as f64 - 2.0)).collect();
            let mut slope = vec![0.0; model.figures()];
            model.log_likelihood(&sample(), &figures, &mut slope);
            for k in 0..model.figures() {
                let moved = |by: f64| {
                    let mut moved = figures.clone();
                    moved[k] += by;
                    model.log_likelihood(&sample(), &moved, &mut vec![0.0; model.figures()])
                };
                let by_steps = (moved(STEP) - moved(-STEP)) / (2.0 * STEP);
                assert!((by_steps - slope[k]).abs() < 1e-4, "{family:?} {k}: {by_steps} and {}", slope[k]);
            }
        }
    }

    #[test]
    fn without_silence_a_log_normal_has_the_moments_of_its_logarithms() {
        let sample = Sample {
            answered: SEEN.iter().map(|(_, hours)| (Stretch { channel: 0, hours: *hours }, 1.0)).collect(),
            ..Sample::default()
        };
        let model = Model { family: Family::LogNormal, never: false, overlooks: false, channels: 1 };
        let begin = [Belief { mean: 0.0, spread: 1.0 }; 2];
        let fit = model.fit(&sample, &begin, false);
        let logs: Vec<f64> = SEEN.iter().map(|(_, hours)| hours.ln()).collect();
        let mean = logs.iter().sum::<f64>() / 6.0;
        let variance = logs.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / 6.0;
        assert!((fit.figures[0] - mean).abs() < 1e-6 && (2.0 * fit.figures[1] - variance.ln()).abs() < 1e-6);
        // The mean is off by σ/√n, ln σ by 1/√(2n).
        assert!((fit.covariance[0][0] - variance / 6.0).abs() < 1e-4);
        assert!((fit.covariance[1][1] - 1.0 / 12.0).abs() < 1e-4);
        assert!((fit.median_hours(0) - mean.exp()).abs() < 1e-6);
    }
}
