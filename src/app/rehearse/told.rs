//! What a rehearsal showed, picked out for people and as JSON.

use super::Report;
use crate::domain::rehearsal::outlook::{Gain, OutlookSpread, Paired, RANGE};
use crate::domain::season::EventId;
use jiff::ToSpan;
use jiff::civil::Date;
use serde_json::{Value, json};

/// A day is shown where the mean has moved so much since the last one shown.
const SHOWN_STEP: f64 = 0.5;

impl Report {
    /// Name of a matter: of its event, or that it is the house rules.
    pub fn matter_name(&self, matter: usize) -> &str {
        self.stage.board.season.events.get(matter).map_or("House rules", |event| &event.name)
    }

    /// Matters somebody is asked about and that are not over, in the order of the season.
    pub fn matters(&self) -> Vec<usize> {
        let events = self.stage.board.season.events.len();
        let heard = |matter: usize| self.outlook.heard[matter].iter().any(|day| day.mean() > 0.0);
        let ahead =
            |matter: usize| matter == events || self.stage.moments.contains_key(&EventId(matter as u32));
        (0..self.stage.matters()).filter(|matter| heard(*matter) && ahead(*matter)).collect()
    }

    /// Days on which the standing of a matter moves, up to its event: position and date.
    pub fn days(&self, matter: usize) -> Vec<(usize, Date)> {
        let (stage, outlook) = (&self.stage, &self.outlook);
        let last = stage.board.season.events.get(matter).and_then(|event| stage.day_of(event.date));
        let last = last.unwrap_or(stage.days().saturating_sub(1));
        let means = |day: usize| (outlook.settled[matter][day].mean(), outlook.heard[matter][day].mean());
        let mut shown = (0.0, 0.0);
        let mut days = Vec::new();
        for day in 0..=last.min(stage.days().saturating_sub(1)) {
            let now = means(day);
            let event_day = day == last && matter < stage.board.season.events.len();
            if (now.0 - shown.0).abs() >= SHOWN_STEP || (now.1 - shown.1).abs() >= SHOWN_STEP || event_day {
                shown = now;
                days.push((day, stage.first_day.saturating_add((day as i64).days())));
            }
        }
        days
    }

    /// What so many mails and segments cost; none where no price is known.
    pub fn price(&self, mails: f64, segments: f64) -> Option<f64> {
        let text = self.wish.per_text.map(|price| price * segments);
        let mail = self.wish.per_mail.map(|price| price * mails);
        (text.is_some() || mail.is_some()).then(|| text.unwrap_or(0.0) + mail.unwrap_or(0.0))
    }

    /// As JSON.
    pub fn json(&self) -> Value {
        let (stage, outlook) = (&self.stage, &self.outlook);
        let season = &stage.board.season;
        let matters = self.matters().into_iter().map(|matter| {
            let days = self.days(matter).into_iter().map(|(day, date)| {
                json!({
                    "date": date.to_string(),
                    "settled": spread_json(&outlook.settled[matter][day]),
                    "heard": spread_json(&outlook.heard[matter][day]),
                })
            });
            let event = season.events.get(matter);
            let moments = stage.moments.get(&EventId(matter as u32));
            json!({
                "event": event.map(|event| event.reference.as_str()),
                "name": self.matter_name(matter),
                "children": stage.children(matter),
                "days": days.collect::<Vec<_>>(),
                "rung_at": moments.and_then(|m| m.ring).map(|at| at.to_string()),
                "calls": moments.map(|_| spread_json(&outlook.calls[matter])),
                "open_at_first_call": moments.map(|_| spread_json(&outlook.left[matter])),
                "cant_come": moments.map(|_| spread_json(&outlook.cant_come[matter])),
            })
        });
        let lists = stage.lists.iter().zip(&outlook.lists).map(|((event, chaperone), (ring, left))| {
            json!({
                "event": season.events[event.at()].reference,
                "chaperone": season.chaperones[chaperone.at()].reference,
                "name": season.chaperones[chaperone.at()].name,
                "calls": spread_json(ring),
                "open_at_first_call": spread_json(left),
            })
        });
        let gains = self.gains.iter().map(|gain| self.gain_json(gain));
        let habits = &self.habits;
        json!({
            "seasons": outlook.seasons,
            "seed": self.wish.seed,
            "from": stage.terms.from.to_string(),
            "zone": season.zone_name,
            "range": [RANGE.0, RANGE.1],
            "habits": {
                "learnt_from_answers": self.fitted.as_ref().map_or(0, |fitted| fitted.answers),
                "first_text": habits.first_text, "first_mail": habits.first_mail, "first_both": habits.first_both,
                "later": habits.later, "ring": habits.ring, "never": habits.never, "wrong_address": habits.wrong,
                "text_minutes": [habits.text.median_minutes, habits.text.sigma],
                "mail_minutes": [habits.mail.median_minutes, habits.mail.sigma],
            },
            "standing": matters.collect::<Vec<_>>(),
            "chaperones": lists.collect::<Vec<_>>(),
            "calls": spread_json(&outlook.all_calls),
            "messages": {
                "mails": spread_json(&outlook.mails), "texts": spread_json(&outlook.texts),
                "segments": spread_json(&outlook.segments), "refused": spread_json(&outlook.refused),
            },
            "cost": self.price(outlook.mails.mean(), outlook.segments.mean()),
            "changes_tried_on": self.wish.tried,
            "changes": gains.collect::<Vec<_>>(),
        })
    }

    fn gain_json(&self, gain: &Gain) -> Value {
        json!({
            "change": gain.change.words(&self.stage.board.season),
            "calls": paired_json(&gain.calls),
            "settled_early": paired_json(&gain.early),
            "mails": paired_json(&gain.mails),
            "texts": paired_json(&gain.texts),
            "segments": paired_json(&gain.segments),
            "cost": self.price(gain.mails.mean(), gain.segments.mean()),
            "calls_saved_per_text": gain.worth(),
        })
    }
}

fn spread_json(spread: &OutlookSpread) -> Value {
    let (low, high) = spread.range();
    json!({ "mean": spread.mean(), "low": low, "high": high })
}

fn paired_json(paired: &Paired) -> Value {
    json!({ "more": paired.mean(), "error": paired.error() })
}
