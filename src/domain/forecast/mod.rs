//! The forecast: from real answers, how many will have been heard from by an instant, with a range.
//!
//! **The model.** Of those who are asked a share never answers. Of messages to the others a share is overlooked, so that a
//! reminder may do what the first message did not; the rest are answered after a time whose distribution depends on the
//! channel. With each message the time begins anew, by that message's channel: an answer is put down to the last message
//! before it. As long as nobody has been asked twice only both shares together show in the answers, and what a reminder
//! will bring is as open as the assumption has it. Nights are not left out of it: an answer that waits for the morning is a slow one. Those who are silent count as
//! silent so far, neither as lost nor as left out (a mixture cure model, censored on the right).
//!
//! **The families.** Five are fitted: log-normal, log-logistic and Weibull, and two kinds of answer side by side (quick and
//! slow) of the first and of the last. None is chosen: each has its say by how well it foretold the answers that came,
//! its number of figures allowed for (its evidence, by Laplace's approximation). So the range is wider where they differ.
//!
//! **Before any answer** there is what is [assumed](Assumed), which weighs as much as a handful of answers and loses to
//! more.
//!
//! **The range** holds 80 %, chance and the doubt about the fitted figures together. It is worked out, not drawn: no
//! randomness. `tests/forecast/` holds it against seasons of other distributions than those fitted.

pub mod bfgs;
pub mod cases;
pub mod curve;
pub mod fit;
pub mod normal;
pub mod predict;

pub use cases::{Asking, CHANNELS, Case};

use curve::{Family, logit};
use fit::{Belief, Fit, Model, Sample};
use predict::{Spread, Waiting, answers};

/// The families fitted.
pub const FAMILIES: [Family; 5] =
    [Family::LogNormal, Family::LogLogistic, Family::Weibull, Family::TwoLogNormal, Family::TwoWeibull];

/// A family with less of a say than this is left out.
const SAY_LEAST: f64 = 0.01;

/// What is believed before any answer. The figures are assumptions of ours, except that of texts: 60 % of those who
/// answered a text did so within the hour (168 of 278; Sexual Health, 2022).
#[derive(Debug, Clone, Copy)]
pub struct Assumed {
    /// Share of guardians who never answer.
    pub never: f64,
    /// Share of messages overlooked by those who answer another.
    pub overlooked: f64,
    /// Hours within which half of those who answer do, by mail and by text.
    pub median_hours: [f64; CHANNELS],
    /// Standard deviation of the logarithm of the hours, by mail and by text.
    pub deviation: [f64; CHANNELS],
    /// How far the logit of the share may well be off.
    pub never_spread: f64,
    /// How far the logit of that share may well be off.
    pub overlooked_spread: f64,
    /// How far the logarithm of a median may well be off.
    pub median_spread: f64,
    /// How far the logarithm of a deviation may well be off.
    pub deviation_spread: f64,
}

impl Default for Assumed {
    fn default() -> Self {
        Assumed {
            never: 0.05,
            overlooked: 0.2,
            median_hours: [10.0, 35.0 / 60.0],
            deviation: [1.9, 2.0],
            never_spread: 1.5,
            overlooked_spread: 2.0,
            median_spread: 1.5,
            deviation_spread: 0.5,
        }
    }
}

impl Assumed {
    /// The same belief in the figures of a model.
    pub fn beliefs(&self, model: Model) -> Vec<Belief> {
        /// How far the logit of the share of quick answers may be from even.
        const QUICK_SPREAD: f64 = 1.0;
        let never = Belief { mean: logit(self.never), spread: self.never_spread };
        let overlooked = Belief { mean: logit(self.overlooked), spread: self.overlooked_spread };
        let both = [model.never.then_some(never), model.overlooks.then_some(overlooked)];
        let mut beliefs: Vec<Belief> = both.into_iter().flatten().collect();
        let (median, deviation) = (self.median_spread, self.deviation_spread);
        for channel in 0..model.channels {
            let mean = self.median_hours[channel].ln();
            let figures = model.family.by_moments(mean, self.deviation[channel]);
            let spreads = [median, deviation, median, deviation, QUICK_SPREAD];
            beliefs.extend(figures.iter().zip(spreads).map(|(mean, spread)| Belief { mean: *mean, spread }));
        }
        beliefs
    }
}

