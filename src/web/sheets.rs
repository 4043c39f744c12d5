//! `/season/EVENT/sheets/NAME`: a sheet of the day with the answers so far, ready to print.

use std::collections::HashMap;
use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::Response;

use super::respond::{Denied, html};
use super::routes::Front;
use super::views::PaperPage;
use crate::domain::board::Board;
use crate::domain::season::Person;
use crate::domain::sheets::{self, Marks, PaperSheet};
use crate::domain::standing::Standing;
use crate::domain::wall;
use crate::service::lists::EventList;
use crate::service::ports::{Gateway, Store};

/// The sheets of an event with the answers of its list.
pub(super) fn of_event(board: &Board, list: &EventList) -> Vec<PaperSheet> {
    let children = list.children.iter().map(|line| (Person::from(line.child), line.standing));
    let chaperones = list.chaperones.iter().map(|(who, standing)| (Person::Chaperone(*who), *standing));
    let words: HashMap<Person, &'static str> =
        children.chain(chaperones).map(|(who, standing)| (who, word(standing))).collect();
    let marks = Marks { standings: &|who| words.get(&who).copied(), away: &list.away };
    sheets::of_event(board, list.event, marks)
}

/// Where each sheet of an event is, and its title.
pub(super) fn links(board: &Board, list: &EventList) -> Vec<(String, String)> {
    let event = &board.season.events[list.event.at()].reference;
    let link = |sheet: PaperSheet| (format!("/season/{event}/sheets/{}", sheet.name()), sheet.short);
    of_event(board, list).into_iter().map(link).collect()
}

fn word(standing: Standing) -> &'static str {
    match standing {
        Standing::Heard => sheets::HEARD,
        Standing::HeardBefore => "heard before the change",
        Standing::Waiting => "not heard from",
        Standing::CantCome => sheets::CANT_COME,
        Standing::Away => sheets::NOT_COMING,
        Standing::NoWay => "no way to reach",
        Standing::NotAsked => sheets::NOT_ASKED,
    }
}

pub(super) async fn show<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path((event, name)): Path<(String, String)>,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    front.coordinator(&headers).await?;
    let (board, list, version) = front.office.paper(&event).await?.ok_or(Denied::NotFound)?;
    let sheet =
        of_event(&board, &list).into_iter().find(|sheet| sheet.name() == name).ok_or(Denied::NotFound)?;
    let printed = wall::local(&board.season.zone, front.office.now()).strftime(sheets::PRINTED).to_string();
    Ok(html(&PaperPage::linked(&sheet, &version, &printed)))
}
