//! The forecast of an event, in the middle of the weeks before, after the call, and with names that are no names.

use allheard::web::chart::Counts;
use allheard::web::views::*;
use askama::Template;
use jiff::civil::{date, time};

/// A day in milliseconds.
const DAY: i64 = 86_400_000;

pub fn samples() -> Vec<(&'static str, &'static str, String)> {
    let past = ForecastPage { past: true, days: Vec::new(), picture: None, ..forecast() };
    let mut hostile = forecast();
    hostile.event = "<img src=x onerror=alert(1)>".into();
    hostile.rows[0].name = "</td><script>alert(1)</script>".into();
    [("forecast", forecast()), ("forecast-past", past), ("forecast-hostile", hostile)]
        .map(|(name, page)| (name, "en", page.render().unwrap()))
        .into()
}

fn foretold(all: u32, heard: u32, [low, middle, high]: [u32; 3]) -> ForetoldRow {
    ForetoldRow { all, heard, low, middle, high }
}

/// A week after the call sheet went out, a week before the call.
fn forecast() -> ForecastPage {
    let at = |day| AsOf { date: date(2027, 5, day), time: time(10, 0, 0, 0) };
    let on_the_way = [[196, 203, 210], [209, 218, 225], [217, 226, 234], [222, 231, 240], [226, 235, 244]];
    let days: Vec<ForecastDay> = (27..)
        .zip(on_the_way)
        .map(|(day, range)| ForecastDay { at: at(day), foretold: foretold(260, 190, range) })
        .collect();
    let row = |name: &str, all, heard, range| ForecastRow {
        name: name.into(),
        foretold: foretold(all, heard, range),
    };
    ForecastPage {
        school: "Brackwater School of Dance".into(),
        season: "The Salt Lantern".into(),
        as_of: at(26),
        event: "Dress rehearsal".into(),
        href: "/season/E001".into(),
        deadline: AsOf { date: date(2027, 5, 31), time: time(17, 30, 0, 0) },
        past: false,
        foretold: foretold(260, 190, on_the_way[4]),
        picture: Some(ForecastPicture {
            counts: Counts {
                steps: vec![
                    (0, 0),
                    (DAY / 4, 70),
                    (DAY / 2, 101),
                    (DAY, 140),
                    (3 * DAY, 171),
                    (6 * DAY, 190),
                ],
                all: 260,
                now_ms: 7 * DAY,
                deadline_ms: 12 * DAY,
            },
            ahead: (8..)
                .zip(on_the_way)
                .map(|(day, [low, middle, high])| (day * DAY, low, middle, high))
                .collect(),
            from: date(2027, 5, 19),
        }),
        days,
        rows: vec![
            row("Noor Hadi", 22, 15, [18, 20, 21]),
            row("Ewa Lis", 31, 31, [31, 31, 31]),
            row("No chaperone", 2, 0, [0, 1, 2]),
        ],
        basis: vec![
            "Learnt from this season alone: 190 answers to messages, 70 still open.".into(),
            "They say that about 6 % never answer.".into(),
        ],
    }
}
