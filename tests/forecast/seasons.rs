//! Simulated seasons, and how often the range holds what came.

use allheard::demo::dice::Dice;
use allheard::domain::forecast::curve::Family;
use allheard::domain::forecast::predict::{Spread, Waiting};
use allheard::domain::forecast::{Asking, Assumed, Case, FAMILIES, Forecast, cases};
use allheard::domain::season::Channel;
use std::{env, thread};

/// Seasons for each distribution and share, unless more are asked for: 9 × 112 are a thousand, and judged together by
/// moment and by distribution, since a hundred may stray by a tenth.
const SEASONS: u32 = 112;
/// From as many on, every distribution and share is judged by itself too.
const SEASONS_ENOUGH: u32 = 1000;
/// The deadline, in hours from the beginning.
const DEADLINE: f64 = 28.0 * 24.0;
/// Days before the deadline at which classes are told first, as likely one as the other.
const TOLD_DAYS: [f64; 10] = [24.0, 24.0, 21.0, 21.0, 18.0, 15.0, 10.0, 6.0, 4.0, 2.5];
/// Part of the guardians who are written to by text.
const BY_TEXT: f64 = 0.6;
/// In every other season the silent are asked again, by the other channel, after so many hours, and then as long again.
const AGAIN_HOURS: [f64; 2] = [72.0, 216.0];
/// Medians by mail and by text, in hours; those of the demo's families.
const MEDIANS: [f64; 2] = [10.0, 35.0 / 60.0];
const SHARES: [f64; 3] = [0.02, 0.05, 0.12];
const MOMENTS: [(f64, &str); 3] = [(14.0, "two weeks"), (7.0, "one week"), (2.0, "two days")];
/// What an 80 % range should hold, and how wide it may be beside one that knows the truth.
const HELD: std::ops::RangeInclusive<f64> = 0.75..=0.88;
const WIDTH_MOST: f64 = 1.5;

/// A distribution the forecast does not assume.
#[derive(Debug, Clone, Copy)]
enum Truth {
    /// Weibull with shape 0.5.
    Weibull,
    /// Gamma with shape 0.4.
    Gamma,
    /// One half with a median of 20 minutes, one of 20 hours, log-normal with σ = 1, whatever the channel.
    Halves,
}

impl Truth {
    /// The families that do not hold the truth as a special case.
    fn others(self) -> Vec<Family> {
        let knows = |family: &Family| match self {
            Truth::Weibull => matches!(family, Family::Weibull | Family::TwoWeibull),
            Truth::Gamma => false,
            Truth::Halves => matches!(family, Family::TwoLogNormal),
        };
        FAMILIES.into_iter().filter(|family| !knows(family)).collect()
    }

    /// The hours one takes who answers.
    fn hours(self, channel: usize, dice: &mut Dice) -> f64 {
        match self {
            Truth::Weibull => MEDIANS[channel] * ((1.0 - dice.fraction()).ln() / 2.0_f64.ln()).powi(2),
            Truth::Gamma => MEDIANS[channel] / GAMMA_MEDIAN * gamma(dice),
            Truth::Halves => {
                let median = if dice.chance(0.5) { 1.0 / 3.0 } else { 20.0 };
                dice.log_normal(median, 1.0)
            }
        }
    }

    /// The chance to take longer.
    fn longer(self, channel: usize, hours: f64) -> f64 {
        match self {
            Truth::Weibull => (-2.0_f64.ln() * (hours / MEDIANS[channel]).sqrt()).exp(),
            Truth::Gamma => gamma_above(hours * GAMMA_MEDIAN / MEDIANS[channel]),
            Truth::Halves => [1.0 / 3.0, 20.0]
                .map(|median: f64| 0.5 * allheard::domain::forecast::normal::above((hours / median).ln()))
                .iter()
                .sum(),
        }
    }
}

/// Shape of the gamma distribution, its Γ, and its median at scale 1 (SciPy 1.17: `gamma(0.4)`, `gamma.ppf(0.5, 0.4)`).
const SHAPE: f64 = 0.4;
const GAMMA_OF_SHAPE: f64 = 2.218_159_543_757_688;
const GAMMA_MEDIAN: f64 = 0.145_078_141_643_435_44;

