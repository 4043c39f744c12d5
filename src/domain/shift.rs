//! What a chaperone has to do at an event, worked out from her duties there.

use super::in_charge::InCharge;
use super::season::{ChaperoneId, Duty, Event, EventId, NumberId, Season};
use jiff::Span;
use jiff::civil::DateTime;

/// A chaperone's own part of an event, beside the times that an itinerary says of anybody. Local times are the season's
/// wall time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shift {
    /// Her briefing; none where she comes later than that.
    pub briefing: Option<DateTime>,
    /// When she stands at her place; none where she comes later than that.
    pub station: Option<DateTime>,
    /// When the event is over, rounded as it is told to families; none where the season does not say.
    pub until: Option<DateTime>,
    /// Tasks in the workbook's words, each once.
    pub tasks: Vec<String>,
    /// Numbers whose children she signs in.
    pub signs_in: Vec<NumberId>,
    /// Numbers whose children she signs out.
    pub signs_out: Vec<NumberId>,
}

/// The duties of a chaperone at an event, in the order of the workbook.
pub fn duties_of(season: &Season, chaperone: ChaperoneId, event: EventId) -> impl Iterator<Item = &Duty> {
    season.duties.iter().filter(move |duty| duty.chaperone == chaperone && duty.event == event)
}

/// The numbers she looks after there, each once, in the order of the season.
pub fn numbers_of(season: &Season, chaperone: ChaperoneId, event: EventId) -> Vec<NumberId> {
    let mut numbers: Vec<NumberId> =
        duties_of(season, chaperone, event).filter_map(|duty| duty.number).collect();
    numbers.sort();
    numbers.dedup();
    numbers
}

/// When she comes: so many minutes before the children.
pub fn arrives(season: &Season, event: &Event, children: DateTime) -> DateTime {
    earlier(children, season.settings.lead_minutes.at(event.kind))
}

/// Her shift, given the children's call and the moment from which she is free.
pub fn shift(
    season: &Season,
    chaperone: ChaperoneId,
    id: EventId,
    in_charge: &InCharge,
    (children, until): (DateTime, Option<DateTime>),
) -> Shift {
    let settings = &season.settings;
    let arrives = arrives(season, &season.events[id.at()], children);
    let within_lead = |minutes| Some(earlier(children, minutes)).filter(|at| *at > arrives && minutes > 0);
    let mut shift = Shift {
        briefing: within_lead(settings.briefing_minutes),
        station: within_lead(settings.station_minutes),
        until,
        tasks: Vec::new(),
        signs_in: Vec::new(),
        signs_out: Vec::new(),
    };
    for duty in duties_of(season, chaperone, id) {
        if !duty.task.is_empty() && !shift.tasks.contains(&duty.task) {
            shift.tasks.push(duty.task.clone());
        }
        let Some(number) = duty.number else { continue };
        let signs = in_charge.signers_of(number);
        for (signs, list) in [(signs.signs_in, &mut shift.signs_in), (signs.signs_out, &mut shift.signs_out)]
        {
            if signs == Some(chaperone) && !list.contains(&number) {
                list.push(number);
            }
        }
    }
    shift
}

fn earlier(than: DateTime, minutes: u32) -> DateTime {
    than.saturating_sub(Span::new().minutes(i64::from(minutes)))
}
