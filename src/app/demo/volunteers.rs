//! What invented volunteers do twice a day: chaperones ring whom the chase list gives them, the coordinator answers
//! questions and confirms who is not coming. They use what their pages use.

use super::{Demo, DemoFault};
use crate::demo::MessageFate;
use crate::demo::ringing::{self, Spoke};
use crate::domain::board::{Board, Item};
use crate::domain::chase::{Call, ChaseWay};
use crate::domain::record::CallEnd;
use crate::domain::season::GuardianId;
use crate::domain::standing::telephone;
use crate::domain::wall;
use crate::service::answering::Noted;
use crate::service::chasing::{COORDINATOR, Came, Noter};
use jiff::civil::{Time, time};
use jiff::{SignedDuration, Timestamp, ToSpan};

/// When they sit down to it, local time.
const ROUNDS: [Time; 2] = [time(10, 30, 0, 0), time(18, 30, 0, 0)];
/// Whoever has no number is spoken to at a door this long before they have to know, at the latest.
const AT_THE_DOOR: SignedDuration = SignedDuration::from_hours(30);

/// What the coordinator answers to the one question that families of the demonstration ask: which door it is.
fn which_door(board: &Board, item: Option<Item>) -> String {
    let event = item.and_then(|item| item.event).map(|event| &board.season.events[event.at()]);
    event.map_or_else(
        || "The door is in each message and on your page.".to_owned(),
        |event| {
            let place = &board.season.places[event.place.at()];
            format!("{}: {}, {}.", event.name, place.door, place.name)
        },
    )
}

/// What came of one round.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub struct Round {
    /// Families rung.
    pub rung: usize,
    /// Of them those who heard the times and said yes.
    pub yes: usize,
    /// Families spoken to at a door.
    pub at_the_door: usize,
    /// Children noted as not coming.
    pub not_coming: usize,
    /// Questions answered.
    pub answered: usize,
}

impl Round {
    /// Whether anything happened.
    pub fn is_empty(&self) -> bool {
        *self == Round::default()
    }

    /// Adds another.
    pub fn add(&mut self, other: Round) {
        self.rung += other.rung;
        self.yes += other.yes;
        self.at_the_door += other.at_the_door;
        self.not_coming += other.not_coming;
        self.answered += other.answered;
    }
}

impl Demo {
    /// The next moment at which volunteers sit down, after an instant.
    pub(super) async fn next_round(&self, now: Timestamp) -> Result<Timestamp, DemoFault> {
        let zone = self.house.desk().await?.board.season.zone.clone();
        let local = wall::local(&zone, now);
        let today = ROUNDS.into_iter().find(|at| *at > local.time()).map(|at| local.date().to_datetime(at));
        let next = match today {
            Some(today) => today,
            None => local.date().saturating_add(1.day()).to_datetime(ROUNDS[0]),
        };
        Ok(wall::instant(&zone, next))
    }

    /// One round: what waits for the coordinator, then everybody on the chase list.
    pub(super) async fn round(&mut self, now: Timestamp) -> Result<Round, DemoFault> {
        let mut done = Round::default();
        let data = self.house.season_data().await?;
        for asked in &data.asked {
            match &asked.question {
                Some((id, _)) => {
                    let answer = which_door(&data.board, asked.items.first().copied());
                    done.answered += usize::from(self.house.answer_question(*id, &answer).await?);
                }
                None => {
                    for item in &asked.items {
                        let said_by =
                            asked.guardian.map(|g| data.board.season.guardians[g.at()].reference.clone());
                        let refs = data.board.item_refs(*item);
                        let said_by = said_by.as_deref().unwrap_or("");
                        let noted = self.house.set_away(Noter::Coordinator, said_by, refs, true).await?;
                        done.not_coming += usize::from(noted == Noted::Recorded);
                    }
                }
            }
        }
        let chase = self.house.chase().await?;
        for call in &chase.list.calls {
            self.ring(call, now, &mut done).await?;
        }
        Ok(done)
    }

    async fn ring(&mut self, call: &Call, now: Timestamp, done: &mut Round) -> Result<(), DemoFault> {
        let by = call.ringer.map_or(Noter::Coordinator, Noter::Chaperone);
        let nth =
            call.tried.rung.iter().filter(|rung| rung.by != COORDINATOR || call.ringer.is_none()).count();
        let came = match call.way {
            ChaseWay::Door(_) if call.needed_by.duration_since(now) <= AT_THE_DOOR => {
                done.at_the_door += 1;
                Came::HeardInPerson
            }
            ChaseWay::Door(_) => return Ok(()),
            ChaseWay::Ring(_) => {
                done.rung += 1;
                if self.is_dead(call.guardian).await? {
                    Came::Nothing(CallEnd::WrongNumber)
                } else {
                    let reference = self.reference(call.guardian).await?;
                    match ringing::call(self.seed, &reference, nth) {
                        Spoke::Yes => Came::HeardByPhone,
                        Spoke::NotComing if call.items.len() == 1 => Came::CantCome,
                        Spoke::NotComing => Came::HeardByPhone,
                        Spoke::NoAnswer => Came::Nothing(CallEnd::NoAnswer),
                        Spoke::WillCallBack => Came::Nothing(CallEnd::WillCallBack),
                    }
                }
            }
        };
        done.yes += usize::from(came == Came::HeardByPhone);
        done.not_coming += usize::from(came == Came::CantCome);
        let board = self.house.desk().await?.board.clone();
        let about: Vec<_> = call
            .items
            .iter()
            .map(|item| {
                let (child, event) = board.item_refs(*item);
                (child, event, board.fingerprint(*item))
            })
            .collect();
        let guardian = self.reference(call.guardian).await?;
        self.house.note_call(by, &guardian, &about, came).await?;
        Ok(())
    }

    async fn reference(&self, guardian: GuardianId) -> Result<String, DemoFault> {
        let desk = self.house.desk().await?;
        Ok(desk.board.season.guardians[guardian.at()].reference.clone())
    }

    /// Whether a stranger, or nobody, is behind a guardian's number.
    async fn is_dead(&self, guardian: GuardianId) -> Result<bool, DemoFault> {
        let desk = self.house.desk().await?;
        let number = telephone(&desk.board, &desk.record, guardian).unwrap_or_default();
        Ok(self.families.gateway_fate("text", number) != MessageFate::Accept)
    }
}