/// A gamma draw with [`SHAPE`] (Marsaglia and Tsang 2000: a draw of shape + 1, made smaller by a power of a fraction).
fn gamma(dice: &mut Dice) -> f64 {
    let d = SHAPE + 1.0 - 1.0 / 3.0;
    let c = 1.0 / (9.0 * d).sqrt();
    loop {
        let x = dice.normal();
        let v = (1.0 + c * x).powi(3);
        if v > 0.0 && (1.0 - dice.fraction()).ln() < 0.5 * x * x + d - d * v + d * v.ln() {
            return d * v * (1.0 - dice.fraction()).powf(1.0 / SHAPE);
        }
    }
}

/// The chance that a gamma draw is above `x`: by its series, or further out by its continued fraction (Abramowitz and Stegun
/// 6.5.29 and 6.5.31).
fn gamma_above(x: f64) -> f64 {
    let front = (-x).exp() * x.powf(SHAPE) / GAMMA_OF_SHAPE;
    if x < 2.0 {
        let (mut term, mut sum, mut k) = (1.0 / SHAPE, 1.0 / SHAPE, SHAPE);
        while term > sum * 1e-16 {
            k += 1.0;
            term *= x / k;
            sum += term;
        }
        return 1.0 - front * sum;
    }
    let tail = (1..=80).rev().fold(x, |below, k| {
        let k = f64::from(k);
        x + (k - SHAPE) / (1.0 + k / below)
    });
    front / tail
}

/// One season: who was asked when, and when she answers, all of it.
fn season(truth: Truth, never: f64, again: bool, dice: &mut Dice) -> Vec<Case> {
    let recipients = 280 + dice.below(271);
    let one = |dice: &mut Dice| {
        let first = DEADLINE - 24.0 * TOLD_DAYS[dice.below(TOLD_DAYS.len())];
        let (own, other) = if dice.chance(BY_TEXT) {
            (Channel::Text, Channel::Mail)
        } else {
            (Channel::Mail, Channel::Text)
        };
        let mut askings = vec![Asking { channel: own, at: first }];
        let reminders = AGAIN_HOURS.iter().zip([other, own]).filter(|_| again);
        askings.extend(reminders.map(|(hours, channel)| Asking { channel, at: first + hours }));
        askings.retain(|asking| asking.at < DEADLINE);
        let answers = !dice.chance(never);
        let answered = askings.iter().enumerate().filter(|_| answers).find_map(|(k, asking)| {
            let at = asking.at + truth.hours(cases::place(asking.channel), dice);
            askings.get(k + 1).is_none_or(|next| at < next.at).then_some(at)
        });
        Case { askings, answered, otherwise: None }
    };
    (0..recipients).map(|_| one(dice)).collect()
}

/// How many more will answer, for somebody who knows the truth.
fn knowing(truth: Truth, never: f64, waiting: &[Waiting]) -> Spread {
    let silent = |stretches: &[allheard::domain::forecast::fit::Stretch]| -> f64 {
        stretches.iter().map(|s| truth.longer(s.channel, s.hours)).product()
    };
    Spread::of(waiting.iter().map(|one| {
        let (now, then) = (silent(&one.so_far), silent(&one.by_then));
        ((1.0 - never) * (now - then) / (never + (1.0 - never) * now), one.count)
    }))
}

/// What was counted at one moment over many seasons.
#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    seasons: u32,
    held: u32,
    held_knowing: u32,
    width: u32,
    width_knowing: u32,
}

impl Tally {
    fn add(&mut self, other: Tally) {
        self.seasons += other.seasons;
        self.held += other.held;
        self.held_knowing += other.held_knowing;
        self.width += other.width;
        self.width_knowing += other.width_knowing;
    }

    fn cover(&self) -> f64 {
        f64::from(self.held) / f64::from(self.seasons)
    }

    fn ratio(&self) -> f64 {
        f64::from(self.width) / f64::from(self.width_knowing)
    }

    fn judge(&self, what: &str) {
        assert!(HELD.contains(&self.cover()), "{what}: {:.3} of {} seasons held", self.cover(), self.seasons);
        assert!(self.ratio() <= WIDTH_MOST, "{what}: {:.3} times the width of who knows", self.ratio());
    }

    fn line(&self) -> String {
        let mean = |n: u32| f64::from(n) / f64::from(self.seasons);
        format!(
            "{:5.1} % held (knowing the truth {:.1} %), width {:.2} and {:.2}: {:.2}",
            100.0 * self.cover(),
            100.0 * mean(self.held_knowing),
            mean(self.width),
            mean(self.width_knowing),
            self.ratio()
        )
    }
}

