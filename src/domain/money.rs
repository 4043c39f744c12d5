//! Amounts of money, exact: whole millionths of a currency, never added across currencies.

use std::collections::BTreeMap;
use std::fmt;
use std::str::FromStr;

/// Parts of one unit of a currency that an amount is counted in.
const MILLIONTHS: i64 = 1_000_000;
/// Digits after the point that an amount may have.
const DECIMALS_MAX: usize = 6;
/// Digits before the point that an amount may have.
const WHOLE_DIGITS_MAX: usize = 6;
/// Digits after the point that most currencies are written with.
const DECIMALS_USUAL: usize = 2;
/// Currencies without minor units (ISO 4217, list one).
const WITHOUT_MINOR: &[&str] = &[
    "BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "VND", "VUV", "XAF", "XOF",
    "XPF",
];
/// Currencies with thousandths as minor units (ISO 4217, list one).
const WITH_THOUSANDTHS: &[&str] = &["BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"];

/// The code of a currency: three capital letters (ISO 4217).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Currency([u8; 3]);

impl Currency {
    /// The letters.
    pub fn code(&self) -> &str {
        std::str::from_utf8(&self.0).unwrap_or_default()
    }

    /// Digits after the point that it is written with at least.
    fn decimals(&self) -> usize {
        match self.code() {
            code if WITHOUT_MINOR.contains(&code) => 0,
            code if WITH_THOUSANDTHS.contains(&code) => 3,
            _ => DECIMALS_USUAL,
        }
    }
}

/// An amount of one currency.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Money {
    millionths: i64,
    currency: Currency,
}

/// Why a text is no amount.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum MoneyFault {
    /// Not an amount and a code.
    #[error("that is no amount with a currency; write one such as 0.042 GBP")]
    Shape,
    /// The amount.
    #[error(
        "the amount is no plain decimal number; write one such as 0.042, with a point and at most six figures on either side"
    )]
    Amount,
    /// The currency.
    #[error("the currency is no code of three capital letters (ISO 4217), such as GBP or EUR")]
    Currency,
}

impl FromStr for Money {
    type Err = MoneyFault;

    fn from_str(text: &str) -> Result<Money, MoneyFault> {
        let mut words = text.split_whitespace();
        let (Some(amount), Some(code), None) = (words.next(), words.next(), words.next()) else {
            return Err(MoneyFault::Shape);
        };
        let code = <[u8; 3]>::try_from(code.as_bytes()).map_err(|_| MoneyFault::Currency)?;
        if !code.iter().all(u8::is_ascii_uppercase) {
            return Err(MoneyFault::Currency);
        }
        Ok(Money { millionths: millionths(amount).ok_or(MoneyFault::Amount)?, currency: Currency(code) })
    }
}

/// A plain decimal number in millionths; none if it is none, or has more figures than are looked at.
fn millionths(amount: &str) -> Option<i64> {
    let (whole, part) = amount.split_once('.').unwrap_or((amount, "0"));
    let figures = |text: &str, most: usize| {
        !text.is_empty() && text.len() <= most && text.bytes().all(|b| b.is_ascii_digit())
    };
    if !figures(whole, WHOLE_DIGITS_MAX) || !figures(part, DECIMALS_MAX) {
        return None;
    }
    let whole: i64 = whole.parse().ok()?;
    let part: i64 = format!("{part:0<DECIMALS_MAX$}").parse().ok()?;
    Some(whole * MILLIONTHS + part)
}

impl Money {
    /// So many times the amount.
    #[must_use]
    pub fn times(self, count: usize) -> Money {
        let count = i64::try_from(count).unwrap_or(i64::MAX);
        Money { millionths: self.millionths.saturating_mul(count), ..self }
    }

    /// The amount in units of its currency, for readers who have no exact numbers.
    pub fn units(&self) -> f64 {
        self.millionths as f64 / MILLIONTHS as f64
    }
}

impl fmt::Display for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_amount(f, i128::from(self.millionths), self.currency)
    }
}

fn write_amount(f: &mut fmt::Formatter<'_>, millionths: i128, currency: Currency) -> fmt::Result {
    let unit = i128::from(MILLIONTHS);
    let part = format!("{:0DECIMALS_MAX$}", millionths % unit);
    let needed = part.trim_end_matches('0').len().max(currency.decimals());
    let point = if needed == 0 { "" } else { "." };
    write!(f, "{}{point}{} {}", millionths / unit, &part[..needed], currency.code())
}

