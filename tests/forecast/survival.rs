//! Fits against `lifelines` of PyPI, an independent survival library, on the same censored times.

use allheard::demo::dice::Dice;
use allheard::domain::forecast::Assumed;
use allheard::domain::forecast::curve::Family;
use allheard::domain::forecast::fit::{Model, Sample, Stretch};
use std::io::Write as _;
use std::process::{Command, Stdio};

use crate::peers::{here, python, ready};

const DATA_SETS: u64 = 20;
/// Equal to three digits.
const DIGITS: f64 = 5e-4;
/// The models compared, as the script names them.
const MODELS: [(&str, Family, bool); 6] = [
    ("LogNormal", Family::LogNormal, false),
    ("Weibull", Family::Weibull, false),
    ("LogLogistic", Family::LogLogistic, false),
    ("LogNormal cure", Family::LogNormal, true),
    ("Weibull cure", Family::Weibull, true),
    ("LogLogistic cure", Family::LogLogistic, true),
];

/// Times in hours, and whether each ended with an answer or was cut off.
type Times = Vec<(f64, bool)>;

/// Log-normal or Weibull times, a share that never answers, and everybody watched for a time of her own.
fn times(number: u64) -> Times {
    let mut dice = Dice::new(number, "survival");
    let count = 60 + dice.below(400);
    let never = [0.0, 0.05, 0.12, 0.3][dice.below(4)];
    let (scale, width) = (0.5 + 15.0 * dice.fraction(), 0.5 + 1.5 * dice.fraction());
    let watched = 20.0 + 300.0 * dice.fraction();
    let time = |dice: &mut Dice| {
        let hours = if number.is_multiple_of(2) {
            dice.log_normal(scale, width)
        } else {
            scale * (-(1.0 - dice.fraction()).ln()).powf(width)
        };
        let until = watched * (0.2 + 0.8 * dice.fraction());
        let answered = !dice.chance(never) && hours < until;
        (if answered { hours.max(1e-3) } else { until }, answered)
    };
    (0..count).map(|_| time(&mut dice)).collect()
}

fn log_likelihood(times: &Times, family: Family, never: bool) -> f64 {
    let stretch = |hours| Stretch { channel: 0, hours };
    let (answered, silent): (Times, Times) = times.iter().partition(|(_, answered)| *answered);
    let sample = Sample {
        answered: answered.into_iter().map(|(hours, _)| (stretch(hours), 1.0)).collect(),
        passed: Vec::new(),
        silent: silent.into_iter().map(|(hours, _)| (vec![stretch(hours)], 1.0)).collect(),
    };
    let model = Model { family, never, overlooks: false, channels: 1 };
    model.fit(&sample, &Assumed::default().beliefs(model), false).log_likelihood
}

#[test]
fn fits_are_as_likely_as_those_of_lifelines() {
    if !ready("fits_are_as_likely_as_those_of_lifelines", &[python()]) {
        return;
    }
    let sets: Vec<Times> = (0..DATA_SETS).map(times).collect();
    let mut command = Command::new(python().unwrap());
    command.arg(here("tests/peers/fit_survival.py"));
    let mut running = command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
    running.stdin.take().unwrap().write_all(&serde_json::to_vec(&sets).unwrap()).unwrap();
    let done = running.wait_with_output().unwrap();
    assert!(done.status.success(), "{command:?}: {}", done.status);
    let theirs: Vec<std::collections::BTreeMap<String, f64>> = serde_json::from_slice(&done.stdout).unwrap();
    assert_eq!(theirs.len(), sets.len());
    let mut furthest = 0.0_f64;
    for (number, (set, theirs)) in sets.iter().zip(&theirs).enumerate() {
        for (name, family, never) in MODELS {
            let ours = log_likelihood(set, family, never);
            let apart = (ours / theirs[name] - 1.0).abs();
            furthest = furthest.max(apart);
            assert!(apart < DIGITS, "set {number}, {name}: {ours} and {}", theirs[name]);
        }
    }
    println!(
        "{} fits of {DATA_SETS} data sets: at most {furthest:.1e} apart",
        MODELS.len() as u64 * DATA_SETS
    );
}