/// One season looked at from one moment.
fn look(truth: Truth, never: f64, cases: &[Case], days: f64) -> Tally {
    let now = DEADLINE - 24.0 * days;
    let by = |instant: f64| cases.iter().filter(|case| case.has_answered(instant)).count() as u32;
    let came = by(DEADLINE);
    let forecast = Forecast::of(cases, now, &Assumed::default(), &truth.others());
    let outlook = forecast.outlook(cases, now, DEADLINE);
    let (low, high) = knowing(truth, never, &cases::waiting(cases, now, DEADLINE)).range();
    let (low, high) = (by(now) + low, by(now) + high);
    Tally {
        seasons: 1,
        held: u32::from((outlook.low..=outlook.high).contains(&came)),
        held_knowing: u32::from((low..=high).contains(&came)),
        width: outlook.high - outlook.low,
        width_knowing: high - low,
    }
}

/// The seasons of one distribution, by moment.
fn cover(truth: Truth, seasons: u32) -> [Tally; MOMENTS.len()] {
    let mut together = [Tally::default(); MOMENTS.len()];
    for never in SHARES {
        let mut tallies = [Tally::default(); MOMENTS.len()];
        for number in 0..seasons {
            let mut dice = Dice::new(u64::from(number), &format!("{truth:?} {never}"));
            let cases = season(truth, never, number % 2 == 1, &mut dice);
            for (tally, (days, _)) in tallies.iter_mut().zip(MOMENTS) {
                tally.add(look(truth, never, &cases, days));
            }
        }
        for ((tally, whole), (_, words)) in tallies.iter().zip(&mut together).zip(MOMENTS) {
            println!("{truth:?}, {:.0} % never, {words} before: {}", 100.0 * never, tally.line());
            if seasons >= SEASONS_ENOUGH {
                tally.judge(&format!("{truth:?} {never} {words}"));
            }
            whole.add(*tally);
        }
    }
    together
}

#[test]
fn the_range_holds_over_a_thousand_seasons_of_other_distributions() {
    let named = env::var("ALLHEARD_FORECAST_SEASONS").ok().map(|n| n.parse().unwrap());
    let seasons: u32 = named.unwrap_or(SEASONS);
    let truths = [Truth::Weibull, Truth::Gamma, Truth::Halves];
    let found = thread::scope(|scope| {
        let running = truths.map(|truth| scope.spawn(move || cover(truth, seasons)));
        running.map(|one| one.join().unwrap())
    });
    let mut all = [Tally::default(); MOMENTS.len()];
    for (truth, tallies) in truths.iter().zip(found) {
        let mut own = Tally::default();
        for ((tally, whole), (_, words)) in tallies.iter().zip(&mut all).zip(MOMENTS) {
            println!("{truth:?}, all shares, {words} before: {}", tally.line());
            whole.add(*tally);
            own.add(*tally);
        }
        own.judge(&format!("{truth:?}"));
    }
    for (whole, (_, words)) in all.iter().zip(MOMENTS) {
        println!("all, {words} before: {}", whole.line());
        whole.judge(words);
    }
}

#[test]
fn the_truths_are_what_they_say() {
    // SciPy 1.17: gamma.sf(x, 0.4).
    let cases = [
        (0.01, 0.821_881_826_865_059_6),
        (0.3, 0.358_509_856_589_757_87),
        (1.0, 0.119_473_894_914_289_64),
        (3.0, 0.010_001_123_188_919_292),
        (12.0, 5.959_553_557_297_273e-7),
    ];
    for (x, expected) in cases {
        assert!((gamma_above(x) / expected - 1.0).abs() < 1e-9, "{x}: {}", gamma_above(x));
    }
    for truth in [Truth::Weibull, Truth::Gamma, Truth::Halves] {
        let mut dice = Dice::new(7, &format!("{truth:?}"));
        let draws: Vec<f64> = (0..20_000).map(|_| truth.hours(0, &mut dice)).collect();
        for hours in [0.1, 1.0, 10.0, 48.0] {
            let above = draws.iter().filter(|drawn| **drawn > hours).count() as f64 / draws.len() as f64;
            // Four standard errors of a share among so many draws are at most 0.0142.
            assert!((above - truth.longer(0, hours)).abs() < 0.0142, "{truth:?} beyond {hours} h: {above}");
        }
    }
}