/// What is known of answering, and how many will have answered.
#[derive(Debug, Clone)]
pub struct Forecast {
    /// Each family's say, and its fit; together the says are 1.
    pub fits: Vec<(f64, Fit)>,
    /// Cases that have answered.
    pub answered: usize,
    /// Cases asked and silent so far.
    pub silent: usize,
}

/// How many of some will have been heard from by an instant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Outlook {
    /// All of them.
    pub all: u32,
    /// Heard already.
    pub heard: u32,
    /// The low end of the range, those heard already included.
    pub low: u32,
    /// As likely more as fewer.
    pub middle: u32,
    /// The high end.
    pub high: u32,
}

impl Outlook {
    /// Those left to be rung: fewest and most.
    pub fn left(&self) -> (u32, u32) {
        (self.all - self.high, self.all - self.low)
    }
}

impl Forecast {
    /// Learns from cases as they stand at an instant, in the hours of their askings.
    pub fn of(cases: &[Case], now: f64, assumed: &Assumed, families: &[Family]) -> Forecast {
        let sample = cases::sample(cases, now);
        let answered = cases.iter().filter(|case| case.has_answered(now)).count();
        let silent = cases.iter().filter(|case| !case.is_heard(now) && case.asked_by(now)).count();
        Forecast { fits: fits(&sample, assumed, families), answered, silent }
    }

    /// How many of some will have answered by then.
    pub fn outlook<'a>(
        &self,
        cases: impl IntoIterator<Item = &'a Case> + Clone,
        now: f64,
        then: f64,
    ) -> Outlook {
        let all = cases.clone().into_iter().count() as u32;
        let heard = cases.clone().into_iter().filter(|case| case.is_heard(now)).count() as u32;
        let spread = self.more(&cases::waiting(cases, now, then.max(now)));
        let (low, high) = spread.range();
        Outlook {
            all,
            heard,
            low: heard + low,
            middle: heard + spread.middle().clamp(low, high),
            high: heard + high,
        }
    }

    /// How many of those waiting will have answered.
    pub fn more(&self, waiting: &[Waiting]) -> Spread {
        let heard = self.fits.iter().filter(|(say, _)| *say >= SAY_LEAST);
        let parts: Vec<(f64, Spread)> = heard.map(|(say, fit)| (*say, answers(fit, waiting))).collect();
        Spread::mixed(&parts)
    }

    /// The fit with the greatest say.
    pub fn best(&self) -> Option<&(f64, Fit)> {
        self.fits.iter().max_by(|a, b| a.0.total_cmp(&b.0))
    }

    /// The share of messages that those who answer another overlook, as all families have it together.
    pub fn overlooked(&self) -> f64 {
        self.fits.iter().map(|(say, fit)| say * fit.overlooked()).sum()
    }

    /// The share that never answers, as all families have it together.
    pub fn never(&self) -> f64 {
        self.fits.iter().map(|(say, fit)| say * fit.never()).sum()
    }
}

fn fits(sample: &Sample, assumed: &Assumed, families: &[Family]) -> Vec<(f64, Fit)> {
    let fitted = families.iter().map(|family| {
        let model = Model { family: *family, never: true, overlooks: true, channels: CHANNELS };
        let fit = model.fit(sample, &assumed.beliefs(model), true);
        (fit.evidence, fit)
    });
    let mut fits: Vec<(f64, Fit)> = fitted.collect();
    let best = fits.iter().map(|(evidence, _)| *evidence).fold(f64::NEG_INFINITY, f64::max);
    let whole: f64 = fits.iter().map(|(evidence, _)| (evidence - best).exp()).sum();
    fits.iter_mut().for_each(|(say, _)| *say = (*say - best).exp() / whole);
    fits
}

#[cfg(test)]
mod tests;
