//! `/season/EVENT/forecast`: how many will have been heard from by the call. It only reads.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::Response;

use super::chart::Counts;
use super::respond::{Denied, html};
use super::routes::Front;
use super::shown;
use super::views::{ForecastDay, ForecastPage, ForecastPicture, ForecastRow, ForetoldRow};
use crate::domain::forecast::{Assumed, Forecast, Outlook};
use crate::service::forecast::EventForecast;
use crate::service::ports::{Gateway, Store};

/// Hours from which on days are spoken of.
const DAYS_FROM_HOURS: f64 = 36.0;

pub(super) async fn show<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(reference): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    front.coordinator(&headers).await?;
    let found = front.office.forecast(&reference).await?.ok_or(Denied::NotFound)?;
    let season = &found.board.season;
    let at = |instant| shown::as_of(&season.zone, instant);
    let name = |who: crate::domain::season::ChaperoneId| season.chaperones[who.at()].name.clone();
    let own = found.chaperones.iter().map(|(who, outlook)| (name(*who), *outlook));
    let mut rows: Vec<(String, Outlook)> = own.collect();
    rows.sort_by(|a, b| a.0.cmp(&b.0));
    rows.extend(found.nobodys.map(|outlook| ("No chaperone".to_owned(), outlook)));
    Ok(html(&ForecastPage {
        school: season.school.clone(),
        season: season.name.clone(),
        as_of: at(found.now),
        event: season.events[found.event.at()].name.clone(),
        href: format!("/season/{reference}"),
        deadline: at(found.deadline),
        past: found.ahead.is_empty(),
        foretold: foretold(found.outlook),
        picture: picture(&found),
        days: found
            .ahead
            .iter()
            .map(|(instant, outlook)| ForecastDay { at: at(*instant), foretold: foretold(*outlook) })
            .collect(),
        rows: rows
            .into_iter()
            .map(|(name, outlook)| ForecastRow { name, foretold: foretold(outlook) })
            .collect(),
        basis: basis(&found.learnt),
    }))
}

fn foretold(outlook: Outlook) -> ForetoldRow {
    let Outlook { all, heard, low, middle, high } = outlook;
    ForetoldRow { all, heard, low, middle, high }
}

/// The line from the first asking, or from now where nobody has been asked yet.
fn picture(found: &EventForecast) -> Option<ForecastPicture> {
    let from = found.asked_since.unwrap_or(found.now);
    let mut steps = vec![(from.as_millisecond(), 0)];
    steps.extend(found.heard_since.iter().zip(1u32..).map(|(at, n)| (at.as_millisecond(), n)));
    let counts = Counts {
        steps,
        all: found.outlook.all,
        now_ms: found.now.as_millisecond(),
        deadline_ms: found.deadline.as_millisecond(),
    };
    let ahead = found.ahead.iter().map(|(at, o)| (at.as_millisecond(), o.low, o.middle, o.high));
    let from = shown::as_of(&found.board.season.zone, from).date;
    (!found.ahead.is_empty()).then(|| ForecastPicture { counts, ahead: ahead.collect(), from })
}

/// What the forecast rests on, in words.
fn basis(learnt: &Forecast) -> Vec<String> {
    let assumed = Assumed::default();
    let times = |never: f64, overlooked: f64, mail: f64, text: f64| {
        format!(
            "{:.0} % never answer, {:.0} % of messages to the others are overlooked, and half of the answers come within \
             {} by mail and {} by text",
            100.0 * never,
            100.0 * overlooked,
            duration(mail),
            duration(text)
        )
    };
    let mut basis = Vec::new();
    basis.push(match (learnt.answered, learnt.silent) {
        (0, silent) => format!(
            "No message has been answered yet, {silent} are still open: the range comes from the assumption below."
        ),
        (answered, silent) => format!(
            "Learnt from this season alone, all its events together: {answered} {} to messages, {silent} still open. \
             Whoever has not answered yet may still do so.",
            if answered == 1 { "answer" } else { "answers" }
        ),
    });
    if let Some((say, fit)) = learnt.best().filter(|_| learnt.answered > 0) {
        basis.push(format!(
            "They say that about {}. We fit five curves of answering time and weigh each by how well it foretold the \
             answers that came; the {} weighs most, {:.0} %.",
            times(learnt.never(), learnt.overlooked(), fit.median_hours(0), fit.median_hours(1)),
            fit.model.family.words(),
            100.0 * say
        ));
    }
    basis.push(format!(
        "Assumed before any answer comes, and soon outweighed by real ones: {}.",
        times(assumed.never, assumed.overlooked, assumed.median_hours[0], assumed.median_hours[1])
    ));
    basis.push(
        "Time is counted from each message. Messages still planned are included, calls still to be made are not. Each \
         guardian counts once, for all their children; one who said that a child can't come has been heard from."
            .to_owned(),
    );
    basis
}

/// A time in round words.
fn duration(hours: f64) -> String {
    let (number, one, more) = if hours < 1.0 {
        ((60.0 * hours).round().max(1.0), "minute", "minutes")
    } else if hours < DAYS_FROM_HOURS {
        (hours.round(), "hour", "hours")
    } else {
        ((hours / 24.0).round(), "day", "days")
    };
    format!("{number:.0} {}", if number == 1.0 { one } else { more })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_said_in_round_words() {
        let cases = [
            (0.001, "1 minute"),
            (35.0 / 60.0, "35 minutes"),
            (1.2, "1 hour"),
            (10.4, "10 hours"),
            (35.0, "35 hours"),
            (50.0, "2 days"),
        ];
        for (hours, expected) in cases {
            assert_eq!(duration(hours), expected);
        }
    }
}
