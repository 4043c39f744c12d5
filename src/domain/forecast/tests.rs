//! What a forecast says in the plain cases.

use super::*;
use crate::domain::season::Channel;

fn asked(count: usize, channel: Channel, at: f64, answered: impl Fn(usize) -> Option<f64>) -> Vec<Case> {
    (0..count)
        .map(|k| Case { askings: vec![Asking { channel, at }], answered: answered(k), otherwise: None })
        .collect()
}

fn forecast(cases: &[Case], now: f64) -> Forecast {
    Forecast::of(cases, now, &Assumed::default(), &FAMILIES)
}

/// The quantiles of a log-normal time: those of the normal by halving.
fn quantile(part: f64) -> f64 {
    let (mut low, mut high) = (-9.0, 9.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if 1.0 - normal::above(middle) < part { low = middle } else { high = middle }
    }
    low
}

/// Ninety of a hundred answer by mail with a median of 5 hours and σ 1.2, ten never.
fn ninety_of_a_hundred() -> Vec<Case> {
    asked(400, Channel::Mail, 0.0, |k| {
        (k % 10 != 0).then(|| (5.0_f64.ln() + 1.2 * quantile((k as f64 + 0.5) / 400.0)).exp())
    })
}

#[test]
fn before_any_answer_the_assumption_speaks_and_doubts_itself() {
    let cases = asked(200, Channel::Text, 10.0, |_| None);
    let ahead = forecast(&cases, 0.0);
    assert_eq!((ahead.answered, ahead.silent), (0, 0));
    assert!((0.03..0.07).contains(&ahead.never()), "{}", ahead.never());
    let outlook = ahead.outlook(&cases, 0.0, 240.0);
    assert_eq!((outlook.all, outlook.heard), (200, 0));
    assert!((140..=165).contains(&outlook.middle), "{outlook:?}");
    assert!(outlook.high - outlook.low > 20 && outlook.high <= 200, "{outlook:?}");
}

#[test]
fn real_answers_outweigh_the_assumption() {
    let cases = ninety_of_a_hundred();
    let learnt = forecast(&cases, 500.0);
    assert_eq!((learnt.answered, learnt.silent), (360, 40));
    // Asked once only, whoever never answers and whoever overlooked this message look alike.
    let silent = 1.0 - (1.0 - learnt.never()) * (1.0 - learnt.overlooked());
    assert!((0.09..0.11).contains(&silent), "{} and {}", learnt.never(), learnt.overlooked());
    let (_, best) = learnt.best().unwrap();
    assert!((best.median_hours(0) / 5.0 - 1.0).abs() < 0.1, "{}", best.median_hours(0));
    // Of texts nothing was seen: there the assumption stands.
    assert!((0.4..0.9).contains(&best.median_hours(1)), "{}", best.median_hours(1));
}

#[test]
fn a_range_narrows_as_the_deadline_comes() {
    let cases = ninety_of_a_hundred();
    let widths: Vec<u32> = [2.0, 12.0, 72.0, 300.0]
        .map(|now| {
            let outlook = forecast(&cases, now).outlook(&cases, now, 336.0);
            assert!(outlook.heard <= outlook.low && outlook.low <= outlook.middle);
            assert!(outlook.middle <= outlook.high && outlook.high <= outlook.all);
            assert!((outlook.low..=outlook.high).contains(&360), "at {now}: {outlook:?}");
            outlook.high - outlook.low
        })
        .into();
    assert!(widths.is_sorted_by(|a, b| a > b), "{widths:?}");
}

#[test]
fn all_answered_is_certain_and_leaves_nobody() {
    let cases = asked(60, Channel::Text, 0.0, |k| Some(0.1 + 0.05 * k as f64));
    let outlook = forecast(&cases, 48.0).outlook(&cases, 48.0, 96.0);
    assert_eq!(outlook, Outlook { all: 60, heard: 60, low: 60, middle: 60, high: 60 });
    assert_eq!(outlook.left(), (0, 0));
}

#[test]
fn whoever_nobody_asks_in_time_is_left_to_be_rung() {
    let mut cases = asked(10, Channel::Text, 0.0, |_| Some(1.0));
    cases.extend(asked(3, Channel::Text, 900.0, |_| None));
    cases.push(Case::default());
    let outlook = forecast(&cases, 48.0).outlook(&cases, 48.0, 96.0);
    assert_eq!((outlook.low, outlook.high, outlook.left()), (10, 10, (4, 4)));
}

#[test]
fn a_reminder_to_come_raises_what_is_expected() {
    let silent = |again: bool| {
        let mut cases = ninety_of_a_hundred();
        cases.iter_mut().filter(|_| again).for_each(|case| {
            case.askings.push(Asking { channel: Channel::Text, at: 20.0 });
        });
        forecast(&cases, 8.0).outlook(&cases, 8.0, 24.0).middle
    };
    assert!(silent(true) > silent(false) + 10, "{} and {}", silent(true), silent(false));
}

#[test]
fn reminders_tell_who_overlooks_from_who_never_answers() {
    // A third answers each message, whoever is silent so far; nobody is lost for good.
    let at = |k: usize| {
        (0..8).find(|n| k % 3_usize.pow(n + 1) >= 2 * 3_usize.pow(*n)).map(|n| 48.0 * f64::from(n))
    };
    let cases: Vec<Case> = (0..729)
        .map(|k| Case {
            askings: (0..6).map(|n| Asking { channel: Channel::Text, at: 48.0 * f64::from(n) }).collect(),
            answered: at(k).map(|at| at + 0.5 + (k % 7) as f64 / 7.0),
            otherwise: None,
        })
        .collect();
    let learnt = forecast(&cases, 288.0);
    assert!((0.6..0.72).contains(&learnt.overlooked()), "{}", learnt.overlooked());
    assert!(learnt.never() < 0.03, "{}", learnt.never());
}

#[test]
fn odd_samples_give_numbers_all_the_same() {
    let one = asked(1, Channel::Mail, 0.0, |_| Some(0.001));
    let same = asked(50, Channel::Text, 0.0, |_| Some(3.0));
    let mute = asked(300, Channel::Mail, 0.0, |_| None);
    let late = asked(20, Channel::Text, 0.0, |k| Some(2000.0 + k as f64));
    for cases in [vec![], one, same, mute, late] {
        let ahead = forecast(&cases, 2100.0);
        let says: f64 = ahead.fits.iter().map(|(say, _)| say).sum();
        assert!((says - 1.0).abs() < 1e-9, "{says}");
        assert!(ahead.fits.iter().all(|(_, fit)| fit.figures.iter().all(|x| x.is_finite())));
        let more = asked(40, Channel::Mail, 2110.0, |_| None);
        let outlook = ahead.outlook(&more, 2100.0, 2200.0);
        assert!(outlook.low <= outlook.high && outlook.high <= 40, "{outlook:?}");
    }
}

#[test]
fn the_same_cases_give_the_same_range() {
    let cases = ninety_of_a_hundred();
    let twice = [0, 1].map(|_| forecast(&cases, 6.0).outlook(&cases, 6.0, 30.0));
    assert_eq!(twice[0], twice[1]);
}