/// What messages come to: amounts by currency, and how many messages have no tariff.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Bill {
    amounts: BTreeMap<Currency, i128>,
    /// Messages whose tariff is not known.
    pub unknown: usize,
}

impl Bill {
    /// Adds a message.
    pub fn add(&mut self, cost: Option<Money>) {
        match cost {
            Some(money) => *self.amounts.entry(money.currency).or_default() += i128::from(money.millionths),
            None => self.unknown += 1,
        }
    }

    /// Adds what another comes to.
    pub fn add_all(&mut self, other: &Bill) {
        for (currency, millionths) in &other.amounts {
            *self.amounts.entry(*currency).or_default() += millionths;
        }
        self.unknown += other.unknown;
    }

    /// Whether nothing of it has a tariff.
    pub fn is_unknown(&self) -> bool {
        self.amounts.is_empty() && self.unknown > 0
    }
}

impl fmt::Display for Bill {
    /// Such as `12.60 GBP and 3.10 EUR, and 4 without a tariff`; `0` for nothing at all.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.amounts.is_empty(), self.unknown) {
            (true, 0) => return f.write_str("0"),
            (true, _) => return f.write_str("no tariff"),
            (false, _) => {}
        }
        for (at, (currency, millionths)) in self.amounts.iter().enumerate() {
            if at > 0 {
                f.write_str(" and ")?;
            }
            write_amount(f, *millionths, *currency)?;
        }
        match self.unknown {
            0 => Ok(()),
            n => write!(f, ", and {n} without a tariff"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, expect: &str) {
        let read = text.parse::<Money>().map(|money| money.to_string()).map_err(|fault| format!("{fault:?}"));
        assert_eq!(read.unwrap_or_else(|fault| fault), expect, "{text}");
    }

    #[test]
    fn amounts_are_read_and_written_exactly() {
        check("0.042 GBP", "0.042 GBP");
        check(" 1.5  EUR ", "1.50 EUR");
        check("3 USD", "3.00 USD");
        check("0 GBP", "0.00 GBP");
        check("0.000001 GBP", "0.000001 GBP");
        check("999999.999999 GBP", "999999.999999 GBP");
        // Minor units of ISO 4217, list one.
        check("7 JPY", "7 JPY");
        check("7.5 JPY", "7.5 JPY");
        check("0.02 KWD", "0.020 KWD");
    }

    #[test]
    fn what_is_no_amount_says_which_half_is_wrong() {
        for text in ["", "0.042", "GBP", "0.04 GBP a segment"] {
            check(text, "Shape");
        }
        for text in
            ["0,042 GBP", ".5 GBP", "5. GBP", "-1 GBP", "1e3 GBP", "0.0000001 GBP", "1000000 GBP", "٣ GBP"]
        {
            check(text, "Amount");
        }
        for text in ["0.042 gbp", "0.042 £", "0.042 POUND", "0.042 G1P"] {
            check(text, "Currency");
        }
    }

    #[test]
    fn a_bill_adds_what_binary_fractions_cannot() {
        // In binary fractions 0.1 three times is not 0.3 (IEEE 754 double precision).
        let tenth: Money = "0.1 GBP".parse().unwrap();
        let mut bill = Bill::default();
        assert_eq!(bill.to_string(), "0");
        (0..3).for_each(|_| bill.add(Some(tenth)));
        assert_eq!(bill.to_string(), "0.30 GBP");
        bill.add(Some("0.07 EUR".parse::<Money>().unwrap().times(3)));
        assert_eq!(bill.to_string(), "0.21 EUR and 0.30 GBP");
        bill.add(None);
        assert_eq!(bill.to_string(), "0.21 EUR and 0.30 GBP, and 1 without a tariff");
        let mut twice = bill.clone();
        twice.add_all(&bill);
        assert_eq!(twice.to_string(), "0.42 EUR and 0.60 GBP, and 2 without a tariff");
        let mut none = Bill::default();
        none.add(None);
        assert!(none.is_unknown() && !twice.is_unknown());
        assert_eq!(none.to_string(), "no tariff");
    }
}
