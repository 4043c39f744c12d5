//! Dates and times of day as people type them.

use super::typed::count;
use super::words::key;
use jiff::civil::{Date, Time};

/// Years a season's date may lie in.
pub const YEARS: std::ops::RangeInclusive<i16> = 2000..=2199;

/// A local time: `17:30`, `17.30`, `5:30 pm`, `5pm`, `17h30`; without am or pm the 24-hour clock is meant.
pub fn time(text: &str) -> Result<Time, String> {
    let bad = || format!("'{text}' is not a time of day");
    let mut plain: String = key(text).chars().filter(|c| !c.is_whitespace()).collect();
    plain = plain.replace("a.m.", "am").replace("p.m.", "pm").replace("a.m", "am").replace("p.m", "pm");
    match plain.as_str() {
        "noon" => return Ok(jiff::civil::time(12, 0, 0, 0)),
        "midnight" => return Err("'midnight' could be the start or the end of the day".to_owned()),
        _ => {}
    }
    let half = if let Some(head) = plain.strip_suffix("am") {
        Some((false, head.to_owned()))
    } else {
        plain.strip_suffix("pm").map(|head| (true, head.to_owned()))
    };
    if let Some((_, head)) = &half {
        plain.clone_from(head);
    }
    let parts: Vec<&str> = plain.trim_end_matches('h').split([':', '.', 'h']).collect();
    let number = |s: &str| count(s).ok().filter(|_| s.len() <= 2);
    let (hour, minute) = match parts[..] {
        [h] if half.is_some() => (number(h), Some(0)),
        [h] if h.len() == 4 && h.is_ascii() => (number(&h[..2]), number(&h[2..])),
        [h] if plain.ends_with('h') => (number(h), Some(0)),
        [h, m] if m.len() == 2 => (number(h), number(m)),
        [h, m, "00"] if m.len() == 2 => (number(h), number(m)),
        _ => return Err(bad()),
    };
    let (Some(hour), Some(minute)) = (hour, minute) else {
        return Err(bad());
    };
    let hour = match half {
        None => hour,
        Some(_) if hour == 0 || hour > 12 => {
            return Err(format!("'{text}' mixes the 24-hour clock with am or pm"));
        }
        Some((afternoon, _)) => hour % 12 + if afternoon { 12 } else { 0 },
    };
    match (i8::try_from(hour), i8::try_from(minute)) {
        (Ok(h), Ok(m)) => Time::new(h, m, 0, 0).map_err(|_| bad()),
        _ => Err(bad()),
    }
}

const MONTHS: [&[&str]; 12] = [
    &["january", "jan", "enero", "ene"],
    &["february", "feb", "febrero"],
    &["march", "mar", "marzo"],
    &["april", "apr", "abril", "abr"],
    &["may", "mayo"],
    &["june", "jun", "junio"],
    &["july", "jul", "julio"],
    &["august", "aug", "agosto", "ago"],
    &["september", "sep", "sept", "septiembre"],
    &["october", "oct", "octubre"],
    &["november", "nov", "noviembre"],
    &["december", "dec", "diciembre", "dic"],
];

const WEEKDAYS: [&[&str]; 7] = [
    &["monday", "mon", "lunes"],
    &["tuesday", "tue", "tues", "martes"],
    &["wednesday", "wed", "miércoles"],
    &["thursday", "thu", "thur", "thurs", "jueves"],
    &["friday", "fri", "viernes"],
    &["saturday", "sat", "sábado"],
    &["sunday", "sun", "domingo"],
];

/// Days from Monday to the weekday of a name in lower case; none if it is none.
pub fn weekday_named(word: &str) -> Option<usize> {
    WEEKDAYS.iter().position(|names| names.contains(&word))
}

