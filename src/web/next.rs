//! A chaperone's next things while a show runs: what `/c/TOKEN` shows first on the day of an event.

use axum::response::Response;

use super::respond::html;
use super::show::{AGAIN_SECONDS, Stand, read_again};
use super::shown;
use super::views::{NextPage, ShowMoment};
use crate::domain::board::Item;
use crate::domain::day::next::{Thing, next};
use crate::domain::release::Release;
use crate::domain::season::{ChaperoneId, ChildId, Dismissal};
use crate::service::show::ShowData;

/// What shows the families of her children instead of her next things.
pub(super) const FAMILIES: &str = "families";

/// The page of a chaperone for a show that runs.
pub(super) fn page(data: &ShowData, chaperone: ChaperoneId, still: bool) -> Response {
    let board = &data.board;
    let season = &board.season;
    let stand = Stand::of(data);
    let release = |child: ChildId| -> Option<Release> {
        board.itinerary(Item { who: child.into(), event: Some(data.event) })?.collect_from
    };
    let found = next(&stand.running, chaperone, &release);
    let names = stand.names();
    let things = found.things.iter().map(|(at, thing)| ShowMoment {
        clock: at.map_or(String::new(), |at| stand.clock(at)),
        title: thing.words(&names),
        more: more(&stand, thing),
        now: at.is_some_and(|at| at <= stand.running.now),
    });
    let event = &season.events[data.event.at()];
    let again = (!still).then_some(AGAIN_SECONDS);
    let page = NextPage {
        school: season.school.clone(),
        season: season.name.clone(),
        as_of: shown::as_of(&season.zone, data.now),
        given: shown::given(&season.chaperones[chaperone.at()].name),
        event: event.name.clone(),
        stage: format!("{}. {}", stand.heading(), stand.down()),
        things: things.collect(),
        later: found.later,
        families: format!("?event={}&show={FAMILIES}", event.reference),
        telephone: shown::school_telephone(season),
        again,
    };
    read_again(html(&page), again, "?")
}

/// What goes with a thing: when a number is on, and that nobody goes home before the curtain is down.
fn more(stand: &Stand<'_>, thing: &Thing) -> String {
    let running = &stand.running;
    let starts =
        |number| running.day.numbers.iter().find(|timed| timed.number == number).map(|timed| timed.starts);
    match thing {
        Thing::LineUp { number, called, .. } => {
            let called = if *called { "Called. " } else { "" };
            starts(*number).map_or(String::new(), |at| format!("{called}On at {}.", stand.clock(at)))
        }
        Thing::Out { not_before, .. } => {
            let down = running.day.ends().map(|at| running.day.clock(at));
            let late = down.filter(|down| *down > not_before.at());
            // Under no early release they stay until the curtain is down, however late it comes.
            let all_stay = running.day.event().dismissal == Dismissal::AfterLastNumber;
            let stay = if all_stay { ": they stay until then" } else { "" };
            late.map_or(String::new(), |down| {
                format!("The curtain comes down later, at about {}{stay}.", down.strftime("%H:%M"))
            })
        }
        _ => String::new(),
    }
}