/// A date: `2027-06-04`, `4 June 2027`, `June 4, 2027`, `25/12/2027`. `04/06/2027` has two readings and is refused.
pub fn date(text: &str) -> Result<Date, String> {
    let bad = || format!("'{text}' is not a date");
    let plain = key(text);
    let plain = plain.trim_end_matches(" 00:00:00").trim_end_matches("t00:00:00");
    let tokens: Vec<&str> = plain
        .split(|c: char| c.is_whitespace() || matches!(c, ',' | '-' | '/' | '.'))
        .filter(|t| !t.is_empty() && *t != "de" && *t != "of" && *t != "the")
        .collect();
    let weekday = tokens.first().and_then(|t| weekday_named(t));
    let tokens = if weekday.is_some() { &tokens[1..] } else { &tokens[..] };
    let [a, b, c] = tokens[..] else {
        let yearless = tokens.len() == 2 && tokens.iter().any(|token| month_named(token).is_some());
        return Err(if yearless { format!("'{text}' has no year") } else { bad() });
    };
    let (year, month, day) = if let Some(month) = month_named(b) {
        (c, month, ordinal(a).ok_or_else(bad)?)
    } else if let Some(month) = month_named(a) {
        (c, month, ordinal(b).ok_or_else(bad)?)
    } else if a.len() == 4 {
        (a, count(b).map_err(|_| bad())?, count(c).map_err(|_| bad())?)
    } else {
        let (first, second) = (count(a).map_err(|_| bad())?, count(b).map_err(|_| bad())?);
        match (first > 12, second > 12) {
            (false, false) if first != second => {
                return Err(format!("'{text}' can be read as day first or as month first"));
            }
            (true, true) => return Err(format!("'{text}' has no month between 1 and 12")),
            (false, true) => (c, first, second),
            _ => (c, second, first),
        }
    };
    if year.len() != 4 {
        return Err(format!("'{text}' needs the year in four digits"));
    }
    let year = count(year).map_err(|_| bad())?;
    let made = i16::try_from(year).ok().zip(i8::try_from(month).ok()).zip(i8::try_from(day).ok());
    let Some(((year, month), day)) = made else {
        return Err(bad());
    };
    let date = Date::new(year, month, day).map_err(|_| format!("'{text}' is a day that does not exist"))?;
    if !YEARS.contains(&year) {
        return Err(format!("'{text}' lies in a year that cannot be meant"));
    }
    let stands_on = usize::try_from(date.weekday().to_monday_zero_offset()).ok();
    if weekday.is_some() && weekday != stands_on {
        return Err(format!("'{text}' is not on that day of the week"));
    }
    Ok(date)
}

fn month_named(token: &str) -> Option<u32> {
    let at = MONTHS.iter().position(|names| names.contains(&token))?;
    u32::try_from(at + 1).ok()
}

fn ordinal(token: &str) -> Option<u32> {
    let digits = ["st", "nd", "rd", "th"].iter().find_map(|end| token.strip_suffix(end)).unwrap_or(token);
    count(digits).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil;

    #[test]
    fn dates_as_typed() {
        let fourth = civil::date(2027, 6, 4);
        let check = |input: &str, expect: Option<Date>| {
            assert_eq!(date(input).ok(), expect, "{input:?} {:?}", date(input))
        };
        for input in [
            "2027-06-04",
            "2027-06-04 00:00:00",
            "2027-06-04T00:00:00",
            "4 June 2027",
            "4th June 2027",
            "June 4, 2027",
            "Fri 4 Jun 2027",
            "4-Jun-2027",
            "4 de junio de 2027",
            "friday, the 4th of june 2027",
        ] {
            check(input, Some(fourth));
        }
        check("25/12/2027", Some(civil::date(2027, 12, 25)));
        check("12/25/2027", Some(civil::date(2027, 12, 25)));
        check("05/05/2027", Some(civil::date(2027, 5, 5)));
        check("2028-02-29", Some(civil::date(2028, 2, 29)));
        for input in [
            "04/06/2027",
            "4.6.2027",
            "31/02/2027",
            "2027-02-30",
            "2027-13-01",
            "4 June 27",
            "4 June",
            "Mon 4 June 2027",
            "1027-06-04",
            "",
            "soon",
            "13/13/2027",
            "99999999999/1/2027",
        ] {
            check(input, None);
        }
        assert!(date("04/06/2027").unwrap_err().contains("day first"));
    }

    #[test]
    fn times_as_typed() {
        let check = |input: &str, expect: Option<(i8, i8)>| {
            assert_eq!(
                time(input).ok(),
                expect.map(|(h, m)| civil::time(h, m, 0, 0)),
                "{input:?} {:?}",
                time(input)
            );
        };
        for input in
            ["17:30", "17.30", "5:30 pm", "5.30pm", "5:30 p.m.", "17h30", "1730", "17:30:00", "05:30PM"]
        {
            check(input, Some((17, 30)));
        }
        check("5 pm", Some((17, 0)));
        check("17h", Some((17, 0)));
        check("12:15 am", Some((0, 15)));
        check("12 pm", Some((12, 0)));
        check("noon", Some((12, 0)));
        check("9:05", Some((9, 5)));
        for input in [
            "25:00",
            "24:00",
            "17:60",
            "17:30 pm",
            "0:30 am",
            "midnight",
            "17",
            "17:5",
            "",
            "later",
            "17:30:20",
            "١٧:٣٠",
        ] {
            check(input, None);
        }
    }
}
